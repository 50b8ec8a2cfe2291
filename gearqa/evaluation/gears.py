"""One gear's result from its measured values: classes, verdicts, master quality, size.

How incomplete measurements are judged: a parameter is valued and classed from the traces that
could be evaluated. A graded trace that could not be makes that parameter and flank "not assessed":
its verdict is "does not conform" if what was evaluated fails already, and open otherwise, for
traces that were not evaluated can excuse no failure and prove no conformity. The class of such a
gear is incomplete.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from gearqa.evaluation.criteria import NINTH, Criteria, Criterion, Verdict, all_of
from gearqa.evaluation.gaps import not_assessed, warnings
from gearqa.evaluation.pitch_sets import PitchSet
from gearqa.evaluation.plan import Measured, Plan, Where
from gearqa.evaluation.trace_sets import TraceSet, first_worst, measured_traces
from gearqa.model.measurement import GearMeasurement, SizeReading
from gearqa.model.part import SizeTolerance
from gearqa.model.results import FlankResult, GearResult, NotAssessed, ParameterResult, SizeResult
from gearqa.symbols import FLANKS, PARAMETERS, Flank

PIN_DIAMETER_STEP_MM: Final = 1e-6
SIZE: Final = "size"
BEYOND: Final = 12
"""Sorts behind every class."""


def gear_result(gear: GearMeasurement, traces: TraceSet, pitch: PitchSet, plan: Plan) -> GearResult:
    """Judge one gear from the values of its traces, pitch and runout."""
    criteria = plan.criteria
    full = plan.part.evaluation.slope_span == "full"
    measured = {**pitch.measured, **measured_traces(traces.results, full)}
    gaps = not_assessed(gear, traces, plan)
    uncertainty = plan.uncertainty(gear.production.instrument if gear.production else None)
    gaps_of: dict[str, set[Flank | None]] = {}
    for gap in gaps:
        gaps_of.setdefault(gap.parameter, set()).add(gap.flank)

    parameters: dict[str, ParameterResult] = {}
    near = 0
    for key in PARAMETERS:
        here = gaps_of.get(key, set())
        judged = _judged_flanks(key, measured, here, criteria)
        if judged:
            stated = uncertainty.get(key)
            parameters[key] = _parameter(key, judged, bool(here), stated)
            near += 0 if stated is None else _near_limit(judged.values(), stated)

    sizes, size_gaps = _sizes(gear.sizes, plan.part.tolerance.size)
    graded = {key: parameters[key] for key in criteria.required if key in parameters}
    worst = max((BEYOND if p.beyond else p.class_ or 0 for p in graded.values()), default=0)
    required_gaps = [gap for gap in gaps if gap.parameter in criteria.required]
    verdicts = [
        *(p.conforms for p in graded.values()),
        *(size.conforms for size in sizes if size.lower_mm is not None),
        *(None for _ in (*required_gaps, *size_gaps)),
    ]
    master = {
        key: parameters[key].master_quality if key in parameters else None for key in criteria.for_master
    }
    reached = all_of(list(master.values()))
    return GearResult(
        serial=gear.serial,
        class_=worst if 0 < worst < BEYOND else None,
        class_complete=not required_gaps,
        beyond=worst == BEYOND,
        governing=tuple(
            key for key, p in graded.items() if worst and (BEYOND if p.beyond else p.class_) == worst
        ),
        conforms=all_of(verdicts),
        master_quality=reached,
        master_deciding=()
        if reached
        else tuple(key for key, verdict in master.items() if verdict is reached),
        near_limit=near if uncertainty.keys() & {*criteria.required} else None,
        not_assessed=(*gaps, *size_gaps),
        warnings=warnings(gear, traces, (*gaps, *size_gaps), plan),
        parameters=parameters,
        traces=tuple(traces.results),
        pitch=tuple(pitch.pitch),
        size=sizes,
        production=gear.production,
    )


def _near_limit(judged: Iterable[_Judged], uncertainty: float) -> int:
    return sum(
        one.criterion.required
        and one.criterion.near_limit(one.value.value, one.value.low, one.value.high, uncertainty)
        for one in judged
    )


@dataclass(frozen=True, slots=True)
class _Judged:
    """One parameter on one flank: value, what is asked of it, verdict."""

    value: Measured
    criterion: Criterion
    verdict: Verdict


def _judged_flanks(
    key: str, measured: Mapping[Where, Measured], gaps: Collection[Flank | None], criteria: Criteria
) -> dict[Flank | None, _Judged]:
    places: tuple[Flank | None, ...] = FLANKS if PARAMETERS[key].per_flank else (None,)
    judged: dict[Flank | None, _Judged] = {}
    for flank in places:
        value = measured.get((key, flank))
        if value is None:
            continue
        criterion = criteria.of[key, flank]
        verdict = criterion.verdict(value.value, value.low, value.high)
        if flank in gaps or None in gaps:
            verdict = verdict.open_unless_failed()
        judged[flank] = _Judged(value, criterion, verdict)
    return judged


def _parameter(
    key: str, judged: Mapping[Flank | None, _Judged], incomplete: bool, uncertainty: float | None
) -> ParameterResult:
    """One parameter over its graded flanks; over all measured ones if none is graded."""
    graded = {flank: one for flank, one in judged.items() if one.criterion.graded}
    among = graded or judged
    worst = _worst_flank(among)
    value, criterion, verdict = among[worst].value, among[worst].criterion, among[worst].verdict
    not_measured: list[bool | None] = [None] if incomplete else []
    conforms = [one.verdict.conforms for one in graded.values()] + not_measured
    master = [one.verdict.master_quality for one in graded.values()] + not_measured
    others = [one.value.other_span for one in among.values() if one.value.other_span is not None]
    other = max(others, key=abs, default=None)
    per_space = key == "runout"
    return ParameterResult(
        symbol=PARAMETERS[key].symbol,
        value_um=value.value,
        min_um=min(one.value.low for one in among.values()),
        max_um=max(one.value.high for one in among.values()),
        flank=worst,
        tooth=None if per_space else value.tooth,
        tooth_to=None if per_space else value.tooth_to,
        space=value.tooth if per_space else None,
        space_to=value.tooth_to if per_space else None,
        method=value.method,
        class_=verdict.class_,
        class_exact=verdict.class_exact,
        beyond=verdict.beyond,
        required_class=criterion.required_class,
        tolerance_um=criterion.tolerance,
        limits_um=criterion.limits,
        conforms=all_of(conforms) if criterion.required else None,
        master_quality=all_of(master) if criterion.for_master else None,
        master_tolerance_um=criterion.master_tolerance,
        uncertainty_um=uncertainty,
        slope_other_span_um=other,
        slope_other_span_class=None if other is None or not graded else criterion.class_of(other),
        flanks={flank: _flank_result(one) for flank, one in judged.items() if flank is not None},
    )


def _worst_flank(judged: Mapping[Flank | None, _Judged]) -> Flank | None:
    """Flank of the largest magnitude, left before right where they are equal at nine decimals."""
    flanks = list(judged)
    return flanks[first_worst([judged[flank].value.value for flank in flanks])]


def _flank_result(judged: _Judged) -> FlankResult:
    value, criterion, verdict = judged.value, judged.criterion, judged.verdict
    return FlankResult(
        value_um=value.value,
        min_um=value.low,
        max_um=value.high,
        mean_um=value.mean,
        spread_um=value.high - value.low,
        tooth=value.tooth,
        tooth_to=value.tooth_to,
        class_=verdict.class_,
        class_exact=verdict.class_exact,
        beyond=verdict.beyond,
        required_class=criterion.required_class,
        tolerance_um=criterion.tolerance,
        limits_um=criterion.limits,
        conforms=verdict.conforms,
        master_quality=verdict.master_quality,
    )


def _sizes(
    readings: Sequence[SizeReading], asked: SizeTolerance | None
) -> tuple[tuple[SizeResult, ...], tuple[NotAssessed, ...]]:
    """Size readings against the drawing; a gap when the drawing asks for a size that was not measured."""
    results = tuple(_size(reading, asked) for reading in readings)
    if asked is None or any(result.lower_mm is not None for result in results):
        return results, ()
    over = (
        f"by balls of {asked.pin_diameter_mm:g} mm"
        if asked.pin_diameter_mm is not None
        else "by span"
        if asked.teeth_spanned is None
        else f"by span over {asked.teeth_spanned} teeth"
    )
    others = "; what was measured is another size" if readings else ""
    reason = (
        f"the drawing asks for a size by {asked.method} {over}, and there is none{others}; add a size table"
    )
    return results, (NotAssessed(SIZE, None, reason),)


def _size(reading: SizeReading, asked: SizeTolerance | None) -> SizeResult:
    fits = asked is not None and _same_size(reading, asked)
    lower, upper = (asked.lower_mm, asked.upper_mm) if asked is not None and fits else (None, None)
    conforms = None if lower is None or upper is None else lower <= round(reading.value_mm, NINTH) <= upper
    return SizeResult(
        method=reading.method,
        value_mm=reading.value_mm,
        pin_diameter_mm=reading.pin_diameter_mm,
        teeth_spanned=reading.teeth_spanned,
        position=reading.position,
        lower_mm=lower,
        upper_mm=upper,
        conforms=conforms,
    )


def _same_size(reading: SizeReading, asked: SizeTolerance) -> bool:
    """Whether a reading is the size that the drawing limits; what a reading leaves open agrees."""
    if reading.method != asked.method:
        return False
    if asked.method == "balls":
        return (
            reading.pin_diameter_mm is None
            or asked.pin_diameter_mm is None
            or abs(reading.pin_diameter_mm - asked.pin_diameter_mm) <= PIN_DIAMETER_STEP_MM
        )
    return (
        None in (reading.teeth_spanned, asked.teeth_spanned) or reading.teeth_spanned == asked.teeth_spanned
    )

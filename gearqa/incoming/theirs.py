"""Reported values as graded gears, so that a lot can be decided on the supplier's figures."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence

from gearqa.evaluation.criteria import Criteria, all_of
from gearqa.evaluation.parameters import judged_flanks, parameter_result
from gearqa.evaluation.part_setup import Measured, Where
from gearqa.model.incoming import ReportedValue
from gearqa.model.part import Part
from gearqa.model.results import GearResult, NotAssessed, ParameterResult
from gearqa.symbols import FLANKS, PARAMETERS, Flank

BEYOND = 12
NOT_REPORTED = "not reported"


def with_reported_uncertainty(part: Part, values: Sequence[ReportedValue]) -> Part:
    """The drawing with the supplier's uncertainties instead of ours; the largest stated per parameter."""
    stated: dict[str, float] = {}
    for value in values:
        if value.uncertainty_um is not None:
            stated[value.parameter] = max(stated.get(value.parameter, 0.0), value.uncertainty_um)
    return part.model_copy(update={"uncertainty_um": stated})


def reported_gears(
    values: Sequence[ReportedValue], part: Part, criteria: Criteria, unsigned: frozenset[str]
) -> tuple[GearResult, ...]:
    """Gears as reported; slopes of parameters reported without sign may lie on either side."""
    gears: dict[str, list[ReportedValue]] = defaultdict(list)
    for value in values:
        gears[value.serial].append(value)
    return tuple(_gear(serial, own, part, criteria, unsigned) for serial, own in gears.items())


def _gear(
    serial: str, values: Sequence[ReportedValue], part: Part, criteria: Criteria, unsigned: frozenset[str]
) -> GearResult:
    found: dict[Where, list[ReportedValue]] = defaultdict(list)
    for value in values:
        flanks: tuple[Flank | None, ...] = (value.flank,)
        if value.flank is None and PARAMETERS[value.parameter].per_flank:
            flanks = FLANKS
        for flank in flanks:
            found[value.parameter, flank].append(value)
    measured = {where: _measured(own, where[0] in unsigned) for where, own in found.items()}
    gaps = tuple(
        NotAssessed(key, flank, NOT_REPORTED)
        for key in criteria.asked
        for flank, criterion in criteria.places[key]
        if criterion.graded and (key, flank) not in measured
    )
    parameters: dict[str, ParameterResult] = {}
    for key in PARAMETERS:
        here = [gap.flank for gap in gaps if gap.parameter == key]
        judged = judged_flanks(key, measured, here, criteria)
        if judged:
            parameters[key] = parameter_result(key, judged, bool(here), part.uncertainty(key))
    graded = {key: parameters[key] for key in criteria.required if key in parameters}
    worst = max((BEYOND if p.beyond else p.class_ or 0 for p in graded.values()), default=0)
    missing = [gap for gap in gaps if gap.parameter in criteria.required]
    return GearResult(
        serial=serial,
        class_=worst if 0 < worst < BEYOND else None,
        class_complete=not missing,
        beyond=worst == BEYOND,
        governing=tuple(
            k for k, p in graded.items() if worst and (BEYOND if p.beyond else p.class_) == worst
        ),
        conforms=all_of([*(p.conforms for p in graded.values()), *(None for _ in missing)]),
        master_quality=None,
        master_deciding=(),
        near_limit=None,
        not_assessed=gaps,
        warnings=(),
        parameters=parameters,
        traces=(),
        pitch=(),
    )


def _measured(values: Sequence[ReportedValue], unsigned: bool) -> Measured:
    numbers = [value.value_um for value in values]
    worst = max(numbers, key=abs)
    low, high = min(numbers), max(numbers)
    if unsigned:
        low = -high
    place = next(value for value in values if value.value_um == worst)
    return Measured(worst, low, high, sum(numbers) / len(numbers), place.tooth or 0)

"""Dimension over or between balls, or span, against the drawing.

The size as a quantity in micrometres is counted from the middle of its limits, the mean over the readings of
a gear with the smallest and the largest; this is what charts and statistics show.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final, NamedTuple

from gearqa.evaluation.criteria import BY_VALUE, NINTH, Criterion
from gearqa.evaluation.value_states import MEETS, counted, standard_uncertainty, value_state
from gearqa.model.decision_rule import DecisionTable
from gearqa.model.measurement import SizeReading
from gearqa.model.part import SizeTolerance
from gearqa.model.results import GearResult, NotAssessed, SizeResult
from gearqa.model.size import half_um
from gearqa.symbols import SIZE
from gearqa.wording.numbers import short_text

PIN_DIAMETER_STEP_MM: Final = 1e-6


class SizeDeviation(NamedTuple):
    """The size of one gear from the middle of its limits (without limits: as it is). um"""

    value_um: float
    """Of largest magnitude."""
    min_um: float
    max_um: float
    mean_um: float
    class_: None = None
    """A size has none."""


def size_counted(gear: GearResult, asked: SizeTolerance | None) -> tuple[SizeResult, ...]:
    """Readings of one size: those that the drawing limits; where it limits none, those like the first."""
    if asked is not None or not gear.size:
        return tuple(one for one in gear.size if one.lower_mm is not None)
    alike = [(one.method, one.pin_diameter_mm, one.teeth_spanned) for one in gear.size]
    return tuple(one for one, kind in zip(gear.size, alike, strict=True) if kind == alike[0])


def size_deviation(gear: GearResult, asked: SizeTolerance | None) -> SizeDeviation | None:
    """The size of a gear as one quantity; None where it was not measured."""
    readings = size_counted(gear, asked)
    if not readings:
        return None
    values = [one.deviation_um for one in readings]
    return SizeDeviation(max(values, key=abs), min(values), max(values), round(sum(values) / len(values), 6))


def size_criterion(asked: SizeTolerance) -> Criterion:
    """What the size of a gear must meet, as deviation from the middle of its limits."""
    half = half_um(asked.lower_mm, asked.upper_mm)
    return Criterion(
        signed=True, required=True, for_master=False, row=None, required_class=None, tolerance=None,
        limits=(-half, half), master_tolerance=None,
    )  # fmt: skip


def size_results(
    readings: Sequence[SizeReading], asked: SizeTolerance | None, expanded: float | None = None,
    decision: DecisionTable | None = None,
) -> tuple[tuple[SizeResult, ...], tuple[NotAssessed, ...]]:  # fmt: skip
    """Size readings against the drawing; a gap when the drawing asks for a size that was not measured.

    With an uncertainty U each has a state; `decision` says how that counts (None: by value).
    """
    results = tuple(_size(reading, asked, expanded, decision) for reading in readings)
    if asked is None or any(result.lower_mm is not None for result in results):
        return results, ()
    over = ""
    if asked.pin_diameter_mm is not None:
        over = f" of {short_text(asked.pin_diameter_mm)} mm"
    elif asked.teeth_spanned is not None:
        over = f" over {asked.teeth_spanned} teeth"
    others = "; what was measured is another size" if readings else ""
    reason = (
        f"the drawing limits the size by {asked.method}{over}, and there is none{others}; add a size table"
    )
    return results, (NotAssessed(SIZE, None, reason),)


def _size(
    reading: SizeReading, asked: SizeTolerance | None, expanded: float | None, decision: DecisionTable | None
) -> SizeResult:
    fits = asked is not None and _same_size(reading, asked)
    lower, upper = (asked.lower_mm, asked.upper_mm) if asked is not None and fits else (None, None)
    conforms = state = None
    if lower is not None and upper is not None:
        value = round(reading.value_mm, NINTH)
        conforms = lower <= value <= upper
        state = BY_VALUE[conforms]
        if expanded is not None:
            rule, u = decision or DecisionTable(), standard_uncertainty(expanded / 1000)
            state = value_state((value,), u, (lower, upper), rule.confidence)
            if decision is not None:
                conforms = MEETS[counted(state, (value,), (lower, upper), rule.rule)]
    return SizeResult(
        method=reading.method,
        value_mm=reading.value_mm,
        pin_diameter_mm=reading.pin_diameter_mm,
        teeth_spanned=reading.teeth_spanned,
        position=reading.position,
        lower_mm=lower,
        upper_mm=upper,
        conforms=conforms,
        uncertainty_um=None if state is None else expanded,
        state=state,
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

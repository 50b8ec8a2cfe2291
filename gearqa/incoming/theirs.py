"""Reported values as graded gears, so that a lot can be decided on the supplier's figures."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import replace

from gearqa.evaluation.gear_result import Evaluated, judged_gear
from gearqa.evaluation.part_setup import Measured, PartSetup, Where, setup_of
from gearqa.model.incoming import ReportedValue
from gearqa.model.part import Part
from gearqa.model.results import GearResult, NotAssessed
from gearqa.symbols import FLANKS, PARAMETERS, Flank

NOT_REPORTED = "not reported"


def with_reported_uncertainty(part: Part, values: Sequence[ReportedValue]) -> Part:
    """The drawing with the supplier's uncertainties instead of ours; the largest stated per parameter."""
    stated: dict[str, float] = {}
    for value in values:
        if value.uncertainty_um is not None:
            stated[value.parameter] = max(stated.get(value.parameter, 0.0), value.uncertainty_um)
    return part.model_copy(update={"uncertainty_um": stated})


def reported_gears(
    values: Sequence[ReportedValue], part: Part, unsigned: frozenset[str]
) -> tuple[GearResult, ...]:
    """Gears as reported; slopes of parameters reported without sign may lie on either side."""
    setup = setup_of(part)
    gears: dict[str, list[ReportedValue]] = defaultdict(list)
    for value in values:
        gears[value.serial].append(value)
    return tuple(_gear(serial, own, setup, unsigned) for serial, own in gears.items())


def _gear(
    serial: str, values: Sequence[ReportedValue], setup: PartSetup, unsigned: frozenset[str]
) -> GearResult:
    found: dict[Where, list[ReportedValue]] = defaultdict(list)
    for value in values:
        flanks: tuple[Flank | None, ...] = (value.flank,)
        if value.flank is None and PARAMETERS[value.parameter].per_flank:
            flanks = FLANKS
        for flank in flanks:
            found[value.parameter, flank].append(value)
    measured = {where: _measured(own, where[0] in unsigned) for where, own in found.items()}
    criteria = setup.criteria
    gaps = tuple(
        NotAssessed(key, flank, NOT_REPORTED)
        for key in criteria.asked
        for flank, criterion in criteria.places[key]
        if criterion.graded and (key, flank) not in measured
    )
    apart = tuple(
        NotAssessed(key, flank, NOT_REPORTED)
        for (_, flank), specs in setup.apart.items()
        for spec in specs if spec.required
        for key in spec.keys
    )  # fmt: skip
    gear = judged_gear(Evaluated(serial, measured, gaps, apart, (), (), (), (), {}, {}, None), setup)
    return replace(gear, master_quality=None, master_deciding=(), near_limit=None)


def _measured(values: Sequence[ReportedValue], unsigned: bool) -> Measured:
    numbers = [value.value_um for value in values]
    worst = max(numbers, key=abs)
    low, high = min(numbers), max(numbers)
    if unsigned:
        low = -high
    place = next(value for value in values if value.value_um == worst)
    return Measured(worst, low, high, sum(numbers) / len(numbers), place.tooth or 0)

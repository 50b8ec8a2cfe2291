"""From graded gears to observations: flank means, extremes and the limits they are held against."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from gearqa.evaluation.sizes import size_deviation
from gearqa.model.drift import COMPONENTS, DRIFT_PARAMETERS, Observation
from gearqa.model.part import Part, SizeTolerance
from gearqa.model.results import FlankResult, GearResult, ParameterResult
from gearqa.model.size import half_um
from gearqa.symbols import PARAMETERS, SIZE, Flank
from gearqa.wording.numbers import tolerance_limits

UNKNOWN_GRINDER = "unknown"
Limits = tuple[float | None, float | None]
Values = tuple[float, float, float]
"""Mean, smallest and largest."""


def observations_from_results(
    gears: Iterable[GearResult],
    part: Part,
    *,
    parameters: Sequence[str] | None = None,
    simulated: bool = False,
) -> Iterator[Observation]:
    """Yield the observations of graded gears; gears without production data are left out.

    Slopes and crownings are charted by the mean over a flank's traces, everything else by its value.
    The size is counted from the middle of its limits (without limits: as it is), in micrometres.
    """
    wanted = DRIFT_PARAMETERS if parameters is None else tuple(parameters)
    for gear in gears:
        made = gear.production
        if made is None:
            continue
        for key in wanted:
            for flank, (mean, low, high), (limit_low, limit_high) in _values(gear, key, part):
                yield Observation(
                    part=part.part.number,
                    grinder=made.grinder or UNKNOWN_GRINDER,
                    wheel=made.wheel,
                    dress=made.dress,
                    parts_since_dress=made.parts_since_dress,
                    finished_at=made.finished_at,
                    serial=gear.serial,
                    parameter=key,
                    flank=flank,
                    mean_um=mean,
                    min_um=low,
                    max_um=high,
                    limit_low=limit_low,
                    limit_high=limit_high,
                    U=_uncertainty(gear, key, part),
                    simulated=simulated,
                    revision=part.part.revision,
                    fixture=made.fixture,
                    instrument=made.instrument,
                    operator=made.operator,
                    temperature_degC=made.temperature_degC,
                )


def _values(gear: GearResult, key: str, part: Part) -> Iterator[tuple[Flank | None, Values, Limits]]:
    """Flank, mean with extremes, and limits of each value of a parameter."""
    if key == SIZE:
        yield from _size(gear, part.tolerance.size)
        return
    if key in COMPONENTS:
        for figure in gear.components:
            if figure.key == key:
                yield figure.flank, (figure.value_um,) * 3, (None, None)
        return
    result = gear.parameters.get(key)
    if result is None:
        return
    parameter = PARAMETERS[key]
    if not parameter.per_flank or not result.flanks:
        yield None, (result.value_um,) * 3, _limits(key, result)
        return
    traced = parameter.family in ("profile", "helix")
    for flank, one in result.flanks.items():
        values = (one.mean_um, one.min_um, one.max_um) if traced else (one.value_um,) * 3
        yield flank, values, _limits(key, one)


def _limits(key: str, result: ParameterResult | FlankResult) -> Limits:
    """Limits of the value; a lower limit of 0 of what cannot be negative is none."""
    limits = result.limits_um or tolerance_limits(key, result.tolerance_um)
    if limits is None:
        return None, None
    low, high = limits
    return (low if PARAMETERS[key].signed or low > 0 else None), high


def _size(gear: GearResult, asked: SizeTolerance | None) -> Iterator[tuple[None, Values, Limits]]:
    one = size_deviation(gear, asked)
    if one is None:
        return
    half = None if asked is None else half_um(asked.lower_mm, asked.upper_mm)
    yield None, (one.mean_um, one.min_um, one.max_um), (None if half is None else -half, half)


def _uncertainty(gear: GearResult, key: str, part: Part) -> float | None:
    """Expanded uncertainty, as found with the gear or stated for its instrument; none of components."""
    if key in COMPONENTS:
        return None
    found = None if key == SIZE else gear.parameters[key].uncertainty_um
    instrument = gear.production.instrument if gear.production else None
    return part.uncertainty(key, instrument) if found is None else found

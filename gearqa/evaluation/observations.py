"""From graded gears to observations: flank means, extremes and the limits they are held against."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Sequence
from functools import lru_cache
from typing import Final, NamedTuple

from gearqa.evaluation.sizes import size_deviation
from gearqa.model.drift import DRIFT_PARAMETERS, Observation
from gearqa.model.part import Part
from gearqa.model.results import FlankResult, GearResult, ParameterResult
from gearqa.model.size import half_um
from gearqa.symbols import PARAMETERS, SIZE, Flank
from gearqa.wording.numbers import tolerance_limits

UNKNOWN_GRINDER = "unknown"
Limits = tuple[float | None, float | None]
NO_LIMITS: Final[Limits] = (None, None)


class KeyFigure(NamedTuple):
    """A parameter on a flank of a gear as it is charted: mean, smallest and largest, and what it is held
    against; `result` is where they come from, None of size and components."""

    parameter: str
    flank: Flank | None
    mean_um: float
    min_um: float
    max_um: float
    limits_um: Limits
    expanded_u_um: float | None
    result: ParameterResult | FlankResult | None


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
    wanted = frozenset(DRIFT_PARAMETERS if parameters is None else parameters)
    for gear in gears:
        made = gear.production
        if made is None:
            continue
        for one in key_figures(gear, part, wanted):
            yield Observation(
                part=part.part.number,
                grinder=made.grinder or UNKNOWN_GRINDER,
                wheel=made.wheel,
                dress=made.dress,
                parts_since_dress=made.parts_since_dress,
                finished_at=made.finished_at,
                serial=gear.serial,
                parameter=one.parameter,
                flank=one.flank,
                mean_um=one.mean_um,
                min_um=one.min_um,
                max_um=one.max_um,
                limit_low=one.limits_um[0],
                limit_high=one.limits_um[1],
                U=one.expanded_u_um,
                simulated=simulated,
                revision=part.part.revision,
                fixture=made.fixture,
                instrument=made.instrument,
                operator=made.operator,
                temperature_degC=made.temperature_degC,
            )


def key_figures(gear: GearResult, part: Part, wanted: Collection[str]) -> Iterator[KeyFigure]:
    """Key figures of a gear by parameter and flank, the physical errors in its deviations behind them."""
    instrument = gear.production.instrument if gear.production else None
    for key, result in gear.parameters.items():
        if key not in wanted:
            continue
        parameter, stated = PARAMETERS[key], result.uncertainty_um
        expanded = part.uncertainty(key, instrument) if stated is None else stated
        if not parameter.per_flank or not result.flanks:
            value = result.value_um
            limits = _limits(key, result.limits_um, result.tolerance_um)
            yield KeyFigure(key, None, value, value, value, limits, expanded, result)
            continue
        traced = parameter.family in ("profile", "helix")
        for flank, one in result.flanks.items():
            value = one.value_um
            values = (one.mean_um, one.min_um, one.max_um) if traced else (value, value, value)
            limits = _limits(key, one.limits_um, one.tolerance_um)
            yield KeyFigure(key, flank, *values, limits, expanded, one)
    if SIZE in wanted:
        yield from _size(gear, part, part.uncertainty(SIZE, instrument))
    for figure in gear.components:
        if figure.key in wanted:
            value = figure.value_um
            yield KeyFigure(figure.key, figure.flank, value, value, value, NO_LIMITS, figure.u_um, None)


@lru_cache(maxsize=256)
def _limits(key: str, stated: tuple[float, float] | None, tolerance: float | None) -> Limits:
    """Limits of the value; a lower limit of 0 of what cannot be negative is none."""
    limits = stated or tolerance_limits(key, tolerance)
    if limits is None:
        return None, None
    low, high = limits
    return (low if PARAMETERS[key].signed or low > 0 else None), high


def _size(gear: GearResult, part: Part, expanded: float | None) -> Iterator[KeyFigure]:
    asked = part.tolerance.size
    one = size_deviation(gear, asked)
    if one is None:
        return
    half = None if asked is None else half_um(asked.lower_mm, asked.upper_mm)
    limits = (None if half is None else -half, half)
    yield KeyFigure(SIZE, None, one.mean_um, one.min_um, one.max_um, limits, expanded, None)

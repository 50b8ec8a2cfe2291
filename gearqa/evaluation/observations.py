"""From graded gears to observations: flank means, extremes and the limits they are held against."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from gearqa.model.drift import DRIFT_PARAMETERS, SIZE, Observation
from gearqa.model.measurement import Production
from gearqa.model.part import Part
from gearqa.model.results import FlankResult, GearResult, ParameterResult, SizeResult
from gearqa.symbols import PARAMETERS, Flank

UNKNOWN_GRINDER = "unknown"
Limits = tuple[float | None, float | None]


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
        production = gear.production
        if production is None:
            continue
        for key in wanted:
            if key == SIZE:
                for reading in gear.size[:1]:
                    yield _size(gear.serial, reading, production, part, simulated)
                continue
            result = gear.parameters.get(key)
            if result is None:
                continue
            uncertainty = result.uncertainty_um
            if uncertainty is None:
                uncertainty = part.uncertainty(key, production.instrument)
            for flank, values, limits in _values(key, result):
                yield _observation(
                    gear.serial, key, flank, values, limits, uncertainty, production, part, simulated
                )


def _values(
    key: str, result: ParameterResult
) -> Iterator[tuple[Flank | None, tuple[float, float, float], Limits]]:
    if not PARAMETERS[key].per_flank or not result.flanks:
        yield None, (result.value_um,) * 3, _limits(key, result)
        return
    for flank, one in result.flanks.items():
        traced = PARAMETERS[key].family in ("profile", "helix")
        values = (one.mean_um, one.min_um, one.max_um) if traced else (one.value_um,) * 3
        yield flank, values, _limits(key, one)


def _limits(key: str, result: ParameterResult | FlankResult) -> Limits:
    """Limits of the value; a lower limit of 0 of what cannot be negative is none."""
    signed = PARAMETERS[key].signed
    if result.limits_um is not None:
        low, high = result.limits_um
        return (low if signed or low > 0 else None, high)
    if result.tolerance_um is not None:
        return (-result.tolerance_um if signed else None, result.tolerance_um)
    return (None, None)


def _size(
    serial: str, reading: SizeResult, production: Production, part: Part, simulated: bool
) -> Observation:
    middle, limits = 0.0, (None, None)  # type: tuple[float, Limits]
    if reading.lower_mm is not None and reading.upper_mm is not None:
        middle = (reading.lower_mm + reading.upper_mm) / 2
        half = round(500 * (reading.upper_mm - reading.lower_mm), 6)
        limits = (-half, half)
    value = round(1000 * (reading.value_mm - middle), 6)
    return _observation(serial, SIZE, None, (value,) * 3, limits, None, production, part, simulated)


def _observation(  # noqa: PLR0917
    serial: str,
    parameter: str,
    flank: Flank | None,
    values: tuple[float, float, float],
    limits: Limits,
    uncertainty: float | None,
    production: Production,
    part: Part,
    simulated: bool,
) -> Observation:
    mean, low, high = values
    return Observation(
        part=part.part.number,
        grinder=production.grinder or UNKNOWN_GRINDER,
        wheel=production.wheel,
        dress=production.dress,
        parts_since_dress=production.parts_since_dress,
        finished_at=production.finished_at,
        serial=serial,
        parameter=parameter,
        flank=flank,
        mean_um=mean,
        min_um=low,
        max_um=high,
        limit_low=limits[0],
        limit_high=limits[1],
        U=uncertainty,
        simulated=simulated,
        revision=part.part.revision,
    )

"""Whether one series is in control: reference cycles, charts for few of them, signals, reasons.

Charted are the cycle levels (individuals and moving range) and one EWMA of the residuals of the
wear model. Limits come from the reference and stay; control limits are no tolerance limits.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from operator import itemgetter

import numpy as np

from gearqa.arrays import Array, BoolArray, IntArray
from gearqa.drift import phrases
from gearqa.drift.between_cycles import Levels
from gearqa.drift.claims import SeriesModel
from gearqa.drift.ordering import CycleValues, SeriesGears, seconds
from gearqa.model.drift import COMPONENTS, ChartName, DriftSettings, Reference, Sentence, Signal
from gearqa.statistics.control_charts import ewma, future_factor, moving_range_factor, reference_factor
from gearqa.statistics.innovations import cycle_history, residual_limits, standard_innovations
from gearqa.statistics.run_lengths import ewma_factor
from gearqa.statistics.wear import LEAST_VARIANCE, WearFit

MINIMUM_REFERENCE = 10
"""Fewer cycles: no statement about control."""
USUAL_REFERENCE = 25
CHARTS = 3


@dataclass(frozen=True, eq=False, slots=True)
class SeriesCharts:
    """Limits and points of the three charts; NaN before the reference and where there is no limit."""

    centre: float | None
    lower: Array
    upper: Array
    moving_range: Array
    moving_range_upper: Array
    ewma: Array
    ewma_limit: Array
    level_signals: BoolArray
    moving_range_signals: BoolArray
    ewma_signals: BoolArray


@dataclass(frozen=True, slots=True)
class Control:
    """What the control charts of a series say."""

    reference: Reference | None
    """Cycles that the limits come from, as they are reported."""
    charts: SeriesCharts
    signals: tuple[Signal, ...]
    in_control: bool | None
    why: tuple[Sentence, ...]
    """Each reason that `in_control` is false or None, as a clause."""


def control_of_series(one: SeriesModel, settings: DriftSettings, rate: float) -> Control:
    """Chart a series and judge its control; `rate` false alarms per cycle, all charts.

    Recorded corrections are taken out as they were meant, never as they turned out.
    """
    gears, fit, levels = one.gears, one.fits.mean, one.levels
    order = gears.order
    if gears.key[2] in COMPONENTS:
        charts = _no_charts(order.cycles, len(gears.serial))
        return Control(None, charts, (), None, _moved(levels, gears))
    reference, span = _reference(gears, levels, settings)
    if span is None:
        found = order.cycles if order.known else 0
        clause = f"fewer than {MINIMUM_REFERENCE} dress cycles for control limits ({found} in the history)"
        charts = _no_charts(order.cycles, len(gears.serial))
        return Control(reference, charts, (), None, (Sentence("few_cycles", clause),))
    intended = levels.recorded.intended(order.cycles)
    straight = gears.mean - intended[gears.cycle] - fit.at(gears.s)
    if fit.identifiable:
        straight = straight + fit.slope * gears.s
    values = gears.placed(straight)
    charts = chart_series(values, fit, levels.x - intended, span, rate, settings.ewma_weight)
    signals = _signals(charts, gears, settings)
    first = float(fit.at(np.zeros(1))[0])
    shift = intended + first  # limits follow what was meant; levels are shown at the first part
    charts = replace(
        charts, centre=(charts.centre or 0.0) + first, lower=charts.lower + shift, upper=charts.upper + shift
    )
    why = []
    current = sorted({signal.cycle for signal in signals if signal.current})
    if current:
        where = phrases.cycles_place([order.place(number - order.first_number) for number in current])
        why.append(Sentence("beyond_limit", f"beyond a control limit in {where}"))
    why += _moved(levels, gears)
    return Control(reference, charts, signals, not why, tuple(why))


def _moved(levels: Levels, gears: SeriesGears) -> tuple[Sentence, ...]:
    """Claims of movement, as reasons."""
    why = [
        Sentence("level_change", f"level change at {phrases.cycles_place([gears.order.place(change)])}")
        for change in levels.places
    ]
    if levels.movement.trend_claimed:
        why.append(Sentence("level_trend", "the level after dress has a trend"))
    if levels.movement.moved_from is not None:
        why.append(Sentence("level_moved", "the level moved; level change or trend cannot be told apart"))
    return tuple(why)


def _reference(
    gears: SeriesGears, levels: Levels, settings: DriftSettings
) -> tuple[Reference | None, tuple[int, int] | None]:
    """Reference as reported (cycles from 1) and as used (from 0, end exclusive)."""
    order = gears.order
    if not order.known:
        return None, None
    chosen = settings.references.get(gears.key, settings.reference)
    if chosen is not None:
        start = max(0, chosen.from_ - order.first_number)
        stop = min(order.cycles, chosen.to - order.first_number + 1)
        return chosen, (start, stop) if stop - start >= MINIMUM_REFERENCE else None
    span = choose_reference(order.cycles, levels.places)
    if span is None:
        return None, None
    return Reference(order.number(span[0]), order.number(span[1] - 1), frozen=False), span


def choose_reference(cycles: int, changes: Sequence[int]) -> tuple[int, int] | None:
    """Cycles [start, stop) that limits come from when none were chosen.

    The first 25 cycles before the first level change, without the running cycle if it can be spared; if
    there are not ten, those behind it, and so on.
    """
    ends = (*changes, cycles)
    for start, end in zip((0, *changes), ends, strict=True):
        available = end - start
        if available >= MINIMUM_REFERENCE:
            spare = 1 if end == cycles else 0
            return start, start + min(USUAL_REFERENCE, max(available - spare, MINIMUM_REFERENCE))
    return None


def chart_series(
    data: CycleValues, fit: WearFit, levels: Array, reference: tuple[int, int], rate: float, weight: float
) -> SeriesCharts:
    """Charts of a series with limits from cycles [start, stop); `rate` false alarms per cycle, all charts."""
    start, stop = reference
    m = stop - start
    each = rate / CHARTS
    own = levels[start:stop]
    centre, sd = float(own.mean()), max(float(own.std(ddof=1)), math.sqrt(LEAST_VARIANCE))
    inside = np.zeros(len(levels), dtype=np.bool_)
    inside[start:stop] = True
    # A level from fewer parts than usual in the reference scatters more.
    part = 0.0 if math.isnan(fit.sd) else fit.sd**2
    usual = float(np.mean(1 / fit.counts[start:stop]))
    wider = np.sqrt(1 + np.maximum(0.0, part * (1 / fit.counts - usual)) / sd**2)
    half = np.where(inside, reference_factor(m, each), future_factor(m, each)) * sd * wider
    half[:start] = np.nan
    lower, upper = centre - half, centre + half
    moving = np.concatenate(([math.nan], np.abs(np.diff(levels))))
    both = inside & np.concatenate(([False], inside[:-1]))
    factors = (moving_range_factor(m, each, inside=within) for within in (True, False))
    moving_upper = np.where(both, *factors) * sd * np.maximum(wider, np.concatenate(([1.0], wider[:-1])))
    moving_upper[: start + 1] = np.nan
    smooth, limit = _residual_chart(data, start, stop, each, weight)
    return SeriesCharts(
        centre=centre,
        lower=lower,
        upper=upper,
        moving_range=moving,
        moving_range_upper=moving_upper,
        ewma=smooth,
        ewma_limit=limit,
        level_signals=(levels < lower) | (levels > upper),
        moving_range_signals=moving > moving_upper,
        ewma_signals=np.abs(smooth) > limit,
    )


def _no_charts(cycles: int, gears: int) -> SeriesCharts:
    """Charts without a limit: too few cycles."""
    level, gear = np.full(cycles, np.nan), np.full(gears, np.nan)
    none = np.zeros(0, dtype=np.bool_)
    return SeriesCharts(None, level, level, level, level, gear, gear, none, none, none)


def _residual_chart(
    data: CycleValues, start: int, stop: int, rate: float, weight: float
) -> tuple[Array, Array]:
    """EWMA of the standardised residuals from the start of the reference on, and its limit."""
    cycle, s, y = data
    smooth, limit = np.full(len(y), np.nan), np.full(len(y), np.nan)
    history = cycle_history(*data.within(start, stop))
    if history is not None:
        later = cycle >= start
        z = standard_innovations(cycle[later] - start, s[later], y[later], history)
        per_cycle = int(np.sum((cycle >= start) & (cycle < stop))) / (stop - start)
        factor = ewma_factor(weight, min(max(per_cycle / rate, 2.0), 1e8))
        smooth[later] = ewma(z, weight, 0.0)
        limit[later] = residual_limits(cycle[later] - start, s[later], history, weight, factor)
    return smooth, limit


def _signals(charts: SeriesCharts, gears: SeriesGears, settings: DriftSettings) -> tuple[Signal, ...]:
    """First point of every cycle beyond a limit, chart by chart, in production order."""
    order = gears.order
    last = np.searchsorted(gears.cycle, np.arange(order.cycles), side="right") - 1
    beyond = np.flatnonzero(charts.ewma_signals)
    places: dict[ChartName, IntArray] = {
        "levels": last[charts.level_signals],
        "levels_moving_range": last[charts.moving_range_signals],
        "residual_ewma": beyond[np.unique(gears.cycle[beyond], return_index=True)[1]],
    }
    found = []
    points = ((int(i), chart) for chart, where in places.items() for i in where)
    for i, chart in sorted(points, key=itemgetter(0)):
        c = int(gears.cycle[i])
        at = order.start[c]
        recent = settings.since is not None and at is not None and seconds(at) >= seconds(settings.since)
        current = recent or c == order.cycles - 1
        found.append(Signal(chart, "beyond_limit", gears.serial[i], order.number(c), order.dress[c], current))
    return tuple(found)

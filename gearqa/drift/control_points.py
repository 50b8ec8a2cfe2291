"""Points and limits of the control charts of one series, for few reference cycles.

Charted are the cycle levels (individuals and moving range) and one EWMA of the residuals of the
wear model. Limits come from the reference and stay; control limits are no tolerance limits.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from gearqa.arrays import Array, BoolArray
from gearqa.drift.series_gears import CycleValues
from gearqa.model.drift import ChartName
from gearqa.statistics.control_charts import (
    ewma,
    future_factor,
    moving_range_factor,
    reference_factor,
)
from gearqa.statistics.dress_interval import LEAST_VARIANCE, cycle_history
from gearqa.statistics.innovations import residual_limits, standard_innovations
from gearqa.statistics.run_lengths import ewma_factor
from gearqa.statistics.wear import WearFit, fit_wear

MINIMUM_REFERENCE = 10
"""Fewer cycles: no statement about control."""
USUAL_REFERENCE = 25
CHARTS: tuple[ChartName, ...] = ("levels", "levels_moving_range", "residual_ewma")


@dataclass(frozen=True, eq=False, slots=True)
class SeriesCharts:
    """Limits and points of the three charts; NaN before the reference and where there is no limit."""

    centre: float
    lower: Array
    upper: Array
    moving_range: Array
    moving_range_upper: Array
    ewma: Array
    ewma_limit: Array
    level_signals: BoolArray
    moving_range_signals: BoolArray
    ewma_signals: BoolArray


def choose_reference(cycles: int, first: int, unexplained: tuple[int, ...]) -> tuple[int, int] | None:
    """Cycles [start, stop) that limits come from when none were chosen.

    The first 25 cycles since the last level change that a recorded event explains (`first`), up to
    the first unexplained one if ten are left, without the running cycle if it can be spared.
    """
    available = cycles - first
    if available < MINIMUM_REFERENCE:
        return None
    stop = first + min(USUAL_REFERENCE, max(available - 1, MINIMUM_REFERENCE))
    for change in unexplained:
        if first + MINIMUM_REFERENCE <= change < stop:
            stop = change
    return first, stop


def chart_series(
    data: CycleValues,
    fit: WearFit,
    reference: tuple[int, int],
    rate: float,
    weight: float,
) -> SeriesCharts:
    """Charts of a series with limits from cycles [start, stop); `rate` false alarms per cycle, all charts."""
    start, stop = reference
    levels, m = fit.levels, stop - start
    each = rate / len(CHARTS)
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
    factor = np.where(
        both, moving_range_factor(m, each, inside=True), moving_range_factor(m, each, inside=False)
    )
    moving_upper = factor * sd * np.maximum(wider, np.concatenate(([1.0], wider[:-1])))
    moving_upper[: start + 1] = np.nan
    smooth, limit = _residual_chart(data, start, stop, each, weight)
    with np.errstate(invalid="ignore"):
        return SeriesCharts(
            centre,
            lower,
            upper,
            moving,
            moving_upper,
            smooth,
            limit,
            (levels < lower) | (levels > upper),
            moving > moving_upper,
            np.abs(smooth) > limit,
        )


def _residual_chart(
    data: CycleValues, start: int, stop: int, rate: float, weight: float
) -> tuple[Array, Array]:
    """EWMA of the standardised residuals from the start of the reference on, and its limit."""
    cycle, s, y = data
    smooth, limit = np.full(len(y), np.nan), np.full(len(y), np.nan)
    reference = fit_wear(*data.within(start, stop))
    if not reference.identifiable:
        return smooth, limit
    later = cycle >= start
    history = cycle_history(reference)
    z = standard_innovations(cycle[later] - start, s[later], y[later], history)
    per_cycle = float(np.mean(reference.counts))
    factor = ewma_factor(weight, min(max(per_cycle / rate, 2.0), 1e8))
    smooth[later] = ewma(z, weight, 0.0)
    limit[later] = residual_limits(cycle[later] - start, s[later], history, weight, factor)
    return smooth, limit

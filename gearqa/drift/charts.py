"""What the charts of a series show, as arrays."""

from __future__ import annotations

import numpy as np

from gearqa.arrays import Array
from gearqa.drift.claims import SeriesModel
from gearqa.drift.control import Control
from gearqa.drift.outlook import Outlook
from gearqa.model.drift import ChartData

MOST_PLACES = 12
"""Positions of the averaged saw-tooth; of more positions groups of neighbours."""


def chart_data(one: SeriesModel, control: Control, outlook: Outlook) -> ChartData:
    """Arrays for the charts."""
    gears, fit, charts = one.gears, one.fits.mean, control.charts
    order, nothing = gears.order, np.zeros(0)
    saw = saw_tooth(one) if fit.identifiable else (nothing, nothing, nothing, nothing)
    risk = outlook.dress.risk or (nothing, nothing)
    return ChartData(
        serial=gears.serial,
        finished_at=gears.finished_at,
        cycle=gears.cycle + order.first_number,
        parts_since_dress=gears.parts_since_dress,
        value_um=gears.mean + one.label_effect,
        min_um=gears.low + one.label_effect,
        max_um=gears.high + one.label_effect,
        fitted_um=fit.levels[gears.cycle] + fit.at(gears.s) + one.label_effect,
        levels_centre_um=charts.centre,
        levels_lower_um=charts.lower,
        levels_upper_um=charts.upper,
        moving_range_um=charts.moving_range,
        moving_range_upper_um=charts.moving_range_upper,
        ewma=charts.ewma,
        ewma_limit=charts.ewma_limit,
        forecast=outlook.forecast.band,
        saw_parts=saw[0],
        saw_mean_um=saw[1],
        saw_se_um=saw[2],
        saw_curve_um=saw[3],
        risk_parts=risk[0],
        risk=risk[1],
        events=tuple((order.number(event.cycle), event.words) for event in one.levels.events),
    )


def saw_tooth(one: SeriesModel) -> tuple[Array, Array, Array, Array]:
    """Parts since dress, mean of the values less their level, its standard error, and the wear curve."""
    gears, fit = one.gears, one.fits.mean
    places, which = np.unique(gears.s, return_inverse=True)
    if len(places) > MOST_PLACES:
        edges = np.quantile(gears.s, np.linspace(0, 1, MOST_PLACES + 1)[1:-1])
        which = np.unique(np.searchsorted(edges, gears.s), return_inverse=True)[1]
    count = np.bincount(which)
    off = gears.mean - fit.levels[gears.cycle]
    mean_s, mean = (np.bincount(which, v) / count for v in (gears.s, off))
    return mean_s + 1, mean, fit.sd / np.sqrt(count), fit.at(mean_s)

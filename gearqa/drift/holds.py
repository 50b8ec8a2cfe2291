"""Which gears to hold after a signal."""

from __future__ import annotations

import numpy as np

from gearqa.drift.forecasting import ActionLimits
from gearqa.drift.series_gears import SeriesGears
from gearqa.model.drift import Quarantine, Signal


def gears_to_hold(gears: SeriesGears, signals: tuple[Signal, ...], limits: ActionLimits) -> Quarantine | None:
    """Return the gears since the last one measured good before the latest signal that counts.

    A signal of a level concerns its whole cycle, one of the residuals its gear.
    """
    counting = [signal for signal in signals if signal.current]
    if not counting:
        return None
    cycle = max(signal.cycle for signal in counting)
    place = {serial: i for i, serial in enumerate(gears.serial)}
    begin = int(np.searchsorted(gears.cycle, cycle - gears.order.first_number))
    starts = [
        place[signal.serial] if signal.chart == "residual_ewma" else begin
        for signal in counting
        if signal.cycle == cycle
    ]
    good = np.ones(len(gears.serial), dtype=np.bool_)
    if limits.low is not None:
        good &= gears.low >= limits.low
    if limits.high is not None:
        good &= gears.high <= limits.high
    before = np.flatnonzero(good[: min(starts)])
    start = int(before[-1]) + 1 if before.size else 0
    return Quarantine(
        after_serial=gears.serial[start - 1] if start else None,
        to_serial=gears.serial[-1],
        measured=gears.serial[start:],
    )

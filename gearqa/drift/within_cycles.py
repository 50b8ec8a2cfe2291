"""Wear within dress cycles: why it is unknown or doubtful."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from gearqa.drift.ordering import SeriesGears
from gearqa.errors import Notice, NoticeCode
from gearqa.statistics.wear import WearFit
from gearqa.wording.numbers import short_text


def wear_notices(gears: SeriesGears, fit: WearFit) -> Iterator[Notice]:
    """What makes the wear unknown or doubtful."""
    if not gears.order.known:
        yield Notice(NoticeCode.NO_CYCLES, "the dress cycles are not known: no levels, no wear")
        return
    if gears.has_positions and not fit.identifiable:
        same = float(np.ptp(fit.cycle_s)) == 0
        why = "every cycle was measured at the same part" if same else "no cycle holds two measured parts"
        yield Notice(NoticeCode.WEAR_NOT_IDENTIFIABLE, f"{why}: wear and level cannot be told apart")
    if fit.robust_differs:
        robust, mean = short_text(fit.robust_slope, 3), short_text(fit.slope, 3)
        yield Notice(
            NoticeCode.ROBUST_WEAR_DIFFERS,
            f"the robust wear rate is {robust} µm per part, the mean one {mean}: single parts pull",
        )


def no_wear_reason(gears: SeriesGears, fit: WearFit) -> str:
    """Why no wear can be shown."""
    if not gears.order.known:
        return "the dress cycles are not known"
    if not gears.has_positions:
        return "parts since dress are not known"
    if not fit.identifiable:
        return "wear and level cannot be told apart by the parts that were measured"
    return "wear is not proven, so no crossing can be shown"

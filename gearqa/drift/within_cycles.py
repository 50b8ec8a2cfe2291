"""Wear within dress cycles: fits of a series, and why wear is unknown or doubtful."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from gearqa.drift.ordering import SeriesGears
from gearqa.errors import Notice, NoticeCode
from gearqa.model.drift import DriftSettings
from gearqa.statistics.wear import WearFit, fit_wear
from gearqa.wording.numbers import signed_text

NOISE_P = 0.01
"""p of a scatter that does not grow, from which it is said to."""


@dataclass(frozen=True, eq=False, slots=True)
class WearFits:
    """Wear of the flank means, which claims go by, and of the traces at both limits."""

    mean: WearFit
    low: WearFit
    high: WearFit


def fit_cycles(gears: SeriesGears, settings: DriftSettings) -> WearFits:
    """Fit the wear of means and extremes."""
    sound = gears.order.sound

    def fit(y: object) -> WearFit:
        return fit_wear(gears.cycle, gears.s, y, settings.confidence, sound)  # type: ignore[arg-type]

    mean = fit(gears.mean)
    if gears.low is gears.mean and gears.high is gears.mean:
        return WearFits(mean, mean, mean)
    return WearFits(mean, fit(gears.low), fit(gears.high))


def wear_notices(gears: SeriesGears, fits: WearFits) -> Iterator[Notice]:
    """What makes the wear unknown or doubtful."""
    fit = fits.mean
    if not gears.order.known:
        yield Notice(NoticeCode.NO_CYCLES, "the dress cycles are not known: no levels, no wear")
        return
    if gears.has_positions and not fit.identifiable:
        yield Notice(
            NoticeCode.WEAR_NOT_IDENTIFIABLE, f"{_same_part(fit)}: wear and level cannot be told apart"
        )
    if fit.robust_differs:
        robust, mean = (signed_text(slope, 3) for slope in (fit.robust_slope, fit.slope))
        yield Notice(
            NoticeCode.ROBUST_WEAR_DIFFERS,
            f"the robust wear rate is {robust} µm per part, the mean one {mean}: single parts pull",
        )
    if fit.p_noise is not None and fit.p_noise <= NOISE_P:
        yield Notice(
            NoticeCode.NOISE_GROWS,
            "the scatter grows with the parts since dress: the bounds are too wide early and too narrow late "
            "in a cycle",
        )


def _same_part(fit: WearFit) -> str:
    if fit.counts.max() > 1:
        return "every cycle was measured at the same part"
    return "no cycle holds two measured parts"


def no_wear_reason(gears: SeriesGears, fit: WearFit) -> str:
    """Why no wear can be shown."""
    if not gears.order.known:
        return "the dress cycles are not known"
    if gears.order.doubt is not None:
        return gears.order.doubt
    if not gears.has_positions:
        return "parts since dress are not known"
    if not fit.identifiable:
        return "wear and level cannot be told apart by the parts that were measured"
    return "wear is not proven, so no crossing can be shown"

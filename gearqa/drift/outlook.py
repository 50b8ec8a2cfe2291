"""Where the wear of a series leads: parts to the limit and dress interval, since the last level change."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from gearqa.drift import phrases
from gearqa.drift.between_cycles import Levels
from gearqa.drift.dressing import DressAdvice, advise_interval
from gearqa.drift.forecasting import ActionLimits, Forecast, Side, action_limits, forecast_cycle
from gearqa.drift.series_gears import SeriesGears
from gearqa.drift.within_cycles import no_wear_reason
from gearqa.errors import Notice, NoticeCode
from gearqa.model.drift import DriftSettings
from gearqa.statistics.dress_interval import CAP
from gearqa.statistics.wear import WearFit


@dataclass(frozen=True, eq=False, slots=True)
class Outlook:
    """What is ahead of a series."""

    limits: ActionLimits
    usual: int | None
    """Usual parts per dress."""
    side: Side | None
    """Of the limit that a proven wear moves to."""
    forecast: Forecast
    dress: DressAdvice


def look_ahead(gears: SeriesGears, fit: WearFit, levels: Levels, settings: DriftSettings) -> Outlook:
    """Forecast and dress interval for a proven wear, else the reason that there are none."""
    newest = gears.order.observations[-1]
    limits = action_limits(newest.limit_low, newest.limit_high, newest.U)
    usual = _usual_interval(gears, levels.segment)
    if not (fit.identifiable and fit.significant):
        reason = no_wear_reason(gears, fit)
        return Outlook(limits, usual, None, Forecast(None, reason), DressAdvice(reason=reason))
    side: Side = "upper" if fit.slope > 0 else "lower"
    worst, opposite = (gears.highs, gears.lows) if side == "upper" else (gears.lows, gears.highs)
    trend = levels.trend.significant
    forecast = forecast_cycle(
        worst,
        levels.segment,
        limits.of(side),
        side,
        trend=trend,
        confidence=settings.confidence,
        horizon=float(max(usual or 0, 1.5 * (fit.s_max + 1))),
    )
    dress = advise_interval(
        worst, opposite, levels.segment, limits, side, trend=trend, risk=settings.risk, usual=usual
    )
    return Outlook(limits, usual, side, forecast, dress)


def _usual_interval(gears: SeriesGears, segment: int) -> int | None:
    """Median of the last part seen in each cycle of the segment, the running cycle left out."""
    order = gears.order
    if not order.known or bool(np.isnan(order.s).all()):
        return None
    last = np.full(order.cycles, -1.0)
    np.maximum.at(last, gears.cycle, gears.s)
    done = last[segment:-1] if order.cycles - segment > 1 else last[segment:]
    return int(np.median(done)) + 1


def outlook_notices(fit: WearFit, outlook: Outlook) -> Iterator[Notice]:
    """What makes forecast or dress interval doubtful."""
    parts = outlook.forecast.parts
    if parts is not None and parts.expected > CAP * (fit.s_max + 1):
        yield Notice(
            NoticeCode.FORECAST_FAR,
            "the limit lies beyond everything measured "
            f"({phrases.parts_count(round(fit.s_max + 1))} since dress): the forecast takes the wear as "
            "straight, and its interval is too short if the wear rate differs from cycle to cycle",
        )
    if fit.slope_variance_identifiable is False and outlook.dress.parts is not None:
        yield Notice(
            NoticeCode.SLOPE_VARIATION_UNKNOWN,
            "fewer than three parts per cycle: the dress interval does not allow for a wear rate that "
            "differs from cycle to cycle",
        )


def outlook_clauses(gears: SeriesGears, fit: WearFit, outlook: Outlook, risk: float) -> list[str]:
    """Wear, limit and dress interval in words."""
    forecast, dress = outlook.forecast, outlook.dress
    clauses = []
    if outlook.side is not None:
        _, _, parameter, flank = gears.key
        name = phrases.series_name(parameter, flank)
        clauses.append(phrases.wear_clause(name, parameter, fit.slope, (fit.low, fit.high)))
        if forecast.parts is not None:
            clauses.append(phrases.limit_clause(outlook.side, forecast.parts))
    if forecast.reason is not None:
        clauses.append(forecast.reason)
    if dress.parts is not None:
        clauses.append(phrases.dress_clause(dress.parts, dress.at_least, risk))
    elif dress.reason and dress.reason != forecast.reason:
        clauses.append(f"no dress interval: {dress.reason}")
    return clauses

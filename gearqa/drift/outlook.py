"""Where the wear of a series leads since the last level change: forecast, dress interval, gears to hold.

Forecast and dress interval go by the worst trace.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from scipy.special import stdtrit

from gearqa.drift import phrases
from gearqa.drift.between_cycles import Levels
from gearqa.drift.ordering import CycleValues, SeriesGears
from gearqa.drift.within_cycles import no_wear_reason
from gearqa.errors import Notice, NoticeCode
from gearqa.model.drift import DriftSettings, ForecastBand, LimitKind, PartsToLimit, Quarantine, Signal
from gearqa.statistics.dress_interval import (
    CAP,
    DressInterval,
    centred_dress_interval,
    cycle_history,
    dress_interval,
    part_variance_at,
)
from gearqa.statistics.forecast import CycleState, line_crossing, update_cycle
from gearqa.statistics.innovations import cycle_prior
from gearqa.statistics.wear import WearFit, fit_wear
from gearqa.wording.numbers import count_text

Side = Literal["upper", "lower"]

GUARD = 1.644854
"""One-sided 95 % of a normal value: the guard is this times U/2."""
CYCLES_FOR_INTERVAL = 6
FARTHEST = 100_000
"""A limit farther away is not forecast. [parts]"""
BAND_REACH = 4.0
"""How far the band for the chart goes on towards the limit, as a multiple of its usual horizon."""


@dataclass(frozen=True, slots=True)
class ActionLimits:
    """What a measured value may reach: limits less the guard where the uncertainty is known."""

    low: float | None
    high: float | None
    kind: LimitKind

    def of(self, side: Side) -> float | None:
        """Limit of one side."""
        return self.high if side == "upper" else self.low


@dataclass(frozen=True, eq=False, slots=True)
class Forecast:
    """Parts of the running cycle to the limit, or the reason that there are none."""

    parts: PartsToLimit | None
    reason: str | None
    band: ForecastBand | None = None


@dataclass(frozen=True, slots=True)
class DressAdvice:
    """Dress interval from the present level, and with the level moved; or the reason for none."""

    parts: int | None = None
    at_least: bool = False
    reason: str | None = None
    centred: DressInterval | None = None
    slack_um: float | None = None
    """Room that the usual last part leaves to the limit at the chosen risk."""


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
    limits = _action_limits(newest.limit_low, newest.limit_high, newest.U)
    usual = _usual_interval(gears, levels.segment)
    if not (fit.identifiable and fit.significant):
        reason = no_wear_reason(gears, fit)
        return Outlook(limits, usual, None, Forecast(None, reason), DressAdvice(reason=reason))
    side: Side = "upper" if fit.slope > 0 else "lower"
    forecast = forecast_cycle(
        gears.placed(gears.high if side == "upper" else gears.low),
        levels.segment,
        limits.of(side),
        side,
        trend=levels.trend.significant,
        confidence=settings.confidence,
        horizon=float(max(usual or 0, 1.5 * (fit.s_max + 1))),
    )
    dress = _dress_advice(gears, levels, limits, side, settings.risk, usual)
    return Outlook(limits, usual, side, forecast, dress)


def _action_limits(low: float | None, high: float | None, uncertainty: float | None) -> ActionLimits:
    """Acceptance limits of a value with this expanded uncertainty; the limits as they are without."""
    if low is None and high is None:
        return ActionLimits(None, None, "none")
    if uncertainty is None:
        return ActionLimits(low, high, "tolerance limit")
    guard = GUARD * uncertainty / 2
    return ActionLimits(
        None if low is None else low + guard, None if high is None else high - guard, "acceptance limit"
    )


def _usual_interval(gears: SeriesGears, segment: int) -> int | None:
    """Median of the last part seen in each cycle of the segment, the running cycle left out."""
    order = gears.order
    if not order.known or bool(np.isnan(order.s).all()):
        return None
    last = np.full(order.cycles, -1.0)
    np.maximum.at(last, gears.cycle, gears.s)
    done = last[segment:-1] if order.cycles - segment > 1 else last[segment:]
    return int(np.median(done)) + 1


# --- forecast -----------------------------------------------------------------------------------


def forecast_cycle(
    worst: CycleValues,
    segment: int,
    limit: float | None,
    side: Side,
    *,
    trend: bool,
    confidence: float,
    horizon: float,
) -> Forecast:
    """Parts of the running cycle until the worst trace reaches the limit, with a band for a chart.

    Cycles before `segment` are left out. The interval: a part made at `low` lies beyond with
    (1 - confidence)/2, at `high` with the rest.
    """
    state = _running_cycle(worst, segment, limit, trend=trend)
    if state is None:
        return Forecast(None, "too few measured parts to show the wear of this segment")
    band = _band(state, confidence, horizon)
    if limit is None:
        return Forecast(None, f"no {side} limit is known", band)
    if (state.slope > 0) != (side == "upper"):
        reason = "the wear of the worst trace is not proven, so no crossing can be shown"
        return Forecast(None, reason, band)
    found = line_crossing(
        state.level,
        state.slope,
        state.covariance,
        limit,
        state.dof,
        extra_variance=state.part_variance,
        confidence=confidence,
    )
    if found.expected is None or found.low is None or found.high is None:
        return Forecast(None, "the wear is not proven well enough, so no crossing can be shown", band)
    if found.expected > FARTHEST:
        return Forecast(None, f"the limit is more than {FARTHEST} parts away", band)
    expected, low, high = map(_parts, (found.expected, found.low, found.high))
    parts = PartsToLimit(expected, low, min(FARTHEST, high))
    reach = min(max(horizon, 1.05 * parts.high), BAND_REACH * horizon)
    return Forecast(parts, None, _band(state, confidence, reach))


def _parts(s: float) -> int:
    """Parts made inside the limit when it is reached at position s, counted from 0."""
    return max(0, math.floor(s + 1e-9) + 1)


def _running_cycle(
    worst: CycleValues, segment: int, limit: float | None, *, trend: bool
) -> CycleState | None:
    """Level and slope of the last cycle: expectation from earlier ones, updated by its own parts.

    The freedom is the smaller of those at the mean position and where the limit is expected.
    """
    cycle, s, y = worst
    last = int(cycle.max())
    own = cycle == last
    if last - segment >= CYCLES_FOR_INTERVAL:
        fit = fit_wear(*worst.within(segment, last))
        if fit.identifiable:
            history = cycle_history(fit, trend=trend)
            state = update_cycle(cycle_prior(history), s[own], y[own])
            ahead = fit.s_max if limit is None else (limit - state.level) / state.slope
            dof = part_variance_at(history, min(max(ahead, 0.0), float(FARTHEST)))[1]
            return replace(state, dof=min(state.dof, dof))
    fit = fit_wear(*worst)
    if not fit.identifiable:
        return None
    slope_var = max(fit.se_pooled, fit.se_jackknife) ** 2 + fit.slope_variance
    m, s_own = float(own.sum()), float(s[own].mean())
    level = float(y[own].mean()) - fit.slope * s_own
    covariance = np.array(
        [[fit.sd**2 / m + s_own**2 * slope_var, -s_own * slope_var], [-s_own * slope_var, slope_var]]
    )
    dof = fit.dof if fit.interval_kind == "pooled" else max(1, int(np.sum(fit.cycle_ss > 0)) - 1)
    return CycleState(level, fit.slope, covariance, fit.sd**2, float(dof))


def _band(state: CycleState, confidence: float, horizon: float) -> ForecastBand:
    s = np.linspace(0.0, max(horizon, 1.0), 41)
    mean = state.level + state.slope * s
    cov = state.covariance
    variance = cov[0, 0] + 2 * s * cov[0, 1] + s * s * cov[1, 1] + state.part_variance
    half = float(stdtrit(state.dof, (1 + confidence) / 2)) * np.sqrt(variance)
    return ForecastBand(s + 1, mean, mean - half, mean + half)


# --- dress interval -----------------------------------------------------------------------------


def _dress_advice(
    gears: SeriesGears, levels: Levels, limits: ActionLimits, side: Side, risk: float, usual: int | None
) -> DressAdvice:
    """Dress interval for the risk, from the cycles since the last level change."""
    limit, segment, cycles = limits.of(side), levels.segment, gears.order.cycles
    worst, opposite = (gears.high, gears.low) if side == "upper" else (gears.low, gears.high)
    if limit is None:
        return DressAdvice(reason=f"no {side} limit is known")
    if cycles - segment < CYCLES_FOR_INTERVAL:
        since = f"{count_text(cycles - segment, 'dress cycle')} since the last level change"
        return DressAdvice(reason=f"{since}: at least {CYCLES_FOR_INTERVAL} are needed")
    fit = fit_wear(*gears.placed(worst).within(segment, cycles))
    if not fit.identifiable or (fit.slope > 0) != (side == "upper"):
        return DressAdvice(reason="the wear since the last level change is not proven")
    history = cycle_history(fit, trend=levels.trend.significant)
    found = dress_interval(history, limit, risk)
    centred = slack = None
    if limits.low is not None and limits.high is not None:
        far = fit_wear(*gears.placed(opposite).within(segment, cycles))
        spread = abs(float(np.mean(fit.levels)) - float(np.mean(far.levels)))
        centred = centred_dress_interval(history, (limits.low, limits.high), risk, spread)
    if usual is not None:
        variance, dof = part_variance_at(history, usual - 1.0)
        margin = float(stdtrit(dof, 1 - risk)) * math.sqrt(variance)
        value = history.level + history.slope * (usual - 1)
        slack = limit - value - margin if side == "upper" else value - margin - limit
    if found is None:
        reason = "already the first part after a dress does not keep the risk"
        return DressAdvice(reason=reason, centred=centred, slack_um=slack)
    return DressAdvice(found.parts, found.at_least, None, centred, slack)


# --- gears to hold ------------------------------------------------------------------------------


def gears_to_hold(gears: SeriesGears, signals: tuple[Signal, ...], limits: ActionLimits) -> Quarantine | None:
    """Return the gears since the last one measured good before the latest signal that counts.

    A signal of a level concerns its whole cycle, one of the residuals its gear.
    """
    cycle = max((signal.cycle for signal in signals if signal.current), default=None)
    if cycle is None:
        return None
    begin = int(np.searchsorted(gears.cycle, cycle - gears.order.first_number))
    first = min(
        gears.serial.index(signal.serial) if signal.chart == "residual_ewma" else begin
        for signal in signals
        if signal.current and signal.cycle == cycle
    )
    good = np.ones(len(gears.serial), dtype=np.bool_)
    if limits.low is not None:
        good &= gears.low >= limits.low
    if limits.high is not None:
        good &= gears.high <= limits.high
    before = np.flatnonzero(good[:first])
    start = int(before[-1]) + 1 if before.size else 0
    return Quarantine(gears.serial[start - 1] if start else None, gears.serial[-1], gears.serial[start:])


# --- in words -----------------------------------------------------------------------------------


def outlook_notices(fit: WearFit, outlook: Outlook) -> Iterator[Notice]:
    """What makes forecast or dress interval doubtful."""
    parts = outlook.forecast.parts
    if parts is not None and parts.expected > CAP * (fit.s_max + 1):
        yield Notice(
            NoticeCode.FORECAST_FAR,
            "the limit lies beyond everything measured "
            f"({count_text(round(fit.s_max + 1), 'part')} since dress): the forecast takes the wear as "
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
        clauses.append(phrases.wear_clause(*gears.key[2:], fit.slope, (fit.low, fit.high)))
        if forecast.parts is not None:
            clauses.append(phrases.limit_clause(outlook.side, forecast.parts))
    if forecast.reason is not None:
        clauses.append(forecast.reason)
    if dress.parts is not None:
        clauses.append(phrases.dress_clause(dress.parts, dress.at_least, risk))
    elif dress.reason and dress.reason != forecast.reason:
        clauses.append(f"no dress interval: {dress.reason}")
    return clauses

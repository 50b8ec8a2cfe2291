"""Where the running cycle reaches the action limit, from the worst trace."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from scipy.special import stdtrit

from gearqa.drift.series_gears import CycleValues
from gearqa.model.drift import ForecastBand, LimitKind, PartsToLimit
from gearqa.statistics.dress_interval import cycle_history, part_variance_at
from gearqa.statistics.forecast import CycleState, line_crossing, update_cycle
from gearqa.statistics.innovations import cycle_prior
from gearqa.statistics.wear import fit_wear

Side = Literal["upper", "lower"]

GUARD = 1.644854
"""One-sided 95 % of a normal value: the guard is this times U/2."""
CYCLES_FOR_INTERVAL = 6
FARTHEST = 100_000
"""A forecast beyond so many parts is none."""
BAND_REACH = 4.0
"""The band for the chart goes on to the limit, up to so many times its usual horizon."""


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


def action_limits(low: float | None, high: float | None, uncertainty: float | None) -> ActionLimits:
    """Acceptance limits of a value with this expanded uncertainty; the limits as they are without."""
    if low is None and high is None:
        return ActionLimits(None, None, "none")
    if uncertainty is None:
        return ActionLimits(low, high, "tolerance limit")
    guard = GUARD * uncertainty / 2
    return ActionLimits(
        None if low is None else low + guard, None if high is None else high - guard, "acceptance limit"
    )


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
    parts = PartsToLimit(
        expected=_parts(found.expected), low=_parts(found.low), high=min(FARTHEST, _parts(found.high))
    )
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

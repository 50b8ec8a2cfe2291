"""How often to dress, from the worst trace."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.special import stdtrit

from gearqa.drift.forecasting import CYCLES_FOR_INTERVAL, ActionLimits, Side
from gearqa.drift.phrases import cycle_count
from gearqa.drift.series_gears import CycleValues
from gearqa.statistics.dress_interval import (
    CycleHistory,
    DressInterval,
    centred_dress_interval,
    cycle_history,
    dress_interval,
    part_variance_at,
)
from gearqa.statistics.wear import fit_wear


@dataclass(frozen=True, slots=True)
class DressAdvice:
    """Dress interval from the present level, and with the level moved; or the reason for none."""

    parts: int | None = None
    at_least: bool = False
    reason: str | None = None
    centred: DressInterval | None = None
    slack_um: float | None = None
    """Room that the usual last part leaves to the limit at the chosen risk."""


def advise_interval(
    worst: CycleValues,
    opposite: CycleValues,
    segment: int,
    limits: ActionLimits,
    side: Side,
    *,
    trend: bool,
    risk: float,
    usual: int | None,
) -> DressAdvice:
    """Dress interval for the risk; `opposite` holds the extreme traces that the wear moves away from."""
    limit = limits.of(side)
    cycles = int(worst.cycle.max()) + 1
    if limit is None:
        return DressAdvice(reason=f"no {side} limit is known")
    if cycles - segment < CYCLES_FOR_INTERVAL:
        since = f"{cycle_count(cycles - segment)} since the last level change"
        return DressAdvice(reason=f"{since}: at least {CYCLES_FOR_INTERVAL} are needed")
    fit = fit_wear(*worst.within(segment, cycles))
    if not fit.identifiable or (fit.slope > 0) != (side == "upper"):
        return DressAdvice(reason="the wear since the last level change is not proven")
    history = cycle_history(fit, trend=trend)
    found = dress_interval(history, limit, risk)
    centred = None
    if limits.low is not None and limits.high is not None:
        far = fit_wear(*opposite.within(segment, cycles))
        spread = abs(float(np.mean(fit.levels)) - float(np.mean(far.levels)))
        centred = centred_dress_interval(history, (limits.low, limits.high), risk, spread)
    slack = None
    if usual is not None:
        value, margin = _last_part(history, risk, usual)
        slack = limit - value - margin if side == "upper" else value - margin - limit
    if found is None:
        reason = "already the first part after a dress does not keep the risk"
        return DressAdvice(reason=reason, centred=centred, slack_um=slack)
    return DressAdvice(found.parts, found.at_least, None, centred, slack)


def _last_part(history: CycleHistory, risk: float, parts: int) -> tuple[float, float]:
    """Expected value of the last of so many parts, and its margin at the risk."""
    variance, dof = part_variance_at(history, parts - 1.0)
    return history.level + history.slope * (parts - 1), float(stdtrit(dof, 1 - risk)) * math.sqrt(variance)

"""How many parts between dresses for a chosen risk that the last one lies beyond the limit."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from scipy.special import stdtrit

from gearqa.statistics.wear import WearFit

LEAST_VARIANCE = 1e-12
"""A picometre squared: variances below are taken for rounding. [um^2]"""
CAP = 1.5
"""Never recommended beyond this times the largest position seen."""


@dataclass(frozen=True, slots=True)
class CycleHistory:
    """What past cycles say about a coming one. `level` is at s = 0, `m` parts measured per cycle."""

    cycles: int
    m: float
    s_mean: float
    S_ss: float
    s_max: float
    level: float
    slope: float
    between: float
    """S_B^2, variance of the cycle means. [um^2]"""
    within: float
    """s_w^2, variance within cycles. [um^2]"""
    within_dof: int
    slope_variance: float = 0.0
    leverage: float | None = None
    """Variance of `level` as a share of `between`, where a trend was extrapolated; None: 1/C."""
    between_dof: int | None = None
    """None: C - 1."""

    @property
    def level_leverage(self) -> float:
        """Variance of the level as a share of `between`. [-]"""
        return 1 / self.cycles if self.leverage is None else self.leverage

    @property
    def level_dof(self) -> int:
        """Degrees of freedom of `between`. [-]"""
        return max(1, self.cycles - 1 if self.between_dof is None else self.between_dof)

    @property
    def level_variance(self) -> float:
        """Variance of the true level at s = 0 from cycle to cycle, q_M. [um^2]"""
        return max(0.0, self.between - self.within / self.m - self.slope_variance * self.s_mean**2)


@dataclass(frozen=True, slots=True)
class DressInterval:
    """Parts between dresses; `s` is the position of the last part, counted from 0."""

    parts: int
    s: float
    at_least: bool
    """True: the history reaches no further, the true interval may be longer."""
    variance: float
    dof: float
    offset: float | None = None
    """Level at s = 0 that centres the cycle less the present one, for a free level. [um]"""


def cycle_history(fit: WearFit, *, trend: bool = False) -> CycleHistory:
    """Numbers of a wear fit that the dress interval rests on.

    Analysis of variance of the one-way random model with covariate.

    Parameters
    ----------
    fit : WearFit
        Wear of the cycles after the last level change. [um, parts]
    trend : bool
        Take the level of the next cycle from a straight line through the levels, not from their mean.
        [-]

    Returns
    -------
    CycleHistory
        Summary. [um, parts]

    Notes
    -----
    Unequal numbers of parts enter by their harmonic mean.

    Examples
    --------
    >>> from gearqa.statistics.wear import fit_wear
    >>> y = np.array([0.1, 0.4, 1.1, 0.0, 0.6, 1.0, 0.3, 0.7, 1.2])
    >>> fit = fit_wear(np.repeat(np.arange(3), 3), np.tile([0.0, 10.0, 20.0], 3), y)
    >>> round(cycle_history(fit).between, 6)
    0.013333
    """
    at_mean = fit.levels + fit.slope * fit.s_mean
    level, leverage, between_dof = float(np.mean(fit.levels)), None, None
    if trend and fit.cycles >= 4:
        c = np.arange(fit.cycles) - (fit.cycles - 1) / 2
        S_cc = float(c @ c)
        drift = float(c @ at_mean) / S_cc
        ahead = (fit.cycles + 1) / 2
        between_dof = fit.cycles - 2
        residual = at_mean - at_mean.mean() - drift * c
        between = float(residual @ residual) / between_dof
        level += drift * ahead
        leverage = 1 / fit.cycles + ahead**2 / S_cc
    else:
        between = float(np.var(at_mean, ddof=1))
    return CycleHistory(
        cycles=fit.cycles,
        m=1 / float(np.mean(1 / fit.counts)),
        s_mean=fit.s_mean,
        S_ss=fit.S_ss,
        s_max=fit.s_max,
        level=level,
        slope=fit.slope,
        between=max(between, LEAST_VARIANCE),
        within=max(fit.sd**2, LEAST_VARIANCE),
        within_dof=fit.dof,
        slope_variance=fit.slope_variance,
        leverage=leverage,
        between_dof=between_dof,
    )


def part_variance_at(history: CycleHistory, s: float) -> tuple[float, float]:
    r"""Variance of a part at position s of a coming cycle about its forecast, and its freedom.

    Prediction variance of the one-way random model with a random slope; freedom by Satterthwaite
    (1946).

    .. math::
        V(s) = S_B^2(1 + 1/C) + s_w^2\left[(1 - 1/m) + (s - \bar s)^2/S_{ss}\right] + q_b(1 + 1/C)s^2

    Parameters
    ----------
    history : CycleHistory
        Past cycles. [um, parts]
    s : float
        Position, 0 for the first part after dress. [parts]

    Returns
    -------
    tuple of float
        Variance and degrees of freedom. [um^2, -]

    Notes
    -----
    The uncertainty of level and wear rate is inside.

    Examples
    --------
    >>> h = CycleHistory(20, 4, 13.5, 8100, 27, 0.0, 0.055, 0.3717**2, 0.25**2, 59)
    >>> tuple(round(v, 4) for v in part_variance_at(h, 70.376))
    (0.2169, 39.3672)
    """
    C = history.cycles
    by_cycle = history.between * (1 + history.level_leverage)
    by_part = history.within * ((1 - 1 / history.m) + (s - history.s_mean) ** 2 / history.S_ss)
    by_slope = history.slope_variance * (1 + 1 / C) * s**2
    total = by_cycle + by_part + by_slope
    if total <= 0:
        return 0.0, float(history.level_dof)
    parts = by_cycle**2 / history.level_dof + by_part**2 / history.within_dof + by_slope**2 / (C - 1)
    return float(total), float(total**2 / parts)


def _margin(history: CycleHistory, s: float, risk: float) -> float:
    variance, dof = part_variance_at(history, s)
    return float(stdtrit(dof, 1 - risk)) * math.sqrt(variance)


def dress_interval(history: CycleHistory, limit: float, risk: float) -> DressInterval | None:
    r"""Longest cycle from the present level whose last part keeps the risk.

    Prediction bound of a part of a coming cycle (see `part_variance_at`).

    .. math:: M + b s + t_{1-p;\nu}\sqrt{V(s)} \le U \quad (b > 0; \text{mirrored for } b < 0)

    Parameters
    ----------
    history : CycleHistory
        Past cycles after the last level change. [um, parts]
    limit : float
        The limit the wear moves to: upper for a positive slope, lower for a negative one. [um]
    risk : float
        Probability that the last part lies beyond. [-]

    Returns
    -------
    DressInterval or None
        None if the first part after dress does not keep the risk. [parts, um]

    Notes
    -----
    Not beyond 1.5 times the largest position seen; then `at_least` is true.

    Examples
    --------
    >>> h = CycleHistory(20, 4, 13.5, 8100, 200, 0.0, 0.055, 0.3717**2, 0.25**2, 59)
    >>> found = dress_interval(h, 5.0, 0.01)
    >>> round(found.s, 3), found.parts
    (70.376, 71)
    """
    direction = math.copysign(1.0, history.slope)

    def excess(s: float) -> float:
        return direction * (history.level + history.slope * s - limit) + _margin(history, s, risk)

    return _longest(history, excess)


def centred_dress_interval(
    history: CycleHistory, limits: tuple[float, float], risk: float, spread: float = 0.0
) -> DressInterval | None:
    r"""Longest cycle with the level free, both limits kept, and the offset that gets there.

    Prediction bounds at both ends of a coming cycle (see `part_variance_at`).

    .. math:: |b| s + t\sqrt{V(0)} + t\sqrt{V(s)} = U - L

    Parameters
    ----------
    history : CycleHistory
        Past cycles after the last level change. [um, parts]
    limits : tuple of float
        Lower and upper limit. [um]
    risk : float
        Probability that the first, and that the last part lies beyond. [-]
    spread : float
        Width that the traces of one gear take: level of the largest less that of the smallest where
        conformity goes by the worst trace and `history` is of the one on the wear side. [um]

    Returns
    -------
    DressInterval or None
        None if the limits leave no room even for one part. [parts, um]

    Notes
    -----
    Where the history ends the interval, the room left over is shared between both ends.

    Examples
    --------
    >>> h = CycleHistory(20, 4, 13.5, 8100, 200, 0.0, 0.055, 0.3717**2, 0.25**2, 59)
    >>> found = centred_dress_interval(h, (-3.0, 3.0), 0.01)
    >>> found.parts, round(found.offset, 3)
    (70, -1.924)
    """
    low, high = limits
    width = high - low - spread
    at_start = _margin(history, 0.0, risk)

    def excess(s: float) -> float:
        return abs(history.slope) * s + at_start + _margin(history, s, risk) - width

    found = _longest(history, excess)
    if found is None:
        return None
    slack = -excess(found.s) / 2 if found.at_least else 0.0
    end = spread + at_start + slack
    start = low + end if history.slope > 0 else high - end
    return replace(found, offset=start - history.level)


def _longest(history: CycleHistory, excess: Callable[[float], float]) -> DressInterval | None:
    from scipy.optimize import brentq

    if excess(0.0) > 0:
        return None
    cap = CAP * history.s_max
    # The excess rises beyond its minimum only; walk out until it is positive or the cap is reached.
    places = np.linspace(0.0, cap, 200)
    positive = [float(s) for s in places if excess(float(s)) > 0]
    if not positive:
        variance, dof = part_variance_at(history, cap)
        return DressInterval(math.floor(cap) + 1, cap, True, variance, dof)
    step = float(places[1])
    s = float(brentq(excess, positive[0] - step, positive[0], xtol=1e-9))
    variance, dof = part_variance_at(history, s)
    return DressInterval(math.floor(s + 1e-9) + 1, s, False, variance, dof)

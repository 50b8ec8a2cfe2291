"""Wear between dresses: pooled slope within cycles, levels after dress, trend, variance components.

Value = level after the dress of its cycle + wear rate x parts since dress + noise. Cycles are
numbered 0..C-1 in production order; `s` counts parts since dress from 0.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from scipy.special import stdtr, stdtrit

from gearqa.arrays import Array, IntArray


@dataclass(frozen=True, eq=False, slots=True)
class WearFit:
    """What `fit_wear` found. Micrometres where the values are micrometres."""

    cycles: int
    dof: int
    """Degrees of freedom of the residual variance, n - C - 1."""
    sd: float
    """Residual standard deviation within cycles, s_w."""
    s_mean: float
    """Mean position over all values. [parts]"""
    s_max: float
    S_ss: float
    """Sum of squares of s about the cycle means. [parts^2]"""
    counts: IntArray
    """Values per cycle. shape (C,)"""
    cycle_means: Array
    cycle_s: Array
    """Mean position per cycle. shape (C,)"""
    levels: Array
    """Level at s = 0 per cycle; the cycle mean where the slope is not identifiable. shape (C,)"""
    levels_se: Array
    cycle_slopes: Array
    """Slope of each cycle alone, NaN below two positions. shape (C,)"""
    cycle_ss: Array
    """Sum of squares of s per cycle. shape (C,)"""
    identifiable: bool = False
    """False: no cycle holds two values at different s; slope and its companions are NaN."""
    slope: float = math.nan
    """Pooled within-cycle slope. [um/part]"""
    low: float = math.nan
    high: float = math.nan
    significant: bool = False
    """Whether the interval leaves out 0."""
    interval_kind: str = "none"
    """'jackknife' or 'pooled': the wider of the two is given."""
    se_pooled: float = math.nan
    se_jackknife: float = math.nan
    robust_slope: float = math.nan
    """Median of all within-cycle slopes of two values (Theil-Sen)."""
    slope_variance: float = 0.0
    """q_b: variance of the true slope from cycle to cycle, 0 where not identifiable."""
    slope_variance_identifiable: bool = False

    @property
    def robust_differs(self) -> bool:
        """Whether the robust slope lies more than two standard errors from the pooled one."""
        if not self.identifiable:
            return False
        return abs(self.robust_slope - self.slope) > 2 * max(self.se_jackknife, self.se_pooled)


@dataclass(frozen=True, slots=True)
class Trend:
    """Slow trend of the levels from cycle to cycle, with the level changes in the model."""

    slope: float
    """[um/cycle]"""
    low: float
    high: float
    p: float
    significant: bool
    step_sizes: tuple[float, ...]
    """New less old level at each level change, the trend in the model only if significant."""
    sd: float
    """Standard deviation of the levels about the model."""
    dof: int


def fit_wear(cycle: IntArray, s: Array, y: Array, confidence: float = 0.95) -> WearFit:
    r"""Pooled within-cycle slope with an interval that honours cycle-to-cycle variation.

    Analysis of covariance with one intercept per cycle; delete-one-cycle jackknife (Efron and
    Tibshirani, An Introduction to the Bootstrap, 1993, chapter 11, from memory).

    .. math::
        b = \frac{\sum_c \sum (s - \bar s_c)(y - \bar y_c)}{\sum_c \sum (s - \bar s_c)^2},\quad
        se^2 = \frac{C-1}{C} \sum_c (b_{(-c)} - b)^2

    Parameters
    ----------
    cycle : ndarray of int, shape (n,)
        Cycle of each value, 0..C-1, every number used. [-]
    s : ndarray, shape (n,)
        Parts since dress, 0 for the first. [parts]
    y : ndarray, shape (n,)
        Values. [um]
    confidence : float
        Of the interval. [-]

    Returns
    -------
    WearFit
        Slope, interval, levels, variances. [um, parts]

    Notes
    -----
    The interval is the wider of the jackknife one (t with J - 1, J cycles that carry a slope) and
    the pooled one (t with n - C - 1). The variance of slopes needs three values per cycle.

    Examples
    --------
    >>> cycle = np.repeat(np.arange(4), 3)
    >>> s = np.tile([0.0, 10.0, 20.0], 4)
    >>> y = 0.05 * s + np.repeat([0.1, -0.2, 0.3, 0.0], 3) + np.tile([0.1, -0.2, 0.1], 4)
    >>> fit = fit_wear(cycle, s, y)
    >>> round(fit.slope, 4), fit.levels.round(4).tolist()
    (0.05, [0.1, -0.2, 0.3, 0.0])
    """
    cycle, s, y = np.asarray(cycle, dtype=np.int64), np.asarray(s, float), np.asarray(y, float)
    n, C = len(y), int(cycle.max()) + 1
    counts = np.bincount(cycle, minlength=C)
    mean_s = np.bincount(cycle, s, C) / counts
    mean_y = np.bincount(cycle, y, C) / counts
    ds, dy = s - mean_s[cycle], y - mean_y[cycle]
    S_c: Array = np.bincount(cycle, ds * ds, C).astype(np.float64)
    P_c = np.bincount(cycle, ds * dy, C)
    S_c[S_c < 1e-9] = 0.0
    S_ss = float(S_c.sum())
    carries = S_c > 0
    slopes = np.full(C, np.nan)
    slopes[carries] = P_c[carries] / S_c[carries]
    within = n - C
    sd = math.sqrt(float(np.sum(dy * dy)) / within) if within > 0 else math.nan
    flat = WearFit(
        cycles=C, dof=max(within, 0), sd=sd, s_mean=float(s.mean()), s_max=float(s.max()), S_ss=S_ss,
        counts=counts, cycle_means=mean_y, cycle_s=mean_s, levels=mean_y, levels_se=sd / np.sqrt(counts),
        cycle_slopes=slopes, cycle_ss=S_c,
    )  # fmt: skip
    dof = within - 1
    if S_ss <= 0 or dof < 1:
        return flat
    slope = float(P_c.sum()) / S_ss
    sd = math.sqrt(float(np.sum((dy - slope * ds) ** 2)) / dof)
    se_pooled = sd / math.sqrt(S_ss)
    half = float(stdtrit(dof, (1 + confidence) / 2)) * se_pooled
    kind, se_jackknife = "pooled", se_pooled
    J = int(carries.sum())
    if J >= 2:
        without = (P_c.sum() - P_c[carries]) / (S_ss - S_c[carries])
        se_jackknife = math.sqrt((J - 1) / J * float(np.sum((without - slope) ** 2)))
        jackknife_half = float(stdtrit(J - 1, (1 + confidence) / 2)) * se_jackknife
        if jackknife_half >= half:
            kind, half = "jackknife", jackknife_half
    slope_variance, known = _slope_variance(slopes, S_c, counts, ds, dy, cycle)
    return replace(
        flat, identifiable=True, slope=slope, low=slope - half, high=slope + half,
        significant=abs(slope) > half, interval_kind=kind, se_pooled=se_pooled, se_jackknife=se_jackknife,
        dof=dof, sd=sd, robust_slope=theil_sen_within(cycle, s, y), levels=mean_y - slope * mean_s,
        levels_se=np.sqrt(sd**2 / counts + (mean_s * max(se_pooled, se_jackknife)) ** 2),
        slope_variance=slope_variance, slope_variance_identifiable=known,
    )  # fmt: skip


def _slope_variance(
    slopes: Array, S_c: Array, counts: IntArray, ds: Array, dy: Array, cycle: IntArray
) -> tuple[float, bool]:
    """q_b = max(0, var(b_c) - s_22^2 mean(1/S_c)), over the cycles with three values or more."""
    usable = (counts >= 3) & (S_c > 0)
    k = int(usable.sum())
    if k < 3:
        return 0.0, False
    member = usable[cycle]
    own = dy[member] - slopes[cycle[member]] * ds[member]
    dof = int(counts[usable].sum()) - 2 * k
    residual = float(np.sum(own * own)) / dof
    return max(0.0, float(np.var(slopes[usable], ddof=1)) - residual * float(np.mean(1 / S_c[usable]))), True


def theil_sen_within(cycle: IntArray, s: Array, y: Array) -> float:
    """Median of the slopes of all pairs of values of one cycle.

    Theil (1950), Sen (1968), with pairs taken within cycles only.

    Parameters
    ----------
    cycle : ndarray of int, shape (n,)
        Cycle of each value. [-]
    s : ndarray, shape (n,)
        Parts since dress. [parts]
    y : ndarray, shape (n,)
        Values. [um]

    Returns
    -------
    float
        Robust slope; NaN without a pair at different s. [um/part]

    Notes
    -----
    Pairs are formed by lags of the values sorted by cycle, so memory grows with n times the largest
    cycle, not with its square.

    Examples
    --------
    >>> theil_sen_within(np.zeros(6, int), np.arange(6.0), np.array([0.0, 1.0, 2.0, 3.0, 4.0, 90.0]))
    1.0
    """
    order = np.lexsort((s, cycle))
    c, t, v = cycle[order], s[order], y[order]
    pairs: list[Array] = []
    for lag in range(1, int(np.bincount(c).max())):
        step = t[lag:] - t[:-lag]
        ok = (c[lag:] == c[:-lag]) & (step > 0)
        pairs.append((v[lag:] - v[:-lag])[ok] / step[ok])
    slopes = np.concatenate(pairs) if pairs else np.array([])
    return float(np.median(slopes)) if slopes.size else math.nan


def fit_trend(levels: Array, starts: tuple[int, ...], confidence: float = 0.95, alpha: float = 0.01) -> Trend:
    r"""Linear trend of the levels with the level changes that were found in the model.

    Ordinary least squares, e.g. Draper and Smith, Applied Regression Analysis.

    .. math:: x_c = M + \delta c + \sum_j \Delta_j [c \ge k_j] + e

    Parameters
    ----------
    levels : ndarray, shape (C,)
        Level of each cycle in production order. [um]
    starts : tuple of int
        First cycle of each new level (0..C-1), empty without level changes. [-]
    confidence : float
        Of the interval. [-]
    alpha : float
        A trend is significant below this p. [-]

    Returns
    -------
    Trend
        Trend per cycle, interval, p, sizes of the level changes. [um, um/cycle]

    Notes
    -----
    Below 12 cycles a trend and a level change are hard to tell apart.

    Examples
    --------
    >>> trend = fit_trend(np.array([0, 0.1, 0.2, 0.3, 2.4, 2.5, 2.6, 2.7]) + np.tile([0.01, -0.01], 4), (4,))
    >>> round(trend.slope, 2), round(trend.step_sizes[0], 1), trend.significant
    (0.1, 2.0, True)
    """
    C = len(levels)
    c = np.arange(C, dtype=np.float64)
    columns = [np.ones(C), *((c >= k).astype(np.float64) for k in starts)]
    with_trend = np.column_stack([*columns, c - c.mean()])
    dof = C - with_trend.shape[1]
    slope, low, high, p, significant = math.nan, math.nan, math.nan, 1.0, False
    if dof >= 1:
        inverse = np.linalg.inv(with_trend.T @ with_trend)
        coefficients = inverse @ with_trend.T @ levels
        residual = levels - with_trend @ coefficients
        variance = float(residual @ residual) / dof
        se = math.sqrt(max(variance * inverse[-1, -1], 0.0))
        slope = float(coefficients[-1])
        half = float(stdtrit(dof, (1 + confidence) / 2)) * se
        low, high = slope - half, slope + half
        p = float(2 * stdtr(dof, -abs(slope) / se)) if se > 0 else 0.0
        significant = p <= alpha
    if significant:
        design = with_trend
    else:
        design = np.column_stack(columns)
        dof = C - design.shape[1]
    if dof < 1:
        return Trend(math.nan, math.nan, math.nan, 1.0, False, (), math.nan, 0)
    coefficients = np.linalg.lstsq(design, levels, rcond=None)[0]
    residual = levels - design @ coefficients
    sizes = tuple(float(v) for v in coefficients[1 : 1 + len(starts)])
    return Trend(slope, low, high, p, significant, sizes, math.sqrt(float(residual @ residual) / dof), dof)


def cycle_sd(level_sd: float, sd: float, counts: IntArray) -> float:
    r"""Standard deviation of the true level from dress to dress, part scatter taken out.

    Method of moments of the one-way random model.

    .. math:: \sqrt{\max(0, S_x^2 - s_w^2\,\overline{1/m_c})}

    Parameters
    ----------
    level_sd : float
        Standard deviation of the cycle means about their model. [um]
    sd : float
        Standard deviation within cycles. [um]
    counts : ndarray of int, shape (C,)
        Values per cycle. [-]

    Returns
    -------
    float
        Standard deviation of the level; 0 when the estimate is negative. [um]

    Notes
    -----
    None.

    Examples
    --------
    >>> round(cycle_sd(0.5, 0.6, np.array([4, 4, 4])), 3)
    0.4
    """
    part = 0.0 if math.isnan(sd) else sd**2 * float(np.mean(1 / counts))
    return math.sqrt(max(0.0, level_sd**2 - part))

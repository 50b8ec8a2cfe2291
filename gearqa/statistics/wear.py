"""Wear between dresses: the slope and the curve inside dress cycles, and the level of each cycle.

Value = level of its cycle + wear curve at its part + noise. Cycles are numbered 0..C-1 in production
order; `s` counts parts since dress from 0. The curve is made of chords between knots, so that it
follows wear that is not straight.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.special import chdtrc, fdtrc, stdtr, stdtrit

from gearqa.arrays import Array, BoolArray, IntArray

MOST_KNOTS = 6
"""Up to so many measured positions each is a knot; else a few quantiles are."""
QUANTILES = (0.0, 1 / 3, 2 / 3, 1.0)
BENT = 0.05
"""p of a straight line from which the wear counts as curved."""
LEAST_VARIANCE = 1e-12
"""A picometre squared: variances below are taken for rounding. [um^2]"""


@dataclass(frozen=True, eq=False, slots=True)
class WearCurve:
    """Chords over the parts since dress, 0 at the first knot, and what surrounds them."""

    knots: Array
    """shape (k + 1,); two knots are a straight line"""
    rises: Array
    """Height at each knot but the first. shape (k,)"""
    G: Array
    """Covariance of `rises` over the variance within cycles. shape (k, k)"""
    centre: Array
    """Mean of the hat functions over the cycles. shape (k,)"""
    cycles: int
    m: float
    """Parts measured in a cycle (harmonic mean)."""
    within: float
    """s_w^2, variance of a part within its cycle. [um^2]"""
    within_dof: int
    slope_variance: float = 0.0
    """q_b, variance of the true slope from cycle to cycle. [um^2/part^2]"""

    def at(self, s: Array) -> Array:
        """Height of the curve. Beyond the knots the outer chords continue."""
        return np.asarray(hats(s, self.knots) @ self.rises, dtype=np.float64)

    def leverage(self, s: Array) -> Array:
        """Variance of the curve at s about its mean over `within`."""
        off = hats(s, self.knots) - self.centre
        return np.asarray(np.sum((off @ self.G) * off, axis=-1), dtype=np.float64)


@dataclass(frozen=True, eq=False, slots=True)
class WearFit:
    """What `fit_wear` found. Micrometres where the values are micrometres."""

    cycles: int
    counts: IntArray
    """Values per cycle. shape (C,)"""
    levels: Array
    """Cycle mean of the values less the curve. shape (C,)"""
    levels_se: Array
    curve: WearCurve | None
    """None: no cycle holds two values at different s; slope and its companions are NaN."""
    sd: float
    """Standard deviation of a part within its cycle; NaN where no cycle holds two values."""
    dof: int
    s_max: float
    s_mean: float
    S_ss: float
    """Sum of squares of s about the cycle means. [parts^2]"""
    slope: float = math.nan
    """Pooled within-cycle slope. [um/part]"""
    low: float = math.nan
    high: float = math.nan
    p: float = 1.0
    """Of no wear: the larger of the pooled and the delete-one-cycle test."""
    p_curve: float | None = None
    """Of a straight line against the chords; None where two positions only were measured."""
    p_noise: float | None = None
    """Of a scatter that does not grow with the parts since dress."""
    robust_slope: float = math.nan
    """Median of all within-cycle slopes of two values (Theil-Sen)."""
    se: float = math.nan
    """Larger standard error of the slope."""
    slope_variation_known: bool = False

    @property
    def identifiable(self) -> bool:
        """Whether wear and level can be told apart."""
        return self.curve is not None

    @property
    def curved(self) -> bool | None:
        """Whether the wear is not straight; None where that cannot be told."""
        return None if self.p_curve is None else self.p_curve <= BENT

    @property
    def significant(self) -> bool:
        """Whether the interval of the slope leaves out 0."""
        return self.low > 0 or self.high < 0

    @property
    def robust_differs(self) -> bool:
        """Whether the robust slope lies more than two standard errors from the pooled one."""
        return self.identifiable and abs(self.robust_slope - self.slope) > 2 * self.se

    def at(self, s: Array) -> Array:
        """Height of the curve; 0 where no wear can be told."""
        return np.zeros(len(s)) if self.curve is None else self.curve.at(s)


def hats(s: Array, knots: Array) -> Array:
    r"""Hat functions of the knots but the first.

    Linear B-splines, e.g. de Boor, A Practical Guide to Splines (from memory).

    .. math:: B_j(k_i) = \delta_{ij}, \text{ linear between knots}

    Parameters
    ----------
    s : ndarray, shape (n,)
        Parts since dress. [parts]
    knots : ndarray, shape (k + 1,)
        Knots in order. [parts]

    Returns
    -------
    ndarray, shape (n, k)
        Hat functions; beyond the knots the outer chords continue. [-]

    Examples
    --------
    >>> hats(np.array([0.0, 5.0, 10.0, 30.0]), np.array([0.0, 10.0, 20.0])).tolist()
    [[0.0, 0.0], [0.5, 0.0], [1.0, 0.0], [-1.0, 2.0]]
    """
    s = np.asarray(s, dtype=np.float64)
    i = np.clip(np.searchsorted(knots, s, side="right") - 1, 0, len(knots) - 2)
    t = (s - knots[i]) / (knots[i + 1] - knots[i])
    found = np.zeros((len(s), len(knots)))
    row = np.arange(len(s))
    found[row, i], found[row, i + 1] = 1 - t, t
    return found[:, 1:]


def place_knots(s: Array) -> Array:
    """Knots for measured positions: each of them up to six, else four quantiles.

    Own rule, no published source.

    Parameters
    ----------
    s : ndarray, shape (n,)
        Parts since dress of all values. [parts]

    Returns
    -------
    ndarray, shape (k + 1,)
        Knots in order, the first and last measured position among them. [parts]

    Examples
    --------
    >>> place_knots(np.array([0.0, 19.0, 39.0, 0.0, 19.0])).tolist()
    [0.0, 19.0, 39.0]
    """
    places = np.unique(s)
    return places if len(places) <= MOST_KNOTS else np.unique(np.quantile(s, QUANTILES, method="nearest"))


def fit_wear(
    cycle: IntArray, s: Array, y: Array, confidence: float = 0.95, sound: BoolArray | None = None,
    *, straight: bool = False,
) -> WearFit:  # fmt: skip
    r"""Slope and curve within cycles, with an interval that honours cycle-to-cycle variation.

    Analysis of covariance with one intercept per cycle; delete-one-cycle jackknife (Efron and
    Tibshirani, An Introduction to the Bootstrap, 1993, chapter 11, from memory).

    .. math::
        b = \frac{\sum_c \sum (s - \bar s_c)(y - \bar y_c)}{\sum_c \sum (s - \bar s_c)^2},\quad
        se^2 = \frac{J-1}{J} \sum_c (b_{(-c)} - b)^2

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
    sound : ndarray of bool, shape (C,), optional
        Cycles whose positions can be believed; the others say nothing about wear and scatter. [-]
    straight : bool
        One chord from the first to the last knot. [-]

    Returns
    -------
    WearFit
        Slope, interval, curve, levels, variances. [um, parts]

    Notes
    -----
    The interval is the wider of the jackknife one (t with J - 1, J cycles that carry a slope) and
    the pooled one (t with n - C - 1), the p the larger. The variance of slopes needs three cycles of
    three values.

    Examples
    --------
    >>> cycle = np.repeat(np.arange(4), 3)
    >>> s = np.tile([0.0, 10.0, 20.0], 4)
    >>> y = 0.05 * s + np.repeat([0.1, -0.2, 0.3, 0.0], 3) + np.tile([0.1, -0.2, 0.1], 4)
    >>> fit = fit_wear(cycle, s, y)
    >>> round(fit.slope, 4), fit.levels.round(4).tolist(), fit.p_curve < 1e-9
    (0.05, [0.2, -0.1, 0.4, 0.1], True)
    """
    cycle, s, y = np.asarray(cycle, dtype=np.int64), np.asarray(s, float), np.asarray(y, float)
    C = int(cycle.max()) + 1
    counts = np.bincount(cycle, minlength=C)
    use = np.ones(len(y), dtype=np.bool_) if sound is None else sound[cycle]
    ds, dy = _centred(cycle, s, counts) * use, _centred(cycle, y, counts) * use
    S_c: Array = np.bincount(cycle, ds * ds, C).astype(np.float64)
    P_c: Array = np.bincount(cycle, ds * dy, C).astype(np.float64)
    S_c[S_c < 1e-9] = 0.0
    S_ss = float(S_c.sum())
    mean_y = np.bincount(cycle, y, C) / counts
    within = int(np.sum((counts - 1)[np.ones(C, dtype=np.bool_) if sound is None else sound]))
    sd = math.sqrt(float(dy @ dy) / within) if within > 0 else math.nan
    flat = WearFit(
        cycles=C, counts=counts, levels=mean_y, levels_se=sd / np.sqrt(counts), curve=None, sd=sd, dof=within,
        s_max=float(s[use].max()) if use.any() else 0.0, s_mean=float(s.mean()), S_ss=S_ss,
    )  # fmt: skip
    dof = within - 1
    if S_ss <= 0 or dof < 1:
        return flat
    slope = float(P_c.sum()) / S_ss
    line_rss = float(np.sum((dy - slope * ds) ** 2))
    low, high, se, p = _slope_interval(slope, line_rss / dof, S_c, P_c, dof, confidence)
    places = np.array([s[use].min(), s[use].max()]) if straight else place_knots(s[use])
    knots, B, mean_B, p_curve = _curve(cycle, s, places, counts, use, within)
    H = B * use[:, None]
    if p_curve is None:
        rises, rss = np.array([slope * float(knots[-1] - knots[0])]), line_rss
    else:
        rises = np.linalg.lstsq(H, dy, rcond=None)[0]
        residual = dy - H @ rises
        rss = float(residual @ residual)
    dof = within - len(rises)
    variance = max(rss / dof, LEAST_VARIANCE)
    if p_curve is not None:
        bent = max(line_rss - rss, 0.0) / (len(rises) - 1)
        p_curve = float(fdtrc(len(rises) - 1, dof, bent / variance))
    G = np.asarray(np.linalg.inv(H.T @ H), dtype=np.float64)
    residual = dy - H @ rises
    slope_variance, known = _slope_variance(cycle, S_c, counts, ds, residual)
    curve = WearCurve(
        knots=knots, rises=rises, G=G, centre=mean_B.mean(axis=0), cycles=C, m=1 / float(np.mean(1 / counts)),
        within=variance, within_dof=dof, slope_variance=slope_variance,
    )  # fmt: skip
    by_curve = np.sum((mean_B @ G) * mean_B, axis=1)
    return WearFit(
        cycles=C, counts=counts, levels=mean_y - mean_B @ rises,
        levels_se=np.sqrt(variance * (1 / counts + by_curve)), curve=curve, sd=math.sqrt(variance), dof=dof,
        s_max=flat.s_max, s_mean=flat.s_mean, S_ss=S_ss, slope=slope, low=low, high=high, p=p,
        p_curve=p_curve, p_noise=_noise_growth(s[use], residual[use]),
        robust_slope=theil_sen_within(cycle[use], s[use], y[use]), se=se, slope_variation_known=known,
    )  # fmt: skip


def _centred(cycle: IntArray, v: Array, counts: IntArray) -> Array:
    return np.asarray(v - (np.bincount(cycle, v, len(counts)) / counts)[cycle], dtype=np.float64)


def _curve(
    cycle: IntArray, s: Array, places: Array, counts: IntArray, use: BoolArray, within: int
) -> tuple[Array, Array, Array, float | None]:
    """Knots, centred hat functions, their cycle means, and whether chords have freedom (None: no)."""
    for knots in (places, places[[0, -1]]):
        basis = hats(s, knots)
        sums = np.column_stack([np.bincount(cycle, column, len(counts)) for column in basis.T])
        mean = np.asarray(sums / counts[:, None], dtype=np.float64)
        B = basis - mean[cycle]
        k = B.shape[1]
        if k == 1:
            break
        if within - k >= 1:
            scaled = B[use] / np.maximum(np.linalg.norm(B[use], axis=0), 1e-300)
            if np.linalg.svd(scaled, compute_uv=False)[-1] > 1e-6:
                return knots, B, mean, 1.0
    return knots, B, mean, None


def _slope_interval(
    slope: float, variance: float, S_c: Array, P_c: Array, dof: int, confidence: float
) -> tuple[float, float, float, float]:
    """Ends of the wider interval, larger standard error, larger p."""
    S_ss = float(S_c.sum())
    pooled = math.sqrt(max(variance, LEAST_VARIANCE) / S_ss)
    found = [(pooled, dof)]
    carries = S_c > 0
    J = int(carries.sum())
    if J >= 2:
        without = (P_c.sum() - P_c[carries]) / (S_ss - S_c[carries])
        found.append((math.sqrt((J - 1) / J * float(np.sum((without - slope) ** 2))), J - 1))
    half = max(float(stdtrit(nu, (1 + confidence) / 2)) * se for se, nu in found)
    p = max(float(2 * stdtr(nu, -abs(slope) / se)) if se > 0 else 0.0 for se, nu in found)
    return slope - half, slope + half, max(se for se, _ in found), p


def _slope_variance(
    cycle: IntArray, S_c: Array, counts: IntArray, ds: Array, residual: Array
) -> tuple[float, bool]:
    """q_b = max(0, var(b_c) - s_22^2 mean(1/S_c)), over the cycles with three values or more."""
    usable = (counts >= 3) & (S_c > 0)
    k = int(usable.sum())
    if k < 3:
        return 0.0, False
    slopes = np.bincount(cycle, ds * residual, len(counts))[usable] / S_c[usable]
    place = np.cumsum(usable) - 1
    member = usable[cycle]
    own = residual[member] - slopes[place[cycle[member]]] * ds[member]
    pooled = float(own @ own) / int(np.sum(counts[usable] - 2))
    return max(0.0, float(np.var(slopes, ddof=1)) - pooled * float(np.mean(1 / S_c[usable]))), True


def _noise_growth(s: Array, residual: Array) -> float | None:
    """p of squared residuals that do not grow with s (score test, Koenker 1981, from memory); one-sided."""
    squared = residual**2
    if len(s) < 20 or float(np.ptp(s)) == 0 or float(np.ptp(squared)) == 0:
        return None
    r = float(np.corrcoef(s, squared)[0, 1])
    half = float(chdtrc(1, len(s) * r * r)) / 2
    return half if r > 0 else 1 - half


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


def cycle_sd(level_variance: float, sd: float, counts: IntArray) -> float:
    r"""Standard deviation of the true level from dress to dress, part scatter taken out.

    Method of moments of the one-way random model.

    .. math:: \sqrt{\max(0, S_B^2 - s_w^2\,\overline{1/m_c})}

    Parameters
    ----------
    level_variance : float
        Variance of the cycle levels about their model. [um^2]
    sd : float
        Standard deviation within cycles. [um]
    counts : ndarray of int, shape (C,)
        Values per cycle. [-]

    Returns
    -------
    float
        Standard deviation of the level; 0 when the estimate is negative. [um]

    Examples
    --------
    >>> round(cycle_sd(0.25, 0.6, np.array([4, 4, 4])), 3)
    0.4
    """
    part = 0.0 if math.isnan(sd) else sd**2 * float(np.mean(1 / counts))
    return math.sqrt(max(0.0, level_variance - part))

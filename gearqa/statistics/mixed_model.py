"""Variance components of an incomplete crossed study: restricted maximum likelihood."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.linalg import cho_factor, cho_solve
from scipy.special import chdtrc, chdtri

from gearqa.arrays import Array, IntArray
from gearqa.statistics.gauge_study import POOL_ABOVE, GaugeStudy, VarianceComponents, gauge_meaning

STEPS = 500
SETTLED = 1e-10
HALVINGS = 20
CLEARLY_LOWER = 1e-3
"""Of a log likelihood: beyond what rounding does to it."""


@dataclass(frozen=True, slots=True)
class Components:
    """Variance components that fit best, none below 0."""

    variances: Array
    """In the order of the groupings, the residual last. [um^2]"""
    covariance: Array
    """Of the estimates, for a large study. [um^4]"""
    log_likelihood: float
    """Restricted, up to a constant."""


def components_by_reml(values: Array, groupings: tuple[IntArray, ...]) -> Components:
    r"""Variance components of crossed random effects about one mean.

    Patterson and Thompson, Biometrika 58 (1971); the equations of Anderson (1973), which repeat MINQUE
    until it settles; components below 0 are set to 0 and the others found again (from memory).

    .. math::
        \sum_l \mathrm{tr}(P K_k P K_l)\,\theta_l = y^T P K_k P y,\quad
        P = V^{-1} - V^{-1} 1 (1^T V^{-1} 1)^{-1} 1^T V^{-1}

    Parameters
    ----------
    values : ndarray, shape (n,)
        Values. [um]
    groupings : tuple of ndarray, each shape (n,)
        Group of every value, one array a random effect. [-]

    Returns
    -------
    Components
        Variances, their covariance, likelihood. [um^2, um^4, -]

    Raises
    ------
    ValueError
        If there are fewer values than components and the mean.

    Examples
    --------
    Computed by hand: one-way, balanced, mean squares 12.5 and 0.5, (12.5 - 0.5)/2 = 6.

    >>> found = components_by_reml(np.array([1.0, 2.0, 6.0, 7.0]), (np.array([0, 0, 1, 1]),))
    >>> [round(float(v), 6) for v in found.variances]
    [12.25, 0.5]
    """
    y = np.asarray(values, dtype=np.float64)
    n = len(y)
    if n < len(groupings) + 2:
        raise ValueError(f"{n} values for {len(groupings) + 2} unknowns")
    kernels = [(group[:, None] == group[None, :]).astype(np.float64) for group in groupings]
    kernels.append(np.eye(n))
    theta = np.full(len(kernels), y.var() / len(kernels) + 1e-12)
    P, likelihood = _likelihood(kernels, theta, y)
    for _ in range(STEPS):
        parts = [P @ K for K in kernels]
        Py = P @ y
        F = np.array([[float(np.sum(a * b.T)) for b in parts] for a in parts])
        score = np.array([float(Py @ (K @ Py)) for K in kernels])
        new = _not_below_zero(F, score)
        new[-1] = max(new[-1], 1e-9 * y.var() + 1e-15)
        done = np.all(np.abs(new - theta) <= SETTLED * (theta.sum() + 1e-15))
        found = _likelihood(kernels, new, y)
        for _ in range(HALVINGS):  # a whole step may overshoot, and then swing to and fro for ever
            if done or found[1] >= likelihood - CLEARLY_LOWER:
                break
            new = (theta + new) / 2
            found = _likelihood(kernels, new, y)
        else:
            break
        theta, (P, likelihood) = new, found
        if done:
            break
    return Components(theta, 2 * np.linalg.pinv(F), likelihood)


def _likelihood(kernels: list[Array], theta: Array, y: Array) -> tuple[Array, float]:
    """P, and the restricted log likelihood up to a constant."""
    V = sum((t * K for t, K in zip(theta, kernels, strict=True)), np.zeros_like(kernels[0]))
    factor = cho_factor(V, lower=True)
    inverse = cho_solve(factor, np.eye(len(V)))
    ones = inverse.sum(axis=1)
    total = float(ones.sum())
    P = inverse - np.outer(ones, ones) / total
    log_det = 2 * float(np.log(np.diag(factor[0])).sum()) + math.log(total)
    return P, -0.5 * (log_det + float(y @ P @ y))


def _not_below_zero(F: Array, score: Array) -> Array:
    """Solution of the equations with components that come out negative set to 0."""
    free = np.ones(len(score), dtype=np.bool_)
    while True:
        theta = np.zeros(len(score))
        theta[free] = np.linalg.lstsq(F[np.ix_(free, free)], score[free], rcond=None)[0]
        below = (theta < 0) & (np.arange(len(score)) < len(score) - 1)
        if not below.any():
            return theta
        free &= ~below


def incomplete_gauge_study(
    values: Array,
    *,
    limits: tuple[float | None, float] | None = None,
    pool_above: float = POOL_ABOVE,
    confidence: float = 0.95,
) -> GaugeStudy:
    r"""Crossed study with cells that are missing or measured unequally often.

    Mixed model by restricted maximum likelihood; the interaction by its likelihood ratio against half a
    chi-square (Self and Liang, 1987); interval by Satterthwaite (1946) on the covariance of the components.
    For a complete study the components are those of the analysis of variance, unless one is below 0.

    .. math:: \nu = 2 \sigma_g^4 / \mathrm{var}(\sigma_g^2)

    Parameters
    ----------
    values : ndarray, shape (items, operators, trials)
        Values; NaN where there is none. [um]
    limits : tuple of float, or None
        Lower (None: upper limit only) and upper limit of the drawing. [um]
    pool_above : float
        The interaction is pooled if its p is larger. [-]
    confidence : float
        Of the interval of the gauge standard deviation. [-]

    Returns
    -------
    GaugeStudy
        As of a complete study, without sums of squares. [um^2, um, %]

    Raises
    ------
    ValueError
        If there are too few items or values.

    Examples
    --------
    Computed: one value missing changes little.

    >>> values = np.array([[[1.0, 1.2], [1.1, np.nan]], [[3.0, 3.1], [3.2, 3.0]], [[5.1, 5.0], [5.0, 5.2]]])
    >>> round(incomplete_gauge_study(values).gauge_sd, 2)
    0.1
    """
    x = np.asarray(values, dtype=np.float64)
    p, o, r = x.shape
    where = np.argwhere(np.isfinite(x))
    y = x[np.isfinite(x)]
    item, operator = where[:, 0], where[:, 1]
    cell = item * o + operator
    if p < 2 or len(y) < p + o:
        raise ValueError(f"{len(y)} values of {p} items by {o} operators: too few to take the spread apart")
    y = y - y.mean()
    repeated = len(np.unique(cell)) < len(y)
    crossed = o > 1 and repeated and len(np.unique(cell)) > p + o - 1
    plain_groups = (item, operator) if o > 1 else (item,)
    plain = components_by_reml(y, plain_groups)
    found, p_value, pooled = plain, None, o > 1
    if crossed:
        whole = components_by_reml(y, (item, operator, cell))
        ratio = max(0.0, 2 * (whole.log_likelihood - plain.log_likelihood))
        p_value = float(chdtrc(1, ratio)) / 2 if ratio > 0 else 1.0
        pooled = p_value > pool_above
        found = plain if pooled else whole
    full = np.zeros(4)  # item, operator, interaction, repeatability
    at = [0, *([1] if o > 1 else []), *([2] if found is not plain else []), 3]
    full[at] = found.variances
    gauge = float(full[1:].sum())
    mask = np.array(at) > 0
    spread = float(found.covariance[np.ix_(mask, mask)].sum())
    freedom = 2 * gauge**2 / spread if spread > 0 else 1.0
    tail = (1 - confidence) / 2
    low, high = (float(chdtri(freedom, q)) for q in (tail, 1 - tail))
    interval = (
        math.sqrt(gauge * freedom / low),
        math.sqrt(gauge * freedom / high) if high > 0 else math.inf,
    )
    parts = VarianceComponents(full[3], full[1], full[2], full[0], gauge)
    sd, of_total, of_tolerance, categories = gauge_meaning(parts, limits)
    return GaugeStudy(
        items=p, operators=o, trials=r, sum_of_squares=None, interaction_p=p_value,
        interaction_pooled=pooled, variance=parts, variance_unclipped=parts, gauge_sd=sd,
        gauge_sd_interval=interval, percent_of_total_variation=of_total,
        percent_of_tolerance=of_tolerance, distinct_categories=categories,
    )  # fmt: skip

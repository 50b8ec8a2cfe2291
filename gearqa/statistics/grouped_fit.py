"""Least squares over observations of several kinds, each with a scatter of its own, and a search for causes.

The scatter of each kind is estimated with the fit (variance components, iterated almost unbiased
estimator; Foerstner 1979, from memory). Candidates come in blocks of columns; a block enters by its
F test under a bound that counts all tests that were made.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from gearqa.arrays import Array, BoolArray, IntArray

ROUNDS: Final = 8
FEWEST_FREEDOM: Final = 1.0 - 1e-9
"""With less, the scatter of a kind is not known; rounding leaves a bit less than 1."""
NOTHING: Final = 1e-9
"""A column of unit amplitude that is no longer than this shows nothing."""
TINY: Final = 1e-18
"""Smallest variance, so that exact observations have finite weight."""
TOLERANCE: Final = 1e-6
"""Share of a column that the others must leave over, or it is not identifiable."""


@dataclass(frozen=True, eq=False, slots=True)
class GroupedFit:
    """Coefficients of a fit over several kinds of observation."""

    theta: Array
    """shape (p,)"""
    covariance: Array
    """shape (p, p); infinite where a scatter is not known"""
    freedom: Array
    """Degrees of freedom of each coefficient's variance (Satterthwaite). shape (p,)"""
    scatter: Array
    """Standard deviation of each kind; NaN where unknown. shape (kinds,)"""
    group_freedom: Array
    """shape (kinds,)"""
    residual: Array
    """shape (n,)"""

    def block_p(self, columns: slice) -> float:
        r"""Chance of so large coefficients where there is nothing: Wald's F test of a block.

        Textbook: :math:`F = \theta' C^{-1} \theta / q` on q and the smallest freedom of the block.

        Parameters
        ----------
        columns : slice
            The block. [-]

        Returns
        -------
        float
            Probability; 1 where the scatter is not known. [-]

        Examples
        --------
        >>> x = np.arange(8.0)
        >>> fit = grouped_fit(3 * x + np.tile([0.1, -0.1], 4), x[:, None], np.zeros(8, dtype=np.int64), 1)
        >>> fit.block_p(slice(0, 1)) < 1e-10
        True
        """
        from scipy import special

        theta, covariance = self.theta[columns], self.covariance[columns, columns]
        if not np.all(np.isfinite(covariance)) or not len(theta):
            return 1.0
        q, nu = len(theta), float(self.freedom[columns].min())
        F = float(theta @ np.linalg.solve(covariance, theta)) / q
        return float(special.fdtrc(q, nu, F)) if nu > 0 else 1.0


def grouped_fit(
    y: Array,
    X: Array,
    groups: IntArray,
    kinds: int,
    *,
    expected: tuple[float, float] = (1e-9, 0.0),
    known: tuple[Array, Array] | None = None,
) -> GroupedFit:
    """Fit coefficients and the scatter of each kind of observation together.

    Foerstner 1979 (iterated almost unbiased estimator; from memory).

    Parameters
    ----------
    y : ndarray, shape (n,)
        Observations. [-]
    X : ndarray, shape (n, p)
        Columns, of full rank. [-]
    groups : ndarray, shape (n,)
        Kind of each observation, 0 to kinds - 1. [-]
    kinds : int
        Number of kinds. [-]
    expected : tuple of float, optional
        Scatter expected of a kind and the observations that this counts as: a kind seen a few times only
        must not get a tiny scatter by chance, and with it all the weight. [-]
    known : tuple of ndarray, each of shape (kinds,), optional
        Scatter of each kind known from elsewhere and its degrees of freedom; the larger scatter counts,
        NaN: unknown. [-]

    Returns
    -------
    GroupedFit
        Coefficients, covariance, scatter. [-]

    Examples
    --------
    Two kinds, one ten times as rough; the mean goes by the fine one:

    >>> y = np.array([1.0, 1.2, 0.8, 3.0, 5.0, 1.0])
    >>> fit = grouped_fit(y, np.ones((6, 1)), np.array([0, 0, 0, 1, 1, 1]), 2)
    >>> round(float(fit.theta[0]), 1)
    1.0
    """
    from scipy import linalg

    p = X.shape[1]
    count = np.bincount(groups, minlength=kinds)
    elsewhere, its_freedom = (np.full(kinds, np.nan), np.zeros(kinds)) if known is None else known
    variance = np.ones(kinds)
    for _ in range(ROUNDS):
        root = 1 / np.sqrt(variance[groups])
        Q, R = np.linalg.qr(X * root[:, None])
        theta = linalg.solve_triangular(R, Q.T @ (y * root)) if p else np.zeros(0)
        residual = y - X @ theta
        left = 1 - np.einsum("ij,ij->i", Q, Q)
        freedom: Array = np.bincount(groups, weights=left, minlength=kinds).astype(np.float64)
        squares = np.bincount(groups, weights=residual**2, minlength=kinds)
        seen = freedom >= FEWEST_FREEDOM
        usual, worth = expected
        estimate = np.where(seen, (squares + worth * usual**2) / (freedom + worth + ~seen), np.nan)
        freedom = np.where(np.isfinite(elsewhere) & ~(estimate >= elsewhere**2), its_freedom, freedom)
        estimate = np.fmax(estimate, elsewhere**2)
        new = np.where(np.isfinite(estimate), np.maximum(estimate, TINY), 1.0)
        settled = bool(np.allclose(new, variance, rtol=1e-3))
        variance = new
        if settled:
            break
    known_scatter = np.isfinite(estimate) | (count == 0)
    root = 1 / np.sqrt(variance[groups])
    Q, R = np.linalg.qr(X * root[:, None])
    inverse = linalg.solve_triangular(R, np.eye(p)) if p else np.zeros((0, 0))
    theta = inverse @ (Q.T @ (y * root))
    influence = (inverse @ Q.T) * root
    shares = np.stack(
        [(influence[:, groups == k] ** 2).sum(axis=1) * variance[k] for k in range(kinds)], axis=1
    )
    total = shares.sum(axis=1)
    nu = np.where(freedom > 0, freedom, np.inf)
    with np.errstate(divide="ignore", invalid="ignore"):
        of_theta = total**2 / (shares**2 / nu).sum(axis=1)
    covariance = inverse @ inverse.T
    unknown = (shares[:, ~known_scatter] > TOLERANCE * total[:, None]).any(axis=1)
    covariance = np.where(unknown[:, None] | unknown[None, :], np.inf, covariance)
    return GroupedFit(
        theta,
        covariance,
        of_theta,
        np.where(known_scatter, np.sqrt(variance), np.nan),
        freedom,
        y - X @ theta,
    )


def identifiable(base: Array, blocks: Sequence[Array]) -> list[bool]:
    """Which blocks can be told from the base and from the blocks before them that can.

    Linear algebra: what a column keeps after projection, against its length.

    Parameters
    ----------
    base : ndarray, shape (n, p)
        Columns that are always there. [-]
    blocks : sequence of ndarray, each of shape (n, q)
        Candidates, the more basic ones first. [-]

    Returns
    -------
    list of bool
        One a block. [-]

    Examples
    --------
    >>> ones, ramp = np.ones((4, 1)), np.arange(4.0)[:, None]
    >>> identifiable(ones, [ramp, ramp + 2, ramp**2])
    [True, False, True]
    """
    Q = np.linalg.qr(base)[0]
    found = []
    for block in blocks:
        rest = block - Q @ (Q.T @ block)
        rest = rest - Q @ (Q.T @ rest)
        size = np.linalg.norm(block, axis=0)
        keeps = bool(block.size) and bool(np.all(size > NOTHING))
        if keeps:
            scaled = rest / size
            keeps = float(np.linalg.svd(scaled, compute_uv=False)[-1]) > TOLERANCE**0.5
        found.append(keeps)
        if keeps:
            Q = np.concatenate([Q, np.linalg.qr(rest)[0]], axis=1)
    return found


@dataclass(frozen=True, eq=False, slots=True)
class Candidates:
    """Blocks of columns that may be needed."""

    columns: Array
    """shape (n, all columns)"""
    of_block: tuple[slice, ...]


def best_block(
    fit: GroupedFit, X: Array, groups: IntArray, candidates: Candidates, allowed: BoolArray
) -> tuple[int, float]:
    """The candidate that explains what is left best, and the chance of that by luck, one test.

    Textbook F test of a block added to a weighted fit.

    Parameters
    ----------
    fit : GroupedFit
        The fit so far. [-]
    X : ndarray, shape (n, p)
        Its columns. [-]
    groups : ndarray, shape (n,)
        Kind of each observation. [-]
    candidates : Candidates
        Blocks. [-]
    allowed : ndarray, shape (blocks,)
        Blocks that may enter. [-]

    Returns
    -------
    tuple of int and float
        Number of the block, -1 for none; probability. [-]

    Examples
    --------
    >>> y = np.array([0.0, 1.1, 0.1, 0.9, -0.1, 1.0])
    >>> groups, X = np.zeros(6, dtype=np.int64), np.ones((6, 1))
    >>> blocks = Candidates(np.stack([np.arange(6.0), np.arange(6) % 2], axis=1), (slice(0, 1), slice(1, 2)))
    >>> best_block(grouped_fit(y, X, groups, 1), X, groups, blocks, np.array([True, True]))[0]
    1
    """
    from scipy import special

    scatter = np.where(np.isfinite(fit.scatter), fit.scatter, 1.0)
    root = 1 / scatter[groups]
    Q = np.linalg.qr(X * root[:, None])[0]
    C = candidates.columns * root[:, None]
    C = C - Q @ (Q.T @ C)
    r = fit.residual * root
    rss, free = float(r @ r), len(r) - X.shape[1]
    right = C.T @ r
    best, p_best = -1, 1.0
    for number, block in enumerate(candidates.of_block):
        if not allowed[number]:
            continue
        gram = C[:, block].T @ C[:, block]
        q = gram.shape[0]
        if np.linalg.matrix_rank(gram, hermitian=True) < q or free - q < 1:
            continue
        gain = float(right[block] @ np.linalg.solve(gram, right[block]))
        F = gain / q / max((rss - gain) / (free - q), 1e-300)
        p = float(special.fdtrc(q, free - q, F))
        if p < p_best or best < 0:
            best, p_best = number, p
    return best, p_best

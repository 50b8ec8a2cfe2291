"""Effect of a label (fixture, operator, temperature ...) on the parts, within and between cycles."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import chdtrc, chdtri, fdtrc, stdtrit

from gearqa.arrays import Array, BoolArray, IntArray
from gearqa.statistics.levels import whitened
from gearqa.statistics.wear import LEAST_VARIANCE

LEAST_GEARS = 3
"""A level of fewer gears has no column of its own."""
PAUSE = 4 * 3600.0
"""A longer stop is a pause. [s]"""
LEAST_CHANGES = 4
"""A label that changes less often from cycle to cycle may only be a cause of a level change."""
LEVEL_OVER_PART = 1.0
"""Variance of the levels over that of the parts by which p weighs cycles against parts: any number that does
not come from the readings keeps p exact, a far one loses some power."""
LEAST_P = 1e-300


@dataclass(frozen=True, eq=False, slots=True)
class LabelEffect:
    """Effect of the columns of one label; what cannot be told has a coefficient of 0."""

    theta: Array
    """Change of the value per unit of each column. shape (g,) [um]"""
    low: Array
    high: Array
    p: float
    dof: float


@dataclass(frozen=True, eq=False, slots=True)
class _Information:
    matrix: Array
    score: Array
    dof: int
    weight: Array
    """Information if the variance were known to be the usual one."""
    pull: Array
    """Score that goes with it: exactly normal without an effect, of covariance `weight`."""


def indicator_columns(label: IntArray) -> Array:
    """Columns of a label with words: one for each of its levels but the most frequent.

    Own rule, no published source.

    Parameters
    ----------
    label : ndarray of int, shape (n,)
        Number of the word of each gear. [-]

    Returns
    -------
    ndarray, shape (n, g)
        Levels of three gears or more, in order of number. [-]

    Examples
    --------
    >>> indicator_columns(np.array([0, 0, 0, 0, 1, 1, 1, 2])).T.tolist()
    [[0.0, 0.0, 0.0, 0.0, 1.0, 1.0, 1.0, 0.0]]
    """
    counts = np.bincount(label)
    kept = [k for k in np.flatnonzero(counts >= LEAST_GEARS) if k != int(np.argmax(counts))]
    columns = label[:, None] == np.array(kept, dtype=np.int64)[None, :]
    return np.asarray(columns, dtype=np.float64)


def pause_column(seconds: Array) -> Array:
    r"""How near a part lies behind the last pause.

    Own rule, no published source.

    .. math:: z = e^{-h}, \text{ h hours since the first part after a pause}

    Parameters
    ----------
    seconds : ndarray, shape (n,)
        Times of all parts made, in order. [s]

    Returns
    -------
    ndarray, shape (n,)
        1 for the first part after a pause, and for the first part of all: what came before is not known.
        [-]

    Examples
    --------
    >>> pause_column(np.array([0.0, 60.0, 36000.0, 39600.0])).round(3).tolist()
    [1.0, 0.983, 1.0, 0.368]
    """
    begins = np.concatenate(([0], np.flatnonzero(np.diff(seconds) > PAUSE) + 1))
    last = np.searchsorted(begins, np.arange(len(seconds)), side="right") - 1
    return np.asarray(np.exp(-(seconds - seconds[begins[last]]) / 3600.0), dtype=np.float64)


def label_effect(
    cycle: IntArray,
    Z: Array,
    y: Array,
    H: Array,
    levels: Array,
    X: Array,
    rho: float,
    confidence: float = 0.95,
) -> LabelEffect | None:
    r"""Effect of a label from the parts within cycles and, if it changes often, from the cycle levels.

    Two independent regressions combined by their information. Interval: freedom by Satterthwaite (1946),
    widened because the weights are estimated (Meier 1953).

    .. math::
        I = I_w + I_b,\; \theta = I^{-1}(g_w + g_b),\;
        \frac1\nu = \frac{f^2}{\nu_w} + \frac{(1 - f)^2}{\nu_b},\; f = \frac{tr I_w}{tr I},\;
        V = I^{-1}\left(1 + 4 f (1 - f)(1/\nu_w + 1/\nu_b)\right)

    p (own combination, no published source): estimated weights let a part whose scatter came out small by
    chance weigh more, and far out, where a family of tests claims, p was half of what it should be. Each
    part's score is made normal through its own F distribution, its direction kept, and the two are added
    with weights of the design alone:

    .. math::
        u = A^{-1/2} Z'y/s,\; \chi^2_r(|u^*|^2) = F_{r,\nu}(|u|^2/r),\;
        \chi^2 = (\textstyle\sum A^{1/2} u^*)' (\sum A)^{-1} (\sum A^{1/2} u^*)

    Parameters
    ----------
    cycle : ndarray of int, shape (n,)
        Cycle of each value. [-]
    Z : ndarray, shape (n, g)
        Columns of the label. [any]
    y : ndarray, shape (n,)
        Values. [um]
    H : ndarray, shape (n, k)
        Hat functions of the wear; no column where no wear can be told. [-]
    levels : ndarray, shape (C,)
        Level of each cycle. [um]
    X : ndarray, shape (C, p)
        Model of the levels, trend and level changes included. [any]
    rho : float
        Correlation of neighbouring cycles. [-]
    confidence : float
        Of the intervals. [-]

    Returns
    -------
    LabelEffect or None
        None where nothing can be told. [um]

    Examples
    --------
    >>> cycle, z = np.repeat(np.arange(6), 4), np.tile([0.0, 1.0, 0.0, 1.0], 6)
    >>> y = 2 * z + np.tile([0.1, -0.1, -0.1, 0.1], 6)
    >>> found = label_effect(cycle, z[:, None], y, np.zeros((24, 0)), np.zeros(6), np.ones((6, 1)), 0.0)
    >>> round(float(found.theta[0]), 2), found.p < 1e-6
    (2.0, True)
    """
    C = len(levels)
    counts = np.bincount(cycle, minlength=C)
    mean = np.column_stack([np.bincount(cycle, z, C) for z in Z.T]) / counts[:, None]
    within = _information(_own(cycle, Z, counts), _own(cycle, y, counts), _own(cycle, H, counts), C)
    parts = [within]
    often = np.sum(np.abs(np.diff(mean, axis=0)) > 1e-9, axis=0) >= LEAST_CHANGES
    if often.any():
        usual = (LEVEL_OVER_PART + float(np.mean(1 / counts))) * (1 - rho**2)
        columns = whitened(mean * often, rho), whitened(levels, rho), whitened(X, rho)
        parts.append(_information(*columns, 0, usual))
    usable = [one for one in parts if one is not None]
    if not usable:
        return None
    matrix = np.sum([one.matrix for one in usable], axis=0)
    score = np.sum([one.score for one in usable], axis=0)
    told = np.diag(matrix) > 1e-9 * max(float(np.diag(matrix).max()), 1e-300)
    if not told.any() or float(np.diag(matrix).max()) <= 0:
        return None
    inverse = np.linalg.pinv(matrix[np.ix_(told, told)], hermitian=True)
    shares = [float(np.trace(one.matrix)) / float(np.trace(matrix)) for one in usable]
    dof = 1 / sum(share**2 / one.dof for share, one in zip(shares, usable, strict=True))
    estimated = 1 + 4 * sum(share * (1 - share) / one.dof for share, one in zip(shares, usable, strict=True))
    theta, se = np.zeros(Z.shape[1]), np.full(Z.shape[1], math.inf)
    theta[told] = inverse @ score[told]
    se[told] = np.sqrt(np.maximum(np.diag(inverse), 0.0) * estimated)
    half = float(stdtrit(dof, (1 + confidence) / 2)) * se
    return LabelEffect(theta, theta - half, theta + half, _p(usable, told), dof)


def _p(parts: Sequence[_Information], told: BoolArray) -> float:
    weight = np.sum([one.weight for one in parts], axis=0)[np.ix_(told, told)]
    pull = np.sum([one.pull for one in parts], axis=0)[told]
    square = float(pull @ np.linalg.pinv(weight, hermitian=True) @ pull)
    return float(chdtrc(int(np.linalg.matrix_rank(weight, hermitian=True)), square))


def _own(cycle: IntArray, v: Array, counts: IntArray) -> Array:
    """Values or columns less their cycle means."""
    columns = v[:, None] if v.ndim == 1 else v
    mean = [np.bincount(cycle, one, len(counts)) / counts for one in columns.T]
    centred = columns - (np.column_stack(mean)[cycle] if mean else 0.0)
    return np.asarray(centred[:, 0] if v.ndim == 1 else centred, dtype=np.float64)


def _information(Z: Array, y: Array, X: Array, lost: int, usual: float = 1.0) -> _Information | None:
    """Information and score of columns beside others; `lost` degrees of freedom went before, `usual` is the
    variance against that of other parts."""
    if X.shape[1]:
        Q, _ = np.linalg.qr(X)
        Z, y = Z - Q @ (Q.T @ Z), y - Q @ (Q.T @ y)
    Z = np.where(np.abs(Z) < 1e-12, 0.0, Z)
    size = float(np.sum(Z * Z))
    if size <= 1e-12 * len(y):
        return None
    fitted = Z @ np.linalg.lstsq(Z, y, rcond=None)[0]
    rank = int(np.linalg.matrix_rank(Z))
    dof = len(y) - lost - X.shape[1] - rank
    if dof < 1:
        return None
    variance = max(float(np.sum((y - fitted) ** 2)) / dof, LEAST_VARIANCE)
    squares, score = Z.T @ Z, Z.T @ y
    F = float(np.sum(fitted**2)) / variance / rank
    even = math.sqrt(float(chdtri(rank, max(float(fdtrc(rank, dof, F)), LEAST_P))) / max(F * rank, LEAST_P))
    pull = score * even / math.sqrt(variance * usual)
    return _Information(squares / variance, score / variance, dof, squares / usual, pull)

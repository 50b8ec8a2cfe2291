"""Whether the levels of a series moved, and how: level changes, a slow trend, or not told apart.

Rules set by simulation (`tests/benchmarks/drift_claims.py`).
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import fdtrc, stdtr

from gearqa.arrays import Array, IntArray
from gearqa.statistics.levels import correlation, fit_levels, rounding, whitened

MINIMUM_CYCLES = 8
FIRST_PLACE = 3
"""Cycles before the first place of a change."""
FROM_RECORDED = 2
"""Least distance from a recorded correction. [cycles]"""
FROM_STEP = 3
"""Least distance of two level changes; fewer cycles behind the last one make it provisional."""
MOST_FURTHER = 6
PLACE_WIDTH = 7.35
"""Places whose residual sum of squares exceeds the best by less than this times the variance."""
EVIDENCE = 9.0
"""C ln(RSS_trend/RSS_step) from which a step beats a trend alone."""
GATE = 0.05
"""Levels with a larger p are not looked at again with the correlation of neighbours."""
KEPT_TREND = 0.20
CYCLES_FOR_KEPT_TREND = 10


@dataclass(frozen=True, slots=True)
class FoundStep:
    """A level change: the first cycle at the new level is number `index` (from 0)."""

    index: int
    low: int
    high: int
    """First and last index at which the change may have happened."""
    p: float


@dataclass(frozen=True, eq=False, slots=True)
class Scan:
    """One more step at every place beside a model."""

    places: IntArray
    rss: Array
    """shape (k,) [um^2]"""
    rss_without: float
    p: float
    """Of the best place, Bonferroni's factor for the number of places applied."""

    @property
    def best(self) -> int:
        """Place of the smallest sum of squares."""
        return int(self.places[int(np.argmin(self.rss))])


@dataclass(frozen=True, eq=False, slots=True)
class LevelEvidence:
    """What speaks against a level that stays."""

    p: float
    """Of the levels as they are: step or trend, whichever is seen better."""
    step: Scan
    rss_trend: float
    step_beside_trend: Scan


@dataclass(frozen=True, slots=True)
class LevelMovement:
    """Which columns the model of the levels has beside its constant and recorded corrections."""

    steps: tuple[FoundStep, ...] = ()
    trend: bool = False
    """Whether a trend is a column of the model."""
    trend_claimed: bool = False
    moved_from: int | None = None
    """The level moved, trend or change not told apart: the best place of a change."""


def step_columns(cycles: int, places: Iterable[int]) -> Array:
    """Columns that are 0 before a place and 1 from it on.

    Own notation, no published source.

    Parameters
    ----------
    cycles : int
        Number of cycles. [-]
    places : iterable of int
        First cycle at each new level, from 0. [-]

    Returns
    -------
    ndarray, shape (cycles, k)
        Columns. [-]

    Examples
    --------
    >>> step_columns(4, [2]).ravel().tolist()
    [0.0, 0.0, 1.0, 1.0]
    """
    index = np.array(list(places), dtype=np.int64)
    return (np.arange(cycles)[:, None] >= index[None, :]).astype(np.float64)


def trend_column(cycles: int) -> Array:
    """Column of a straight trend, 0 amid the history, one a cycle.

    Own notation, no published source.

    Parameters
    ----------
    cycles : int
        Number of cycles. [-]

    Returns
    -------
    ndarray, shape (cycles,)
        Column. [cycles]

    Examples
    --------
    >>> trend_column(3).tolist()
    [-1.0, 0.0, 1.0]
    """
    return np.asarray(np.arange(cycles) - (cycles - 1) / 2, dtype=np.float64)


def allowed_places(cycles: int, recorded: Sequence[int], steps: Sequence[int] = ()) -> IntArray:
    """Places at which a change is looked for.

    Own rule, no published source.

    Parameters
    ----------
    cycles : int
        Number of cycles. [-]
    recorded, steps : sequence of int
        First cycles of recorded corrections and of changes found already. [-]

    Returns
    -------
    ndarray of int, shape (k,)
        Places. [-]

    Examples
    --------
    >>> allowed_places(9, [5]).tolist()
    [3, 7, 8]
    """
    places = np.arange(FIRST_PLACE, cycles)
    for others, distance in ((recorded, FROM_RECORDED), (steps, FROM_STEP)):
        for other in others:
            places = places[np.abs(places - other) >= distance]
    return places


def scan_steps(x: Array, X: Array, places: IntArray, rho: float) -> Scan:
    r"""Evidence for one more step at every place beside a model.

    F tests of nested linear models with Bonferroni's factor for the K places.

    .. math:: p = K P(F_{1,C-p-1} > \max F)

    Parameters
    ----------
    x : ndarray, shape (C,)
        Levels in production order. [um]
    X : ndarray, shape (C, p)
        Columns of the model. [any]
    places : ndarray of int, shape (K,)
        Places to try. [-]
    rho : float
        Correlation of neighbouring cycles. [-]

    Returns
    -------
    Scan
        Sums of squares and p. [um^2, -]

    Examples
    --------
    >>> x = np.array([0, 0.1, -0.1, 0.05, 0, 2.0, 2.1, 1.9, 2.0, 2.05])
    >>> scan = scan_steps(x, np.ones((10, 1)), np.arange(3, 10), 0.0)
    >>> scan.best, scan.p < 1e-6
    (5, True)
    """
    C, p = X.shape
    Q, _ = np.linalg.qr(whitened(X, rho))
    xs = whitened(x, rho)
    error = xs - Q @ (Q.T @ xs)
    floor = rounding(x)
    without = max(float(error @ error), floor)

    def along_steps(columns: Array) -> Array:
        """Products with the whitened step at each place: 0, then once 1, then 1 - rho."""
        sums = np.cumsum(columns[::-1], axis=0)[::-1]
        return np.asarray((1 - rho) * sums[places] + rho * columns[places])

    norm = 1 + (1 - rho) ** 2 * (C - 1 - places) - np.sum(along_steps(Q) ** 2, axis=1)
    product = along_steps(error)
    seen = norm > 1e-9
    places, norm, product = places[seen], norm[seen], product[seen]
    dof = C - p - 1
    if not places.size or dof < 1:
        return Scan(np.array([0]), np.array([without]), without, 1.0)
    rss = np.maximum(without - product**2 / norm, floor)
    least = float(rss.min())
    F = (without - least) / least * dof
    return Scan(places, rss, without, min(1.0, len(places) * float(fdtrc(1, dof, F))))


def _model(X0: Array, steps: Iterable[int] = (), *, trend: bool = False) -> Array:
    """Constant and recorded corrections with columns of steps, and of a trend behind them."""
    C = len(X0)
    return np.column_stack((X0, step_columns(C, steps), *([trend_column(C)] if trend else [])))


def _trend_p(x: Array, X: Array, rho: float) -> tuple[float, float]:
    """p of a trend beside a model, and the sum of squares with it."""
    both = _model(X, trend=True)
    dof = len(x) - both.shape[1]
    rss = []
    for columns in (X, both):
        Q, _ = np.linalg.qr(whitened(columns, rho))
        xs = whitened(x, rho)
        error = xs - Q @ (Q.T @ xs)
        rss.append(max(float(error @ error), rounding(x)))
    if dof < 1:
        return 1.0, rss[1]
    return float(fdtrc(1, dof, (rss[0] - rss[1]) / rss[1] * dof)), rss[1]


def weigh_levels(x: Array, X0: Array, recorded: Sequence[int] = ()) -> LevelEvidence | None:
    r"""Evidence that a level moved beside constant and recorded corrections.

    Own rule, its rate of false claims by simulation: the better of trend and step counts twice, first
    with independent cycles, then, if it is small, with the correlation of neighbours.

    .. math:: p = \min(1, 2\min(p_T, p_S))

    Parameters
    ----------
    x : ndarray, shape (C,)
        Levels in production order. [um]
    X0 : ndarray, shape (C, p)
        Constant and columns of recorded corrections. [-]
    recorded : sequence of int
        First cycle of each recorded correction. [-]

    Returns
    -------
    LevelEvidence or None
        None below 8 cycles or without freedom. [-]

    Examples
    --------
    >>> weigh_levels(np.arange(6.0), np.ones((6, 1))) is None
    True
    """
    C = len(x)
    places = allowed_places(C, recorded)
    if C < MINIMUM_CYCLES or C - X0.shape[1] < 4 or not places.size:
        return None
    with_trend = _model(X0, trend=True)
    rho, rho_both = 0.0, 0.0
    p_trend, rss_trend = _trend_p(x, X0, rho)
    step = scan_steps(x, X0, places, rho)
    p = min(1.0, 2 * min(p_trend, step.p))
    if p <= GATE:
        rho = correlation(x, with_trend if p_trend <= step.p else _model(X0, [step.best]))
        if rho:
            p_trend, rss_trend = _trend_p(x, X0, rho)
            step = scan_steps(x, X0, places, rho)
            p = min(1.0, 2 * min(p_trend, step.p))
        best = scan_steps(x, with_trend, places, 0.0).best
        rho_both = correlation(x, _model(with_trend, [best]))
    return LevelEvidence(p, step, rss_trend, scan_steps(x, with_trend, places, rho_both))


def find_movement(
    x: Array, X0: Array, recorded: Sequence[int], evidence: LevelEvidence | None, bound: float | None
) -> LevelMovement:
    """Level changes and trend of a series, once its levels were found to move.

    Own rules, their rates by simulation: a step is named if it is seen beside a trend too, or if it
    explains the levels much better than a trend; then further steps; then the trend beside them.

    Parameters
    ----------
    x : ndarray, shape (C,)
        Levels in production order. [um]
    X0 : ndarray, shape (C, p)
        Constant and columns of recorded corrections. [-]
    recorded : sequence of int
        First cycle of each recorded correction. [-]
    evidence : LevelEvidence or None
        Of `weigh_levels`. [-]
    bound : float or None
        Bound that the p of the series was accepted at; None: not accepted. [-]

    Returns
    -------
    LevelMovement
        Steps in order of place, trend. [-]

    Notes
    -----
    A level that wanders (random walk) looks like steps.

    Examples
    --------
    >>> x = np.array([0, 0.1, -0.1, 0.05, 0, 2.0, 2.1, 1.9, 2.0, 2.05])
    >>> X0 = np.ones((10, 1))
    >>> found = find_movement(x, X0, (), weigh_levels(x, X0), 0.03)
    >>> [(step.index, step.low, step.high) for step in found.steps]
    [(5, 5, 5)]
    """
    first = None if bound is None or evidence is None else _first_place(len(x), evidence, bound)
    if isinstance(first, LevelMovement):
        return first
    steps = [] if first is None else _further_steps(x, X0, recorded, first, bound or 0.0)
    places = [place for place, _ in steps]
    trend, claimed = False, False
    if steps or recorded:
        columns = _model(X0, places, trend=True)
        if len(x) - columns.shape[1] >= 1:
            p = _last_p(x, columns)
            claimed = bool(steps) and bound is not None and p <= bound
            trend = claimed or (p <= KEPT_TREND and len(x) >= CYCLES_FOR_KEPT_TREND)
    return LevelMovement(tuple(_placed(x, X0, recorded, steps, trend=trend)), trend, claimed)


def _first_place(C: int, evidence: LevelEvidence, bound: float) -> tuple[int, float] | LevelMovement:
    """First step with its p, or the movement that is no step."""
    step, both = evidence.step, evidence.step_beside_trend
    if both.p <= bound:
        return both.best, both.p
    gain = C * math.log(evidence.rss_trend / float(step.rss.min()))
    if step.p <= bound and gain >= EVIDENCE:
        return step.best, step.p
    if gain <= 0 or step.p > bound:
        return LevelMovement(trend=True, trend_claimed=True)
    return LevelMovement(trend=True, moved_from=step.best)


def _further_steps(
    x: Array, X0: Array, recorded: Sequence[int], first: tuple[int, float], bound: float
) -> list[tuple[int, float]]:
    """Places of all steps with their p, in order."""
    C = len(x)
    steps = [first]
    for _ in range(MOST_FURTHER):
        places = [place for place, _ in steps]
        full = _model(X0, places, trend=True)
        if C - full.shape[1] - 1 < 5:
            break
        rho, free = correlation(x, full), allowed_places(C, recorded, places)
        if not free.size:
            break
        scans = [scan_steps(x, one, free, rho) for one in (full, _model(X0, places))]
        worse = max(scans, key=lambda scan: scan.p)
        if worse.p > bound:
            break
        steps.append((worse.best, worse.p))
        for i, (_, p) in enumerate(steps):
            others = [place for j, (place, _) in enumerate(steps) if j != i]
            free = allowed_places(C, recorded, others)
            steps[i] = (scan_steps(x, _model(X0, others, trend=True), free, rho).best, p)
    return sorted(steps)


def _last_p(x: Array, X: Array) -> float:
    """p of the last column of a model."""
    fit = fit_levels(x, X)
    se = math.sqrt(max(float(fit.covariance[-1, -1]), 0.0))
    return float(2 * stdtr(fit.dof, -abs(float(fit.theta[-1])) / se)) if se > 0 else 0.0


def _placed(
    x: Array, X0: Array, recorded: Sequence[int], steps: Sequence[tuple[int, float]], *, trend: bool
) -> list[FoundStep]:
    """Each step with the places at which it may have happened, the others in the model."""
    C = len(x)
    model = _model(X0, [place for place, _ in steps], trend=trend)
    rho = correlation(x, model) if steps else 0.0
    found = []
    for place, p in steps:
        others = [other for other, _ in steps if other != place]
        free = allowed_places(C, recorded, others)
        scan = scan_steps(x, _model(X0, others, trend=trend), free, rho)
        least = float(scan.rss.min())
        near = scan.places[scan.rss - least <= PLACE_WIDTH * least / max(C - model.shape[1], 1)]
        low, high = (int(near.min()), int(near.max())) if near.size else (place, place)
        found.append(FoundStep(place, min(low, place), max(high, place), p))
    return found

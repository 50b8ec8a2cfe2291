"""Profile and helix traces: evaluation range, design trace, mean line, deviations.

Positions are lengths of roll (profile) or face positions (helix) in mm, deviations in micrometres,
plus = more material. A range runs from its root side (profile) or datum side (helix) `start` to
its tip side or far `end`; on an internal gear the length of roll falls towards the tip, so there
`end` is the smaller one.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from gearqa.arrays import Array, BoolArray
from gearqa.core.filtering import BandedOperator, gaussian_operator, share_of_length
from gearqa.core.geometry import roll_length
from gearqa.late_dataclass import dataclass

PROFILE_SHARE: Final = 0.95
"""Share of the roll length from control to tip form diameter that is evaluated (ISO 1328-1:2013)."""
HELIX_MARGIN_SHARE: Final = 0.05
CUTOFFS_PER_RANGE: Final = 30
SMALLEST_DEFAULT_CUTOFF_MM: Final = 0.05
MISSING_STEPS_ALLOWED: Final = 2
HOLE_STEPS: Final = 10
HOLE_SHARE: Final = 0.1
"""A gap longer than both, in median steps and as a share of the range, is a hole in the trace."""
FEWEST_POINTS: Final = 20
WANTED_POINTS: Final = 150
WANTED_POINTS_PER_CUTOFF: Final = 3
STEEP_DEPARTURE_UM: Final = 1.0
SAME_POSITION_MM: Final = 1e-9
"""A sample this near to a limit is at the limit."""
NOTHING_UM: Final = 1e-9
"""Less than this is binary noise."""
CHUNK_VALUES: Final = 128 * 512
"""Values worked on at once, so that they stay in the processor's cache."""


@dataclass(frozen=True, slots=True)
class Relief:
    """Material removed from `start` on, linearly to `amount` at `end`, and so on beyond it."""

    amount: float
    start: float
    end: float


@dataclass(frozen=True, slots=True)
class TraceDesign:
    """Design trace: what the drawing removes from the unmodified flank, in micrometres."""

    crowning: float = 0.0
    slope: float = 0.0
    reliefs: tuple[Relief, ...] = ()
    points: tuple[tuple[float, float], ...] = ()
    """Position and deviation of a shape of any form, by rising position; straight between, level beyond."""


@dataclass(frozen=True, slots=True)
class TraceSpec:
    """How traces of one kind are evaluated. Lengths in mm."""

    start: float
    end: float
    full_start: float
    full_end: float
    """The span over which the full slope is taken."""
    zone_end: float | None
    """Tip form position, where the tip zone ends; None: no tip zone."""
    cutoff: float | None
    """None: no filter."""
    design: TraceDesign = TraceDesign()
    missing_in_zone: float = 0.0
    """Part of the material missing in the tip zone that counts; ISO 1328-1:2013: none."""

    @property
    def length(self) -> float:
        """Nominal evaluation length. [mm]"""
        return abs(self.end - self.start)

    @property
    def low(self) -> float:
        """Lower end of the range. [mm]"""
        return min(self.start, self.end)

    @property
    def high(self) -> float:
        """Upper end of the range. [mm]"""
        return max(self.start, self.end)


def profile_range(
    d_Cf: float, d_Fa: float, d_b: float, share: float = PROFILE_SHARE
) -> tuple[float, float, float]:
    r"""Profile evaluation range from control and tip form diameter.

    ISO 1328-1:2013, clause 4 (from memory): 95 % of the length of roll from the control diameter
    to the tip form diameter, from the root side.

    Parameters
    ----------
    d_Cf, d_Fa, d_b : float
        Profile control diameter, root side; tip form diameter; base diameter. [mm]
    share : float
        Share that is evaluated; 92 % in ISO 1328-1:1995 (from memory). [-]

    Returns
    -------
    tuple of float
        Length of roll of range start, range end and tip form diameter. [mm]

    Examples
    --------
    External gear of 20 teeth, module 1; lengths of roll 1.395628 and 5.718197 are computed values.

    >>> [round(v, 6) for v in profile_range(19.0, 22.0, 18.7938524157)]
    [1.395628, 5.502069, 5.718197]
    """
    start, tip = roll_length(d_Cf, d_b), roll_length(d_Fa, d_b)
    return start, start + share * (tip - start), tip


def helix_range(b: float, m_n: float) -> tuple[float, float]:
    """Helix evaluation range: the face width less 5 % or one module, the smaller, at each end.

    ISO 1328-1:2013, clause 4 (from memory).

    Parameters
    ----------
    b, m_n : float
        Face width and normal module. [mm]

    Returns
    -------
    tuple of float
        Face position of range start and end. [mm]

    Examples
    --------
    >>> helix_range(32.0, 1.75), helix_range(100.0, 2.0)
    ((1.6, 30.4), (2.0, 98.0))
    """
    margin = min(HELIX_MARGIN_SHARE * b, m_n)
    return margin, b - margin


def default_cutoff(length: float) -> float:
    """Cutoff of the Gaussian filter for an evaluation length.

    ISO 1328-1:2013, annex on filtering (from memory).

    Parameters
    ----------
    length : float
        Evaluation length. [mm]

    Returns
    -------
    float
        Cutoff wavelength: a thirtieth of the length, not below 0.05. [mm]

    Examples
    --------
    >>> default_cutoff(28.8), default_cutoff(1.2)
    (0.96, 0.05)
    """
    return max(length / CUTOFFS_PER_RANGE, SMALLEST_DEFAULT_CUTOFF_MM)


def range_fraction(x: Array, spec: TraceSpec) -> Array:
    """Signed position over the evaluation range, -1/2 at its start and +1/2 at its end.

    House definition: grows towards the tip (profile) or away from the datum face (helix).

    Parameters
    ----------
    x : ndarray, shape (n,)
        Positions. [mm]
    spec : TraceSpec
        The range. [mm]

    Returns
    -------
    ndarray, shape (n,)
        Fractions of the evaluation length. [-]

    Examples
    --------
    >>> spec = TraceSpec(52.0, 44.0, 52.0, 43.0, 43.5, 0.3)
    >>> range_fraction(np.array([52.0, 48.0, 44.0]), spec).tolist()
    [-0.5, 0.0, 0.5]
    """
    return np.asarray((x - spec.start) / (spec.end - spec.start) - 0.5)


def design_trace(x: Array, spec: TraceSpec) -> Array:
    r"""Design trace at given positions.

    House definition, for t from `range_fraction`: crowning c gives :math:`-c(2t)^2`, slope h gives
    :math:`h t`, a relief falls linearly from 0 at its start; points are added as they stand.

    Parameters
    ----------
    x : ndarray, shape (n,)
        Positions. [mm]
    spec : TraceSpec
        Range and design. [mm, um]

    Returns
    -------
    ndarray, shape (n,)
        Design trace, material removed is negative. [um]

    Examples
    --------
    >>> design = TraceDesign(crowning=4.0, reliefs=(Relief(6.0, start=9.0, end=12.0),))
    >>> spec = TraceSpec(0.0, 10.0, 0.0, 12.0, None, 0.3, design)
    >>> design_trace(np.array([0.0, 5.0, 9.0, 10.0]), spec).tolist()
    [-4.0, 0.0, -2.56, -6.0]
    """
    t = range_fraction(x, spec)
    design = spec.design
    trace = design.slope * t - design.crowning * (2 * t) ** 2
    for relief in design.reliefs:
        trace -= relief.amount * np.maximum((x - relief.start) / (relief.end - relief.start), 0.0)
    if design.points:
        trace += np.interp(x, *np.array(design.points).T)
    return trace


def mean_line(t: Array, u: Array, weights: Array) -> tuple[Array, Array]:
    r"""Weighted least squares straight line.

    ISO 1328-1:2013, clause 4 (from memory), weights by share of length.

    Parameters
    ----------
    t : ndarray, shape (n,)
        Positions over the range. [-]
    u : ndarray, shape (..., n)
        Deviations. [um]
    weights : ndarray, shape (n,)
        Weights, not negative. [-]

    Returns
    -------
    tuple of ndarray, shape (...)
        Value at t = 0 and rise per unit of t. [um]

    Examples
    --------
    >>> t = np.linspace(0, 1, 11)
    >>> level, rise = mean_line(t, 2 + 5 * t, np.ones(11))
    >>> round(float(level), 9), round(float(rise), 9)
    (2.0, 5.0)
    """
    level, rise, _, _ = _fit_functionals(t, weights)
    # About the first value, so that a large constant costs no digits.
    about = u[..., :1]
    return (u - about) @ level + about[..., 0], (u - about) @ rise


def _fit_functionals(t: Array, weights: Array) -> tuple[Array, Array, Array, Array]:
    """Vectors that give, by a dot product, level at 0, rise, and square term; and the shape of that term."""
    w = weights / weights.sum()
    mean = w @ t
    p1 = t - mean
    w1 = w * p1
    rise = w1 / (w1 @ p1)
    level = w - mean * rise
    # The square polynomial orthogonal to the straight line under these weights.
    p2 = p1**2
    p2 = p2 - w @ p2
    p2 = p2 - (rise @ p2) * p1
    square = w * p2 / ((w * p2) @ p2)
    return level, rise, square, p2


@dataclass(frozen=True, slots=True)
class Coverage:
    """How far the samples of a trace cover the range they should cover."""

    points: int
    """Samples in the range."""
    measured_low: float
    measured_high: float
    fault: Literal["range_not_covered", "hole", "too_few_points"] | None
    """Why traces so sampled cannot be evaluated."""
    few_points: bool
    """Fewer than the 150 points wanted."""
    sparse: bool
    """Fewer than 3 points within a cutoff somewhere in the range: the filter does little there."""
    hole: tuple[float, float] | None = None
    """Where samples are missing inside the range."""


def coverage(x: Array, spec: TraceSpec) -> Coverage:
    """How far sampled positions cover the evaluation range.

    ISO 1328-1:2013, annex on filtering (from memory) for the number of points wanted; the rest is
    a house rule: at most two median steps may be missing at an end, no gap inside may be longer than
    ten median steps and a tenth of the range, 20 points are needed.

    Parameters
    ----------
    x : ndarray, shape (n,)
        Positions, rising. [mm]
    spec : TraceSpec
        The range. [mm]

    Returns
    -------
    Coverage
        Points in the range, measured ends, and what is at fault. [-]

    Examples
    --------
    >>> spec = TraceSpec(1.6, 30.4, 0.0, 32.0, None, 0.96)
    >>> coverage(np.linspace(1.0, 31.0, 480), spec).points
    460
    >>> coverage(np.linspace(3.0, 31.0, 480), spec).fault
    'range_not_covered'
    """
    if len(x) == 0:
        return Coverage(0, np.nan, np.nan, "too_few_points", few_points=True, sparse=True)
    low, high = spec.low - SAME_POSITION_MM, spec.high + SAME_POSITION_MM
    inside = x[(x >= low) & (x <= high)]
    steps = np.sort(np.diff(x))
    # the median; numpy's own loads masked arrays, a tenth of a small job
    step = float(steps[(len(steps) - 1) // 2] + steps[len(steps) // 2]) / 2 if len(x) > 1 else 0.0
    missing = max(x[0] - spec.low, spec.high - x[-1])
    hole = _hole(np.clip(x, spec.low, spec.high), max(HOLE_STEPS * step, HOLE_SHARE * spec.length))
    fault: Literal["range_not_covered", "hole", "too_few_points"] | None = None
    if missing > MISSING_STEPS_ALLOWED * step + SAME_POSITION_MM:
        fault = "range_not_covered"
    elif hole is not None:
        fault = "hole"
    elif len(inside) < FEWEST_POINTS:
        fault = "too_few_points"
    n = WANTED_POINTS_PER_CUTOFF
    sparse = (
        spec.cutoff is not None and len(inside) > n and bool(np.any(inside[n:] - inside[:-n] > spec.cutoff))
    )
    return Coverage(len(inside), float(x[0]), float(x[-1]), fault, len(inside) < WANTED_POINTS, sparse, hole)


def _hole(x: Array, longest: float) -> tuple[float, float] | None:
    """The longest gap between positions where it is longer than allowed."""
    gaps = np.diff(x)
    if not len(gaps) or gaps.max() <= longest + SAME_POSITION_MM:
        return None
    at = int(gaps.argmax())
    return float(x[at]), float(x[at + 1])


@dataclass(frozen=True, eq=False, slots=True)
class TraceValues:
    """Deviations of traces of one sampling pattern, each of shape (traces,), in micrometres."""

    total: Array
    form: Array
    slope: Array
    """Rise of the mean line over the evaluation length."""
    slope_full: Array
    """Rise of the mean line over the full span."""
    crowning: Array
    parabola_form: Array
    """Width about the mean parabola over the evaluation range; the tip zone does not count."""
    level: Array
    """Mean line at the middle of the range."""
    tip_zone_counted: BoolArray
    departs: BoolArray
    """Leaves its band steeply within half a cutoff outside the range, and so leaks into it."""


@dataclass(frozen=True, eq=False, slots=True)
class TraceOperator:
    """Everything that depends on the sampling pattern alone.

    The work array of a trace holds the filtered samples `first`.. and behind them three values
    interpolated at the lower limit, the upper limit and the end of the tip zone.
    """

    spec: TraceSpec
    filter: BandedOperator | None
    first: int
    samples: int
    inside: slice
    zone: slice | None
    outside: tuple[slice, ...]
    left_of_limit: NDArray[np.intp]
    way_to_next: Array
    t: Array
    design: Array | None
    functionals: Array
    bow: Array
    """What a unit of the square term adds to the mean line."""


def trace_operator(x: Array, spec: TraceSpec) -> TraceOperator:
    """Build what evaluates traces sampled at given positions; they must cover the range.

    ISO 1328-1:2013, clause 4 and annexes (from memory).

    Parameters
    ----------
    x : ndarray, shape (n,)
        Positions, rising. [mm]
    spec : TraceSpec
        Range, filter and design. [mm]

    Returns
    -------
    TraceOperator
        For `evaluate_traces`. [-]

    Examples
    --------
    >>> spec = TraceSpec(1.6, 30.4, 0.0, 32.0, None, 0.96)
    >>> trace_operator(np.linspace(0.0, 32.0, 641), spec).samples
    595
    """
    rising = spec.end > spec.start
    low, high = max(spec.low, x[0]), min(spec.high, x[-1])
    zone_end = high if rising else low
    if spec.zone_end is not None:
        zone_end = min(spec.zone_end, x[-1]) if rising else max(spec.zone_end, x[0])
    margin = 0.0 if spec.cutoff is None else spec.cutoff / 2

    def samples_between(above: float, below: float) -> tuple[int, int]:
        start = int(np.searchsorted(x, above + SAME_POSITION_MM, "right"))
        return start, max(start, int(np.searchsorted(x, below - SAME_POSITION_MM, "left")))

    inside = samples_between(low, high)
    zone = samples_between(high, zone_end) if rising else samples_between(zone_end, low)
    outside = samples_between(low - margin, low), samples_between(high, high + margin)
    limits = np.array([low, high, zone_end])
    left = np.clip(np.searchsorted(x, limits, "right") - 1, 0, len(x) - 2)
    first = min(int(left.min()), inside[0], zone[0], outside[0][0])
    last = max(int(left.max()) + 2, inside[1], zone[1], outside[1][1])
    samples = last - first

    positions = np.concatenate((x[first:last], limits))
    t = range_fraction(positions, spec)
    design = design_trace(positions, spec) if spec.design != TraceDesign() else None
    functionals = np.zeros((samples + 3, 3))
    in_order = [samples, *range(inside[0] - first, inside[1] - first), samples + 1]
    weights = share_of_length(positions[in_order])
    level, rise, square, bow = _fit_functionals(t[in_order], weights)
    functionals[in_order] = np.column_stack((level, rise, square))
    bows = np.zeros(samples + 3)
    bows[in_order] = bow

    has_zone = abs(zone_end - (high if rising else low)) > SAME_POSITION_MM
    return TraceOperator(
        spec=spec,
        filter=None if spec.cutoff is None else gaussian_operator(x, spec.cutoff, first, last),
        first=first,
        samples=samples,
        inside=slice(inside[0] - first, inside[1] - first),
        zone=slice(zone[0] - first, zone[1] - first) if has_zone else None,
        outside=tuple(slice(a - first, b - first) for a, b in outside if b > a),
        left_of_limit=left - first,
        way_to_next=(limits - x[left]) / (x[left + 1] - x[left]),
        t=t,
        design=design,
        functionals=functionals,
        bow=bows,
    )


@lru_cache(maxsize=16)
def _cached_operator(x: bytes, spec: TraceSpec) -> TraceOperator:
    return trace_operator(np.frombuffer(x, dtype=np.float64), spec)


def cached_trace_operator(x: Array, spec: TraceSpec) -> TraceOperator:
    """`trace_operator`, kept for sampling patterns met again.

    House rule: patterns are equal if every digit of their positions is.

    Parameters
    ----------
    x : ndarray, shape (n,)
        Positions, rising. [mm]
    spec : TraceSpec
        Range, filter and design. [mm]

    Returns
    -------
    TraceOperator
        The same object for equal positions and spec. [-]

    Examples
    --------
    >>> spec = TraceSpec(1.6, 30.4, 0.0, 32.0, None, 0.96)
    >>> x = np.linspace(0.0, 32.0, 641)
    >>> cached_trace_operator(x, spec) is cached_trace_operator(x.copy(), spec)
    True
    """
    return _cached_operator(x.tobytes(), spec)


def evaluate_traces(operator: TraceOperator, y: Array) -> TraceValues:
    """Total, form and slope deviation and crowning of traces of one sampling pattern.

    ISO 1328-1:2013, clause 4 and annexes (from memory). Second order analysis, as that annex is called: the
    mean parabola has the crowning, the form about it, and as slope between the range ends that of the mean
    line, as near as the points lie evenly.

    Parameters
    ----------
    operator : TraceOperator
        Made for the sampling pattern. [-]
    y : ndarray, shape (traces, n)
        Measured deviations. [um]

    Returns
    -------
    TraceValues
        Arrays of shape (traces,). [um]

    Examples
    --------
    A straight rise of 5 over a range of 28.8 mm is all slope; over the face width it is 32/28.8 as much.

    >>> spec = TraceSpec(1.6, 30.4, 0.0, 32.0, None, 0.96)
    >>> x = np.linspace(0.0, 32.0, 641)
    >>> values = evaluate_traces(trace_operator(x, spec), (5 * (x - 1.6) / 28.8)[None])
    >>> [round(float(v[0]), 6) for v in (values.total, values.slope, values.slope_full)]
    [5.0, 5.0, 5.555556]
    >>> abs(float(values.form[0])) < 1e-9
    True
    """
    count, columns = len(y), operator.samples + 3
    chunk = max(1, CHUNK_VALUES // columns)
    work = np.empty((2, min(chunk, count), columns))
    numbers, flags = np.empty((6, count)), np.zeros((2, count), dtype=np.bool_)
    for start in range(0, count, chunk):
        part = slice(start, min(start + chunk, count))
        numbers[:, part], flags[:, part] = _evaluate_chunk(operator, y[part], work[:, : part.stop - start])
    total, form, slope, crowning, parabola_form, level = numbers
    ends = range_fraction(np.array([operator.spec.full_start, operator.spec.full_end]), operator.spec)
    slope_full = slope * (ends[1] - ends[0])
    return TraceValues(
        total, form, slope, slope_full, crowning, parabola_form, level, flags[0], flags[1]
    )  # fmt: skip


def _evaluate_chunk(
    op: TraceOperator, y: Array, work: Array
) -> tuple[tuple[Array, ...], tuple[BoolArray, BoolArray]]:
    """Total, both forms, slope, crowning, level; whether the tip zone counted, and whether it departs."""
    n = op.samples
    u, residual = work
    if op.filter is None:
        u[:, :n] = y[:, op.first : op.first + n]
    else:
        op.filter.apply(y, u[:, :n])
    left = u[:, op.left_of_limit]
    u[:, n:] = left + op.way_to_next * (u[:, op.left_of_limit + 1] - left)
    if op.design is not None:
        u -= op.design
    level, slope, square = (u @ op.functionals).T
    np.multiply(slope[:, None], op.t, out=residual)
    np.subtract(u, residual, out=residual)

    total, total_grew = _width(op, u)
    form, form_grew = _width(op, residual)
    departs = _departs(op, residual)
    crowning = op.spec.design.crowning - square / 4
    np.multiply(square[:, None], op.bow, out=u)
    np.subtract(residual, u, out=residual)
    highest, lowest = _range_extremes(op, residual)
    values = total, form, slope, crowning, highest - lowest, level
    return values, (total_grew | form_grew, departs)


def _range_extremes(op: TraceOperator, u: Array) -> tuple[Array, Array]:
    limits = u[:, op.samples], u[:, op.samples + 1]
    inside = u[:, op.inside]
    highest, lowest = np.maximum(*limits), np.minimum(*limits)
    return np.maximum(inside.max(axis=1), highest), np.minimum(inside.min(axis=1), lowest)


def _width(op: TraceOperator, u: Array) -> tuple[Array, BoolArray]:
    """Maximum less minimum; in the tip zone plus material counts, missing material as the edition says."""
    highest, lowest = _range_extremes(op, u)
    if op.zone is None:
        return highest - lowest, np.zeros(len(u), dtype=np.bool_)
    in_zone = np.maximum(u[:, op.zone].max(axis=1, initial=-np.inf), u[:, op.samples + 2])
    width, counted = np.maximum(highest, in_zone) - lowest, in_zone > highest + NOTHING_UM
    if op.spec.missing_in_zone:
        deepest = np.minimum(u[:, op.zone].min(axis=1, initial=np.inf), u[:, op.samples + 2])
        missing = op.spec.missing_in_zone * (np.maximum(highest, in_zone) - deepest)
        counted |= missing > width + NOTHING_UM
        width = np.maximum(width, missing)
    return width, counted


def _departs(op: TraceOperator, residual: Array) -> BoolArray:
    departs = np.zeros(len(residual), dtype=np.bool_)
    if not op.outside:
        return departs
    highest, lowest = _range_extremes(op, residual)
    allowed = np.maximum(highest - lowest, STEEP_DEPARTURE_UM)
    for side in op.outside:
        beyond = residual[:, side]
        departs |= (beyond.max(axis=1) > highest + allowed) | (beyond.min(axis=1) < lowest - allowed)
    return departs

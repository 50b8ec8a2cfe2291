"""Traces and tables that hold the same readings as another one: copied, or one file taken for two gears.

Also found are copies moved by a constant, and copies rounded by one decimal. Of every piece some sums are
kept: of its readings, and of the readings times weights that only the position decides. They add up over the
pieces of a trace however it was cut, and tell little but the readings about their mean; where the sums of two
traces agree, the readings themselves are compared.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from itertools import islice, pairwise
from typing import Any, Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from gearqa.arrays import Array, IntArray, distinct
from gearqa.reading.folder.pieces import Pieces
from gearqa.wording.numbers import short_text

SAMPLE: Final = 50
"""Traces from which resolution and variety of readings are taken."""
SAME_UM: Final = 1e-9
MOVED_UM: Final = 1e-6
"""Readings are written no finer; two that were moved alike differ by less."""
FEWEST_POINTS: Final = 3
"""Two readings have one step between them, which holds half a bit at most: never enough."""
SURE_BITS: Final = 10
"""A copy is one where equal readings come about by chance in less than one folder of 2 to this power."""
WAYS: Final = 3
"""Sums with weights: hardly two traces of a large folder agree in so many by chance."""
SUMS: Final = 1 + 2 * WAYS
"""Sums of a piece: of its readings, of the weights, of readings times weights."""
ROUNDED: Final = 10.0
"""One decimal."""
VARIETY: Final = 10.0
"""Times a rounding step by which traces must differ for a rounded copy to be told from a like flank."""
FEWEST_ROUNDED: Final = 60
"""Two measurements of one flank may agree within a rounding step in fewer points."""
SCATTER_UM: Final = 0.05
"""Of an instrument that repeats very well (common practice, no source)."""
LAGS: Final = 3
MOST_BESIDE: Final = 200
"""Traces beside one in the order of their sums that may be compared with it."""
WIDEST: Final = 100.0
"""Times the span of traces in a sample that one may have which is compared."""
MOST_COMPARED: Final = 20_000
"""Pairs of a folder that are compared by reading them: more are alike by nature, and would take long."""


class Copy(NamedTuple):
    """A trace that repeats another one, by their places, and how."""

    other: int
    offset_um: float = 0.0
    rounded: bool = False

    @property
    def how(self) -> str:
        """After the name of the other one, inside a sentence."""
        moved = f"moved by {short_text(abs(self.offset_um), 6)} µm" if self.offset_um else ""
        found = " and ".join(filter(None, (moved, "rounded" if self.rounded else "")))
        return f", {found}," if found else ""


def weights(position: Array) -> Array:
    """Weights of positions, shape (WAYS, n), plus or minus 1 as the digits of each happen to be."""
    bits = (position + 0.0).view(np.uint64)  # + 0.0: minus zero is zero
    bits = (bits ^ (bits >> np.uint64(29))) * np.uint64(0x9E3779B97F4A7C15)
    ways = np.arange(40, 40 + WAYS, dtype=np.uint64)[:, None]
    return np.asarray(1.0 - 2.0 * ((bits >> ways) & np.uint64(1)))


def sums(pieces: Pieces, shared: NDArray[np.int32], weights_of: Callable[[int], Array]) -> Array:
    """The sums of each piece, shape (pieces, SUMS); `shared` is -1 or the number of its positions."""
    found = np.empty((len(pieces), SUMS))
    value = pieces.value
    for number in distinct(shared).tolist():
        own = np.flatnonzero(shared == number)
        if number >= 0:
            weight, start, n = weights_of(number), pieces.start[own], int(pieces.count[own[0]])
            first = int(start[0])
            if (np.diff(start) == n).all():
                rows = value[first : first + n * len(own)].reshape(-1, n)
            else:
                rows = value[start[:, None] + np.arange(n)]
            product = rows @ np.vstack((np.ones(n), weight)).T
            found[own] = np.insert(product, 1, weight.sum(axis=1)[:, None], axis=1)
            continue
        points = np.repeat(shared == number, pieces.count)
        y, weight = value[points], weights(pieces.position[points])
        begin = np.cumsum(pieces.count[own]) - pieces.count[own]
        found[own] = np.add.reduceat(np.vstack((y, weight, weight * y)), begin, axis=1).T
    return found


def equal_traces(
    total: Array,
    sort: NDArray[Any],
    points: NDArray[Any],
    read: Callable[[int], tuple[Array, Array]],
    same_place: Callable[[int, int], bool],
) -> dict[int, Copy]:
    """Traces of one sort that repeat another one of it.

    `total` holds their sums; `read` gives positions and values of a trace; `same_place` tells whether two are
    measurements of one place of one gear. Readings so coarse or so few that they may be equal by chance,
    among as many traces as there are, are no copy.
    """
    found: dict[int, Copy] = {}
    for wanted in distinct(sort).tolist():
        own = np.flatnonzero((sort == wanted) & (points >= FEWEST_POINTS))
        if len(own) > 1:
            seen = _about_mean(total[own], points[own])
            found |= _copies(own, seen, points[own], read, same_place)
    return found


def _about_mean(total: Array, points: NDArray[Any]) -> Array:
    """What the sums with weights tell of the readings about their mean, as large as those."""
    value, weight, product = total[:, :1], total[:, 1 : 1 + WAYS], total[:, 1 + WAYS :]
    n = points[:, None]
    return np.asarray((product - weight * value / n) / np.sqrt(n))


def _copies(
    own: IntArray,
    seen: Array,
    points: NDArray[Any],
    read: Callable[[int], tuple[Array, Array]],
    same_place: Callable[[int, int], bool],
) -> dict[int, Copy]:
    sample = [read(at) for at in own[:: max(1, len(own) // SAMPLE)].tolist()]
    step = resolution(np.concatenate([value for _, value in sample]))
    enough = 2 * math.log2(len(own)) + SURE_BITS
    most = math.log2(2 + WIDEST * max(float(np.ptp(value)) for _, value in sample) / step)
    tell = 0.5 * (points - 1) * most >= enough
    own, seen, points = own[tell], seen[tell], points[tell]
    found: dict[int, Copy] = {}

    def compare(pairs: Iterator[tuple[int, int]], step: float, how: Callable[..., float | None]) -> None:
        bits = np.full(len(own), math.nan)

        def tell_enough(at: int) -> bool:
            if math.isnan(bits[at]):
                bits[at] = float(information(read(int(own[at]))[1], step))
            return bool(bits[at] >= enough)

        for one, other in pairs:
            first, second = int(own[one]), int(own[other])
            if (first in found and second in found) or not (tell_enough(one) and tell_enough(other)):
                continue
            again = same_place(first, second)
            if again and information_again(int(points[one]), step) < math.log2(len(own)) + SURE_BITS:
                continue
            trace = read(first)
            offset = how(trace, read(second), step)
            if offset is None:
                continue
            bits[one] = bits[other] = information_beside(trace, sample, step)
            if bits[one] >= enough:
                found.setdefault(first, Copy(second, offset, how is _rounded))
                found.setdefault(second, Copy(first, -offset, how is _rounded))

    compare(_alike(seen, points, MOVED_UM, lags=LAGS), step, _moved)
    coarse = ROUNDED * step
    if coarse <= _variety(sample) / VARIETY:
        # a rounding error has 0.29 steps; their sums lie within four times that
        pairs = _alike(seen, points, 1.2 * coarse, lags=MOST_BESIDE)
        compare(islice(pairs, MOST_COMPARED), coarse, _rounded)
    return found


def _variety(sample: list[tuple[Array, Array]]) -> float:
    """By how much traces of a sample differ from the next one about their means, in the middle."""
    apart = [
        float(np.ptp(value - other))
        for (at, value), (also_at, other) in pairwise(sample)
        if len(at) == len(also_at) and (at == also_at).all()
    ]
    return sorted(apart)[(len(apart) - 1) // 2] if apart else 0.0


def _alike(seen: Array, points: NDArray[Any], near: float, lags: int) -> Iterator[tuple[int, int]]:
    """Pairs of traces of as many points whose sums agree so nearly; neighbours first."""
    order = np.lexsort((seen[:, 0], points))
    sums, n = seen[order], points[order]
    for lag in range(1, min(lags, len(order) - 1) + 1):
        beside = (n[lag:] == n[:-lag]) & (sums[lag:, 0] - sums[:-lag, 0] <= near)
        at = np.flatnonzero(beside)
        at = at[(np.abs(sums[at + lag] - sums[at]) <= near).all(axis=1)]
        yield from zip(order[at].tolist(), order[at + lag].tolist(), strict=True)
        if not beside.any():
            return


def _moved(one: tuple[Array, Array], other: tuple[Array, Array], _: float) -> float | None:
    """By how much a trace lies above another one of the same readings but for that."""
    (at, value), (also_at, also) = one, other
    if not np.array_equal(at, also_at):
        return None
    apart = value - also
    low, high = float(apart.min()), float(apart.max())
    return round((low + high) / 2, 6) if high - low <= MOVED_UM else None


def _rounded(one: tuple[Array, Array], other: tuple[Array, Array], coarse: float) -> float | None:
    """By how many whole coarse steps a trace lies above another one; one of the two is the other, rounded."""
    (at, value), (also_at, also) = one, other
    if len(value) < FEWEST_ROUNDED or not np.array_equal(at, also_at):
        return None
    apart = value - also
    low, high = float(apart.min()), float(apart.max())
    if high - low > coarse + MOVED_UM or _whole_steps(value, coarse) == _whole_steps(also, coarse):
        return None
    return round((low + high) / 2 / coarse) * coarse


def _whole_steps(value: Array, step: float) -> bool:
    """Whether readings differ by whole steps."""
    steps = (value - value[0]) / step
    return bool(np.all(np.abs(steps - np.rint(steps)) < 0.01))


def resolution(values: Array) -> float:
    """The smallest step between readings."""
    gaps = np.diff(np.sort(values))
    return float(np.min(gaps[gaps > SAME_UM], initial=math.inf))


def information_again(points: int, step: float) -> float:
    """How many bits of chance a second measurement of the same place holds, on the low side.

    Each reading falls on the same step as the first one with the mean of 1 - |difference| / step, of two
    readings that scatter normally.
    """
    if math.isinf(step):
        return 0.0
    wide = math.sqrt(2) * SCATTER_UM / step
    tail = math.expm1(-0.5 / wide**2)
    same = math.erf(1 / (wide * math.sqrt(2))) + wide * math.sqrt(2 / math.pi) * tail
    return -points * math.log2(same)


def information(values: Array, step: float) -> Array:
    """About how many bits of chance readings hold, on the low side: coarse ones may be alike; (..., n)."""
    changes = np.diff(values, axis=-1)
    some = np.abs(changes) > SAME_UM
    high = changes.max(axis=-1, where=some, initial=-math.inf)
    low = changes.min(axis=-1, where=some, initial=math.inf)
    return np.asarray(0.5 * some.sum(axis=-1) * np.log2(2 + np.maximum(high - low, 0.0) / step))


def information_beside(trace: tuple[Array, Array], sample: list[tuple[Array, Array]], step: float) -> float:
    """How many of them set a trace apart from others: the shape that a lot has in common is no chance.

    Infinite where no other trace has its positions.
    """
    position, value = trace
    others = [other for at, other in sample if at is position or np.array_equal(at, position)]
    apart = information(value - np.array(others), step) if others else np.zeros(0)
    apart = np.sort(apart[apart > 0])  # of copies there are none
    return float(apart[:2][-1]) if len(apart) else math.inf  # the first may be a copy with a value changed

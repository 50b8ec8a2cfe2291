"""Readings that no probe on a flank gives: one that stands still, is cut off, or marks "no reading".

Coarse readings of a smooth flank stand still too, and wave at one level. What tells a probe at fault is how
the value leaves the level: a flank passes slowly through the levels beside it, a fault jumps over them.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Final, NamedTuple

import numpy as np

from gearqa.arrays import Array, BoolArray, distinct
from gearqa.core.traces import CHUNK_VALUES
from gearqa.late_dataclass import dataclass
from gearqa.model.results import DoubtCode
from gearqa.wording.numbers import percent_text, short_text

QUARTER: Final = 0.25
"""Of the range: a value that is held longer is stuck."""
HALF: Final = 0.5
"""Of a zone: a value that is held longer is stuck."""
HELD: Final = 0.05
"""Of the points: an extreme value that is held longer may be clipped."""
SAME_UM: Final = 1e-9
"""Readings that differ by less are the same one, converted."""
FEW: Final = 8
"""Fewer points at an extreme come about by chance in coarse readings."""
STEPS: Final = 10
"""Fewer steps of the resolution within the span say nothing about clipping."""
MOST: Final = 0.9
"""Of the points at one level, of finer readings: what is left are spikes."""
BESIDE: Final = 0.1
"""Of a held stretch: fewer points that lead to it through the levels beside it are a jump."""
PILE: Final = 6
"""Times as many readings at an extreme as next to it; a smooth crest has at most 2.4, a flat one 5.3."""
DIP: Final = 0.25
"""Of the span: what lies between two stretches at one extreme, at the least."""
LEAST_MARK: Final = 9.99
"""Marks for "no reading" are 9.99 and more: digits of nothing but nines, three at the least."""
_MARK_ROUNDED: Final = 0.001
"""Rounding of such a mark."""
GRAIN_UM: Final = 1e-6
"""Readings are written no finer."""
COARSE_UM: Final = 0.5
"""From this resolution on good traces stand on one level, and leave it by the smallest step there is."""
WHOLE_UM: Final = 1.0
"""From this resolution on a good flank may pass the levels beside a flat place in few points."""
BLOCKS: Final = 8
"""Of a trace, for the quick look: a quarter of it holds one of them whole."""
FEWEST_QUIET: Final = 12
"""Fewer readings keep to one value by chance."""
QUIET: Final = 0.66
"""Of the second differences elsewhere, of which a fifth are smaller: so a damaged place does not count.
Noise spans six times as much in 12 points."""
QUIET_BLOCK: Final = 0.15
"""Of the span of other blocks, for the quick look: more than `QUIET` over those six."""
FINE: Final = 4.5
"""Times the resolution that readings scatter from point to point; coarser ones stand still by themselves."""
CHANCE: Final = 1e-5
"""Of so many equal readings in a row coming about in a table of good readings."""


class ProbeFault(NamedTuple):
    """What is wrong with the readings of one trace or table."""

    code: DoubtCode
    text: str
    """After the name of the trace or table."""


@dataclass(frozen=True, slots=True)
class _Stretch:
    """Equal readings in a row."""

    first: int
    past: int
    value: float

    @property
    def points(self) -> int:
        return self.past - self.first


def odd_rows(position: Array, readings: Array, low: float, high: float) -> BoolArray:
    """Rows of readings, shape (m, n), that `trace_fault` has to look at; quick, and rather one too many."""
    if readings.shape[1] < 2:
        return np.ones(len(readings), dtype=np.bool_)
    odd = np.zeros(len(readings), dtype=np.bool_)
    rows = max(1, CHUNK_VALUES // readings.shape[1])
    first, past = np.searchsorted(position, (low, high))
    for start in range(0, len(readings), rows):
        odd[start : start + rows] = _odd(readings[start : start + rows], int(first), int(past))
    return odd


def _odd(readings: Array, first: int, past: int) -> BoolArray:
    steps = readings[:, 1:] - readings[:, :-1]
    # a mark for "no reading" is that large, and half of it from what is next to it
    least = LEAST_MARK - _MARK_ROUNDED
    odd = np.maximum(steps.max(axis=1), -steps.min(axis=1)) >= least / 2
    odd &= np.maximum(readings.max(axis=1), -readings.min(axis=1)) >= least
    held = np.flatnonzero(np.count_nonzero(steps == 0.0, axis=1) >= HELD * readings.shape[1] / 4)
    if len(held) and past > first:
        y = readings[held, first:past]
        enough = HELD * y.shape[1]
        piled = (np.count_nonzero(y == y.max(axis=1)[:, None], axis=1) >= enough) | (
            np.count_nonzero(y == y.min(axis=1)[:, None], axis=1) >= enough
        )
        same = np.count_nonzero(y[:, 1:] == y[:, :-1], axis=1)  # spikes may part them
        odd[held] |= piled | (same >= QUARTER / 2 * y.shape[1])
    # a quiet block against the widest but one, so that a damaged place does not count
    if (block := (past - first) // BLOCKS) >= FEW:
        each = max(1, block // (2 * FEW))
        block -= block % each
        y = readings[:, first : first + BLOCKS * block : each].reshape(len(readings), BLOCKS, -1)
        spans = np.sort(y.max(axis=2) - y.min(axis=2), axis=1)
        odd |= spans[:, 0] < QUIET_BLOCK * spans[:, -2]
    return np.asarray(odd)


def trace_fault(position: Array, readings: Array, low: float, high: float) -> ProbeFault | None:
    """What is wrong with one trace, between the ends of its evaluation range."""
    inside = (position >= low) & (position <= high)
    if fault := _no_reading(readings, _nines(readings, 3) & inside, _nines(readings, 4) & ~inside):
        return fault
    x, y = position[inside], readings[inside]
    if len(y) < 2:
        return None
    whole = high - low

    def share(stretch: _Stretch) -> float:
        return float(x[stretch.past - 1] - x[stretch.first]) / whole

    stuck = _stuck(y, lambda s: share(s) > QUARTER, share) or _quiet(y, share)
    return stuck or _clipped(y, max(HELD * len(y), FEW))


def zone_fault(position: Array, readings: Array, low: float, high: float) -> ProbeFault | None:
    """A value held over more than half of a zone; how it leaves the level is seen in the whole trace.

    A short zone holds a few equal readings by chance, so the shares of a whole range are too strict here.
    """

    def share(stretch: _Stretch) -> float:
        inside = min(position[stretch.past - 1], high) - max(position[stretch.first], low)
        return max(0.0, float(inside)) / (high - low)

    return _stuck(readings, lambda s: share(s) > HALF, share)


def table_fault(readings: Array) -> ProbeFault | None:
    """What is wrong with the readings of all teeth or spaces of a gear; NaN where there is none."""
    n = len(readings)
    if np.isnan(readings).all():
        return None
    marked = not np.abs(readings).max() < LEAST_MARK - _MARK_ROUNDED
    if marked and (fault := _no_reading(readings, np.zeros(n, dtype=np.bool_), _nines(readings, 3))):
        return fault
    alike = int(np.count_nonzero(readings[1:] == readings[:-1])) + int(readings[0] == readings[-1])
    if alike < n * QUARTER - 1:  # too few in a row: nearly every table
        return None
    # turned so that it does not begin within equal readings
    steps = np.flatnonzero(readings != np.roll(readings, 1))
    y = np.roll(readings, -int(steps[0])) if len(steps) else readings
    span = float(np.nanmax(y) - np.nanmin(y))
    by_chance = min(1.0, 2 * _step(y) / span) if span > 0 else 1.0
    chance = 1 + (math.log(CHANCE / n) / math.log(by_chance) if by_chance < 1 else math.inf)

    def long(stretch: _Stretch) -> bool:
        held = np.count_nonzero(y[stretch.first : stretch.past] == stretch.value)  # teeth show no spikes
        return bool(held >= max(n * QUARTER, chance))

    return _stuck(y, long, lambda s: s.points / n, closed=True)


def _step(y: Array) -> float:
    """The smallest step from reading to reading: the resolution, as far as it shows."""
    gaps = np.abs(np.diff(y))
    return float(np.min(gaps[gaps > SAME_UM], initial=math.inf))


def _grid(y: Array) -> float:
    """Of what step all differences are whole multiples: a few spikes on a dead probe have none in common.

    Two levels alone are a grid only if their distance looks like a resolution: 1, 2, 5 of a decimal place.
    """
    counts = distinct(np.rint((y[~np.isnan(y)] - np.nanmin(y)) / GRAIN_UM).astype(np.int64))
    common = int(np.gcd.reduce(counts))
    if len(counts) == 2:
        digit = int(str(common).rstrip("0"))
        return GRAIN_UM * (common if digit in (1, 2, 5) else common / digit)
    return GRAIN_UM * max(common, 1)


def _stuck(
    y: Array, long: Callable[[_Stretch], bool], share: Callable[[_Stretch], float], *, closed: bool = False
) -> ProbeFault | None:
    """A value that is held too long, and left by a jump; `closed` readings begin again behind the last."""
    if np.nanmax(y) == np.nanmin(y):
        text = f"reads {short_text(float(np.nanmax(y)))} µm everywhere"
        return ProbeFault("stuck", f"{text}: a probe that stood still, or values filled in?")
    step = _grid(y)
    coarse = step > COARSE_UM - SAME_UM
    level = float(np.nanmedian(y))
    if not coarse and np.count_nonzero(y == level) >= MOST * len(y):
        y = np.full(len(y), level)
    y = _without_spikes(y, step)
    stuck = [
        s
        for s in _stretches(y)
        if long(s)
        and sum(beside := _beside(y, s, step, closed)) < BESIDE * s.points
        and not (coarse and np.nanmax(np.abs(y - s.value)) < 1.5 * step)
        and not (step > WHOLE_UM - SAME_UM and all(beside))
    ]
    if not stuck:
        return None
    longest = max(stuck, key=share)
    text = (
        f"reads {short_text(longest.value)} µm without a change over {percent_text(share(longest))} of the "
        "range: a probe that was stuck, or values filled in?"
    )
    return ProbeFault("stuck", text)


def _quiet(y: Array, share: Callable[[_Stretch], float]) -> ProbeFault | None:
    """A quarter of the range that keeps to one value, though the readings of the rest scatter widely.

    Against the scatter from point to point, so that neither a smooth flank nor a damaged place counts.
    """
    wide = int(QUARTER * len(y)) + 1
    if wide < FEWEST_QUIET or np.isnan(y).any():
        return None
    bands = _running(np.maximum, y, wide) - _running(np.minimum, y, wide)
    at = int(bands.argmin())
    band = float(bands[at])
    away = np.abs(y - np.median(y[at : at + wide])) > max(band, _step(y))
    before, after = np.flatnonzero(away[:at]), np.flatnonzero(away[at + wide :])
    first = int(before[-1]) + 1 if len(before) else 0
    past = at + wide + int(after[0]) if len(after) else len(y)
    rest = [np.abs(np.diff(some, 2)) for some in (y[:first], y[past:]) if len(some) > 2]
    scatter = float(np.percentile(np.concatenate(rest), 20)) if rest else 0.0
    if sum(map(len, rest)) < 0.8 * QUARTER * len(y) or scatter < FINE * _step(y) or band > scatter * QUIET:
        return None
    held = percent_text(share(_Stretch(first, past, float(y[at]))))
    text = f"stays within {short_text(band)} µm over {held} of the range, and scatters elsewhere"
    return ProbeFault("stuck", f"{text}: a probe that was stuck, or values filled in?")


def _running(take: np.ufunc, y: Array, wide: int) -> Array:
    """Largest or smallest of each so many readings in a row."""
    width = 1
    while 2 * width <= wide:
        y = take(y[:-width], y[width:])
        width *= 2
    return np.asarray(take(y[: len(y) - (wide - width)], y[wide - width :]))


def _clipped(y: Array, enough: float) -> ProbeFault | None:
    """Both extremes, or one extreme twice, held by so many points, and hardly any on the way to them."""
    highest, lowest, step = float(np.nanmax(y)), float(np.nanmin(y)), _step(y)
    span = highest - lowest
    if span < STEPS * step:
        return None
    piled = [level for level in (lowest, highest) if _piled(y, level, enough, step)]
    if len(piled) < 2 and not any(_twice(y, level, DIP * span, enough / 2) for level in piled):
        return None
    text = f"is cut off flat at {' and '.join(map(short_text, piled))} µm"
    return ProbeFault("clipped", f"{text}: a probe or a range of indication at its end?")


def _piled(y: Array, level: float, enough: float, step: float) -> bool:
    """Whether many readings lie at one level, and few on the levels next to it."""
    at = int(np.count_nonzero(y == level))
    return at >= enough and at >= PILE * (int(np.count_nonzero(np.abs(y - level) <= 1.5 * step)) - at)


def _twice(y: Array, level: float, depth: float, enough: float) -> bool:
    """Whether the readings hold a level, leave it so far, and come back to hold it again."""
    held = np.flatnonzero(y == level)
    away = np.concatenate(([0], np.cumsum(np.abs(y - level) >= depth)))  # NaN is not away
    groups = np.split(held, np.flatnonzero(np.diff(away[held]) > 0) + 1)
    return sum(len(group) >= enough for group in groups) > 1


def _without_spikes(y: Array, step: float) -> Array:
    """Readings without single ones that jump off a level which the next one holds again."""
    lone = np.zeros(len(y), dtype=np.bool_)
    lone[1:-1] = (y[:-2] == y[2:]) & (np.abs(y[1:-1] - y[:-2]) > 1.5 * step)
    return np.where(lone, np.roll(y, 1), y)


def _stretches(y: Array) -> list[_Stretch]:
    """All runs of two and more equal readings."""
    starts = np.concatenate(([0], np.flatnonzero(np.diff(y) != 0) + 1))
    ends = np.append(starts[1:], len(y))
    long = np.flatnonzero(ends - starts > 1)
    return [_Stretch(int(starts[k]), int(ends[k]), float(y[starts[k]])) for k in long]


def _beside(y: Array, stretch: _Stretch, step: float, closed: bool) -> list[int]:
    """Points that lead up to a stretch and away from it on the levels next to it; not where a trace ends."""
    near = np.abs(y - stretch.value) <= 1.5 * step
    before, after = near[: stretch.first][::-1], near[stretch.past :]
    if closed:
        before, after = np.append(before, after[::-1]), np.append(after, before[::-1])
    return [int(side.argmin()) if not side.all() else len(side) for side in (before, after) if len(side)]


def _no_reading(y: Array, inside: BoolArray, outside: BoolArray) -> ProbeFault | None:
    """Numbers of nothing but nines that stand far off what is next to them.

    Those of `outside` (a flank that falls away in a chamfer, or jumps from tooth to tooth) must be beyond
    all other readings too.
    """
    marks = inside | outside
    if not marks.any():
        return None
    size, others = np.abs(y), np.where(marks, np.nan, y)
    far = marks
    if not np.isnan(others).all():
        before, after = _neighbours(others)
        far = marks & (np.fmin(np.abs(y - before), np.abs(y - after)) > size / 2)
        far &= inside | (size > 2 * np.nanmax(np.abs(others)))
    if not far.any():
        return None
    value = short_text(float(y[far][0]), 6)
    text = f"holds {value} µm, as instruments write for no reading; leave out what was not measured"
    return ProbeFault("no_reading", text)


def _nines(y: Array, least: int) -> BoolArray:
    """Which numbers are written with nothing but so many nines or more: 999, 99.99, -9999."""
    size = np.abs(y)
    with np.errstate(divide="ignore", invalid="ignore"):
        power = 10.0 ** np.ceil(np.log10(size))
        lacks = power - size  # 0.01 of 99.99, a power of ten
        digits = np.log10(power / lacks)
        whole = (np.abs(digits - np.round(digits)) < 1e-4) & (digits > least - 0.5) & (digits < 10.5)
    return np.asarray(whole & (size > LEAST_MARK - _MARK_ROUNDED))


def _neighbours(values: Array) -> tuple[Array, Array]:
    """The last number before each place and the next one after it; NaN where there is none."""
    n = len(values)
    known = ~np.isnan(values)
    before = np.maximum.accumulate(np.where(known, np.arange(n), -1))
    after = n - 1 - np.maximum.accumulate(np.where(known[::-1], np.arange(n), -1))[::-1]
    first = np.where(before >= 0, values[before], np.nan)
    second = np.where(after < n, values[np.minimum(after, n - 1)], np.nan)
    return first, second

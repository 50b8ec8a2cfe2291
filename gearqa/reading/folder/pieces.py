"""Cuts rows into pieces: what one table chunk holds of one series, sorted by position."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise
from typing import Final

import numpy as np

from gearqa.arrays import Array, BoolArray, IntArray
from gearqa.late_dataclass import dataclass
from gearqa.model.measurement import GearKey
from gearqa.reading.folder.canonical import HELIX, SERIES_BITS, SORT_SHIFT, SeriesRows
from gearqa.reading.folder.runs import FEW_RUNS, LONG_RUN, SAME_POSITION_MM, run_starts, turn_of

SAME_LABEL_MM: Final = 0.1
"""Labels (face position of a profile, diameter of a helix) that differ by less belong together."""


_NO_LABEL: Final = 1e300
"""Marks a missing label while rows are cut: far from every other one."""


@dataclass(slots=True)
class Pieces:
    """Pieces of series; the rows of a piece are contiguous and rise in position."""

    gears: Sequence[GearKey]
    gear: IntArray
    """Place of each piece's gear in `gears`."""
    series: IntArray
    start: IntArray
    """First row of each piece."""
    count: IntArray
    label_low: Array
    """Smallest label of each piece, NaN without label."""
    label_high: Array
    repeated: BoolArray
    """Whether a position occurs twice in the piece."""
    turn: IntArray
    """1 where positions rose in the file, -1 where they fell, 0 of a single point, 2 in no order."""
    position: Array
    value: Array
    met: IntArray
    """Places of the gears in the order of the file (with repeats)."""

    def __len__(self) -> int:
        return len(self.start)


def cut(rows: SeriesRows) -> Pieces:
    """Cut rows into pieces. Rows grouped by trace and rising in position (the usual file) are not moved."""
    key = (rows.gear.astype(np.int64) << SERIES_BITS) | rows.series
    if rows.label is None:
        starts = _starts(key[1:] != key[:-1], len(key))
        met = key[starts] >> SERIES_BITS
        if len(set(key[starts].tolist())) < len(starts):
            order = np.argsort(key, kind="stable")
            rows, key = rows.take(order), key[order]
            starts = _starts(key[1:] != key[:-1], len(key))
    else:
        # rows without label are a trace of their own
        rows = replace(rows, label=np.where(np.isnan(rows.label), _NO_LABEL, rows.label))
        assert rows.label is not None
        jump = np.abs(np.diff(rows.label)) >= SAME_LABEL_MM
        starts = _starts((key[1:] != key[:-1]) | jump, len(key))
        met = key[starts] >> SERIES_BITS
        low, high = _label_range(rows.label, starts)
        if _labels_repeat(key[starts], low, high):
            group = _label_groups(key, rows.label)
            order = np.argsort(group, kind="stable")
            rows, key, group = rows.take(order), key[order], group[order]
            starts = _starts(group[1:] != group[:-1], len(key))
    repeated = np.zeros(len(starts), dtype=np.bool_)
    if (rise := _steps_good(rows.position, starts)).all():
        turn = np.where(np.diff(starts, append=len(key)) > 1, 1, 0)
    else:
        starts, turn = _turns(rows, starts, rise)
        rows, repeated = _rising(rows, starts, turn)
    count = np.diff(starts, append=len(key))
    low, high = _label_range(rows.label, starts)
    return Pieces(
        rows.gears, key[starts] >> SERIES_BITS, key[starts] & ((1 << SERIES_BITS) - 1), starts, count,
        low, high, repeated, turn, rows.position, rows.value, met,
    )  # fmt: skip


def _starts(change: BoolArray, length: int) -> IntArray:
    if length == 0:
        return np.zeros(0, dtype=np.int64)
    return np.concatenate((np.zeros(1, dtype=np.int64), np.flatnonzero(change) + 1))


def _label_range(label: Array | None, starts: IntArray) -> tuple[Array, Array]:
    if label is None or not len(starts):
        nothing = np.full(len(starts), np.nan)
        return nothing, nothing
    low, high = np.minimum.reduceat(label, starts), np.maximum.reduceat(label, starts)
    unlabelled = low == _NO_LABEL
    return np.where(unlabelled, np.nan, low), np.where(unlabelled, np.nan, high)


def _turns(rows: SeriesRows, starts: IntArray, good: BoolArray) -> tuple[IntArray, IntArray]:
    """Cut traces where position turns, and say of each piece how its positions ran; `good` steps rise."""
    ends = np.append(starts[1:], len(rows.position))
    turn = np.where(ends - starts > 1, 1, 0)
    falls = np.diff(rows.position) < -SAME_POSITION_MM
    falls[starts[1:] - 1] = True
    falling = np.logical_and.reduceat(np.append(True, falls), starts) & (turn == 1)
    turn[falling] = -1
    bad = np.unique(np.searchsorted(starts, np.flatnonzero(~good), side="right") - 1)
    bad = bad[~falling[bad]]
    cuts: list[int] = []
    turns = dict(zip(starts.tolist(), turn.tolist(), strict=True))
    for piece in bad[rows.series[starts[bad]] >> SORT_SHIFT <= HELIX].tolist():
        start, end = int(starts[piece]), int(ends[piece])
        position = rows.position[start:end]
        begins = run_starts(position).tolist()
        if len(begins) > FEW_RUNS and end - start < LONG_RUN * len(begins):
            turns[start] = 2
            continue
        for begin, past in pairwise([*begins, len(position)]):
            turns[start + begin] = turn_of(position[begin:past])
        cuts += [start + begin for begin in begins[1:]]
    starts = np.sort(np.concatenate((starts, np.array(cuts, dtype=np.int64))))
    return starts, np.array([turns[at] for at in starts.tolist()], dtype=np.int64)


def _labels_repeat(key: IntArray, low: Array, high: Array) -> bool:
    """Whether two pieces of a chunk belong to one trace."""
    order = np.lexsort((low, key))
    key, low, high = key[order], low[order], high[order]
    return bool(np.any((key[1:] == key[:-1]) & (low[1:] - high[:-1] < SAME_LABEL_MM)))


def _label_groups(key: IntArray, label: Array) -> IntArray:
    """Number of the trace of every row: same key, and labels that hang together."""
    order = np.lexsort((label, key))
    apart = (np.diff(key[order]) != 0) | (np.diff(label[order]) >= SAME_LABEL_MM)
    group = np.empty(len(key), dtype=np.int64)
    group[order] = np.concatenate((np.zeros(1, dtype=np.int64), np.cumsum(apart)))
    return group


def _rising(rows: SeriesRows, starts: IntArray, turn: IntArray) -> tuple[SeriesRows, BoolArray]:
    """Sort each piece by position; find the pieces in which a position repeats."""
    count = np.diff(starts, append=len(rows.position))
    place = np.arange(len(rows.position))
    falling = np.repeat(turn == -1, count)
    turned = rows.take(np.where(falling, np.repeat(2 * starts + count - 1, count) - place, place))
    if _steps_good(turned.position, starts).all():
        return turned, np.zeros(len(starts), dtype=np.bool_)
    rows = rows.take(np.lexsort((rows.position, np.repeat(np.arange(len(starts)), count))))
    good = _steps_good(rows.position, starts)
    return rows, ~np.logical_and.reduceat(np.append(True, good), starts)


def _steps_good(position: Array, starts: IntArray) -> BoolArray:
    """Whether each step within a piece rises; steps between pieces do not count."""
    good = np.diff(position) > SAME_POSITION_MM
    good[starts[1:] - 1] = True
    return good

"""All series of a folder between the two passes: a spool of numbers and an index of their pieces.

Adding keeps memory bounded by the chunk, the spool's bound and some 130 bytes per piece. Position arrays
that many traces share are stored once, and every such trace gets the same array object.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import field
from itertools import pairwise
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from gearqa.arrays import Array, BoolArray, IntArray, distinct
from gearqa.late_dataclass import dataclass
from gearqa.model.measurement import GearKey
from gearqa.reading.folder.canonical import (
    HELIX,
    KIND_OF_SERIES,
    RUNOUT,
    SERIES_BITS,
    SORT_SHIFT,
    split_series_key,
)
from gearqa.reading.folder.copies import SUMS, equal_traces, sums, weights
from gearqa.reading.folder.pieces import SAME_LABEL_MM, Pieces
from gearqa.reading.folder.runs import (
    FEW_RUNS,
    SAME_POSITION_MM,
    Run,
    joined_runs,
    second_pass,
    unordered,
)
from gearqa.reading.folder.spool import Spool
from gearqa.symbols import FLANKS

SHARED_BYTES: Final = 16 << 20
"""Memory for position arrays that traces may share; further ones go to the spool."""
_SHORTEST_SHARED: Final = 8
_NOT_SHARED: Final = -1

_INDEX: Final = np.dtype(
    [
        ("gear", np.int32), ("series", np.int32), ("file", np.int32), ("shared", np.int32),
        ("count", np.int64), ("value_at", np.int64), ("position_at", np.int64),
        ("first", np.float64), ("last", np.float64), ("label_low", np.float64), ("label_high", np.float64),
        ("repeated", np.bool_), ("turn", np.int8), ("sums", np.float64, SUMS),
    ]
)  # fmt: skip


_PIECE_FIELDS: Final = ["series", "shared", "count", "value_at", "position_at", "label_low", "label_high"]
_NOTHING: Final = np.zeros(0)


class _Piece(NamedTuple):
    """A row of the index, for the second pass."""

    series: int
    shared: int
    points: int
    value_at: int
    position_at: int
    label_low: float
    label_high: float


class Series(NamedTuple):
    """One series put together: positions rise."""

    series: int
    flank: int
    tooth: int
    position: Array
    value: Array
    label_mm: float | None
    copy_of: str
    """The series that this one repeats value for value, as a sentence calls it, and how far off."""


@dataclass(frozen=True, slots=True)
class Suspect:
    """A series in which a position may occur twice, or whose label is not constant."""

    gear: GearKey
    series: int
    label_spread: bool = False
    second_pass: bool = False

    @property
    def name(self) -> str:
        """The series as a sentence calls it: a trace, a flank of a gear, or the gear."""
        return series_name(self.gear, self.series)


@dataclass(slots=True)
class SharedPositions:
    """Position arrays met so far, each as one object."""

    arrays: list[Array] = field(default_factory=list)
    _numbers: dict[bytes, int] = field(default_factory=dict)
    _weights: dict[int, Array] = field(default_factory=dict)
    _bytes: int = 0
    _last: int = _NOT_SHARED

    def number(self, position: Array) -> int:
        """Number of an array of equal content, kept from now on; -1 where memory for it is used up."""
        if self._last >= 0:
            last = self.arrays[self._last]
            if len(last) == len(position) and last[0] == position[0] and (last == position).all():
                return self._last
        key = position.tobytes()
        number = self._numbers.get(key, _NOT_SHARED)
        if number == _NOT_SHARED and self._bytes + 5 * len(key) <= SHARED_BYTES:
            number = len(self.arrays)
            array = position.copy()
            array.setflags(write=False)
            self.arrays.append(array)
            self._numbers[key] = number
            self._bytes += 5 * len(key)
        if number != _NOT_SHARED:
            self._last = number
        return number

    def weights(self, number: int) -> Array:
        """Weights of the positions of an array."""
        found = self._weights.get(number)
        if found is None:
            found = self._weights[number] = weights(self.arrays[number])
        return found

    def same_object(self, position: Array) -> Array:
        """The shared array of equal content, the given one from now on if there was none."""
        number = self.number(position)
        return position if number == _NOT_SHARED else self.arrays[number]


def series_name(gear: GearKey, series: int) -> str:
    """A series as a sentence calls it: a trace, a flank of a gear, or the gear."""
    sort, flank, tooth = split_series_key(series)
    if sort == RUNOUT:
        return gear.quoted
    if KIND_OF_SERIES[sort] == "pitch":
        return f"the {FLANKS[flank]} flank of {gear.quoted}"
    return f"the trace of {gear.quoted}, {FLANKS[flank]} flank, tooth {tooth}"


class SeriesStore:
    """Takes pieces in file order, then gives whole series gear by gear."""

    def __init__(self, spool: Spool) -> None:
        self._spool = spool
        self._shared = SharedPositions()
        self._parts: list[NDArray[np.void]] = []
        self._index = np.zeros(0, dtype=_INDEX)
        self._first_of_gear = np.zeros(1, dtype=np.int64)
        self._trace_starts = np.zeros(0, dtype=np.int64)
        self._copies: dict[int, str] = {}
        """Number of a trace -> name of the one that it repeats."""
        self.gears: dict[GearKey, int] = {}
        """Gear -> number, in the order first met in any table."""

    def meet(self, gear: GearKey) -> int:
        """Number of a gear, given out as they are met."""
        return self.gears.setdefault(gear, len(self.gears))

    def add(self, pieces: Pieces, file: int) -> None:
        """Put the pieces of one chunk aside; `file` is any number that tells files apart."""
        if not len(pieces):
            return
        gear_of = np.full(len(pieces.gears), -1, dtype=np.int32)
        for place in dict.fromkeys(pieces.met.tolist()):
            gear_of[place] = self.meet(pieces.gears[place])
        index = np.zeros(len(pieces), dtype=_INDEX)
        index["gear"] = gear_of[pieces.gear]
        index["series"] = pieces.series
        index["file"] = file
        index["count"] = pieces.count
        index["first"] = pieces.position[pieces.start]
        index["last"] = pieces.position[pieces.start + pieces.count - 1]
        index["label_low"] = pieces.label_low
        index["label_high"] = pieces.label_high
        index["repeated"] = pieces.repeated
        index["turn"] = pieces.turn
        index["value_at"] = self._spool.append(pieces.value) + pieces.start
        index["shared"] = shared = self._share(pieces)
        index["sums"] = sums(pieces, shared, self._shared.weights)
        own = shared == _NOT_SHARED
        if own.any():
            counts = pieces.count[own]
            position = pieces.position if own.all() else pieces.position[np.repeat(own, pieces.count)]
            index["position_at"][own] = self._spool.append(position) + np.cumsum(counts) - counts
        self._parts.append(index)

    def _share(self, pieces: Pieces) -> NDArray[np.int32]:
        shared = np.full(len(pieces), _NOT_SHARED, dtype=np.int32)
        position, number = pieces.position, self._shared.number
        long = np.flatnonzero(pieces.count >= _SHORTEST_SHARED)
        for some in np.split(long, np.flatnonzero(np.diff(pieces.count[long]) | (np.diff(long) != 1)) + 1):
            # pieces side by side of as many points: each that is like the first is found at once
            if not len(some):
                continue
            start, count = int(pieces.start[some[0]]), int(pieces.count[some[0]])
            rows = position[start : start + count * len(some)].reshape(len(some), count)
            shared[some] = number(rows[0])
            others = np.flatnonzero((rows != rows[0]).any(axis=1))
            for at, row in zip(some[others].tolist(), rows[others], strict=True):
                shared[at] = number(row)
        return shared

    def files_of(self, gear: int) -> set[int]:
        """Numbers of the files with pieces of a gear."""
        first, last = self._first_of_gear[gear : gear + 2].tolist()
        return set(self._index["file"][first:last].tolist())

    def mark(self) -> tuple[int, int]:
        """How far the store has come, for `reset`."""
        return len(self._parts), len(self.gears)

    def reset(self, mark: tuple[int, int]) -> None:
        """Forget what was added after a mark (a file that is read again)."""
        del self._parts[mark[0] :]
        for gear in list(self.gears)[mark[1] :]:
            del self.gears[gear]

    def finish(self) -> None:
        """Order the index by gear; nothing may be added after this."""
        if self._parts:
            self._index = np.concatenate(self._parts)
            self._parts.clear()
        index = self._index
        order = np.lexsort((index["first"], index["label_low"], index["series"], index["gear"]))
        self._index = index = index[order]
        self._first_of_gear = np.searchsorted(index["gear"], np.arange(len(self.gears) + 1))
        change = (np.diff(index["gear"]) != 0) | (np.diff(index["series"]) != 0)
        labels = index["label_low"]
        if not np.isnan(labels).all():
            change |= self._label_jumps(change)
        self._trace_starts = np.concatenate(
            (np.zeros(min(1, len(index)), dtype=np.int64), np.flatnonzero(change) + 1)
        )
        self._copies = self._find_copies()

    def _label_jumps(self, change: BoolArray) -> BoolArray:
        """Where the labels of one tooth's pieces, in rising order, leave a gap."""
        low, high = self._index["label_low"].tolist(), self._index["label_high"].tolist()
        jumps = np.zeros(len(change), dtype=np.bool_)
        reach = high[0]
        for at in range(1, len(low)):
            if change[at - 1]:
                reach = high[at]
                continue
            # a piece without label and one with are apart as well
            jumps[at - 1] = not low[at] - reach < SAME_LABEL_MM and not (
                math.isnan(low[at]) and math.isnan(reach)
            )
            reach = high[at] if jumps[at - 1] else max(reach, high[at])
        return jumps

    # --- questions about the whole ---------------------------------------------------------------

    def sorts_of_gears(self) -> IntArray:
        """By number of the gear, the sorts of series that it has: bit n for sort n."""
        bits = np.zeros(len(self.gears), dtype=np.int64)
        sort = self._index["series"] >> SORT_SHIFT
        for one in distinct(sort).tolist():
            bits[self._index["gear"][sort == one]] |= 1 << one
        return bits

    def keys(self, sort: int) -> IntArray:
        """Distinct (gear, series key) of a sort of series, as one number: gear << 20 | series key."""
        index = self._index[self._index["series"] >> SORT_SHIFT == sort]
        return distinct((index["gear"].astype(np.int64) << SERIES_BITS) | index["series"])

    def files_with(self, gear: int, series: int) -> list[int]:
        """Files that hold rows of a series key."""
        begin, end = self._first_of_gear[gear : gear + 2].tolist()
        own = self._index[begin:end]
        return sorted(set(own["file"][own["series"] == series].tolist()))

    def position_range(self, series: int) -> tuple[float, float] | None:
        """Smallest and largest position in all series of this sort."""
        own = self._index[self._index["series"] >> SORT_SHIFT == series]
        return (float(own["first"].min()), float(own["last"].max())) if len(own) else None

    def suspects(self, limit: int) -> tuple[list[Suspect], int]:
        """Series with a repeated position, or with labels that drift or scatter; and how many in all."""
        index, starts = self._index, self._trace_starts
        if not len(index):
            return [], 0
        names = list(self.gears)
        ends = np.append(starts[1:], len(index))
        repeated = np.logical_or.reduceat(index["repeated"], starts)
        second = np.zeros(len(starts), dtype=np.bool_)
        for at in np.flatnonzero(ends - starts > 1).tolist():
            if not repeated[at]:
                pieces = index[starts[at] : ends[at]]
                repeated[at] = self._overlaps(pieces)
                if pieces["series"][0] >> SORT_SHIFT <= HELIX and not repeated[at]:
                    second[at] = self._measured_twice(pieces)
        spread = self._label_faults(starts, ends)
        found: dict[Suspect, None] = {}
        for at in np.flatnonzero(repeated | spread | second).tolist():
            row = index[starts[at]]
            found[Suspect(names[row["gear"]], int(row["series"]), bool(spread[at]), bool(second[at]))] = None
        return list(found)[:limit], len(found)

    def unordered(self) -> int:
        """How many traces have their rows in no order of position."""
        index, starts = self._index, self._trace_starts
        if not len(index):
            return 0
        ends = np.append(starts[1:], len(index))
        jumbled = np.maximum.reduceat(index["turn"], starts) == 2
        for at in np.flatnonzero(~jumbled & (ends - starts > FEW_RUNS)).tolist():
            jumbled[at] = unordered(joined_runs(self._runs(index[starts[at] : ends[at]])))
        return int(np.count_nonzero(jumbled))

    def _runs(self, pieces: NDArray[np.void]) -> list[Run]:
        """The pieces of a trace as runs, in the order of the rows."""
        ordered = np.sort(pieces, order=["file", "value_at"])
        return [
            Run(int(p["file"]), float(p["first"]), float(p["last"]), int(p["count"]), int(p["turn"]),
                ((int(p["value_at"]), int(p["value_at"] + p["count"])),))
            for p in ordered
        ]  # fmt: skip

    def _measured_twice(self, pieces: NDArray[np.void]) -> bool:
        """Whether the pieces of a trace are those of two passes."""
        runs = joined_runs(self._runs(pieces))
        if len(runs) < 2:
            return False
        at = {int(p["value_at"]): _Piece(*p[_PIECE_FIELDS].tolist()) for p in pieces}

        def positions(place: int) -> Array:
            return np.concatenate([self._position(at[first]) for first, _ in runs[place].rows])

        return second_pass(runs, positions) is not None

    def _overlaps(self, pieces: NDArray[np.void]) -> bool:
        """Whether a position occurs in two pieces of one trace (sorted by first position)."""
        if np.all(pieces["first"][1:] > pieces["last"][:-1] + SAME_POSITION_MM):
            return False
        rows = [_Piece(*row) for row in pieces[_PIECE_FIELDS].tolist()]
        position = np.sort(np.concatenate([self._position(row) for row in rows]))
        return bool(np.any(np.diff(position) <= SAME_POSITION_MM))

    def _label_faults(self, starts: IntArray, ends: IntArray) -> BoolArray:
        """Traces whose label is not constant: it drifts, or it changes from point to point."""
        index = self._index
        if np.isnan(index["label_low"]).all():
            return np.zeros(len(starts), dtype=np.bool_)
        low = np.fmin.reduceat(index["label_low"], starts)
        high = np.fmax.reduceat(index["label_high"], starts)
        with np.errstate(invalid="ignore"):
            drifts = (high - low >= SAME_LABEL_MM) & (index["series"][starts] >> SORT_SHIFT == HELIX)
        points = np.add.reduceat(index["count"], starts)
        key = (index["gear"][starts].astype(np.int64) << SERIES_BITS) | index["series"][starts]
        _, inverse, traces = np.unique(key, return_inverse=True, return_counts=True)
        scattered = (traces[inverse] > 1) & (points < 3) & ~np.isnan(low)
        return np.asarray(drifts | scattered)

    def _find_copies(self) -> dict[int, str]:
        """Traces and tables that repeat another one of their sort, each with the name of that one."""
        index, starts = self._index, self._trace_starts
        if not len(starts):
            return {}
        ends = np.append(starts[1:], len(index))

        def trace(at: int) -> tuple[Array, Array]:
            pieces = [_Piece(*row) for row in index[_PIECE_FIELDS][starts[at] : ends[at]].tolist()]
            return self._joined(pieces, self._values(pieces))

        sort = index["series"][starts] >> SORT_SHIFT
        points = np.add.reduceat(index["count"], starts)
        names, copies = list(self.gears), {}

        def same_place(one: int, other: int) -> bool:
            first, second = index[starts[one]], index[starts[other]]
            serials = (names[first["gear"]].serial, names[second["gear"]].serial)
            return bool(first["series"] == second["series"]) and serials[0] == serials[1]

        total = np.add.reduceat(index["sums"], starts)
        for at, copy in equal_traces(total, sort, points, trace, same_place).items():
            other = index[starts[copy.other]]
            copies[at] = f"{series_name(names[other['gear']], int(other['series']))}{copy.how}"
        return copies

    # --- second pass -------------------------------------------------------------------------------

    def series_of(self, gear: int) -> Iterator[Series]:
        """All series of one gear: by sort, flank, tooth, label."""
        begin, end = self._first_of_gear[gear : gear + 2].tolist()
        if begin == end:
            return
        pieces = [_Piece(*row) for row in self._index[_PIECE_FIELDS][begin:end].tolist()]
        values = self._values(pieces)
        first, past = np.searchsorted(self._trace_starts, (begin, end)).tolist()
        starts = [at - begin for at in self._trace_starts[first:past].tolist()]
        for number, (at, past_at) in enumerate(pairwise([*starts, end - begin]), start=first):
            piece = pieces[at]
            if past_at - at == 1:
                position, value = self._position(piece), values[at]
                low, high = piece.label_low, piece.label_high
            else:
                position, value = self._joined(pieces[at:past_at], values[at:past_at])
                low = min(one.label_low for one in pieces[at:past_at])
                high = max(one.label_high for one in pieces[at:past_at])
            label = None if math.isnan(low) else low if low == high else (low + high) / 2
            key = split_series_key(piece.series)
            yield Series(*key, position, value, label, self._copies.get(number, ""))

    def _position(self, piece: _Piece) -> Array:
        if piece.shared != _NOT_SHARED:
            return self._shared.arrays[piece.shared]
        return self._spool.read(piece.position_at, piece.points)

    def _values(self, pieces: Sequence[_Piece]) -> list[Array]:
        """Values of pieces; those that lie side by side in the spool are read at once."""
        runs: list[list[int]] = []
        end = -1
        for at in sorted(range(len(pieces)), key=lambda at: pieces[at].value_at):
            if pieces[at].value_at != end:
                runs.append([])
            runs[-1].append(at)
            end = pieces[at].value_at + pieces[at].points
        values: list[Array] = [_NOTHING] * len(pieces)
        for run in runs:
            start, last = pieces[run[0]].value_at, pieces[run[-1]]
            block = self._spool.read(start, last.value_at + last.points - start)
            for at in run:
                begin = pieces[at].value_at - start
                values[at] = block[begin : begin + pieces[at].points]
        return values

    def _joined(self, pieces: Sequence[_Piece], values: list[Array]) -> tuple[Array, Array]:
        position = np.concatenate([self._position(piece) for piece in pieces])
        value = np.concatenate(values)
        if np.any(np.diff(position) <= 0):
            order = np.argsort(position, kind="stable")
            position, value = position[order], value[order]
        position.setflags(write=False)
        value.setflags(write=False)
        return self._shared.same_object(position), value

    @property
    def on_disk(self) -> bool:
        """Whether the numbers went to a temporary file."""
        return self._spool.on_disk

    def close(self) -> None:
        """Free memory and disk."""
        self._spool.close()

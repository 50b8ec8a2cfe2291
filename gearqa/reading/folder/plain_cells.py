"""Cells of a block of whole lines, found and read with arrays: texts that change seldom, and plain decimals.

Eight characters are one unsigned number, so that one operation works on those of all rows. This is what
nearly every table holds; a block with anything else (exponents, blanks around numbers, rows of another
length) is left to the general parser. Digits are put together as one whole number below 2**53 and divided
once by a power of ten, both exact: the value is the nearest to the text, as of every correct parser.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from itertools import pairwise
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from gearqa.arrays import Array, BoolArray, IntArray
from gearqa.late_dataclass import dataclass
from gearqa.reading.folder.sources import Dialect
from gearqa.reading.folder.table_kinds import NUMBER_COLUMNS

Words = NDArray[np.uint64]
"""Eight characters a row, the first in the lowest byte."""
Texts = tuple[list[str], NDArray[np.integer[Any]]]
"""Distinct texts of a column, and the place of each row's in them."""

_WORD: Final = 8
_ROOM: Final = 10 * _WORD
"""Bytes before and behind a block, so that words at its ends can be taken; cells of text are shorter."""
_MOST_DECIMALS: Final = _WORD - 1
_LARGEST: Final = 2**53
_FEWEST_ROWS: Final = 4
"""Rows of a run on the average, below which texts change too often to be looked at one by one."""
_SHORT: Final = re.compile(r"-?\d{1,9}", re.ASCII)


def _each(byte: int) -> np.uint64:
    """A word of eight equal bytes."""
    return np.uint64(byte * 0x0101_0101_0101_0101)


_ZEROS, _NOT_NINE, _HIGH_BITS = _each(ord("0")), _each(0x7F - 9), _each(0x80)
_ALL: Final = 2**64 - 1


@dataclass(frozen=True, slots=True)
class Columns:
    """Columns of some rows, by their place in the file."""

    texts: Mapping[int, Texts]
    numbers: Mapping[int, Array]


def plain_columns(data: bytes, dialect: Dialect, width: int, places: Mapping[str, int]) -> Columns | None:
    """The columns at `places` of a block of lines with `width` cells; None where a cell is not plain."""
    cells = _Cells.of(data, dialect, width)
    if cells is None:
        return None
    # a trace has one tooth, so that it changes as seldom as the texts
    whole = {at for name, at in places.items() if name == "tooth" and "deviation_um" in places}
    texts = {at for name, at in places.items() if name not in NUMBER_COLUMNS}
    found = cells.texts(sorted(texts | whole))
    if found is None or not all(_SHORT.fullmatch(text) for at in whole for text in found[at][0]):
        return None
    numbers = {at: np.array(found[at][0], dtype=np.float64)[found[at][1]] for at in whole}
    for at in set(places.values()) - texts - whole:
        values = cells.decimals(at)
        if values is None:
            return None
        numbers[at] = values
    return Columns({at: found[at] for at in texts}, numbers)


@dataclass(frozen=True, slots=True)
class _Cells:
    """Where the cells of a block are; words of characters before and behind each place of its text."""

    text: bytes
    point: int
    characters: NDArray[np.uint8]
    before: Words
    further: Words
    """The word before `before`."""
    behind: Words
    lines: IntArray
    """Where the lines begin."""
    ends: tuple[IntArray, ...]
    """Of the cells of each column."""

    @classmethod
    def of(cls, data: bytes, dialect: Dialect, width: int) -> _Cells | None:
        newline = b"\n" if b"\n" in data else b"\r"
        text = data if data.endswith(newline) else data + newline
        count = len(text)
        buffer = np.empty(count + 2 * _ROOM, dtype=np.uint8)
        buffer[:_ROOM], buffer[_ROOM + count :] = 0, 0
        values = buffer[_ROOM : _ROOM + count]
        values[:] = np.frombuffer(text, dtype=np.uint8)
        edges = values == ord(newline)
        lines = np.count_nonzero(edges)
        edges |= values == ord(dialect.separator)
        found = np.flatnonzero(edges)
        if len(found) != lines * width:
            return None
        *ends, line_ends = found.reshape(lines, width).T
        line_ends = np.ascontiguousarray(line_ends)
        if not (values[line_ends] == ord(newline)).all():
            return None
        starts = np.concatenate((np.zeros(1, dtype=np.int64), line_ends[:-1] + 1))
        if newline == b"\n" and b"\r" in text:
            line_ends -= values[line_ends - 1] == ord("\r")

        def words(first: int) -> Words:
            shape = (count + _ROOM - _WORD,)
            return np.ndarray(shape, dtype="<u8", buffer=buffer, offset=_ROOM + first, strides=(1,))

        point = ord(dialect.decimal)
        before, further, behind = words(-_WORD), words(-2 * _WORD), words(0)
        return cls(text, point, values, before, further, behind, starts, (*ends, line_ends))

    def starts(self, at: int) -> IntArray:
        """Where the cells of a column begin."""
        return self.ends[at - 1] + 1 if at else self.lines

    # --- texts ---------------------------------------------------------------------------------------

    def texts(self, columns: Sequence[int]) -> dict[int, Texts] | None:
        """Texts of columns that change seldom; None where they change often, or one is empty."""
        rows = len(self.ends[0])
        changed = np.zeros(rows - 1, dtype=np.bool_)
        for first, last in _neighbours(columns):
            if not self._mark_changes(changed, self.starts(first), self.ends[last]):
                return None
        runs = np.concatenate((np.zeros(1, dtype=np.int64), np.flatnonzero(changed) + 1))
        if len(runs) * _FEWEST_ROWS > rows + _FEWEST_ROWS:
            return None
        lengths = np.diff(runs, append=rows)
        found: dict[int, Texts] = {}
        for at in columns:
            places = zip(self.starts(at)[runs].tolist(), self.ends[at][runs].tolist(), strict=True)
            texts = [self.text[start:end] for start, end in places]
            number = {text: place for place, text in enumerate(dict.fromkeys(texts))}
            if b"" in number:
                return None
            codes = np.array([number[text] for text in texts], dtype=np.int32)
            found[at] = [text.decode() for text in number], np.repeat(codes, lengths)
        return found

    def _mark_changes(self, changed: BoolArray, start: IntArray, end: IntArray) -> bool:
        """Mark rows whose text differs from that of the row before; whether that could be told."""
        end = end + 1  # with the separator, which is the same in every row
        width = end - start
        shortest, longest = int(width.min()), int(width.max())
        if longest > _ROOM - _WORD:
            return False
        if shortest < longest:
            changed |= width[1:] != width[:-1]
        whole = shortest // _WORD
        for number in range(-(-longest // _WORD)):
            if number < whole:
                words = self.behind[start + number * _WORD]
            elif longest - number * _WORD <= _WORD <= shortest:
                words = self.before[end]  # some characters twice, but none of the next cell
            else:
                words = self.behind[start + number * _WORD]
                words <<= _unwanted(np.maximum(width - number * _WORD, 0))
            changed |= words[1:] != words[:-1]
        return True

    # --- numbers -------------------------------------------------------------------------------------

    def decimals(self, at: int) -> Array | None:
        """Numbers of a column; None where one is not written as plain decimal."""
        start, end = self.starts(at), self.ends[at]
        negative = self.characters[start] == ord("-")
        width = end - start
        width -= negative
        shortest, longest = int(width.min()), int(width.max())
        if shortest < 1 or longest > 2 * _WORD:
            return None
        even = shortest == longest
        low = _only_last(self.before[end], longest if even else width)
        high = None
        if longest > _WORD:
            high = _only_last(self.further[end], np.maximum(width - _WORD, 0))
        _, _, behind_point = self.text[start[0] : end[0]].partition(bytes([self.point]))
        values = self._shifted(low, high, min(len(behind_point), _MOST_DECIMALS))
        if values is not None:
            values.view(np.uint64)[:] |= negative.astype(np.uint64) << np.uint64(63)  # the sign
        return values

    def _shifted(self, low: Words, high: Words | None, likely: int) -> Array | None:
        """Numbers of words by how many decimals they have; most columns have the same ones in every row."""
        if not likely or self._has_point(low, likely).all():
            values = _values(low, high, likely)
            if values is not None or likely:
                return values
        values, left = np.empty(len(low)), np.ones(len(low), dtype=np.bool_)
        for decimals in range(_MOST_DECIMALS, -1, -1):
            here = self._has_point(low, decimals) if decimals else left
            rows = np.flatnonzero(here)
            some = _values(low[rows], None if high is None else high[rows], decimals)
            if some is None:
                return None
            values[rows] = some
            left &= ~here
        return values

    def _has_point(self, low: Words, decimals: int) -> BoolArray:
        shift = 8 * (_MOST_DECIMALS - decimals)
        point = (self.point ^ ord("0")) << shift
        return np.asarray((low & np.uint64(0xFF << shift)) == np.uint64(point))


def _neighbours(columns: Sequence[int]) -> list[tuple[int, int]]:
    """First and last of columns that stand side by side: their cells are looked at as one."""
    breaks = [0, *(at for at in range(1, len(columns)) if columns[at] > columns[at - 1] + 1), len(columns)]
    return [(columns[first], columns[past - 1]) for first, past in pairwise(breaks)]


def _unwanted(width: IntArray | int) -> Words:
    """Bits before the last `width` characters of a word."""
    return np.asarray(_WORD * (_WORD - np.minimum(width, _WORD))).astype(np.uint64, copy=False)


def _only_last(words: Words, width: IntArray | int) -> Words:
    """Digits as 0 to 9, with 0 before the last `width` characters."""
    words ^= _ZEROS
    shift = _unwanted(width)
    words >>= shift
    words <<= shift
    return words


def _values(low: Words, high: Words | None, decimals: int) -> Array | None:
    """Numbers of words with a point before so many decimals; None where anything else is no digit."""
    if decimals:
        shift = 8 * (_MOST_DECIMALS - decimals)
        whole = low & np.uint64((1 << shift) - 1)
        whole <<= np.uint64(8)
        low = low & np.uint64(_ALL - ((1 << (shift + 8)) - 1))
        low |= whole
        if high is not None:
            low |= high >> np.uint64(56)
            high = high << np.uint64(8)
    if not (_all_digits(low) and (high is None or _all_digits(high))):
        return None
    number = _together(low)
    if high is not None:
        number += _together(high) * np.uint64(10**_WORD)
        if len(number) and number.max() >= _LARGEST:
            return None
    values = number.astype(np.float64)
    if decimals:
        values /= 10.0**decimals
    return values


def _all_digits(words: Words) -> bool:
    found = np.bitwise_or.reduce((words + _NOT_NINE) | words, initial=np.uint64(0))
    return not found & _HIGH_BITS


def _together(words: Words) -> Words:
    """Eight digits as one number: pairs, fours, all."""
    words = words * np.uint64(10 * 2**8 + 1)
    words >>= np.uint64(8)
    words &= np.uint64(0x00FF_00FF_00FF_00FF)
    words *= np.uint64(100 * 2**16 + 1)
    words >>= np.uint64(16)
    words &= np.uint64(0x0000_FFFF_0000_FFFF)
    words *= np.uint64(10_000 * 2**32 + 1)
    words >>= np.uint64(32)
    return words

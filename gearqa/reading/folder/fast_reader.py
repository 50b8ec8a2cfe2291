"""Reads large plain tables block by block in two threads; a block it cannot vouch for goes to the careful
reader, which either finds it good or says what is wrong.

A block is a run of whole lines. Everything that the fast parser would take but the published format does
not allow is looked for in the bytes or in the numbers, so both paths accept the same files and give the
same bits.
"""

from __future__ import annotations

import codecs
import csv
import hashlib
import io
import re
from collections import deque
from collections.abc import Iterator, Sequence
from dataclasses import field
from itertools import chain, islice
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from gearqa.late_dataclass import dataclass
from gearqa.reading.folder.canonical import Frame, NumberRows, to_series
from gearqa.reading.folder.dialect import find_header, physical_lines
from gearqa.reading.folder.frame_rows import column_places, frame_columns, number_rows
from gearqa.reading.folder.pieces import Pieces, cut
from gearqa.reading.folder.plain_cells import plain_columns
from gearqa.reading.folder.sources import Dialect, TableSource
from gearqa.reading.folder.table_kinds import NUMBER_COLUMNS
from gearqa.reading.rows.csv_rows import LONGEST_LINE
from gearqa.reading.rows.decoding import CP1252, HEAD_BYTES, UTF8

if TYPE_CHECKING:
    from concurrent.futures import Future

BYTES_PER_ROW: Final = 4
"""Turns chunk_rows into the size of a block; about half of what a row takes, since two threads work."""
_THREADS: Final = 2
_AHEAD: Final = 3
_WINDOW: Final = 1 << 12
_UNUSUAL_BLOCKS: Final = 4
"""So many in a file, and the others are taken for unusual too."""
_WIDEST_PADDING: Final = 64
_COMMENT: Final = re.compile(rb"(?:\A|[\r\n])#")


class NotPlainError(Exception):
    """The file as a whole needs the careful reader."""


class OtherEncodingError(Exception):
    """A file taken as UTF-8 is in Windows-1252: start again."""


@dataclass(frozen=True, slots=True)
class TextBlock:
    """Some whole lines of a table in UTF-8, with the pieces cut from them, or None if they need care."""

    data: bytes
    start: int
    """Place of the first byte in the file."""
    pieces: Pieces | None = None
    rows: int = 0


@dataclass(slots=True)
class FastReader:
    """One pass over one plain table; `sha256` is set when the pass is over."""

    source: TableSource
    frame: Frame
    block_bytes: int
    general: bool = True
    """Whether cells that are not plain go to the general parser, which takes a while to load."""
    sha256: str = ""
    names: tuple[str, ...] = ()
    """Header cells."""
    _layout: _Layout = field(init=False)
    _newline: bytes = field(default=b"\n", init=False)
    _unusual: int = field(default=0, init=False)
    """Blocks that only the general parser could read."""

    def blocks(self) -> Iterator[TextBlock]:
        """The blocks of the body in file order.

        Raises
        ------
        NotPlainError
            If the file must be read by the careful reader as a whole.
        OtherEncodingError
            If the encoding turns out to be another one.
        """
        parse, blocks = self._parsed, self._raw_blocks()
        head = list(islice(blocks, 2))
        if len(head) < 2:
            yield from map(parse, head)
            return
        from concurrent.futures import ThreadPoolExecutor  # loads what a small table does not need

        with ThreadPoolExecutor(_THREADS) as pool:
            waiting: deque[Future[TextBlock]] = deque()
            try:
                for block in chain(head, blocks):
                    waiting.append(pool.submit(parse, block))
                    if len(waiting) >= _AHEAD:
                        yield waiting.popleft().result()
                while waiting:
                    yield waiting.popleft().result()
            finally:
                for future in waiting:
                    future.cancel()

    # --- blocks of whole lines -----------------------------------------------------------------------

    def _raw_blocks(self) -> Iterator[TextBlock]:
        digest = hashlib.sha256()
        with self.source.path.open("rb", buffering=0) as file:
            self._newline = b"\n" if b"\n" in file.read(HEAD_BYTES) else b"\r"
            start = 0
            while True:
                size = self._block_size(file, start)
                file.seek(start)
                data = file.read(size)
                if not data:
                    break
                digest.update(data)
                begin = self._behind_header(data) if start == 0 else 0
                if begin < len(data) and not data.isspace():
                    yield TextBlock(data[begin:], start + begin)
                start += len(data)
        self.sha256 = digest.hexdigest()

    def _block_size(self, file: io.FileIO, start: int) -> int:
        """Bytes of the next block, up to the end of a line: so it is read in one go and never copied."""
        size = self.block_bytes
        file.seek(start + size - 1)
        while window := file.read(_WINDOW):
            end = window.find(self._newline)
            if end >= 0:
                return size + end
            size += len(window)
            if size > self.block_bytes + LONGEST_LINE:
                raise NotPlainError
        return size

    def _behind_header(self, data: bytes) -> int:
        """Where the body starts in the first block; takes the header in."""
        encoding = CP1252 if self.source.dialect.encoding == CP1252 else "utf-8"
        mark = len(codecs.BOM_UTF8) if data.startswith(codecs.BOM_UTF8) else 0
        text = data[mark : mark + 4 * HEAD_BYTES].decode(encoding, errors="ignore")
        header = find_header(text, self.source.dialect)
        if header is None:
            raise NotPlainError
        start = mark + len(text[: header.end].encode(encoding))
        if data[start - 1 : start] != self._newline or _mixed_newlines(data[:start]):
            raise NotPlainError  # no rows, a very long header, or bytes in it that are no text
        if b'"' in data[:start]:
            _check_quotes(text[: header.end], self.source.dialect)
        self.names = header.names
        self._layout = _Layout.of(self.source, header.names)
        return start

    def lines_before(self, block: TextBlock) -> int:
        """Lines before a block; counted only where one needs care."""
        count, left = 0, block.start
        with self.source.path.open("rb") as file:
            while left and (data := file.read(min(left, 1 << 20))):
                count += data.count(self._newline)
                left -= len(data)
        return count

    # --- one block, in a thread ------------------------------------------------------------------------

    def _parsed(self, block: TextBlock) -> TextBlock:
        data = self._checked(block.data)
        plain = TextBlock(data, block.start)
        if b"#" in data and _COMMENT.search(data):
            return plain
        if data.startswith(codecs.BOM_UTF8):  # the parser would drop it; only a file may start so
            return plain
        rows = self._rows(data)
        if rows is None:
            return plain
        series, faults = to_series(rows, self.frame, self.source.convention)
        if faults:
            return plain
        return TextBlock(b"", block.start, cut(series), len(series.gear))

    def _rows(self, data: bytes) -> NumberRows | None:
        """Rows of a block, or None where anything is not as it should be."""
        rows = None
        if self._unusual < _UNUSUAL_BLOCKS:
            rows = self._layout.plain(data, self.source)
        if rows is None and self.general:
            rows = self._layout.parse(data, self.source)
            self._unusual += rows is not None
        return rows

    def _checked(self, data: bytes) -> bytes:
        """The block in UTF-8, if its lines can be separated at all."""
        if b'"' in data or b"\0" in data:
            raise NotPlainError
        if _mixed_newlines(data):
            raise NotPlainError
        if data.isascii():
            return data
        try:
            if self.source.dialect.encoding == CP1252:
                return data.decode(CP1252).encode()
            data.decode()
        except UnicodeDecodeError:
            raise (OtherEncodingError if self.source.dialect.encoding == UTF8 else NotPlainError) from None
        return data


def _check_quotes(head: str, dialect: Dialect) -> None:
    """Leave a header to the careful reader whose quotes do not close, or are no quotes of whole cells."""
    *_, line = physical_lines(head)
    try:
        list(csv.reader([line], delimiter=dialect.separator, strict=True))
    except csv.Error:
        raise NotPlainError from None


def _mixed_newlines(data: bytes) -> bool:
    """Whether lines end in more than one way, so that LF alone would not separate them."""
    return b"\r" in data and b"\n" in data and data.count(b"\r") != data.count(b"\r\n")


@dataclass(frozen=True, slots=True)
class _Layout:
    """Which columns of the file are read, and as what."""

    width: int
    places: dict[str, int]
    """Canonical column -> place in the file."""
    dialect: Dialect

    @classmethod
    def of(cls, source: TableSource, names: Sequence[str]) -> _Layout:
        places = column_places(source, names)
        if places is None:
            raise NotPlainError
        return cls(len(names), places, source.dialect)

    def plain(self, data: bytes, source: TableSource) -> NumberRows | None:
        """Rows of a block, or None where a cell is not plain."""
        columns = plain_columns(data, self.dialect, self.width, self.places)
        return None if columns is None else number_rows(columns, self.places, source)

    def parse(self, data: bytes, source: TableSource) -> NumberRows | None:
        """Rows of a block by the general parser, or None where anything is not as it should be."""
        frame = None if data.isspace() else self._frame(data)
        if frame is None or not len(frame) or not self._even(data, len(frame)):
            return None
        return number_rows(frame_columns(frame, self.places), self.places, source)

    def _even(self, data: bytes, rows: int) -> bool:
        """Whether rows are as long as the header, where the parser would not notice."""
        separator = ord(self.dialect.separator)
        values = np.frombuffer(data, dtype=np.uint8)
        at_separators = values == separator
        if len(self.places) == self.width:
            # a short row leaves a cell empty that must not be; then a long one shows in the sum
            return int(np.count_nonzero(at_separators)) == rows * (self.width - 1)
        newline = ord("\n") if b"\n" in data else ord("\r")
        ends = np.flatnonzero(values == newline)
        if not len(ends) or ends[-1] != len(values) - 1:
            ends = np.append(ends, len(values))
        separators = np.searchsorted(np.flatnonzero(at_separators), ends)
        return len(ends) == rows and bool(np.all(np.diff(separators, prepend=0) == self.width - 1))

    def _frame(self, data: bytes) -> Any:
        """The block as a data frame with its texts unchanged, or None where it cannot be parsed."""
        frame = self._parsed(data)
        if frame is None and (bare := _without_padding(data, self.dialect.separator)) != data:
            frame = self._parsed(bare)
        if frame is None:
            return None
        if frame[str(self.places["serial"])].null_count():
            import polars as pl

            # blank lines; where they were rows, `_even` finds separators of no row
            frame = frame.filter(~pl.all_horizontal(pl.all().is_null()))
        read = [frame[str(at)] for at in self.places.values()]
        if any(one.null_count() or (one.dtype.is_float() and one.is_nan().any()) for one in read):
            return None
        return frame

    def _parsed(self, data: bytes) -> Any:
        import polars as pl

        numbers = {str(at) for name, at in self.places.items() if name in NUMBER_COLUMNS}
        columns = list(map(str, range(self.width)))
        comma = self.dialect.decimal == ","
        try:
            frame = pl.read_csv(
                data.lstrip(b"\r\n"),
                has_header=False,
                schema={name: pl.Float64() if name in numbers else pl.String() for name in columns},
                columns=None if comma else sorted(self.places.values()),
                separator=self.dialect.separator,
                decimal_comma=comma,
                eol_char="\n" if b"\n" in data else "\r",
                quote_char=None,
            )
        except pl.exceptions.PolarsError:
            return None
        if comma:
            # numbers with a point are taken too: as many points as in the texts leave none for them
            points = frame.select(pl.col(pl.String).str.count_matches(".", literal=True).sum())
            if data.count(b".") != sum(points.row(0)):
                return None
        return frame


def _without_padding(data: bytes, separator: str) -> bytes:
    """Without the blanks behind cells, which the parser takes before a number only."""
    for end in (separator.encode(), b"\r", b"\n"):
        for _ in range(_WIDEST_PADDING):
            if b" " + end not in data:
                break
            data = data.replace(b" " + end, end)
    return data.rstrip(b" ")

"""Rows of a table that can be graded, as pieces of series: one interface, whichever reader is behind it.

Whoever wants the rows of a table takes a `SeriesTable`. Which reader it has, and how a block goes from
one to the other, is known here only.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from gearqa.errors import NoticeCode
from gearqa.late_dataclass import dataclass
from gearqa.reading.folder.canonical import Frame, to_series
from gearqa.reading.folder.careful_reader import CHUNK_ROWS, CarefulReader, RawRows, with_encoding_settled
from gearqa.reading.folder.frame_rows import column_places, frame_columns, number_rows
from gearqa.reading.folder.pieces import Pieces, cut
from gearqa.reading.folder.sources import TableSource
from gearqa.reading.folder.table_kinds import GRADED_KINDS, MEASUREMENT, NUMBER_COLUMNS
from gearqa.reading.rows.decoding import CP1252, UTF8
from gearqa.reading.rows.digests import sha256_of
from gearqa.reading.rows.parquet_rows import ParquetFaultError, ParquetTable, typed_frame
from gearqa.reading.rows.problem_log import ProblemLog
from gearqa.wording.numbers import count_text


class StartAgainError(Exception):
    """A table must be read again from its start, as `source` says."""

    def __init__(self, source: TableSource, *, fast: bool) -> None:
        super().__init__(source.name)
        self.source, self.fast = source, fast


def is_plain(source: TableSource) -> bool:
    """Whether the fast reader understands a plan."""
    dialect = source.dialect
    tricks = (
        dialect.skip_rows or dialect.skip_after_header or dialect.skip_last_rows or dialect.drop_blank
        or source.where or source.wide or dialect.comment != "#" or dialect.encoding not in {UTF8, CP1252}
    )  # fmt: skip
    columns = all(c.column and not (c.words or c.columns) for c in source.columns.values())
    return source.kind in GRADED_KINDS and columns and not tricks


@dataclass(slots=True)
class SeriesTable:
    """The rows of one table; problems go to the log."""

    source: TableSource
    frame: Frame
    log: ProblemLog
    chunk_rows: int
    fast: bool
    """By which reader; the fast one understands plain tables only, see `is_plain`."""
    general: bool = True
    """Whether the fast one may load a parser for cells that are not plain."""
    sha256: str = ""
    """Digest of the file, once all pieces are taken."""

    def pieces(self) -> Iterator[Pieces]:
        """The rows in file order, chunk by chunk.

        Raises
        ------
        StartAgainError
            If what came so far does not count, and the table is read again in another way.
        """
        if self.source.is_parquet:
            return self._parquet_pieces()
        return self._fast_pieces() if self.fast else self._careful_pieces()

    def _careful_pieces(self) -> Iterator[Pieces]:
        reader = CarefulReader(with_encoding_settled(self.source), self.log)
        for raw in reader.chunks(min(CHUNK_ROWS, self.chunk_rows)):
            yield self._careful_piece(reader.source, raw)
        note_blank_rows(reader)
        self.sha256 = reader.sha256

    def _careful_piece(self, source: TableSource, raw: RawRows) -> Pieces:
        from gearqa.reading.folder.cells import careful_series

        rows, _ = careful_series(source, raw, self.frame, self.log)
        return cut(rows)

    def _fast_pieces(self) -> Iterator[Pieces]:
        from gearqa.reading.folder.fast_reader import (
            BYTES_PER_ROW,
            FastReader,
            NotPlainError,
            OtherEncodingError,
        )

        reader = FastReader(self.source, self.frame, max(1, self.chunk_rows * BYTES_PER_ROW), self.general)
        careful = CarefulReader(self.source, self.log)
        try:
            for block in reader.blocks():
                if block.pieces is not None:
                    careful.rows_read += block.rows
                    yield block.pieces
                    continue
                for raw in careful.block(block.data.decode(), reader.names, reader.lines_before(block)):
                    yield self._careful_piece(self.source, raw)
                if self.log.given_up(self.source.name):
                    break
        except NotPlainError:
            raise StartAgainError(self.source, fast=False) from None
        except OtherEncodingError:
            raise StartAgainError(with_encoding_settled(self.source), fast=True) from None
        careful.check_rows()
        self.sha256 = reader.sha256

    def _parquet_pieces(self) -> Iterator[Pieces]:
        """Column by column where that is enough; blocks with a cell that it is not enough for, row by row."""
        careful = CarefulReader(self.source, self.log)
        try:
            table = ParquetTable.of(self.source.path)
            places = column_places(self.source, table.names) if is_plain(self.source) else None
            if places is None or any(table.names[at] in table.unreadable for at in places.values()):
                yield from self._careful_pieces()
                return
            numbers = {at for name, at in places.items() if name in NUMBER_COLUMNS}
            labels = {at for name, at in places.items() if name == MEASUREMENT}
            for start, frame in table.frames(self.chunk_rows, set(places.values())):
                if (pieces := self._typed_pieces(typed_frame(frame, numbers, labels), places)) is not None:
                    careful.rows_read += len(frame)
                    yield pieces
                    continue
                for raw in careful.parquet_block(table, start, frame):
                    yield self._careful_piece(self.source, raw)
            careful.check_rows()
            self.sha256 = sha256_of(self.source.path)
        except ParquetFaultError as fault:
            careful.parquet_fault(fault)

    def _typed_pieces(self, frame: Any, places: Mapping[str, int]) -> Pieces | None:
        rows = None if frame is None else number_rows(frame_columns(frame, places), places, self.source)
        if rows is None:
            return None
        series, faults = to_series(rows, self.frame, self.source.convention)
        return None if faults else cut(series)


def note_blank_rows(reader: CarefulReader) -> None:
    """A notice of rows with blank cells that a column map lets drop."""
    if reader.blank_dropped:
        rows = count_text(reader.blank_dropped, "row")
        reader.log.notice(
            NoticeCode.BLANK_ROWS_DROPPED, f"{reader.source.name}: {rows} with blank cells left out"
        )

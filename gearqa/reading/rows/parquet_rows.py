"""Parquet files, block by block: as columns of numbers and texts, and as rows of text with their numbers.

Numbers become the shortest text that gives the same number again, so that a row read as text gives the same
bits. Whatever a damaged file makes of the library ends as one fault.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Final

from gearqa.late_dataclass import dataclass
from gearqa.reading.rows.csv_rows import BATCH_LINES, LONGEST_LINE, Rows
from gearqa.wording.safety import FILE_MARK_KEY

PARQUET: Final = ".parquet"
BLOCK_ROWS: Final = 100_000
"""Rows of which the texts are made at once."""


def is_parquet(path: Path | str) -> bool:
    """Whether a file is a Parquet table, by the ending of its name.

    >>> is_parquet("PROF.PARQUET"), is_parquet("prof.csv")
    (True, False)
    """
    return str(path).lower().endswith(PARQUET)


class ParquetFaultError(Exception):
    """The file cannot be read, or not on from some row."""

    def __init__(self, found: str, row: int | None = None) -> None:
        super().__init__(found)
        self.found, self.row = found, row


@dataclass(frozen=True, slots=True)
class ParquetTable:
    """A Parquet file by its schema; its rows are read when they are asked for."""

    path: Path
    names: tuple[str, ...]
    unreadable: Mapping[str, str]
    """Columns that hold neither numbers nor texts nor times, with their type."""
    rows: int
    mark: str
    """The line that would begin the same table as CSV; empty where nothing marks the file."""

    @classmethod
    def of(cls, path: Path) -> ParquetTable:
        """Look at a file; raises ParquetFaultError and OSError."""
        import polars as pl

        with path.open("rb"), _as_fault():
            schema = pl.read_parquet_schema(path)
            rows = _scan(path).select(pl.len()).collect().item()
            mark = pl.read_parquet_metadata(path).get(FILE_MARK_KEY, "")
        unreadable = {name: str(kind) for name, kind in schema.items() if not _is_readable(kind)}
        return cls(path, tuple(name.strip() for name in schema), unreadable, rows, mark)

    def frames(self, size: int, places: Collection[int] | None = None) -> Iterator[tuple[int, Any]]:
        """Blocks of so many rows, each with the number of rows before it; columns are named by their place.

        Slices, since a reader of whole row groups would take as much memory as the largest of them.
        """
        import polars as pl

        wanted = list(range(len(self.names)) if places is None else sorted(places))
        lazy = _scan(self.path).select(pl.nth(wanted))
        for start in range(0, self.rows, size):
            with _as_fault(start):
                frame = lazy.slice(start, size).collect()
            if len(frame) != min(size, self.rows - start):
                raise ParquetFaultError(f"{start + len(frame)} rows where {self.rows} are stated")
            frame.columns = list(map(str, wanted))
            _check_texts(frame, start)
            yield start, frame

    def text_rows(self, start: int, frame: Any) -> Iterator[Rows]:
        """The rows of a block as text, numbered from 1; cells of columns that it lacks are blank."""
        blank = [""] * len(frame)
        texts = [
            _texts(frame[str(at)]) if str(at) in frame.columns else blank for at in range(len(self.names))
        ]
        rows = list(map(list, zip(*texts, strict=True)))
        for begin in range(0, len(rows), BATCH_LINES):
            batch = rows[begin : begin + BATCH_LINES]
            first = start + begin + 1
            yield list(range(first, first + len(batch))), batch


def parquet_rows(table: ParquetTable) -> Iterator[Rows]:
    """Header (row 0) and rows of a whole file as text."""
    yield [0], [list(table.names)]
    for start, frame in table.frames(BLOCK_ROWS):
        yield from table.text_rows(start, frame)


def typed_frame(frame: Any, numbers: Collection[int], may_be_blank: Collection[int]) -> Any:
    """A block with its numbers as 64-bit floats and all else as text; None where a cell is neither."""
    import polars as pl

    columns = []
    for name in frame.columns:
        column = frame[name]
        if int(name) in numbers:
            if not column.dtype.is_numeric() or column.dtype.is_decimal():
                return None
            column = column.cast(pl.Float64)
        elif column.dtype.is_integer() or column.dtype in _text_kinds():
            column = column.cast(pl.String)
            if int(name) in may_be_blank:
                column = column.fill_null("")
        else:
            return None
        if column.null_count() or (column.dtype.is_float() and column.is_nan().any()):
            return None
        columns.append(column)
    return pl.DataFrame(columns)


def ends_whole(path: Path) -> bool:
    """Whether a Parquet file ends as a finished one does."""
    with path.open("rb") as file:
        file.seek(max(0, path.stat().st_size - 4))
        return file.read() == b"PAR1"


def _scan(path: Path) -> Any:
    import polars as pl

    return pl.scan_parquet(path, glob=False, hive_partitioning=False)


@contextmanager
def _as_fault(start: int | None = None) -> Iterator[None]:
    """What the library raises for a file that it cannot read, a panic too, as ParquetFaultError."""
    import polars as pl

    try:
        yield
    except (pl.exceptions.PolarsError, pl.exceptions.PanicException, ValueError, OSError) as error:
        first = next(iter(str(error).splitlines()), "") or type(error).__name__
        raise ParquetFaultError(f"no whole Parquet file ({first})", start) from None


def _is_readable(kind: Any) -> bool:
    import polars as pl

    if kind.is_numeric() or kind.is_decimal() or kind in (pl.Boolean, pl.Null):
        return True
    return kind in _text_kinds() or (kind.is_temporal() and kind != pl.Duration)


def _text_kinds() -> tuple[Any, ...]:
    import polars as pl

    return pl.String, pl.Categorical, pl.Enum


def _texts(column: Any) -> list[str]:
    import polars as pl

    if not _is_readable(column.dtype):
        return [str(column.dtype)] * len(column)
    if column.dtype.is_temporal():
        return ["" if moment is None else moment.isoformat() for moment in column.to_list()]
    if column.dtype.is_float():
        column = column.cast(pl.Float64)
    texts: list[str] = column.cast(pl.String).fill_null("").to_list()
    return texts


def _check_texts(frame: Any, start: int) -> None:
    """What no table of text may hold either."""
    import polars as pl

    for column in frame.select(pl.col(pl.String)).iter_columns():
        nul = column.str.contains("\0", literal=True)
        if nul.any():
            raise ParquetFaultError("a NUL character", start + nul.arg_true()[0] + 1)
        if (column.str.len_chars().max() or 0) > LONGEST_LINE:
            raise ParquetFaultError("a text of more than a million characters", start + 1)

"""How the text of a table is taken apart: header row, separator, decimal mark."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from typing import Final, Literal

from gearqa.late_dataclass import dataclass
from gearqa.reading.folder.sources import Dialect
from gearqa.reading.folder.table_kinds import TABLES, split_unit
from gearqa.reading.rows.csv_rows import MOST_SKIPPED, is_skipped

SEPARATORS: Final = (",", ";", "\t")

_KNOWN: Final = frozenset(name for table in TABLES.values() for name in table.columns)
_DECIMAL_COMMA: Final = re.compile(r"\s*[+-]?\d*,\d+(?:[eE][+-]?\d+)?\s*\Z")
_DECIMAL_POINT: Final = re.compile(r"\s*[+-]?(?:\d+\.\d*|\.\d+)(?:[eE][+-]?\d+)?\s*\Z")


@dataclass(frozen=True, slots=True)
class HeaderRow:
    """The header of a table and its place."""

    line: int
    """Physical line, from 1."""
    names: tuple[str, ...]
    """Cells without surrounding blanks."""
    end: int
    """Where the text after it starts, in characters."""


def physical_lines(text: str) -> Iterator[str]:
    """Lines with their ends; LF, CRLF and CR end a line, nothing else does."""
    return io.StringIO(text, newline="")


def split_line(line: str, separator: str) -> list[str]:
    """Cells of one line of text, without surrounding blanks."""
    try:
        return [cell.strip() for cell in next(csv.reader([line], delimiter=separator), [])]
    except csv.Error:  # a cell longer than the limit, which the reader of the table reports
        return [cell.strip() for cell in line.split(separator)]


def find_header(text: str, dialect: Dialect) -> HeaderRow | None:
    """The first line that is neither blank nor a comment, after the rows to skip."""
    end = 0
    for number, line in enumerate(physical_lines(text), 1):
        end += len(line)
        if number > dialect.skip_rows and not is_skipped(line, dialect.comment):
            names = tuple(split_line(line.rstrip("\r\n"), dialect.separator))
            return HeaderRow(number, names, end)
    return None


def guess_dialect(text: str, encoding: str, skip_rows: int = 0, comment: str = "#") -> Dialect:
    """Separator by the header, decimal mark by the first rows.

    >>> guess_dialect("serial;flank;tooth;index_um\\nA;left;1;0,5\\n", "utf-8-sig").decimal
    ','
    """
    dialect = Dialect(encoding=encoding, skip_rows=skip_rows, comment=comment)
    for number, line in enumerate(physical_lines(text), 1):
        if number > skip_rows and not is_skipped(line, comment):
            dialect = replace(dialect, separator=guess_separator(line))
            break
    if dialect.separator != "," and decimal_mark(text, dialect) == ",":
        dialect = replace(dialect, decimal=",")
    return dialect


def guess_separator(line: str) -> str:
    """The separator that gives most known column names, else most cells."""

    def score(separator: str) -> tuple[int, int]:
        cells = split_line(line.rstrip("\r\n"), separator)
        known = sum(cell.casefold() in _KNOWN or split_unit(cell)[1] is not None for cell in cells)
        return known, len(cells)

    return max(SEPARATORS, key=score)


def decimal_mark(text: str, dialect: Dialect) -> Literal[".", ","] | None:
    """The mark of the first number with decimals after the header; None where there is none yet."""
    header = find_header(text, dialect)
    if header is None:
        return None
    lines = physical_lines(text[header.end :])
    return first_decimal_mark(lines, dialect.separator, measured_columns(header.names))


def measured_columns(names: Sequence[str]) -> tuple[int, ...]:
    """Columns that hold measured quantities; all of them where none is known."""
    measured = tuple(i for i, name in enumerate(names) if split_unit(name)[1])
    return measured or tuple(range(len(names)))


def first_decimal_mark(
    lines: Iterable[str], separator: str, columns: Sequence[int]
) -> Literal[".", ","] | None:
    """The mark of the first number with decimals in these columns; no mark after very many blank rows."""
    blank = 0
    for line in lines:
        cells = [] if is_skipped(line) else line.rstrip("\r\n").split(separator)
        found = [cells[column] for column in columns if column < len(cells) and cells[column].strip()]
        if not found:
            blank += 1
            if blank > MOST_SKIPPED:
                break
        for cell in found:
            bare = cell.strip().strip('"')
            if _DECIMAL_COMMA.match(bare):
                return ","
            if _DECIMAL_POINT.match(bare):
                return "."
    return None

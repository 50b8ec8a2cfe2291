"""CSV text to rows with the line each begins in: strict, line ends of every kind, comments left out."""

from __future__ import annotations

import csv
from collections import deque
from collections.abc import Iterable, Iterator
from itertools import chain, compress, islice
from typing import Final, TextIO

Row = list[str]
Rows = tuple[list[int], list[Row]]
"""Lines (from 1) and as many rows."""

BATCH_LINES: Final = 2048
LONGEST_LINE: Final = 1 << 20
"""Characters of a line; what is longer is no table that a program wrote for another one."""
MOST_SKIPPED: Final = 1_000_000
"""Blank lines and comments in a row."""


def is_skipped(line: str, comment: str = "#") -> bool:
    """Whether a line outside quotes is blank or a comment."""
    return not line.strip() or bool(comment and line.startswith(comment))


class CsvFaultError(Exception):
    """The text cannot be taken apart from this line on."""

    def __init__(self, found: str, line: int, *, nul: bool = False) -> None:
        super().__init__(found)
        self.found, self.line, self.nul = found, line, nul


def csv_rows(
    text: TextIO, separator: str, *, skip: int = 0, lines_before: int = 0, comment: str = "#"
) -> Iterator[Rows]:
    """Batches of rows; blank lines and lines that start with a comment mark outside quotes are left out.

    Parameters
    ----------
    text : file
        Opened with `newline=""`.
    separator : str
        Character between cells.
    skip : int
        Physical lines to leave out at the start.
    lines_before : int
        Lines of the file that come before `text`.
    comment : str
        What begins a line that is left out; empty: nothing does.

    Raises
    ------
    CsvFaultError
        After the rows that come before the fault.
    """
    lines = bounded_lines(text, lines_before)
    line = lines_before + sum(1 for _ in islice(lines, skip))
    skipped = 0
    while batch := list(islice(lines, BATCH_LINES)):
        joined = "".join(batch)
        if '"' in joined or "\0" in joined:
            # a quoted cell may reach into later lines: from here on row by row
            yield from _one_by_one(chain(batch, lines), separator, line, comment)
            return
        try:
            rows = list(csv.reader(batch, delimiter=separator, strict=True))
        except csv.Error:  # a cell longer than the limit: find its line
            yield from _one_by_one(chain(batch, lines), separator, line, comment)
            return
        numbers = list(range(line + 1, line + len(batch) + 1))
        line += len(batch)
        if comment in joined or separator == "\t" or min(map(len, rows)) < 2:
            good = [not is_skipped(text, comment) for text in batch]
            numbers, rows = list(compress(numbers, good)), list(compress(rows, good))
        skipped = 0 if rows else skipped + len(batch)
        if skipped > MOST_SKIPPED:
            raise CsvFaultError("more than a million blank lines or comments in a row", line)
        yield numbers, rows


def bounded_lines(text: TextIO, lines_before: int = 0) -> Iterator[str]:
    """The lines of a text; CsvFaultError at one that is longer than any table has."""
    number = lines_before
    while line := text.readline(LONGEST_LINE + 1):
        number += 1
        if len(line) > LONGEST_LINE:
            raise CsvFaultError("a line of more than a million characters", number)
        yield line


def _one_by_one(text: Iterable[str], separator: str, lines_before: int, comment: str) -> Iterator[Rows]:
    lines = _Lines(text, lines_before, comment)
    reader = csv.reader(lines, delimiter=separator, strict=True)
    numbers: list[int] = []
    rows: list[Row] = []
    fault: CsvFaultError | None = None
    while True:
        lines.outside_quotes = True
        try:
            row = next(reader)
        except StopIteration:
            break
        except csv.Error as error:
            fault = CsvFaultError(str(error), lines.row_line)
            break
        except CsvFaultError as error:
            fault = error
            break
        numbers.append(lines.row_line)
        rows.append(row)
        if len(rows) >= BATCH_LINES:
            yield numbers, rows
            numbers, rows = [], []
    if rows:
        yield numbers, rows
    if fault is not None:
        raise fault


class _Lines:
    """Physical lines for the CSV reader, without the comments and blank lines between rows."""

    def __init__(self, text: Iterable[str], lines_before: int, comment: str) -> None:
        self._text = iter(text)
        self._comment = comment
        self.line = lines_before
        self.row_line = 0
        """Line in which the current row began."""
        self.outside_quotes = True

    def __iter__(self) -> _Lines:
        return self

    def __next__(self) -> str:
        while True:
            line = next(self._text)
            self.line += 1
            if "\0" in line:
                raise CsvFaultError("a NUL character", self.line, nul=True)
            if not self.outside_quotes:
                return line
            if is_skipped(line, self._comment):
                continue
            self.outside_quotes = False
            self.row_line = self.line
            return line


def body_of(rows: Iterator[Rows], skip_first: int, skip_last: int) -> Iterator[Rows]:
    """Rows without the first ones (units) and the last ones (a footer)."""
    held: deque[tuple[int, Row]] = deque()
    for numbers, batch in rows:
        lines, cells = numbers, batch
        if skip_first:
            drop = min(skip_first, len(cells))
            skip_first -= drop
            lines, cells = lines[drop:], cells[drop:]
        if skip_last:
            held.extend(zip(lines, cells, strict=True))
            ready = [held.popleft() for _ in range(len(held) - skip_last)]
            lines, cells = [line for line, _ in ready], [row for _, row in ready]
        if cells:
            yield lines, cells


def split_off_first(rows: Iterator[Rows]) -> tuple[tuple[int, Row] | None, Iterator[Rows]]:
    """The first row (the header) and the rest."""
    for numbers, batch in rows:
        if batch:
            return (numbers[0], batch[0]), chain([(numbers[1:], batch[1:])], rows)
    return None, iter(())

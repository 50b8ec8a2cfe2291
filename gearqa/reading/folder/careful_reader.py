"""Reads any table slowly and exactly: every row with its line, every fault with its cell.

Used for small files, mapped tables, texts (production, size, events), and to name what is wrong after
the fast path gave up. Understands all of a `TableSource`.
"""

from __future__ import annotations

import io
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import field, replace
from itertools import compress
from types import MappingProxyType
from typing import Any, Final

from gearqa.errors import Problem, Reason
from gearqa.late_dataclass import dataclass
from gearqa.reading.folder.header import ignore_hint
from gearqa.reading.folder.sources import ColumnSource, TableSource, WidePattern
from gearqa.reading.folder.table_kinds import LABEL_COLUMNS, MEASUREMENT
from gearqa.reading.rows.csv_rows import (
    BATCH_LINES,
    CsvFaultError,
    Row,
    Rows,
    body_of,
    csv_rows,
    split_off_first,
)
from gearqa.reading.rows.decoding import CP1252, UTF8, is_utf8_file
from gearqa.reading.rows.digests import HashingFile, sha256_of
from gearqa.reading.rows.parquet_rows import ParquetFaultError, ParquetTable, parquet_rows
from gearqa.reading.rows.patterns import Pattern, span
from gearqa.reading.rows.problem_log import ProblemLog
from gearqa.symbols import FLANKS

CHUNK_ROWS: Final = BATCH_LINES
NO_COLUMNS: Final[Mapping[str, str]] = MappingProxyType({})


@dataclass(slots=True)
class RawRows:
    """Text of the canonical columns of some rows, and their lines."""

    columns: dict[str, list[str]]
    lines: list[int]
    headers: list[str] = field(default_factory=list)
    """Of a wide table: the header above the value of every row."""

    def __len__(self) -> int:
        return len(self.lines)


@dataclass(slots=True)
class CarefulReader:
    """One pass over one table. Problems go to the log; `sha256` is set when the pass is over."""

    source: TableSource
    log: ProblemLog
    sha256: str = ""
    rows_read: int = 0
    blank_dropped: int = 0
    passed_over: int = 0
    """Rows that `where` did not pick."""

    def chunks(self, size: int = CHUNK_ROWS) -> Iterator[RawRows]:
        """The rows of the table, in file order."""
        try:
            yield from self._chunks(size)
        except UnicodeDecodeError as error:
            found = f"byte 0x{error.object[error.start]:02X}, which is no text in {error.encoding}"
            self._fault(Reason.NOT_TEXT, found, "a text file", hint=ignore_hint(self.source.name))
        except UnicodeError as error:  # UTF-16 without its mark, or cut
            self._fault(Reason.NOT_TEXT, str(error), "a text file", hint=ignore_hint(self.source.name))
        except ParquetFaultError as error:
            self.parquet_fault(error)
        except OSError as error:
            self._fault(Reason.FILE_NOT_FOUND, error.strerror or "unreadable", "a readable file")

    def block(self, text: str, names: Sequence[str], lines_before: int) -> Iterator[RawRows]:
        """The rows of a block of whole lines from the body of the table."""
        dialect, lines = self.source.dialect, io.StringIO(text, newline="")
        rows = csv_rows(lines, dialect.separator, lines_before=lines_before, comment=dialect.comment)
        try:
            yield from self._picked(rows, names, _Picker.of(self.source, names), CHUNK_ROWS)
        except CsvFaultError as fault:
            self._csv_fault(fault)

    def parquet_block(self, table: ParquetTable, start: int, frame: Any) -> Iterator[RawRows]:
        """The rows of a block of a Parquet table; `start` rows come before it."""
        picker = _Picker.of(self.source, table.names)
        yield from self._picked(table.text_rows(start, frame), table.names, picker, CHUNK_ROWS)

    def parquet_fault(self, fault: ParquetFaultError) -> None:
        """A Parquet table that cannot be read, or not on from some row."""
        self.rows_read += 1
        hint = "export it again; " + ignore_hint(self.source.name)
        self._fault(Reason.UNREADABLE_PARQUET, fault.found, "a Parquet table", fault.row, hint=hint)

    def _chunks(self, size: int) -> Iterator[RawRows]:
        if self.source.is_parquet:
            table = ParquetTable.of(self.source.path)
            yield from self._body(parquet_rows(table), size, table.unreadable)
            self.sha256 = sha256_of(self.source.path)
            return
        dialect = self.source.dialect
        raw = HashingFile(self.source.path)
        buffered = io.BufferedReader(raw, 1 << 18)
        with io.TextIOWrapper(buffered, encoding=dialect.encoding, newline="") as text:
            try:
                rows = csv_rows(text, dialect.separator, skip=dialect.skip_rows, comment=dialect.comment)
                yield from self._body(rows, size)
            except CsvFaultError as fault:
                self._csv_fault(fault)
            while buffered.read(1 << 18):  # what follows a fault counts for the digest too
                pass
            self.sha256 = raw.hexdigest()

    def _body(
        self, rows: Iterator[Rows], size: int, unreadable: Mapping[str, str] = NO_COLUMNS
    ) -> Iterator[RawRows]:
        dialect = self.source.dialect
        header, rest = split_off_first(rows)
        if header is None:
            found = "no header, only blank lines and comments"
            self._fault(Reason.EMPTY_TABLE, found, "a header line and rows")
            return
        names = [cell.strip() for cell in header[1]]
        picker = _Picker.of(self.source, names, unreadable)
        for reason, found, expected, column in picker.problems:
            self._fault(reason, found, expected, header[0], column=column)
        if picker.problems:
            return
        body = body_of(rest, dialect.skip_after_header, dialect.skip_last_rows)
        yield from self._picked(body, names, picker, size)
        self.check_rows()

    def _csv_fault(self, fault: CsvFaultError) -> None:
        self.rows_read += 1  # a row that cannot be taken apart is one
        if fault.nul:
            hint = ignore_hint(self.source.name)
            self._fault(Reason.NOT_TEXT, fault.found, "a text file", fault.line, hint=hint)
            return
        hint = "a quote that opens must close" if "end of data" in fault.found else ""
        self._fault(Reason.UNREADABLE_CSV, fault.found, "rows of cells", fault.line, hint=hint)

    def check_rows(self) -> None:
        """A table without rows is a fault."""
        if self.rows_read or self.blank_dropped:
            return
        found, expected = "a header without rows", "rows below the header"
        if self.passed_over:
            found, expected = "no row that fits `where`", "a row that the column map picks"
        self._fault(Reason.EMPTY_TABLE, found, expected, hint=ignore_hint(self.source.name))

    def _picked(
        self, rows: Iterator[Rows], names: Sequence[str], picker: _Picker, size: int
    ) -> Iterator[RawRows]:
        width = len(names)
        for numbers, batch in rows:
            if self.log.given_up(self.source.name):
                self.rows_read += len(batch)
                return
            kept, lines = batch, numbers
            if picker.where or set(map(len, batch)) != {width}:
                rows_of_lines = zip(numbers, batch, strict=True)
                fits = [self._fits(line, row, names, picker) for line, row in rows_of_lines]
                kept, lines = list(compress(batch, fits)), list(compress(numbers, fits))
            for start in range(0, len(kept), size):
                yield from self._flushed(kept[start : start + size], lines[start : start + size], picker)

    def _fits(self, line: int, row: Row, names: Sequence[str], picker: _Picker) -> bool:
        if len(row) != len(names):
            self._ragged(line, row, names)
            return False
        fits = all(row[at].strip() == word for at, word in picker.where)
        self.passed_over += not fits
        return fits

    def _flushed(self, rows: list[Row], lines: list[int], picker: _Picker) -> Iterator[RawRows]:
        raw = picker.pick(rows, lines)
        if self.source.dialect.drop_blank:
            needed = [c for c in picker.needed if c in raw.columns]
            full = [i for i in range(len(raw)) if all(raw.columns[c][i].strip() for c in needed)]
            self.blank_dropped += len(raw) - len(full)
            if len(full) < len(raw):
                columns = {c: [cells[i] for i in full] for c, cells in raw.columns.items()}
                headers = [raw.headers[i] for i in full] if raw.headers else []
                raw = RawRows(columns, [raw.lines[i] for i in full], headers)
        self.rows_read += len(raw)
        if len(raw):
            yield raw

    def _ragged(self, line: int, row: Row, names: Sequence[str]) -> None:
        self.rows_read += 1
        separator = self.source.dialect.separator
        found, expected = f"{len(row)} cells", f"{len(names)} as in the header"
        other = next((s for s in ",;\t" if s != separator and s in "".join(row)), None)
        hint = ""
        if len(row) > len(names) and not any(cell.strip() for cell in row[len(names) :]):
            hint = "delete the separators at the end of the row"
        elif len(row) > len(names) and separator == ",":
            hint = "a decimal comma needs semicolon or tab as separator"
        elif len(row) == 1 and other is not None:
            hint = "this row has another separator than the header"
        self._fault(Reason.RAGGED_ROW, found, expected, line, hint=hint)

    def _fault(self, reason: Reason, found: str, expected: str, line: int | None = None, **more: str) -> None:
        self.log.add(Problem(reason, self.source.name, found, expected, line, **more))


def with_encoding_settled(source: TableSource) -> TableSource:
    """The plan with the encoding that the whole file has, where only its head was looked at."""
    if source.is_parquet or source.dialect.encoding != UTF8 or is_utf8_file(source.path):
        return source
    return replace(source, dialect=replace(source.dialect, encoding=CP1252))


# --- from cells of the file to canonical columns -----------------------------------------------------


@dataclass(slots=True)
class _Picker:
    """Takes the canonical columns out of rows of a file with a given header."""

    takers: dict[str, Callable[[Sequence[Sequence[str]], int], list[str]]]
    needed: tuple[str, ...]
    """Columns whose cells must not be blank, where blank rows are dropped."""
    where: tuple[tuple[int, str], ...] = ()
    wide: tuple[tuple[int, dict[str, str]], ...] = ()
    wide_value: str = ""
    names: Sequence[str] = ()
    problems: list[tuple[Reason, str, str, str]] = field(default_factory=list)

    @classmethod
    def of(
        cls, source: TableSource, names: Sequence[str], unreadable: Mapping[str, str] = NO_COLUMNS
    ) -> _Picker:
        place = {name.casefold(): i for i, name in reversed(list(enumerate(names)))}
        needed = (*source.columns, *((source.wide.value,) if source.wide else ()))
        needed = source.needed or tuple(
            name for name in needed if name not in (LABEL_COLUMNS.get(source.kind), MEASUREMENT)
        )
        picker = cls({}, needed, names=names)
        header = ", ".join(f"'{n}'" for n in names[:12])

        def find(column: str) -> int | None:
            at = place.get(column.strip().casefold())
            if at is None:
                found = f"no such column; the header has {header}"
                picker.problems.append((Reason.MISSING_COLUMN, found, f"'{column}'", column))
            elif names[at] in unreadable:
                found, expected = f"cells of type {unreadable[names[at]]}", "numbers, texts or times"
                picker.problems.append((Reason.WRONG_TYPE, found, expected, names[at]))
            return at

        for canonical, column in source.columns.items():
            taker = _taker(column, find)
            if taker is not None:
                picker.takers[canonical] = taker
        where = [(find(column), word.strip()) for column, word in source.where.items()]
        picker.where = tuple((i, word) for i, word in where if i is not None)
        if source.wide is not None:
            picker.wide, picker.wide_value = _wide_columns(source.wide, names), source.wide.value
            picker.problems += _wide_faults(source.wide, picker.wide, names)
            if not picker.wide:
                found = f"no header matches '{source.wide.pattern}'; the header has {header}"
                picker.problems.append((Reason.MISSING_COLUMN, found, "at least one", source.wide.pattern))
        return picker

    def pick(self, rows: list[Row], lines: list[int]) -> RawRows:
        cells = list(zip(*rows, strict=True))
        count = len(rows)
        columns = {name: take(cells, count) for name, take in self.takers.items()}
        if not self.wide:
            return RawRows(columns, lines)
        long: dict[str, list[str]] = {name: [] for name in columns}
        for at, groups in self.wide:
            for name, texts in columns.items():
                if name not in groups:
                    long[name] += texts
            for name, word in groups.items():
                long.setdefault(name, []).extend([word] * count)
            long.setdefault(self.wide_value, []).extend(cells[at])
        headers = [self.names[at] for at, _ in self.wide for _ in range(count)]
        return RawRows(long, lines * len(self.wide), headers)


def _taker(
    column: ColumnSource, find: Callable[[str], int | None]
) -> Callable[[Sequence[Sequence[str]], int], list[str]] | None:
    if column.columns:
        places = [find(name) for name in column.columns]
        if None in places:
            return None
        return lambda cells, _: [
            " ".join(parts)
            for parts in zip(*(map(str.strip, cells[i]) for i in places if i is not None), strict=True)
        ]
    if column.column is None:
        constant = column.constant or ""
        return lambda _, count: [constant] * count
    at = find(column.column)
    if at is None:
        return None
    return lambda cells, _: list(cells[at])


def _wide_faults(
    wide: WidePattern, columns: Sequence[tuple[int, dict[str, str]]], names: Sequence[str]
) -> Iterator[tuple[Reason, str, str, str]]:
    """Headers that a pattern misreads, each reported once, not for every cell below it."""
    pattern = Pattern(wide.pattern)
    flanks = (*FLANKS, *wide.words)
    known = {word.strip().casefold() for word in flanks}
    earlier: dict[tuple[tuple[str, str], ...], str] = {}
    for at, groups in columns:
        name = names[at]
        match = pattern.search(name)
        assert match is not None
        for number in ("tooth", "space"):
            if groups.get(number) and _cut_short(name, *span(match, number)):
                found = f"{number} {match[number]} by '{wide.pattern}', which cuts the number"
                yield Reason.NOT_A_WHOLE_NUMBER, found, "a pattern that takes the whole number", name
        if groups.get("flank") and groups["flank"].casefold() not in known:
            allowed = " or ".join(f"'{word}'" for word in flanks)
            yield Reason.UNKNOWN_WORD, f"the flank '{groups['flank']}'", f"{allowed} (see `values`)", name
        same = earlier.setdefault(tuple(sorted(groups.items())), name)
        if same != name:
            place = ", ".join(f"{group} {word}" for group, word in groups.items())
            found = f"{place} by '{wide.pattern}', as in column '{same}'"
            yield Reason.DUPLICATE_COLUMN, found, "each place in one column", name


def _cut_short(name: str, start: int, end: int) -> bool:
    """Whether digits go on before or after the number found in a header."""
    number, before, after = name[start:end], name[:start], name[end:]
    return (number[:1].isdigit() and before[-1:].isdigit()) or (number[-1:].isdigit() and after[:1].isdigit())


def _wide_columns(wide: WidePattern, names: Sequence[str]) -> tuple[tuple[int, dict[str, str]], ...]:
    pattern = Pattern(wide.pattern)
    found = []
    for at, name in enumerate(names):
        match = pattern.search(name)
        if match is not None:
            # A group that took no part leaves its cell blank.
            groups = {k: (v or "").strip() for k, v in match.groupdict().items()}
            for number in ("tooth", "space"):
                if number in groups and groups[number].isascii() and groups[number].isdigit():
                    groups[number] = str(int(groups[number]) + wide.tooth_offset)
            found.append((at, groups))
    return tuple(found)

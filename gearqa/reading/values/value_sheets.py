"""Reads tables of values (reported values, gauge studies), neutral or mapped, with all problems at once."""

from __future__ import annotations

import difflib
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final, TypeVar

from gearqa.errors import MeasurementFileError, Notice, NoticeCode, Problem, Reason
from gearqa.model.measurement import InputFile
from gearqa.reading.folder.careful_reader import CarefulReader, with_encoding_settled
from gearqa.reading.folder.cells import Cells
from gearqa.reading.folder.dialect import HeaderRow, find_header, guess_dialect
from gearqa.reading.folder.listing import matches_any
from gearqa.reading.folder.shifted_decimals import shifted_decimals
from gearqa.reading.folder.sources import ColumnSource, Dialect, TableSource
from gearqa.reading.maps.columns_map import read_columns_map
from gearqa.reading.maps.map_sources import sheet_source
from gearqa.reading.maps.trade_words import flank_of
from gearqa.reading.rows.decoding import HEAD_BYTES, NotTextError, decode_head, guess_encoding, read_head
from gearqa.reading.rows.digests import sha256_of
from gearqa.reading.rows.parquet_rows import ParquetFaultError, ParquetTable, is_parquet
from gearqa.reading.rows.problem_log import ProblemLog
from gearqa.reading.values.sheet_formats import UNIT_FACTORS, SheetFormat, canonical_column
from gearqa.symbols import FLANKS, Flank
from gearqa.wording.numbers import count_text, short_text
from gearqa.wording.safety import RESULT_MARK, SIMULATED_MARK

Word = TypeVar("Word", bound=str)
LARGEST_UM: Final = 100_000.0
"""No deviation is that large: the unit must be another."""
MOST_ROWS: Final = 1_000_000
"""Such a table is typed or exported for people; more rows are another file."""


@dataclass(slots=True)
class ValueSheet:
    """A sheet's cells, to be turned into values; problems gather in `log`."""

    name: str
    cells: Cells
    log: ProblemLog
    file: InputFile
    simulated: bool
    columns: frozenset[str]

    def __len__(self) -> int:
        return len(self.cells.raw)

    def texts(self, column: str) -> list[str | None]:
        """Trimmed texts, None where blank or where there is no such column."""
        return self.cells.texts(column) if column in self.columns else [None] * len(self)

    def flanks(self) -> list[Flank | None]:
        """Flank of every row; None where blank."""
        return self.words("flank", FLANKS, "other words need a column map", flank_of)

    def words(
        self, column: str, known: Sequence[Word], hint: str, meaning: Callable[[str], str | None] = str
    ) -> list[Word | None]:
        """Words of a column that are one of a few, in any case or by their meaning; None where blank."""
        found: list[Word | None] = []
        for row, typed in enumerate(self.texts(column)):
            word = (meaning(typed) or typed) if typed else None
            found.append(next((one for one in known if word and word.casefold() == one), None))
            if word and found[-1] is None:
                expected = f"{', '.join(map(repr, known))} or an empty cell"
                self.cells.fault(row, Reason.UNKNOWN_WORD, column, expected, hint)
        return found

    def numbers(self, column: str) -> list[float | None]:
        """Numbers that a deviation can have, None where blank or where there is no such column."""
        if column not in self.columns:
            return [None] * len(self)
        values = self.cells.optional_numbers(column)
        for row, value in enumerate(values):
            if value is not None and abs(value) > LARGEST_UM:
                expected = f"at most {short_text(LARGEST_UM)} µm in magnitude"
                self.cells.fault(row, Reason.OUT_OF_RANGE, column, expected, "is the unit right?")
        return values

    def required_numbers(self, column: str) -> list[float | None]:
        """Finite numbers; a blank cell is a fault."""
        values = self.numbers(column)
        for row, value in enumerate(values):
            if value is None and not self.cells.bad[row]:
                self.cells.fault(row, Reason.EMPTY_CELL, column, "a number")
        return values

    def line(self, row: int) -> int:
        """Line of a row in the file."""
        return self.cells.raw.lines[row]

    def raise_problems(self) -> None:
        """Raise if anything was wrong."""
        if self.log.problems:
            raise MeasurementFileError(self.log.problems)


def read_sheet(
    path: Path | str, sheet: SheetFormat, *, columns: Path | str | None = None, name: str | None = None
) -> ValueSheet:
    """Read the cells of a sheet, by the column map where that names this file under the kind of the sheet.

    Raises
    ------
    MeasurementFileError
        If the file or its header cannot be used, with all problems.
    PartFileError
        If the column map is at fault.
    """
    path = Path(path)
    name = name or path.name
    log = ProblemLog()
    source = _mapped(path, name, sheet, columns, log) if columns is not None else None
    if source is None and not log.problems:
        source = _recognised(path, name, sheet, log)
    if log.problems or source is None:
        raise MeasurementFileError(log.problems)
    source = with_encoding_settled(source)
    reader = CarefulReader(source, log)
    chunks = list(reader.chunks(MOST_ROWS))
    if log.problems:
        raise MeasurementFileError(log.problems)
    if len(chunks) != 1:
        found = f"more than {MOST_ROWS} rows" if chunks else "no rows"
        raise MeasurementFileError([Problem(Reason.EMPTY_TABLE, name, found, f"{sheet.title} with rows")])
    cells = Cells.of(source, chunks[0], log)
    if reader.blank_dropped:
        rows = count_text(reader.blank_dropped, "value")
        log.notice(
            NoticeCode.BLANK_ROWS_DROPPED, f"{name}: {rows} left empty, dropped as the column map says"
        )
    file = InputFile(name, reader.sha256 or sha256_of(path))
    return ValueSheet(name, cells, log, file, source.simulated, frozenset(chunks[0].columns))


def _mapped(
    path: Path, name: str, sheet: SheetFormat, columns: Path | str, log: ProblemLog
) -> TableSource | None:
    """The plan of a column map, where it names this file."""
    for table in getattr(read_columns_map(columns), sheet.kind, ()):
        if matches_any(path.name, table.file):
            problems: list[Problem] = []
            source = sheet_source(path, name, table, problems)
            log.extend(problems)
            return source
    return None


def _recognised(path: Path, name: str, sheet: SheetFormat, log: ProblemLog) -> TableSource | None:
    try:
        head = read_head(path, HEAD_BYTES)
    except IsADirectoryError:
        log.add(Problem(Reason.FILE_NOT_FOUND, name, "a folder", f"a file, {sheet.title}"))
        return None
    except OSError as error:
        found = "no such file" if isinstance(error, FileNotFoundError) else error.strerror or "unreadable"
        log.add(Problem(Reason.FILE_NOT_FOUND, name, found, f"a file, {sheet.title}"))
        return None
    if is_parquet(path):
        return _recognised_parquet(path, name, sheet, log)
    whole = len(head) < HEAD_BYTES
    try:
        encoding = guess_encoding(head, whole=whole)
        text = decode_head(head, encoding, whole=whole)
    except NotTextError as error:
        hint = "save the table as CSV text in UTF-8"
        log.add(Problem(Reason.NOT_TEXT, name, error.found, "a text file", error.line, hint=hint))
        return None
    if text.startswith(RESULT_MARK):
        found = "a result written by gearqa"
        log.add(Problem(Reason.UNRECOGNISED_TABLE, name, found, sheet.title))
        return None
    dialect = guess_dialect(text, encoding)
    header = find_header(text, dialect)
    if header is None:
        log.add(Problem(Reason.EMPTY_TABLE, name, "an empty file", f"{sheet.title} with a header and rows"))
        return None
    columns, simulated = _columns(header, name, sheet, log), text.startswith(SIMULATED_MARK)
    source = TableSource(path, name, "production", dialect, columns, simulated=simulated)
    shifted = None if log.problems else shifted_decimals(source, header)
    if isinstance(shifted, Notice):
        log.notice(shifted.code, shifted.message)
    elif shifted is not None:
        log.add(shifted)
    return source


def _recognised_parquet(path: Path, name: str, sheet: SheetFormat, log: ProblemLog) -> TableSource | None:
    try:
        table = ParquetTable.of(path)
    except ParquetFaultError as error:
        log.add(Problem(Reason.UNREADABLE_PARQUET, name, error.found, sheet.title))
        return None
    if table.mark.startswith(RESULT_MARK):
        found = "a result written by gearqa"
        log.add(Problem(Reason.UNRECOGNISED_TABLE, name, found, sheet.title))
        return None
    columns = _columns(HeaderRow(0, table.names, 0), name, sheet, log)
    simulated = table.mark.startswith(SIMULATED_MARK)
    return TableSource(path, name, "production", Dialect(), columns, simulated=simulated)


def _columns(header: HeaderRow, name: str, sheet: SheetFormat, log: ProblemLog) -> dict[str, ColumnSource]:
    columns: dict[str, ColumnSource] = {}
    unknown: list[str] = []
    for cell in header.names:
        canonical, factor = canonical_column(cell)
        if canonical not in sheet.columns:
            unknown.append(cell)
        elif canonical in columns:
            other = columns[canonical].column or ""
            twice = other.casefold() == cell.casefold()
            reason = Reason.DUPLICATE_COLUMN if twice else Reason.CONTRADICTING_COLUMNS
            found = f"column '{cell}' twice" if twice else f"'{other}' and '{cell}'"
            expected = "each column once" if twice else "one of the two"
            log.add(Problem(reason, name, found, expected, header.line, cell))
        else:
            columns[canonical] = ColumnSource(cell, factor=factor)
    for wanted in sheet.required:
        if wanted not in columns:
            _missing(wanted, unknown, header, name, sheet, log)
    for cell in dict.fromkeys(unknown):
        near = difflib.get_close_matches(cell.casefold(), sheet.columns, n=1, cutoff=0.75) if cell else []
        shown = f"column '{cell}'" if cell else "a column without a name"
        hint = f" (did you mean '{near[0]}'?)" if near else ""
        message = f"{name}: {shown} is not known in {sheet.title} and is ignored{hint}"
        log.notice(NoticeCode.UNKNOWN_COLUMN, message)
    return columns


def _missing(
    wanted: str, unknown: Sequence[str], header: HeaderRow, name: str, sheet: SheetFormat, log: ProblemLog
) -> None:
    folded = {cell.casefold(): cell for cell in unknown if cell}
    stem = wanted.removesuffix("_um")
    near = difflib.get_close_matches(wanted, list(folded), n=1, cutoff=0.6)
    near = near or difflib.get_close_matches(stem, list(folded), n=1, cutoff=0.6)
    hint = "a foreign table is read with a column map: [" + sheet.kind + "]"
    if near and near[0] == stem and wanted.endswith("_um"):
        hint = f"the end of a column name is its unit: {', '.join(stem + unit for unit in UNIT_FACTORS)}"
    elif near:
        hint = f"column '{folded[near[0]]}' looks like it; rename it or write a column map: [{sheet.kind}]"
    shown = ", ".join(f"'{cell}'" for cell in header.names[:12])
    found, expected = f"{sheet.title} without column '{wanted}'", f"columns {','.join(sheet.required)}"
    found += f"; the header has {shown}"
    log.add(Problem(Reason.MISSING_COLUMN, name, found, expected, header.line, hint=hint))


def notices_of(sheet: ValueSheet) -> tuple[Notice, ...]:
    """What was noticed about a sheet."""
    message = f"SIMULATED: {sheet.name} says that it was not measured but made up"
    simulated = [Notice(NoticeCode.SIMULATED, message)] if sheet.simulated else []
    return (*sheet.log.notices, *simulated)

"""Which table a file is: by its header alone, never by its name."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import replace
from pathlib import Path
from typing import Final

from gearqa.errors import Notice, NoticeCode, Problem, Reason
from gearqa.late_dataclass import dataclass
from gearqa.reading.folder.dialect import (
    HeaderRow,
    decimal_mark,
    find_header,
    first_decimal_mark,
    guess_dialect,
    measured_columns,
)
from gearqa.reading.folder.header import Header, ignore_hint, unrecognised
from gearqa.reading.folder.shifted_decimals import shifted_decimals
from gearqa.reading.folder.sources import ColumnSource, Dialect, TableKind, TableSource
from gearqa.reading.folder.table_kinds import PRODUCTION_COLUMNS, TABLES, split_unit
from gearqa.reading.rows.csv_rows import CsvFaultError, bounded_lines
from gearqa.reading.rows.decoding import HEAD_BYTES, NotTextError, decode_head, guess_encoding, read_head
from gearqa.reading.rows.parquet_rows import ParquetFaultError, ParquetTable, is_parquet
from gearqa.wording.safety import RESULT_MARK, SIMULATED_MARK

LARGEST_HEAD: Final = HEAD_BYTES * 64
"""Bytes in which the header of a table ends."""
VALUES: Final = "a table of reported values or a gauge study"
"""Why such a table is left out of a folder of measurements."""


@dataclass(frozen=True, slots=True)
class Recognised:
    """What a file is: a table to read, one to leave out with its reason, or problems."""

    source: TableSource | None = None
    left_out: str | None = None
    problems: tuple[Problem, ...] = ()
    notices: tuple[Notice, ...] = ()


def recognise(path: Path, name: str) -> Recognised:
    """Look at the head of a file and make the plan that a reader follows."""
    if is_parquet(path):
        return _recognise_parquet(path, name)
    try:
        text, dialect, header = _look(path)
    except NotTextError as error:
        hint = "save the table as CSV text in UTF-8; " + ignore_hint(name)
        problem = Problem(Reason.NOT_TEXT, name, error.found, "a text file", error.line, hint=hint)
        return Recognised(problems=(problem,))
    except OSError as error:
        problem = Problem(Reason.FILE_NOT_FOUND, name, error.strerror or "unreadable", "a readable file")
        return Recognised(problems=(problem,))
    if text.startswith(RESULT_MARK):
        return Recognised(left_out="a result written by gearqa")
    if header is None:
        found = "an empty file" if not text.strip() else "no header, only blank lines and comments"
        expected = "a header line and rows"
        problem = Problem(Reason.EMPTY_TABLE, name, found, expected, hint=ignore_hint(name))
        return Recognised(problems=(problem,))
    return _by_header(path, name, text, dialect, header)


def _recognise_parquet(path: Path, name: str) -> Recognised:
    try:
        table = ParquetTable.of(path)
    except (ParquetFaultError, OSError) as error:
        hint = "export it again; " + ignore_hint(name)
        problem = Problem(Reason.UNREADABLE_PARQUET, name, str(error), "a Parquet table", hint=hint)
        return Recognised(problems=(problem,))
    if table.mark.startswith(RESULT_MARK):
        return Recognised(left_out="a result written by gearqa")
    return _by_header(path, name, table.mark, Dialect(separator=""), HeaderRow(0, table.names, 0))


def _look(path: Path) -> tuple[str, Dialect, HeaderRow | None]:
    """As much of the file as shows the header and the decimal mark, how to take it apart, its header."""
    size = HEAD_BYTES
    while True:
        head = read_head(path, size)
        whole = len(head) < size
        encoding = guess_encoding(head, whole=whole)
        text = decode_head(head, encoding, whole=whole)
        dialect = guess_dialect(text, encoding)
        header = find_header(text, dialect)
        # a header that reaches the end of the head may be cut
        if whole or (header is not None and header.end < len(text)):
            break
        if size >= LARGEST_HEAD:
            raise NotTextError("4 MB without the end of a header line")
        size *= 8
    if header is not None and dialect.separator != "," and not whole and decimal_mark(text, dialect) is None:
        # numbers without decimals as far as we saw: the first one with a mark decides for the file
        mark = None
        with path.open(encoding=encoding, errors="replace", newline="") as file:
            lines = bounded_lines(file)
            with suppress(CsvFaultError):  # which the reader of the table reports
                mark = first_decimal_mark(lines, dialect.separator, measured_columns(header.names))
        dialect = replace(dialect, decimal=mark or ".")
    return text, dialect, header


def _kind_of(header: Header) -> TableKind | None:
    """The kind of table by its quantities, in the order of the published rules."""
    kind = _measured_kind(header, unitless=False)
    if kind is not None or _is_reported_values(header):
        return kind
    measured = any(header.has(n, unitless=True) for n in ("flank", "tooth", "space", "deviation"))
    if not measured and any(header.has(split_unit(name)[0]) for name in PRODUCTION_COLUMNS):
        return "production"
    # a quantity whose unit was forgotten still says which table was meant
    return _measured_kind(header, unitless=True)


def _measured_kind(header: Header, *, unitless: bool) -> TableKind | None:
    def has(*names: str) -> bool:
        return header.has(*names, unitless=unitless)

    rules: tuple[tuple[TableKind, bool], ...] = (
        ("runout", has("space", "radial")),
        ("pitch", has("index") or has("pitch")),
        ("profile", has("deviation", "roll_length") or has("deviation", "roll_angle")),
        ("helix", has("deviation", "face_position")),
        ("profile", has("deviation", "diameter")),
        ("size", has("method", "value")),
        ("events", has("at", "event")),
    )
    return next((kind for kind, fits in rules if fits), None)


def _is_reported_values(header: Header) -> bool:
    """Whether this is a table of reported values or a gauge study."""
    return header.has("parameter", "value", unitless=True)


def _by_header(path: Path, name: str, text: str, dialect: Dialect, row: HeaderRow) -> Recognised:
    header = Header(name, row)
    kind = _kind_of(header)
    if kind is None and _is_reported_values(header):
        return Recognised(left_out=VALUES)
    if kind is None:
        return Recognised(problems=(unrecognised(name, text, row, dialect),))
    columns = _columns(header, kind)
    if header.problems:
        return Recognised(problems=tuple(header.problems))
    simulated = text.startswith(SIMULATED_MARK)
    source = TableSource(path, name, kind, dialect, columns, simulated=simulated)
    shifted = shifted_decimals(source, row)
    if isinstance(shifted, Problem):
        return Recognised(problems=(shifted,))
    return Recognised(source, notices=(*header.notices, *([shifted] if shifted else [])))


def _columns(header: Header, kind: TableKind) -> dict[str, ColumnSource]:
    table = TABLES[kind]
    columns: dict[str, ColumnSource] = {}
    for alternatives in table.required:
        found = [(name, source) for name in alternatives if (source := header.take(name)) is not None]
        if not found:
            header.lacks(kind, alternatives)
        elif len(found) > 1 and kind == "pitch":
            names = " and ".join(f"'{source.column}'" for _, source in found)
            header.problem(
                Reason.CONTRADICTING_COLUMNS, names, "either the index or the single pitch of a flank",
                hint="delete one of the two columns",
            )  # fmt: skip
        else:
            canonical, source = found[0]
            columns[canonical] = source
            for _, other in found[1:]:
                header.notice(
                    NoticeCode.POSITION_COLUMN_NOT_READ,
                    f"position is taken from '{source.column}'; column '{other.column}' is not read",
                )
    for canonical in table.optional:
        if (extra := header.take(canonical)) is not None:
            columns[canonical] = extra
    unknown = header.unknown()
    if table.extra_are_labels:
        columns |= {label: header.use(label) for label in unknown if label}
    elif unknown:
        header.ignore(kind, unknown)
    return columns

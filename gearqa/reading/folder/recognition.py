"""Which table a CSV file is: by its header alone, never by its name."""

from __future__ import annotations

import difflib
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

from gearqa.errors import Notice, NoticeCode, Problem, Reason
from gearqa.reading.folder.dialect import (
    HeaderRow,
    decimal_mark,
    find_header,
    first_decimal_mark,
    guess_dialect,
    measured_columns,
    physical_lines,
    split_line,
)
from gearqa.reading.folder.sources import ColumnSource, Dialect, TableKind, TableSource
from gearqa.reading.folder.table_kinds import (
    PRODUCTION_COLUMNS,
    QUANTITIES,
    TABLES,
    split_unit,
    table_name,
)
from gearqa.reading.rows.decoding import HEAD_BYTES, NotTextError, decode_head, guess_encoding, read_head
from gearqa.wording.safety import RESULT_MARK, SIMULATED_MARK

_EXPECTED_TABLE: Final = (
    "a table with the columns of " + ", ".join(kind for kind in TABLES) + " (see `gearqa explain`)"
)


@dataclass(frozen=True, slots=True)
class Recognised:
    """What a CSV file is: a table to read, one to leave out with its reason, or problems."""

    source: TableSource | None = None
    left_out: str | None = None
    problems: tuple[Problem, ...] = ()
    notices: tuple[Notice, ...] = ()


def recognise(path: Path, name: str) -> Recognised:
    """Look at the head of a file and make the plan that a reader follows."""
    try:
        look = _look(path)
    except NotTextError as error:
        hint = "save the table as CSV text in UTF-8; " + ignore_hint(name)
        problem = Problem(Reason.NOT_TEXT, name, error.found, "a text file", error.line, hint=hint)
        return Recognised(problems=(problem,))
    except OSError as error:
        problem = Problem(Reason.FILE_NOT_FOUND, name, error.strerror or "unreadable", "a readable file")
        return Recognised(problems=(problem,))
    if look.text.startswith(RESULT_MARK):
        return Recognised(left_out="a result written by gearqa")
    if look.header is None:
        found = "an empty file" if not look.text.strip() else "no header, only blank lines and comments"
        expected = "a header line and rows"
        problem = Problem(Reason.EMPTY_TABLE, name, found, expected, hint=ignore_hint(name))
        return Recognised(problems=(problem,))
    return _by_header(path, name, look.text, look.dialect, look.header)


def ignore_hint(name: str) -> str:
    """The way out for a file that is no table of measurements."""
    return f'to leave it out, put ignore = ["{name}"] at the top of part.toml'


# --- the head of the file --------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Look:
    text: str
    dialect: Dialect
    header: HeaderRow | None


def _look(path: Path) -> _Look:
    """Read as much of the file as shows the header and the decimal mark."""
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
        size *= 8
    if header is not None and dialect.separator != "," and not whole and decimal_mark(text, dialect) is None:
        # numbers without decimals as far as we saw: the first one with a mark decides for the file
        with path.open(encoding=encoding, errors="replace", newline="") as lines:
            mark = first_decimal_mark(lines, dialect.separator, measured_columns(header.names))
        dialect = replace(dialect, decimal=mark or ".")
    return _Look(text, dialect, header)


# --- the header ------------------------------------------------------------------------------------


class _Header:
    """Known quantities of a header, by name."""

    def __init__(self, file: str, header: HeaderRow) -> None:
        self.file, self.line, self.names = file, header.line, header.names
        self.problems: list[Problem] = []
        self.notices: list[Notice] = []
        self.units: dict[str, dict[str, str]] = {}
        """Quantity -> unit -> column as it stands in the file."""
        self.plain: dict[str, str] = {}
        """Case-folded name without a unit -> column as it stands in the file."""
        for name in header.names:
            quantity, unit = split_unit(name)
            if unit is None:
                self.plain.setdefault(name.casefold(), name)
            else:
                self.units.setdefault(quantity, {}).setdefault(unit, name)
        self._consumed: set[str] = set()

    def has(self, *names: str, unitless: bool = False) -> bool:
        """Whether these quantities or plain columns are there."""
        return all(self._has(name, unitless) for name in names)

    def _has(self, name: str, unitless: bool) -> bool:
        units = self.units.get(name, {})
        return any(units) or (unitless and "" in units) or name in self.plain

    def problem(
        self, reason: Reason, found: str, expected: str, column: str | None = None, hint: str = ""
    ) -> None:
        self.problems.append(Problem(reason, self.file, found, expected, self.line, column, hint))

    def notice(self, code: str, message: str) -> None:
        self.notices.append(Notice(code, f"{self.file}: {message}"))

    def take(self, canonical: str) -> ColumnSource | None:
        """The source of a canonical column, or None where the header does not have it."""
        quantity, unit = split_unit(canonical)
        if unit is None:
            column = self.plain.get(canonical.casefold())
            return None if column is None else self._use(column, 1.0)
        found = {u: c for u, c in self.units.get(quantity, {}).items() if u}
        if not found:
            return None
        if len(found) > 1:
            self._consumed |= {c.casefold() for c in found.values()}
            names = " and ".join(f"'{c}'" for c in found.values())
            self.problem(
                Reason.CONTRADICTING_COLUMNS, names, f"one column for the {quantity.replace('_', ' ')}",
                hint="rename or delete one of them",
            )  # fmt: skip
        unit, column = next(iter(found.items()))
        return self._use(column, QUANTITIES[quantity].factors[unit])

    def _use(self, column: str, factor: float) -> ColumnSource:
        folded = column.casefold()
        self._consumed.add(folded)
        if sum(name.casefold() == folded for name in self.names) > 1:
            self.problem(Reason.DUPLICATE_COLUMN, f"column '{column}' twice", "each column once", column)
        return ColumnSource(column, factor=factor)

    def unknown(self) -> list[str]:
        """Columns nobody asked for, in file order."""
        return [name for name in self.names if name.casefold() not in self._consumed]


def kind_of(header: _Header) -> TableKind | None:
    """The kind of table by its quantities, in the order of the published rules."""
    kind = _measured_kind(header, unitless=False)
    if kind is not None or is_reported_values(header):
        return kind
    measured = any(header.has(n, unitless=True) for n in ("flank", "tooth", "space", "deviation"))
    if not measured and any(header.has(split_unit(name)[0]) for name in PRODUCTION_COLUMNS):
        return "production"
    # a quantity whose unit was forgotten still says which table was meant
    return _measured_kind(header, unitless=True)


def _measured_kind(header: _Header, *, unitless: bool) -> TableKind | None:
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


def is_reported_values(header: _Header) -> bool:
    """Whether this is a table of reported values or a gauge study."""
    return header.has("parameter", "value", unitless=True)


def _by_header(path: Path, name: str, text: str, dialect: Dialect, row: HeaderRow) -> Recognised:
    header = _Header(name, row)
    kind = kind_of(header)
    if kind is None and is_reported_values(header):
        return Recognised(left_out="a table of reported values or a gauge study")
    if kind is None:
        return Recognised(problems=(_unrecognised(name, row, _commented_header(text, row, dialect)),))
    columns = _columns(header, kind)
    if header.problems:
        return Recognised(problems=tuple(header.problems))
    simulated = text.startswith(SIMULATED_MARK)
    source = TableSource(path, name, kind, dialect, columns, simulated=simulated)
    return Recognised(source, notices=tuple(header.notices))


def _columns(header: _Header, kind: TableKind) -> dict[str, ColumnSource]:
    table = TABLES[kind]
    columns: dict[str, ColumnSource] = {}
    for alternatives in table.required:
        found = [(name, source) for name in alternatives if (source := header.take(name)) is not None]
        if not found:
            _missing(header, kind, alternatives)
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
        extra = header.take(canonical)
        if extra is not None:
            columns[canonical] = extra
    unknown = header.unknown()
    if table.extra_are_labels:
        for label in unknown:
            if label:
                columns[label] = header._use(label, 1.0)
    elif unknown:
        _tell_unknown(header, kind, unknown)
    return columns


def _missing(header: _Header, kind: TableKind, alternatives: Sequence[str]) -> None:
    wanted = " or ".join(f"'{n}'" for name in alternatives for n in _names(name))
    unitless = [header.units[q][""] for q in map(_quantity, alternatives) if "" in header.units.get(q, {})]
    if unitless:
        header.problem(
            Reason.MISSING_COLUMN, f"column '{unitless[0]}' without a unit", wanted, unitless[0],
            hint="the end of a column name is its unit",
        )  # fmt: skip
        return
    near = _nearest(header.unknown(), alternatives)
    hint = f"column '{near}' looks like it: rename it or write a column map" if near else ""
    header.problem(
        Reason.MISSING_COLUMN,
        f"{table_name(kind)} without column {wanted}",
        f"columns {_wanted(kind)}",
        hint=hint,
    )


def _tell_unknown(header: _Header, kind: TableKind, unknown: Sequence[str]) -> None:
    columns = TABLES[kind].columns
    for name, count in Counter(unknown).items():
        shown = (
            f"column '{name}'"
            if name
            else ("a column without a name" if count == 1 else f"{count} columns without a name")
        )
        near = difflib.get_close_matches(name.casefold(), columns, n=1, cutoff=0.75) if name else []
        hint = f" (did you mean '{near[0]}'?)" if near else ""
        header.notice(
            NoticeCode.UNKNOWN_COLUMN, f"{shown} is not known in {table_name(kind)} and is ignored{hint}"
        )


def _quantity(canonical: str) -> str:
    return split_unit(canonical)[0]


def _names(canonical: str) -> tuple[str, ...]:
    quantity = QUANTITIES.get(_quantity(canonical))
    if quantity is None:
        return (canonical,)
    return quantity.columns if quantity.unit == "um" else (quantity.column,)


def _wanted(kind: TableKind) -> str:
    return ",".join("|".join(names) for names in TABLES[kind].required)


def _nearest(names: Sequence[str], wanted: Sequence[str]) -> str | None:
    for canonical in wanted:
        folded = {name.casefold(): name for name in names if name}
        near = difflib.get_close_matches(canonical, list(folded), n=1, cutoff=0.6)
        if near:
            return folded[near[0]]
    return None


def _commented_header(text: str, row: HeaderRow, dialect: Dialect) -> int | None:
    """A line before the first row that would be a header as wide as it, were there no # before it."""
    for number, line in enumerate(physical_lines(text), 1):
        if number >= row.line:
            break
        cells = split_line(line.lstrip("# ").rstrip("\r\n"), dialect.separator)
        if line.startswith("#") and len(cells) == len(row.names) > 1:
            return number
    return None


def _unrecognised(name: str, row: HeaderRow, commented: int | None) -> Problem:
    """Say which table the header comes nearest to, and what it lacks."""
    header = ", ".join(f"'{cell}'" for cell in row.names[:12]) + (", ..." if len(row.names) > 12 else "")
    kind, lacking = _nearest_table(row.names)
    hint = f"nearest is {table_name(kind)}, which lacks {', '.join(lacking)}"
    likely = _likely_names(row.names, lacking)
    if likely:
        hint += "; " + ", ".join(f"'{found}' may be '{wanted}'" for wanted, found in likely.items())
    if commented is not None:
        hint = f"line {commented} begins with # and is passed over: if it is the header, take the # away"
    hint += f"; a foreign table is read with a column map (`gearqa columns`); {ignore_hint(name)}"
    found = f"the header {header}" if len(header) < 200 else f"the header {header[:200]}..."
    return Problem(Reason.UNRECOGNISED_TABLE, name, found, _EXPECTED_TABLE, row.line, hint=hint)


def _nearest_table(names: Sequence[str]) -> tuple[TableKind, list[str]]:
    folded = {name.casefold() for name in names} | {split_unit(name)[0] for name in names}

    def lacking(kind: TableKind) -> list[str]:
        return [
            "|".join(alternatives)
            for alternatives in TABLES[kind].required
            if not any(name.casefold() in folded or _quantity(name) in folded for name in alternatives)
        ]

    def similarity(kind: TableKind) -> float:
        open_ones = lacking(kind)
        near = sum(_nearest(names, entry.split("|")) is not None for entry in open_ones)
        required = len(TABLES[kind].required)
        return (required - len(open_ones) + 0.75 * near) / required

    kind = max((k for k in TABLES if k != "production"), key=similarity)
    return kind, lacking(kind)


def _likely_names(names: Sequence[str], lacking: Sequence[str]) -> Mapping[str, str]:
    likely = {}
    for entry in lacking:
        near = _nearest(names, entry.split("|"))
        if near:
            likely[entry.split("|")[0]] = near
    return likely

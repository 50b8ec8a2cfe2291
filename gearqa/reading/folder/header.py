"""The header of a table: its columns by quantity and unit, and what an unknown one comes nearest to."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from gearqa.errors import Notice, NoticeCode, Problem, Reason
from gearqa.reading.folder.dialect import HeaderRow, physical_lines, split_line
from gearqa.reading.folder.sources import ColumnSource, Dialect, TableKind
from gearqa.reading.folder.table_kinds import QUANTITIES, TABLES, split_unit, table_name
from gearqa.wording.nearest import did_you_mean, nearest


class Header:
    """Known quantities of a header, by name."""

    def __init__(self, file: str, header: HeaderRow) -> None:
        self.file, self.line, self.names = file, header.line, header.names
        self.problems: list[Problem] = []
        self.notices: list[Notice] = []
        self.units: dict[str, dict[str, str]] = {}
        """Quantity -> unit -> column as written in the file."""
        self.plain: dict[str, str] = {}
        """Case-folded name without a unit -> column as written in the file."""
        for name in header.names:
            quantity, unit = split_unit(name)
            if unit is None:
                self.plain.setdefault(name.casefold(), name)
            else:
                self.units.setdefault(quantity, {}).setdefault(unit, name)
        self._consumed: set[str] = set()

    def has(self, *names: str, unitless: bool = False) -> bool:
        """Whether these quantities or plain columns are there."""
        return all(
            any(unit or unitless for unit in self.units.get(name, ())) or name in self.plain for name in names
        )

    def problem(self, reason: Reason, found: str, expected: str, **more: str) -> None:
        """Keep a problem of the header."""
        self.problems.append(Problem(reason, self.file, found, expected, self.line, **more))

    def notice(self, code: str, message: str) -> None:
        """Keep a notice about the file."""
        self.notices.append(Notice(code, f"{self.file}: {message}"))

    def take(self, canonical: str) -> ColumnSource | None:
        """The source of a canonical column, or None where the header does not have it."""
        quantity, unit = split_unit(canonical)
        if unit is None:
            column = self.plain.get(canonical.casefold())
            return None if column is None else self.use(column)
        found = {u: c for u, c in self.units.get(quantity, {}).items() if u}
        if not found:
            return None
        if len(found) > 1:
            self._consumed |= {c.casefold() for c in found.values()}
            names = " and ".join(f"'{c}'" for c in found.values())
            self.problem(
                Reason.CONTRADICTING_COLUMNS, names, f"one column for the {quantity.replace('_', ' ')}",
                hint="rename or delete one",
            )  # fmt: skip
        unit, column = next(iter(found.items()))
        return self.use(column, QUANTITIES[quantity].factors[unit])

    def use(self, column: str, factor: float = 1.0) -> ColumnSource:
        """Take a column by its name in the file."""
        folded = column.casefold()
        self._consumed.add(folded)
        if sum(name.casefold() == folded for name in self.names) > 1:
            found = f"column '{column}' twice"
            self.problem(Reason.DUPLICATE_COLUMN, found, "each column once", column=column)
        return ColumnSource(column, factor=factor)

    def unknown(self) -> list[str]:
        """Columns that were not asked for, in file order."""
        return [name for name in self.names if name.casefold() not in self._consumed]

    def lacks(self, kind: TableKind, alternatives: Sequence[str]) -> None:
        """Report that none of some columns is there."""
        wanted = " or ".join(f"'{n}'" for name in alternatives for n in names_of(name))
        unitless = [self.units[q][""] for q in map(quantity_of, alternatives) if "" in self.units.get(q, {})]
        if unitless:
            self.problem(
                Reason.MISSING_COLUMN, f"column '{unitless[0]}' without a unit", wanted, column=unitless[0],
                hint="the end of a column name is its unit",
            )  # fmt: skip
            return
        near = nearest_column(self.unknown(), alternatives)
        hint = f"column '{near}' looks like it: rename it or write a column map" if near else ""
        found = f"{table_name(kind)} without column {wanted}"
        columns = ",".join("|".join(names) for names in TABLES[kind].required)
        self.problem(Reason.MISSING_COLUMN, found, f"columns {columns}", hint=hint)

    def ignore(self, kind: TableKind, unknown: Sequence[str]) -> None:
        """Say that columns are not read."""
        columns = TABLES[kind].columns
        for name, count in Counter(unknown).items():
            nameless = "a column without a name" if count == 1 else f"{count} columns without a name"
            shown = f"column '{name}'" if name else nameless
            meant = did_you_mean(name.casefold(), columns, 0.75) if name else ""
            message = f"{shown} is not known in {table_name(kind)} and is ignored"
            self.notice(NoticeCode.UNKNOWN_COLUMN, f"{message} ({meant})" if meant else message)


def quantity_of(canonical: str) -> str:
    """Quantity of a canonical column."""
    return split_unit(canonical)[0]


def names_of(canonical: str) -> tuple[str, ...]:
    """Names under which a column may come."""
    quantity = QUANTITIES.get(quantity_of(canonical))
    if quantity is None:
        return (canonical,)
    return quantity.columns if quantity.unit == "um" else (quantity.column,)


def nearest_column(names: Sequence[str], wanted: Sequence[str]) -> str | None:
    """The column of a file whose name is most like one of the wanted ones."""
    folded = {name.casefold(): name for name in names if name}
    return next((folded[near] for one in wanted if (near := nearest(one, folded))), None)


def ignore_hint(name: str) -> str:
    """The way out for a file that is no table of measurements."""
    return f'to leave it out, put ignore = ["{name}"] at the top of part.toml'


def unrecognised(name: str, text: str, row: HeaderRow, dialect: Dialect) -> Problem:
    """Say which table the header comes nearest to, and what it lacks."""
    expected = f"a table with the columns of {', '.join(TABLES)} (see `gearqa explain`)"
    commented = _commented_header(text, row, dialect)
    header = ", ".join(f"'{cell}'" for cell in row.names[:12]) + (", ..." if len(row.names) > 12 else "")
    kind, lacking = _nearest_table(row.names)
    hint = f"nearest is {table_name(kind)}, which lacks {', '.join(map('|'.join, lacking))}"
    likely = [(near, names[0]) for names in lacking if (near := nearest_column(row.names, names))]
    if likely:
        hint += "; " + ", ".join(f"'{found}' may be '{wanted}'" for found, wanted in likely)
    if commented is not None:
        hint = f"line {commented} begins with # and is skipped: if it is the header, delete the #"
    hint += f"; a foreign table is read with a column map (`gearqa columns`); {ignore_hint(name)}"
    found = f"the header {header}" if len(header) < 200 else f"the header {header[:200]}..."
    return Problem(Reason.UNRECOGNISED_TABLE, name, found, expected, row.line, hint=hint)


def _nearest_table(names: Sequence[str]) -> tuple[TableKind, list[tuple[str, ...]]]:
    folded = {name.casefold() for name in names} | {split_unit(name)[0] for name in names}

    def lacking(kind: TableKind) -> list[tuple[str, ...]]:
        return [
            alternatives
            for alternatives in TABLES[kind].required
            if not any(name.casefold() in folded or quantity_of(name) in folded for name in alternatives)
        ]

    def similarity(kind: TableKind) -> float:
        open_ones = lacking(kind)
        near = sum(nearest_column(names, entry) is not None for entry in open_ones)
        required = len(TABLES[kind].required)
        return (required - len(open_ones) + 0.75 * near) / required

    kind = max((k for k in TABLES if k != "production"), key=similarity)
    return kind, lacking(kind)


def _commented_header(text: str, row: HeaderRow, dialect: Dialect) -> int | None:
    """A line before the first row that would be a header as wide as it, were there no # before it."""
    for number, line in enumerate(physical_lines(text), 1):
        if number >= row.line:
            break
        cells = split_line(line.lstrip("# ").rstrip("\r\n"), dialect.separator)
        if line.startswith("#") and len(cells) == len(row.names) > 1:
            return number
    return None

"""The header of a table: its columns by quantity and unit, taken one by one."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from gearqa.errors import Notice, NoticeCode, Problem, Reason
from gearqa.reading.folder.dialect import HeaderRow
from gearqa.reading.folder.sources import ColumnSource, TableKind
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
        return all(self._has(name, unitless) for name in names)

    def _has(self, name: str, unitless: bool) -> bool:
        units = self.units.get(name, {})
        return any(units) or (unitless and "" in units) or name in self.plain

    def problem(
        self, reason: Reason, found: str, expected: str, column: str | None = None, hint: str = ""
    ) -> None:
        """Keep a problem of the header."""
        self.problems.append(Problem(reason, self.file, found, expected, self.line, column, hint))

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
            self.problem(Reason.DUPLICATE_COLUMN, f"column '{column}' twice", "each column once", column)
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
                Reason.MISSING_COLUMN, f"column '{unitless[0]}' without a unit", wanted, unitless[0],
                hint="the end of a column name is its unit",
            )  # fmt: skip
            return
        near = nearest_column(self.unknown(), alternatives)
        hint = f"column '{near}' looks like it: rename it or write a column map" if near else ""
        self.problem(
            Reason.MISSING_COLUMN,
            f"{table_name(kind)} without column {wanted}",
            f"columns {_wanted(kind)}",
            hint=hint,
        )

    def ignore(self, kind: TableKind, unknown: Sequence[str]) -> None:
        """Say that columns are not read."""
        columns = TABLES[kind].columns
        for name, count in Counter(unknown).items():
            shown = (
                f"column '{name}'"
                if name
                else ("a column without a name" if count == 1 else f"{count} columns without a name")
            )
            meant = did_you_mean(name.casefold(), columns, 0.75) if name else ""
            hint = f" ({meant})" if meant else ""
            self.notice(
                NoticeCode.UNKNOWN_COLUMN, f"{shown} is not known in {table_name(kind)} and is ignored{hint}"
            )


def quantity_of(canonical: str) -> str:
    """Quantity of a canonical column."""
    return split_unit(canonical)[0]


def names_of(canonical: str) -> tuple[str, ...]:
    """Names under which a column may come."""
    quantity = QUANTITIES.get(quantity_of(canonical))
    if quantity is None:
        return (canonical,)
    return quantity.columns if quantity.unit == "um" else (quantity.column,)


def _wanted(kind: TableKind) -> str:
    return ",".join("|".join(names) for names in TABLES[kind].required)


def nearest_column(names: Sequence[str], wanted: Sequence[str]) -> str | None:
    """The column of a file whose name is most like one of the wanted ones."""
    folded = {name.casefold(): name for name in names if name}
    return next((folded[near] for one in wanted if (near := nearest(one, folded))), None)

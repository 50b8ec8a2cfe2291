"""The way out for a file that is no table of measurements: what it comes nearest to, and what it lacks."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final

from gearqa.errors import Problem, Reason
from gearqa.reading.folder.dialect import HeaderRow, physical_lines, split_line
from gearqa.reading.folder.header import nearest_column, quantity_of
from gearqa.reading.folder.sources import Dialect, TableKind
from gearqa.reading.folder.table_kinds import TABLES, split_unit, table_name

_EXPECTED_TABLE: Final = (
    "a table with the columns of " + ", ".join(kind for kind in TABLES) + " (see `gearqa explain`)"
)


def ignore_hint(name: str) -> str:
    """The way out for a file that is no table of measurements."""
    return f'to leave it out, put ignore = ["{name}"] at the top of part.toml'


def unrecognised(name: str, text: str, row: HeaderRow, dialect: Dialect) -> Problem:
    """Say which table the header comes nearest to, and what it lacks."""
    commented = _commented_header(text, row, dialect)
    header = ", ".join(f"'{cell}'" for cell in row.names[:12]) + (", ..." if len(row.names) > 12 else "")
    kind, lacking = _nearest_table(row.names)
    hint = f"nearest is {table_name(kind)}, which lacks {', '.join(lacking)}"
    likely = _likely_names(row.names, lacking)
    if likely:
        hint += "; " + ", ".join(f"'{found}' may be '{wanted}'" for wanted, found in likely.items())
    if commented is not None:
        hint = f"line {commented} begins with # and is skipped: if it is the header, delete the #"
    hint += f"; a foreign table is read with a column map (`gearqa columns`); {ignore_hint(name)}"
    found = f"the header {header}" if len(header) < 200 else f"the header {header[:200]}..."
    return Problem(Reason.UNRECOGNISED_TABLE, name, found, _EXPECTED_TABLE, row.line, hint=hint)


def _nearest_table(names: Sequence[str]) -> tuple[TableKind, list[str]]:
    folded = {name.casefold() for name in names} | {split_unit(name)[0] for name in names}

    def lacking(kind: TableKind) -> list[str]:
        return [
            "|".join(alternatives)
            for alternatives in TABLES[kind].required
            if not any(name.casefold() in folded or quantity_of(name) in folded for name in alternatives)
        ]

    def similarity(kind: TableKind) -> float:
        open_ones = lacking(kind)
        near = sum(nearest_column(names, entry.split("|")) is not None for entry in open_ones)
        required = len(TABLES[kind].required)
        return (required - len(open_ones) + 0.75 * near) / required

    kind = max((k for k in TABLES if k != "production"), key=similarity)
    return kind, lacking(kind)


def _likely_names(names: Sequence[str], lacking: Sequence[str]) -> Mapping[str, str]:
    likely = {}
    for entry in lacking:
        near = nearest_column(names, entry.split("|"))
        if near:
            likely[entry.split("|")[0]] = near
    return likely


def _commented_header(text: str, row: HeaderRow, dialect: Dialect) -> int | None:
    """A line before the first row that would be a header as wide as it, were there no # before it."""
    for number, line in enumerate(physical_lines(text), 1):
        if number >= row.line:
            break
        cells = split_line(line.lstrip("# ").rstrip("\r\n"), dialect.separator)
        if line.startswith("#") and len(cells) == len(row.names) > 1:
            return number
    return None

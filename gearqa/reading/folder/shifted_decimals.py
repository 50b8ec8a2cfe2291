"""Decimal commas between commas: the decimals stand in the next column, and where the header has room for
them every number would be read without its decimals. The whole file is looked at, for as long as a measured
column holds nothing but whole numbers."""

from __future__ import annotations

import csv
import re
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import field
from itertools import islice
from typing import Final, Literal

from gearqa.errors import Notice, NoticeCode, Problem, Reason
from gearqa.late_dataclass import dataclass
from gearqa.reading.folder.dialect import HeaderRow
from gearqa.reading.folder.sources import TableSource
from gearqa.reading.folder.table_kinds import (
    LABEL_COLUMNS,
    MEASUREMENT,
    NUMBER_COLUMNS,
    TIME_COLUMNS,
    split_unit,
)
from gearqa.reading.rows.csv_rows import CsvFaultError, bounded_lines, is_skipped
from gearqa.reading.rows.patterns import Pattern

_WHOLE: Final = re.compile(r"\s*[+-]?\d+\s*")
_DIGITS: Final = re.compile(r"\s*\d+\s*")
_OPTIONAL: Final = frozenset(
    {*LABEL_COLUMNS.values(), MEASUREMENT, "position", "pin_diameter_mm", "teeth_spanned"}
)
"""Columns that are read, may be left empty, and would take decimals for a label or a size."""
_NUMBERS: Final = frozenset({"class", "uncertainty_um", "reference_uncertainty_um"})
"""Columns of values that may be left empty and hold whole numbers by their nature."""
_REMARK: Final = "remark"
_LONGEST: Final = 3
"""Decimals of a correction or a temperature."""
_ONE_MEASURED: Final[Mapping[str, str]] = {"events": "correction", "production": "temperature_degC"}
"""Tables of texts with one measured number."""
_MOST_DISTINCT: Final = 20
_FEWEST_ROWS: Final = 3


@dataclass(slots=True)
class _Neighbours:
    """A measured column and one to its right that may hold its decimals."""

    measured: int
    spare: int
    is_read: bool
    doubt: Literal["read", "refused", "told", "distinct", "signed"] = "read"
    """What digits beside every number are: `refused`, `told`, or what the column is `read` for, which may be
    `distinct`: a serial, which has leading zeros, but not another one in every row; `signed`: the column is
    left of the measured one, whose numbers are without decimals and sign, while it has signs."""
    negative: bool = False
    first: str = ""
    cells: set[str] = field(default_factory=set)
    rows: int = 0
    beside: int = 0
    """Rows with digits beside the number."""

    def take(self, number: str, beside: str) -> bool:
        """Take in one row; whether the numbers are all whole so far."""
        if not number.strip():
            return self.doubt != "signed"
        digits = _DIGITS.fullmatch(beside)
        if not _WHOLE.fullmatch(number) or (self.doubt == "signed" and not digits):
            return False
        self.negative |= number.strip().startswith("-")
        self.rows += 1
        if digits:
            self.first = self.first or beside.strip()
            self.beside += 1
            if len(self.cells) <= _MOST_DISTINCT:
                self.cells.add(beside.strip())
        return True

    @property
    def shifted(self) -> bool:
        """Whether the digits may be decimals; those of a column that is read are mostly what it says."""
        if self.doubt == "signed":
            return self.negative
        if self.doubt in ("told", "refused"):
            return self.doubt == "refused" and 0 < self._longest <= _LONGEST
        if not self.is_read or not self.cells:
            return bool(self.cells)
        if self.doubt == "read" and any(len(cell) > 1 and cell.startswith("0") for cell in self.cells):
            return True
        distinct = len(self.cells) > _MOST_DISTINCT or 2 * len(self.cells) > self.rows >= _FEWEST_ROWS
        return distinct and (self.doubt == "distinct" or self._longest > 1)

    @property
    def either_way(self) -> bool:
        """Whether every row can be read with the digits as decimals, and as the column that they stand in."""
        told = self.is_read and self.doubt in ("read", "told")
        return told and 0 < self.beside == self.rows and self._longest <= _LONGEST

    @property
    def _longest(self) -> int:
        return max(map(len, self.cells), default=0)


def shifted_decimals(
    source: TableSource, header: HeaderRow, beside: Sequence[TableSource] = ()
) -> Problem | Notice | None:
    """The problem of a table whose decimals may stand in the next column, or that all its rows can be read
    with them or without; None where there is no doubt. What other plans `beside` it read of the same file is
    no such column."""
    dialect = source.dialect
    if source.is_parquet or dialect.separator != ",":
        return None
    doubts = _neighbours(source, header.names, beside)
    if not doubts:
        return None
    with source.path.open(encoding=dialect.encoding, errors="replace", newline="") as file:
        lines = islice(bounded_lines(file), header.line, None)
        rows = csv.reader(line for line in lines if not is_skipped(line, dialect.comment))
        with suppress(CsvFaultError, csv.Error):  # which the reader of the table reports
            for cells in islice(rows, dialect.skip_after_header, None):
                if len(cells) == len(header.names):
                    doubts = [one for one in doubts if one.take(cells[one.measured], cells[one.spare])]
                    if not doubts:
                        return None
    pair = next((one for one in doubts if one.shifted), None)
    if pair is None:
        pair = next((one for one in doubts if one.either_way), None)
        return None if pair is None else _either_way(source.name, header.names, pair)
    name, whole = header.names[pair.spare], header.names[pair.measured]
    shown = f"column '{name}'" if name else "a column without a name"
    return Problem(
        Reason.RAGGED_ROW, source.name,
        f"{shown} with digits such as {pair.first}, right of whole numbers in '{whole}'",
        "no number beside a measured one that may be its decimals", header.line,
        hint="a decimal comma needs semicolon or tab as separator; if it is a column of its own, "
        "delete it, put it before the measured ones or write decimal = \".\" into a column map",
    )  # fmt: skip


def _either_way(file: str, names: tuple[str, ...], pair: _Neighbours) -> Notice:
    """That every row can be read in two ways, and how it was read."""
    return Notice(
        NoticeCode.DECIMALS_BESIDE,
        f"{file}: each '{names[pair.measured]}' is a whole number and has digits such as {pair.first} in "
        f"'{names[pair.spare]}' beside it: read as two columns; were they decimals behind a comma, semicolon "
        "or tab must separate the cells",
    )


def _neighbours(
    source: TableSource, names: tuple[str, ...], beside: Sequence[TableSource]
) -> list[_Neighbours]:
    """Each column that is not read, or may be empty, with the measured column that is next on its left."""
    folded = [name.casefold() for name in names]
    read = {(one.column or "").strip().casefold(): name for name, one in source.columns.items()}
    for plan in (source, *beside):
        several = (name for one in plan.columns.values() for name in (one.column or "", *one.columns))
        for name in filter(None, (*plan.where, *several, *_wide_names(plan, names))):
            read.setdefault(name.strip().casefold(), "")
    if source.kind in _ONE_MEASURED and "value_um" not in source.columns:
        return _text_beside(source, folded, read)
    wide = _wide_names(source, names)
    found, measured, values = [], None, 0
    for at, name in enumerate(folded):
        in_wide = names[at] in wide
        kept = read.get(name)
        if measured is not None and not in_wide and (kept is None or kept in _OPTIONAL):
            found.append(_Neighbours(measured, at, kept is not None))
        elif measured == at - 1 and kept in _NUMBERS:
            found.append(_Neighbours(measured, at, True, "told"))
        elif measured == at - 1 and kept == "serial":
            found.append(_Neighbours(measured, at, True, "distinct"))
        if at and kept and _has_unit(kept) and kept not in _OPTIONAL | _NUMBERS and measured != at - 1:
            beside_it = read.get(folded[at - 1])
            if beside_it is None or beside_it in _OPTIONAL | {"serial"}:
                found.append(_Neighbours(at - 1, at, beside_it is not None, "signed"))
        if in_wide or (kept and _has_unit(kept) and kept != LABEL_COLUMNS.get(source.kind)):
            measured = at
        values += in_wide
    # every value of a wide row has decimals of its own: fewer cells than values take them in no row
    return found if len(found) >= values else []


def _text_beside(source: TableSource, names: list[str], read: Mapping[str, str]) -> list[_Neighbours]:
    """The number that a table of texts measures, with the text on its right."""
    at = next((at for at, name in enumerate(names) if read.get(name) == _ONE_MEASURED[source.kind]), None)
    if at is None or at + 1 == len(names):
        return []
    kept = read.get(names[at + 1])
    if kept is None:
        return [_Neighbours(at, at + 1, False)]
    if kept in TIME_COLUMNS or kept in NUMBER_COLUMNS:
        return []
    return [_Neighbours(at, at + 1, True, "refused" if kept == _REMARK else "told")]


def _has_unit(column: str) -> bool:
    return bool(split_unit(column)[1]) or column.endswith("_um")


def _wide_names(plan: TableSource, names: tuple[str, ...]) -> list[str]:
    """Headers that a pattern of wide columns takes."""
    if plan.wide is None:
        return []
    pattern = Pattern(plan.wide.pattern)
    return [name for name in names if pattern.search(name) is not None]

"""Results as CSV rows: one a gear and parameter, or finer."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Iterable, Iterator
from typing import Any, BinaryIO, Literal

from gearqa.model.results import FlankResult, GearResult, GradeHeader, LotSummary, ParameterResult
from gearqa.wording.safety import NOT_MEASURED, RESULT_MARK

RowKind = Literal["gear", "flank", "trace"]
Style = Literal["comma", "semicolon"]

GEAR_COLUMNS = (
    "serial", "parameter", "value_um", "flank", "tooth", "class", "class_exact", "beyond", "required_class",
    "tolerance_um", "lower_limit_um", "upper_limit_um", "conforms", "master_quality",
)  # fmt: skip
FLANK_COLUMNS = (*GEAR_COLUMNS, "min_um", "max_um", "mean_um", "spread_um")
TRACE_COLUMNS = (
    "serial", "kind", "flank", "tooth", "total_um", "form_um", "slope_um", "slope_evaluation_um",
    "slope_full_um", "slope_by_helix_angle_um", "crowning_um", "points", "start_mm", "end_mm",
    "tip_zone_counted", "label_mm",
)  # fmt: skip
COLUMNS: dict[RowKind, tuple[str, ...]] = {
    "gear": GEAR_COLUMNS,
    "flank": FLANK_COLUMNS,
    "trace": TRACE_COLUMNS,
}


def result_mark(simulated: bool) -> str:
    """First line of every result as CSV, by which such a table is never read as a measurement."""
    return f"{RESULT_MARK}, SIMULATED: {NOT_MEASURED}" if simulated else RESULT_MARK


def cell(value: Any, decimal_comma: bool = False) -> Any:
    """What stands in a cell: numbers exact, nothing for what is unknown.

    >>> [cell(value, True) for value in (0.1, None, False, float("nan"), "a.b")]
    ['0,1', '', 'false', '', 'a.b']
    """
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, float):
        text = repr(float(value)) if math.isfinite(value) else ""
        return text.replace(".", ",") if decimal_comma else text
    return "" if value is None else value


def csv_table(
    columns: Iterable[str], rows: Iterable[Iterable[Any]], *, simulated: bool, style: Style = "comma"
) -> bytes:
    """A small result as CSV; `semicolon` is for spreadsheets of countries with a decimal comma."""
    comma = style == "semicolon"
    text = io.StringIO(newline="")
    text.write(f"{result_mark(simulated)}\n")
    writer = csv.writer(text, delimiter=";" if comma else ",", lineterminator="\n")
    writer.writerow(columns)
    writer.writerows([cell(value, comma) for value in row] for row in rows)
    return text.getvalue().encode("utf-8-sig" if comma else "utf-8")


def _graded(serial: str, key: str, flank: str | None, one: ParameterResult | FlankResult) -> list[Any]:
    low, high = one.limits_um if one.limits_um is not None else (None, None)
    return [
        serial, key, one.value_um, flank, one.tooth, one.class_, one.class_exact, one.beyond,
        one.required_class, one.tolerance_um, low, high, one.conforms, one.master_quality,
    ]  # fmt: skip


def _unassessed(gear: GearResult, columns: int) -> Iterator[list[Any]]:
    """Rows without a value for what the drawing asks for and was not assessed."""
    for one in gear.not_assessed:
        evaluated = gear.parameters.get(one.parameter)
        if evaluated is None or (columns > len(GEAR_COLUMNS) and one.flank not in evaluated.flanks):
            yield [gear.serial, one.parameter, None, one.flank, *[None] * (columns - 4)]


def gear_rows(gear: GearResult) -> Iterator[list[Any]]:
    """One row a parameter, worst over flanks."""
    for key, one in gear.parameters.items():
        yield _graded(gear.serial, key, one.flank, one)
    yield from _unassessed(gear, len(GEAR_COLUMNS))


def flank_rows(gear: GearResult) -> Iterator[list[Any]]:
    """One row a parameter and flank; what has no flank (runout) once."""
    for key, one in gear.parameters.items():
        if not one.flanks:
            yield [*_graded(gear.serial, key, None, one), one.min_um, one.max_um, None, None]
        for flank, side in one.flanks.items():
            yield [
                *_graded(gear.serial, key, flank, side),
                side.min_um, side.max_um, side.mean_um, side.spread_um,
            ]  # fmt: skip
    yield from _unassessed(gear, len(FLANK_COLUMNS))


def trace_rows(gear: GearResult) -> Iterator[list[Any]]:
    """One row a profile or helix trace."""
    for trace in gear.traces:
        yield [gear.serial, *(getattr(trace, name) for name in TRACE_COLUMNS[1:])]


ROWS = {"gear": gear_rows, "flank": flank_rows, "trace": trace_rows}


class GradeCsvWriter:
    """Writes a grading result as CSV to a binary stream, gear by gear."""

    def __init__(self, stream: BinaryIO, *, rows: RowKind = "gear", style: Style = "comma") -> None:
        self._stream = stream
        self._rows = ROWS[rows]
        self._columns = COLUMNS[rows]
        self._comma = style == "semicolon"
        self._text = io.StringIO(newline="")
        self._csv = csv.writer(self._text, delimiter=";" if self._comma else ",", lineterminator="\n")

    def begin(self, header: GradeHeader) -> None:
        """Write the mark and the column names."""
        if self._comma:
            self._stream.write(b"\xef\xbb\xbf")
        self._stream.write(f"{result_mark(header.simulated)}\n".encode())
        self._write([self._columns])

    def gear(self, gear: GearResult) -> None:
        """Write the rows of one gear."""
        self._write([cell(value, self._comma) for value in row] for row in self._rows(gear))

    def end(self, lot: LotSummary) -> None:
        """Nothing stands below the rows."""

    def _write(self, rows: Iterable[Iterable[Any]]) -> None:
        self._csv.writerows(rows)
        self._stream.write(self._text.getvalue().encode())
        self._text.seek(0)
        self._text.truncate()

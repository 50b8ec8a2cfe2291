"""Results as CSV rows: one a gear and parameter, or finer."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Iterable, Iterator, Sequence
from operator import attrgetter
from typing import Any, BinaryIO, Literal

from gearqa.model.results import (
    FlankResult,
    GearResult,
    GradeHeader,
    LimitCurveResult,
    LotSummary,
    ParameterResult,
    TraceResult,
    ZoneResult,
)
from gearqa.results.entries import key_of, names_of
from gearqa.results.trace_columns import APART, NONE, columns_apart, place_of
from gearqa.symbols import SIZE
from gearqa.wording.formulas import without_formula
from gearqa.wording.safety import NOT_MEASURED, RESULT_MARK

RowKind = Literal["gear", "flank", "trace"]
Style = Literal["comma", "semicolon"]

JUDGED = ("tooth", "class_", "class_exact", "beyond", "required_class", "tolerance_um")
GEAR_COLUMNS = (
    "serial", "measurement", "parameter", "value_um", "flank", *map(key_of, JUDGED), "lower_limit_um",
    "upper_limit_um", "conforms", "master_quality",
)  # fmt: skip
FLANK_COLUMNS = (*GEAR_COLUMNS, "min_um", "max_um", "mean_um", "spread_um")
TRACE_FIELDS = names_of(TraceResult, "hand")
COLUMNS: dict[RowKind, tuple[str, ...]] = {
    "gear": (*GEAR_COLUMNS, "standard"),
    "flank": (*FLANK_COLUMNS, "standard"),
    "trace": ("serial", "measurement", *TRACE_FIELDS, *APART),
}
_judged = attrgetter(*JUDGED)
_trace = attrgetter(*TRACE_FIELDS)


def result_mark(simulated: bool) -> str:
    """First line of every result as CSV; a table with it is never read as a measurement."""
    return f"{RESULT_MARK}, SIMULATED: {NOT_MEASURED}" if simulated else RESULT_MARK


def cell(value: Any, decimal_comma: bool = False) -> Any:
    """Content of a cell: numbers exact, empty if unknown, texts such that no spreadsheet runs them.

    >>> [cell(value, True) for value in (-0.1, None, False, float("nan"), "a.b", "-7")]
    ['-0,1', '', 'false', '', 'a.b', "'-7"]
    """
    if isinstance(value, str):
        return without_formula(value)
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, float):
        text = repr(float(value)) if math.isfinite(value) else ""
        return text.replace(".", ",") if decimal_comma else text
    return "" if value is None else value


def csv_table(
    columns: Sequence[str], rows: Iterable[Any], *, simulated: bool, style: Style = "comma"
) -> bytes:
    """A small result as CSV; `semicolon` is for spreadsheets of countries with a decimal comma.

    A column is an attribute of a row, or `name=path` with attributes, places in a list and `len`; a cell
    without a value is empty.
    """
    comma = style == "semicolon"
    text = io.StringIO(newline="")
    text.write(f"{result_mark(simulated)}\n")
    writer = csv.writer(text, delimiter=";" if comma else ",", lineterminator="\n")
    pairs = [(name, path or name) for name, _, path in (column.partition("=") for column in columns)]
    writer.writerow(key_of(name) for name, _ in pairs)
    writer.writerows([cell(_at(row, path), comma) for _, path in pairs] for row in rows)
    return text.getvalue().encode("utf-8-sig" if comma else "utf-8")


def _at(thing: Any, path: str) -> Any:
    """Value at the end of a path; None where the path ends early.

    >>> _at(((1, 2), None), "0.-1"), _at((), "0.real"), _at((1, 2), "len")
    (2, None, 2)
    """
    for step in path.split("."):
        if step == "len":
            thing = len(thing)
        elif step.lstrip("-").isdecimal():
            thing = thing[int(step)] if thing else None
        else:
            thing = None if thing is None else getattr(thing, step)
    return thing


def _graded(gear: GearResult, key: str, flank: str | None, one: ParameterResult | FlankResult) -> list[Any]:
    limits = one.limits_um or (None, None)
    return [
        gear.serial,
        gear.measurement,
        key,
        one.value_um,
        flank,
        *_judged(one),
        *limits,
        one.conforms,
        one.master_quality,
    ]


def _unassessed(gear: GearResult, columns: int) -> Iterator[list[Any]]:
    """Rows without a value for what the drawing asks for and was not assessed."""
    for one in gear.not_assessed:
        evaluated = gear.parameters.get(one.parameter)
        if evaluated is None or (columns > len(GEAR_COLUMNS) and one.flank not in evaluated.flanks):
            yield [gear.serial, gear.measurement, one.parameter, None, one.flank, *[None] * (columns - 5)]


def _curves(gear: GearResult, one: LimitCurveResult, columns: int) -> list[Any]:
    """A row of limit curves: the value is the margin, which must not be below 0."""
    judged = {"tooth": one.tooth}
    row = [gear.serial, gear.measurement, f"{one.kind}_curve", one.margin_um, one.flank]
    row += [*map(judged.get, JUDGED), 0.0, None, one.conforms, None]
    return [*row, *[None] * (columns - len(row))]


def _zone(gear: GearResult, one: ZoneResult, columns: int) -> list[Any]:
    """A row of a deviation within a zone; one for information has no verdict."""
    judged = {"tooth": one.tooth}
    row = [gear.serial, gear.measurement, one.key, one.value_um, one.flank, *map(judged.get, JUDGED), None]
    row += [one.tolerance_um, one.conforms if one.required else None, None]
    return [*row, *[None] * (columns - len(row))]


def _sizes(gear: GearResult, columns: int) -> Iterator[list[Any]]:
    """A row of the reading of the size nearest to a limit, both from the middle of the limits."""
    limited = [one for one in gear.size if one.limits_um is not None]
    if limited:
        worst = max(limited, key=lambda one: abs(one.deviation_um))
        verdict = next((one.conforms for one in limited if one.conforms is not True), worst.conforms)
        row = [gear.serial, gear.measurement, SIZE, worst.deviation_um, None, *[None] * len(JUDGED)]
        row += [*(worst.limits_um or ()), verdict]
        yield [*row, *[None] * (columns - len(row))]


def gear_rows(gear: GearResult) -> Iterator[list[Any]]:
    """One row a parameter, worst over flanks."""
    for key, one in gear.parameters.items():
        yield _graded(gear, key, one.flank, one)
    for kind in dict.fromkeys(one.kind for one in gear.limit_curves):
        worst = min((one for one in gear.limit_curves if one.kind == kind), key=lambda one: one.margin_um)
        yield _curves(gear, worst, len(GEAR_COLUMNS))
    for key in dict.fromkeys(one.key for one in gear.zones):
        zone = max((one for one in gear.zones if one.key == key), key=lambda one: one.value_um)
        yield _zone(gear, zone, len(GEAR_COLUMNS))
    yield from _sizes(gear, len(GEAR_COLUMNS))
    yield from _unassessed(gear, len(GEAR_COLUMNS))


def flank_rows(gear: GearResult) -> Iterator[list[Any]]:
    """One row a parameter and flank; what has no flank (runout) once."""
    for key, one in gear.parameters.items():
        if not one.flanks:
            yield [*_graded(gear, key, None, one), one.min_um, one.max_um, None, None]
        for flank, side in one.flanks.items():
            yield [
                *_graded(gear, key, flank, side),
                side.min_um, side.max_um, side.mean_um, side.spread_um,
            ]  # fmt: skip
    yield from (_curves(gear, one, len(FLANK_COLUMNS)) for one in gear.limit_curves)
    yield from (_zone(gear, one, len(FLANK_COLUMNS)) for one in gear.zones)
    yield from _sizes(gear, len(FLANK_COLUMNS))
    yield from _unassessed(gear, len(FLANK_COLUMNS))


def trace_rows(gear: GearResult) -> Iterator[list[Any]]:
    """One row a profile or helix trace."""
    apart = columns_apart(gear)
    for trace in gear.traces:
        yield [gear.serial, gear.measurement, *_trace(trace), *apart.get(place_of(trace), NONE)]


ROWS = {"gear": gear_rows, "flank": flank_rows, "trace": trace_rows}


class GradeCsvWriter:
    """Writes a grading result as CSV to a binary stream, gear by gear."""

    def __init__(self, stream: BinaryIO, *, rows: RowKind = "gear", style: Style = "comma") -> None:
        self._stream = stream
        self._rows = ROWS[rows]
        self._columns = COLUMNS[rows]
        self._comma = style == "semicolon"
        self._standard: tuple[str, ...] = ()

    def begin(self, header: GradeHeader) -> None:
        """Write the mark and the column names."""
        if "standard" in self._columns:
            self._standard = (header.standard,)
        if self._comma:
            self._stream.write(b"\xef\xbb\xbf")
        self._stream.write(f"{result_mark(header.simulated)}\n".encode())
        self.take(self._lines([self._columns]))

    def made(self, gear: GearResult) -> bytes:
        """The rows of one gear as they are written; another process may make them."""
        rows = ((*row, *self._standard) for row in self._rows(gear))
        return self._lines([cell(value, self._comma) for value in row] for row in rows)

    def take(self, made: bytes) -> None:
        """Write the rows of one gear."""
        self._stream.write(made)

    def end(self, lot: LotSummary) -> None:
        """Nothing follows the rows."""

    def _lines(self, rows: Iterable[Iterable[Any]]) -> bytes:
        text = io.StringIO(newline="")
        csv.writer(text, delimiter=";" if self._comma else ",", lineterminator="\n").writerows(rows)
        return text.getvalue().encode()

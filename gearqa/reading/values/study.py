"""Reads gauge studies: tables of values, and the table that says which measured serial is which trial."""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np

from gearqa.errors import MeasurementFileError, Notice, Problem, Reason, line_text
from gearqa.model.gauge import ONE_GEAR, CrossedSeries, ReferenceSeries, StudyTable
from gearqa.model.measurement import InputFile
from gearqa.reading.values.parameter_names import parameters_of
from gearqa.reading.values.sheet_formats import MEASURED_STUDY, STUDY
from gearqa.reading.values.value_sheets import ValueSheet, notices_of, read_sheet
from gearqa.symbols import PARAMETERS, Flank
from gearqa.wording.numbers import short_text
from gearqa.wording.sentences import place_text

ONE_OPERATOR: Final = "1"

Place = tuple[str, str, str]
"""Item, operator, trial."""


@dataclass(frozen=True, slots=True)
class MeasuredStudy:
    """Which measured serial is which trial of a crossed study."""

    file: InputFile
    place_of: Mapping[str, Place]
    notices: tuple[Notice, ...]


def read_study(path: Path | str, *, columns: Path | str | None = None, name: str | None = None) -> StudyTable:
    """Read a gauge study: crossed (`item,operator,trial,parameter,value_um`) or on a reference gear.

    A study on a reference gear has `trial,parameter,value_um,reference_um` (and `reference_uncertainty_um`).

    Raises
    ------
    MeasurementFileError
        With all problems; a crossed study that is not complete and balanced is one.
    PartFileError
        If the column map is at fault.
    """
    sheet = read_sheet(path, STUDY, columns=columns, name=name)
    parameters = parameters_of(sheet)
    values = sheet.required_numbers("value_um")
    flanks = sheet.flanks()
    trials = sheet.cells.required_texts("trial")
    items = sheet.texts("item")
    if "reference_um" in sheet.columns:
        references = _references(sheet, parameters, flanks, values, items, trials)
        sheet.raise_problems()
        return StudyTable(sheet.file, "reference", (), references, notices_of(sheet), sheet.simulated)
    if "item" not in sheet.columns:
        sheet.log.add(
            Problem(
                Reason.MISSING_COLUMN, sheet.name, "no column 'item' and no column 'reference_um'",
                "item,operator,trial,parameter,value_um for a crossed study, or "
                "trial,parameter,value_um,reference_um for a study on a calibrated gear",
            )
        )  # fmt: skip
    operators = sheet.texts("operator")
    rows: dict[tuple[str, Flank | None], list[tuple[Place, float, int]]] = {}
    for row, key in enumerate(parameters):
        value, item = values[row], items[row]
        if item is None and "item" in sheet.columns:
            sheet.cells.fault(row, Reason.EMPTY_CELL, "item", "the item that was measured")
        if key is None or value is None or item is None or sheet.cells.bad[row]:
            continue
        place = (item, operators[row] or ONE_OPERATOR, trials[row])
        rows.setdefault((key, flanks[row]), []).append((place, value, sheet.line(row)))
    sheet.raise_problems()
    crossed = crossed_series(rows, sheet.name)
    return StudyTable(sheet.file, "crossed", crossed, (), notices_of(sheet), sheet.simulated)


def read_measured_study(
    path: Path | str, serials: Sequence[str], *, name: str | None = None
) -> MeasuredStudy:
    """Read `serial,item,operator,trial` for measured serials.

    Raises
    ------
    MeasurementFileError
        With all problems: a serial that was not measured, a serial or trial twice.
    """
    sheet = read_sheet(path, MEASURED_STUDY, name=name)
    cells = sheet.cells
    found, codes = cells.serials()
    texts = [cells.required_texts(column) for column in ("item", "operator", "trial")]
    known = set(serials)
    places: dict[str, Place] = {}
    taken: dict[Place, int] = {}
    for row, code in enumerate(codes.tolist()):
        serial = found[code]
        place = (texts[0][row], texts[1][row], texts[2][row])
        if cells.bad[row]:
            continue
        if serial not in known:
            near = difflib.get_close_matches(serial, serials, n=1, cutoff=0.6)
            hint = f"the nearest is '{near[0]}'" if near else ""
            cells.fault(row, Reason.UNKNOWN_SERIAL, "serial", "a serial that was measured", hint)
        elif serial in places:
            cells.fault(row, Reason.DUPLICATE_ROW, "serial", "each measured serial once")
        elif place in taken:
            first = f"first in {line_text(sheet.name, taken[place])}"
            cells.fault(
                row, Reason.DUPLICATE_ROW, "trial", "each trial of an item and operator once",
                found=f"trial '{place[2]}' of item '{place[0]}', operator '{place[1]}' again, {first}",
            )  # fmt: skip
        else:
            places[serial] = place
            taken[place] = sheet.line(row)
    sheet.raise_problems()
    return MeasuredStudy(sheet.file, places, notices_of(sheet))


def crossed_series(
    rows: Mapping[tuple[str, Flank | None], Sequence[tuple[Place, float, int]]], name: str
) -> tuple[CrossedSeries, ...]:
    """Values of complete crossed studies, by parameter and flank.

    Raises
    ------
    MeasurementFileError
        With everything that keeps the studies from being complete and balanced.
    """
    problems: list[Problem] = []
    series = []
    for (key, flank), entries in rows.items():
        what = place_text(key, flank)
        items, operators = _in_order(p[0] for p, _, _ in entries), _in_order(p[1] for p, _, _ in entries)
        seen: dict[Place, int] = {}
        cells: dict[tuple[str, str], list[float]] = {}
        for place, value, line in entries:
            first = seen.setdefault(place, line)
            if first != line:
                found = f"trial '{place[2]}' of item '{place[0]}', operator '{place[1]}' again ({what})"
                again = (found, "each trial once", line, "trial", f"first in {line_text(name, first)}")
                problems.append(Problem(Reason.DUPLICATE_ROW, name, *again))
            cells.setdefault((place[0], place[1]), []).append(value)
        trials = max(map(len, cells.values()))
        if (
            len(items) < 2
            or (len(operators) < 2 and trials < 2)
            or len(entries) < len(items) + len(operators)
        ):
            found = f"{what}: {len(items)} items, {len(operators)} operators, {len(entries)} values"
            need = "two items or more, and two values or more of each"
            problems.append(Problem(Reason.NOTHING_TO_GRADE, name, found, need))
        if not problems:
            values = np.full((len(items), len(operators), trials), np.nan)
            for (item, operator), own in cells.items():
                values[items.index(item), operators.index(operator), : len(own)] = own
            series.append(CrossedSeries(key, flank, items, operators, values))
    if problems:
        raise MeasurementFileError(problems)
    return tuple(sorted(series, key=lambda s: (list(PARAMETERS).index(s.parameter), s.flank or "")))


def _in_order(names: Iterable[str]) -> tuple[str, ...]:
    """Names once each: numbers by size, else as first met."""
    distinct = tuple(dict.fromkeys(names))
    if all(name.isascii() and name.isdigit() for name in distinct):
        return tuple(sorted(distinct, key=int))
    return distinct


def _references(
    sheet: ValueSheet,
    parameters: Sequence[str | None],
    flanks: Sequence[Flank | None],
    values: Sequence[float | None],
    items: Sequence[str | None],
    trials: Sequence[str],
) -> tuple[ReferenceSeries, ...]:
    references = sheet.required_numbers("reference_um")
    uncertainties = sheet.numbers("reference_uncertainty_um")
    groups: dict[tuple[str, Flank | None, str], list[float]] = {}
    stated: dict[tuple[str, Flank | None, str], tuple[float, float | None, int]] = {}
    seen: dict[tuple[object, ...], int] = {}
    operators = sheet.texts("operator")
    for row, key in enumerate(parameters):
        value, reference, U = values[row], references[row], uncertainties[row]
        if U is not None and U <= 0:
            sheet.cells.fault(row, Reason.OUT_OF_RANGE, "reference_uncertainty_um", "more than 0")
        if key is None or value is None or reference is None or sheet.cells.bad[row]:
            continue
        place = (key, flanks[row], items[row] or ONE_GEAR)
        line = sheet.line(row)
        known = stated.setdefault(place, (reference, U, line))
        if known[:2] != (reference, U):
            sheet.cells.fault(
                row, Reason.CONTRADICTION, "reference_um",
                f"the same reference and uncertainty as in {line_text(sheet.name, known[2])}",
                "two calibrated gears need an item column", found=f"{short_text(reference)}, uncertainty {U}",
            )  # fmt: skip
        first = seen.setdefault((*place, operators[row], trials[row]), line)
        if first != line:
            sheet.cells.fault(
                row,
                Reason.DUPLICATE_ROW,
                "trial",
                "each trial once",
                f"first in {line_text(sheet.name, first)}",
            )
        groups.setdefault(place, []).append(value)
    for (key, flank, item), found in groups.items():
        if len(found) < 2:
            what = f"1 value of {place_text(key, flank)} of '{item}'"
            sheet.log.add(Problem(Reason.NOTHING_TO_GRADE, sheet.name, what, "two or more, 25 are wanted"))
    order = list(PARAMETERS)
    return tuple(
        ReferenceSeries(key, flank, item, np.array(found), *stated[key, flank, item][:2])
        for (key, flank, item), found in sorted(
            groups.items(), key=lambda g: (order.index(g[0][0]), g[0][1] or "", g[0][2])
        )
    )

"""Reads tables of values that somebody else reports: all problems at once, decimals kept."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Final, get_args

from gearqa.errors import NoticeCode, Reason, line_text
from gearqa.model.incoming import Basis, ReportedTable, ReportedValue
from gearqa.reading.values.parameter_names import parameters_of
from gearqa.reading.values.sheet_formats import REPORTED
from gearqa.reading.values.value_sheets import ValueSheet, notices_of, read_sheet
from gearqa.symbols import PARAMETERS, Flank, symbol_of
from gearqa.wording.sentences import place_text

_CLASS: Final = re.compile(
    r"(?P<word>class|grade|quality|kl(?:asse)?\.?|cl\.?|a|q)?\s*(?P<number>\d{1,2})(?:\.0*)?", re.IGNORECASE
)
_LETTERS: Final = frozenset({"a", "q"})
"""Other systems write these before their numbers; one of those counts the other way round."""
_BASES: Final[tuple[Basis, ...]] = get_args(Basis)
_WORST_CLASS: Final = 12
"""The last class of the older edition."""


def read_reported(
    path: Path | str, *, teeth: int | None = None, columns: Path | str | None = None, name: str | None = None
) -> ReportedTable:
    """Read a table of reported values; tooth numbers are checked where the number of teeth is given.

    Raises
    ------
    MeasurementFileError
        With all problems of the table.
    PartFileError
        If the column map is at fault.
    """
    sheet = read_sheet(path, REPORTED, columns=columns, name=name)
    values = _values(sheet, teeth)
    _check_doubles(sheet, values)
    sheet.raise_problems()
    kept = tuple(value for value in values if value is not None)
    return ReportedTable(sheet.file, kept, notices_of(sheet), sheet.simulated)


def _values(sheet: ValueSheet, teeth: int | None) -> list[ReportedValue | None]:
    cells = sheet.cells
    serials, codes = cells.serials()
    parameters = parameters_of(sheet)
    numbers = sheet.required_numbers("value_um")
    digits = _decimals(sheet)
    flanks = sheet.flanks()
    tooth_numbers = _teeth(sheet, teeth)
    bases = sheet.words("basis", _BASES, "the largest value over the teeth of a flank, or their mean")
    classes = _classes(sheet)
    class_texts = sheet.texts("class")
    standards, ours = sheet.texts("standard"), sheet.texts("our_serial")
    uncertainties = sheet.numbers("uncertainty_um")
    dropped = 0
    found: list[ReportedValue | None] = []
    for row, code in enumerate(codes.tolist()):
        U = uncertainties[row]
        if U is not None and U <= 0:
            hint = "leave the cell empty where the uncertainty is not known"
            cells.fault(row, Reason.OUT_OF_RANGE, "uncertainty_um", "more than 0", hint)
        key, value = parameters[row], numbers[row]
        if key is not None and value is not None and value < 0 and not PARAMETERS[key].signed:
            expected = f"0 or more: {symbol_of(key)} is a width"
            cells.fault(row, Reason.OUT_OF_RANGE, "value_um", expected)
        if cells.bad[row] or key is None or value is None:
            found.append(None)
            continue
        flank: Flank | None = flanks[row]
        if flank is not None and not PARAMETERS[key].per_flank:
            flank, dropped = None, dropped + 1
        found.append(
            ReportedValue(
                serial=serials[code], parameter=key, value_um=value, flank=flank, tooth=tooth_numbers[row],
                basis=bases[row], class_=classes[row], class_text=class_texts[row] or "",
                standard=standards[row], uncertainty_um=U, our_serial=ours[row], decimals=digits[row],
                line=sheet.line(row),
            )
        )  # fmt: skip
    if dropped:
        message = f"{sheet.name}: {dropped} values name a flank of parameters that have none; ignored"
        sheet.log.notice(NoticeCode.FLANK_NOT_USED, message)
    return found


def _decimals(sheet: ValueSheet) -> list[int]:
    """Decimals in micrometres of every value as typed."""
    source = sheet.cells.source_of("value_um")
    mark = sheet.cells.source.dialect.decimal
    shift = {1.0: 0, 1000.0: 3}.get(abs(source.factor), 0)
    return [typed_decimals(cell, mark) - shift for cell in sheet.cells.raw.columns["value_um"]]


def typed_decimals(text: str, mark: str = ".") -> int:
    """Decimals of a number as typed.

    >>> typed_decimals("4.20"), typed_decimals("-3"), typed_decimals("1,5", ","), typed_decimals("2.5e-1")
    (2, 0, 1, 2)
    """
    mantissa, _, exponent = text.strip().casefold().partition("e")
    decimals = len(mantissa.partition(mark)[2])
    return decimals - int(exponent) if re.fullmatch(r"[+-]?[0-9]{1,3}", exponent) else decimals


def _teeth(sheet: ValueSheet, teeth: int | None) -> list[int | None]:
    if "tooth" not in sheet.columns:
        return [None] * len(sheet)
    numbers = sheet.cells.whole_numbers("tooth", 1)
    for row, tooth in enumerate(numbers):
        if teeth is not None and tooth is not None and tooth > teeth:
            sheet.cells.fault(row, Reason.OUT_OF_RANGE, "tooth", f"1 to {teeth}")
    return numbers


def _classes(sheet: ValueSheet) -> list[int | None]:
    """Classes claimed; a claim in other words stays words, so does one with a letter and no standard."""
    found: list[int | None] = []
    for row, (word, title) in enumerate(zip(sheet.texts("class"), sheet.texts("standard"), strict=True)):
        match = _CLASS.fullmatch(word) if word else None
        if match and title is None and (match["word"] or "").casefold() in _LETTERS:
            match = None
        number = int(match["number"]) if match else None
        if number is not None and number > _WORST_CLASS:
            sheet.cells.fault(row, Reason.OUT_OF_RANGE, "class", f"0 to {_WORST_CLASS}, or an empty cell")
        found.append(number)
    return found


def _check_doubles(sheet: ValueSheet, values: list[ReportedValue | None]) -> None:
    seen: dict[tuple[object, ...], int] = {}
    for row, value in enumerate(values):
        if value is None:
            continue
        place = (value.serial, value.parameter, value.flank, value.tooth, value.basis)
        first = seen.setdefault(place, value.line)
        if first != value.line:
            tooth = f"tooth {value.tooth}" if value.tooth else None
            what = place_text(value.parameter, value.flank, tooth, value.basis)
            sheet.cells.fault(
                row, Reason.DUPLICATE_ROW, "parameter", "each value once",
                "a second measurement belongs into a table of its own",
                found=f"{what} of '{value.serial}' again, first in {line_text(sheet.name, first)}",
            )  # fmt: skip
    owners: dict[str, str] = {}
    for row, value in enumerate(values):
        if value is None or value.our_serial is None:
            continue
        owner = owners.setdefault(value.our_serial, value.serial)
        if owner != value.serial:
            sheet.cells.fault(
                row, Reason.CONTRADICTION, "our_serial", "one serial of theirs for each of ours",
                found=f"'{value.our_serial}' for '{value.serial}' and for '{owner}'",
            )  # fmt: skip

"""Text cells of a table to values, with a problem for every cell that cannot be used."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Sequence
from datetime import datetime, tzinfo
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from gearqa.arrays import Array, BoolArray, IntArray
from gearqa.errors import Problem, Reason
from gearqa.late_dataclass import dataclass
from gearqa.model.measurement import FIRST_MEASUREMENT, GearKey
from gearqa.reading.folder.canonical import (
    BLANKS,
    Fault,
    Frame,
    NumberRows,
    SeriesRows,
    scaled,
    to_series,
)
from gearqa.reading.folder.careful_reader import RawRows
from gearqa.reading.folder.sources import ColumnSource, TableSource
from gearqa.reading.folder.table_kinds import (
    EVENT_COLUMNS,
    LABEL_COLUMNS,
    LARGEST,
    LARGEST_VALUE,
    MEASUREMENT,
    NUMBER_COLUMNS,
    PRODUCTION_COLUMNS,
)
from gearqa.reading.rows.problem_log import ProblemLog
from gearqa.symbols import FLANKS
from gearqa.wording.formulas import with_formula
from gearqa.wording.numbers import largest_text

FIRST_YEAR: Final = 1900
LAST_YEAR: Final = 2200
"""Years that a time of a table may lie in."""
FLANK_HINT: Final = (
    "`gearqa explain flanks` shows which is which; other words need a column map (`gearqa columns`)"
)
_INFINITE: Final = r"(?i)\s*[+-]?(?:nan|inf|infinity)\s*"
_WITH_UNIT: Final = r"(?i)[+-]?[\d.,]+\s*(?:um|µm|μm|mm|deg|°|%)"
_THOUSANDS: Final = r"[+-]?\d{1,3}([.,' _])\d{3}(?:\1\d{3})*(?:[.,]\d+)?"


def shown(cell: str) -> str:
    """A cell as a message shows it."""
    text = cell.strip(BLANKS)
    return repr(text if len(text) <= 40 else text[:37] + "...") if text else "an empty cell"


@dataclass(slots=True)
class Cells:
    """The text of some rows of one table, read column by column; rows at fault are marked in `bad`."""

    source: TableSource
    raw: RawRows
    log: ProblemLog
    bad: BoolArray

    @classmethod
    def of(cls, source: TableSource, raw: RawRows, log: ProblemLog) -> Cells:
        return cls(source, raw, log, np.zeros(len(raw), dtype=np.bool_))

    def fault(
        self, row: int, reason: Reason, column: str, expected: str, hint: str = "", *, found: str = ""
    ) -> None:
        """A cell that cannot be used."""
        self.bad[row] = True
        if not self.log.takes(self.source.name, reason):
            return
        cell = self.raw.columns[column][row] if column in self.raw.columns else ""
        self.log.keep(
            Problem(
                reason, self.source.name, found or shown(cell), expected, self.raw.lines[row],
                self._shown_at(row, column), hint,
            )
        )  # fmt: skip

    def faults(self, faults: Sequence[Fault]) -> None:
        """Cells found at fault after conversion."""
        for fault in faults:
            for row in fault.rows.tolist():
                self.fault(row, fault.reason, fault.column, fault.expected, fault.hint)

    def _shown_at(self, row: int, canonical: str) -> str:
        """The header above a cell: of a wide table that of its value, flank or tooth."""
        if self.raw.headers and canonical not in self.source.columns:
            return self.raw.headers[row]
        return self.shown_column(canonical)

    def shown_column(self, canonical: str) -> str:
        """The column's name as written in the file."""
        source = self.source_of(canonical)
        return source.column or " ".join(source.columns) or canonical

    def source_of(self, canonical: str) -> ColumnSource:
        """Where a column comes from."""
        source = self.source.columns.get(canonical)
        if source is not None:
            return source
        wide = self.source.wide
        if wide is not None and canonical == wide.value:
            return ColumnSource(None, factor=wide.factor, offset=wide.offset)
        if wide is not None and canonical == "flank":
            return ColumnSource(None, words=wide.words)
        return ColumnSource()

    # --- serials, words ------------------------------------------------------------------------------

    def serials(self) -> tuple[list[str], IntArray]:
        """Distinct serials and the place of every row's in them."""
        cells = self.raw.columns["serial"]
        places: dict[str, int] = {}
        trimmed = {cell: self._text(cell) for cell in set(cells)}
        codes = np.array([places.setdefault(trimmed[cell], len(places)) for cell in cells], dtype=np.int64)
        if "" in places:
            for row in np.flatnonzero(codes == places[""]).tolist():
                self.fault(row, Reason.EMPTY_SERIAL, "serial", "the serial of the gear")
        return list(places), codes

    def gears(self) -> tuple[list[GearKey], IntArray]:
        """Distinct gears, by serial and measurement, and the place of every row's in them."""
        serials, codes = self.serials()
        if MEASUREMENT not in self.raw.columns:
            return list(map(GearKey, serials)), codes
        labels = [label or FIRST_MEASUREMENT for label in self.texts(MEASUREMENT)]
        places: dict[GearKey, int] = {}
        pairs = zip(codes.tolist(), labels, strict=True)
        gear = [places.setdefault(GearKey(serials[code], label), len(places)) for code, label in pairs]
        return list(places), np.array(gear, dtype=np.int64)

    def _text(self, cell: str) -> str:
        """A cell as text; what gearqa wrote itself as it was before it was kept from spreadsheets."""
        text = cell.strip(BLANKS)
        return with_formula(text) if self.source.simulated else text

    def words(self, canonical: str, allowed: Sequence[str], hint: str = "") -> NDArray[np.int8]:
        """Place of each cell's word in `allowed`; -1 where it is none."""
        places = {word: place for place, word in enumerate(allowed)}
        cells = self.raw.columns[canonical]
        words = self._translated(canonical)
        codes = {cell: places.get(word.casefold(), -1) for cell, word in words.items()}
        result = np.array([codes[cell] for cell in cells], dtype=np.int8)
        expected = " or ".join(f"'{word}'" for word in (*allowed, *self.source_of(canonical).words))
        for row in np.flatnonzero(result < 0).tolist():
            reason = Reason.UNKNOWN_WORD if cells[row].strip(BLANKS) else Reason.EMPTY_CELL
            self.fault(row, reason, canonical, expected, hint)
        return result

    def _translated(self, canonical: str) -> dict[str, str]:
        """Distinct cells of a column, each trimmed and with foreign words in ours."""
        words = self.source_of(canonical).words
        folded = {word.strip().casefold(): meaning for word, meaning in words.items()}
        found = {}
        for cell in set(self.raw.columns[canonical]):
            word = self._text(cell)
            found[cell] = words.get(word, folded.get(word.casefold(), word))
        return found

    # --- numbers ---------------------------------------------------------------------------------------

    def numbers(self, canonical: str, *, blank: bool = False) -> Array:
        """Numbers of a column in its canonical unit; NaN where a cell is none (or blank, if that may be)."""
        source = self.source_of(canonical)
        cells = self.raw.columns[canonical]
        wide = self.source.wide
        in_file = source.column is not None or (wide is not None and canonical == wide.value)
        decimal = self.source.dialect.decimal if in_file else "."
        values, failed = parse_column(cells, decimal)
        for row in failed:
            if not (blank and not cells[row].strip(BLANKS)):
                self._no_number(row, canonical, cells[row], decimal)
        return scaled(values, source.factor, source.offset)

    def _or_blank(self, canonical: str) -> Array:
        """Numbers of a column that may be blank or missing; NaN there."""
        if canonical not in self.raw.columns:
            return np.full(len(self.raw), np.nan)
        return self.numbers(canonical, blank=True)

    def _no_number(self, row: int, canonical: str, cell: str, decimal: Literal[".", ","]) -> None:
        text = cell.strip(BLANKS)
        hint = "leave the row out if the point was not measured"
        if canonical in {*PRODUCTION_COLUMNS, *EVENT_COLUMNS}:
            hint = "leave the cell empty if it is not known"
        if not text:
            self.fault(row, Reason.EMPTY_CELL, canonical, "a number", hint)
            return
        reason = Reason.NOT_FINITE if re.fullmatch(_INFINITE, cell) else Reason.NOT_A_NUMBER
        if decimal == "," and "." in text and "," not in text:
            hint = "the decimal mark of this file is the comma"
        elif decimal == "." and "," in text and "." not in text and self.source.dialect.separator != ",":
            hint = "the decimal mark of this file is the point"
        elif decimal == "." and re.fullmatch(r"[+-]?\d+,\d+", text):
            hint = "a decimal comma needs semicolon or tab as separator"
        elif re.fullmatch(_THOUSANDS, text):
            hint = "numbers have no thousands separators"
        elif re.fullmatch(_WITH_UNIT, text):
            hint = "the unit belongs into the name of the column, not into the cell"
        self.fault(row, reason, canonical, "a number", hint)

    def whole_numbers(self, canonical: str, low: int) -> list[int | None]:
        """Whole numbers of a column, None where blank or where there is no such column."""
        result: list[int | None] = []
        for row, value in enumerate(self._or_blank(canonical).tolist()):
            if math.isnan(value):
                result.append(None)
            elif value != value // 1:  # an infinity // 1 is no number
                self.fault(row, Reason.NOT_A_WHOLE_NUMBER, canonical, "a whole number")
                result.append(None)
            elif value < low:
                self.fault(row, Reason.OUT_OF_RANGE, canonical, f"{low} or more")
                result.append(None)
            elif value > (largest := LARGEST.get(canonical, LARGEST_VALUE)):
                self.fault(row, Reason.OUT_OF_RANGE, canonical, largest_text(largest))
                result.append(None)
            else:
                result.append(int(value))
        return result

    def optional_numbers(self, canonical: str) -> list[float | None]:
        """Finite numbers of a column, None where blank or where there is no such column."""
        values = self._or_blank(canonical)
        for row in np.flatnonzero(np.isinf(values)).tolist():
            self.fault(row, Reason.NOT_FINITE, canonical, "a finite number")
        largest = LARGEST.get(canonical, LARGEST_VALUE)
        with np.errstate(invalid="ignore"):
            beyond = np.isfinite(values) & (np.abs(values) > largest)
        for row in np.flatnonzero(beyond).tolist():
            self.fault(row, Reason.OUT_OF_RANGE, canonical, largest_text(largest))
        return [None if math.isnan(value) else value for value in values.tolist()]

    # --- texts and times -----------------------------------------------------------------------------

    def texts(self, canonical: str) -> list[str | None]:
        """Trimmed texts, None where blank or where there is no such column."""
        if canonical not in self.raw.columns:
            return [None] * len(self.raw)
        words = self._translated(canonical)
        return [words[cell] or None for cell in self.raw.columns[canonical]]

    def required_texts(self, canonical: str) -> list[str]:
        """Trimmed texts that must not be blank."""
        texts = self.texts(canonical)
        for row, text in enumerate(texts):
            if text is None:
                self.fault(row, Reason.EMPTY_CELL, canonical, "a text")
        return [text or "" for text in texts]

    def times(self, canonical: str) -> list[datetime | None]:
        """Times of a column, None where blank."""
        source = self.source_of(canonical)
        expected = "a time such as 2025-03-14T06:30 (ISO 8601)"
        parse: Callable[[str], datetime] = datetime.fromisoformat
        if source.time_format is not None:
            form = source.time_format
            expected = f"a time like {form}"

            def parse(text: str) -> datetime:
                return datetime.strptime(text, form)

        zone: tzinfo | None = None
        if source.timezone:
            from zoneinfo import ZoneInfo

            zone = ZoneInfo(source.timezone)
        result: list[datetime | None] = []
        for row, cell in enumerate(self.raw.columns[canonical]):
            text = cell.strip(BLANKS)
            moment = None
            if text:
                try:
                    moment = parse(text)
                except ValueError:
                    self.fault(row, Reason.BAD_TIME, canonical, expected)
            if moment is not None and zone is not None and moment.tzinfo is None:
                moment = moment.replace(tzinfo=zone)
            if moment is not None and not FIRST_YEAR <= moment.year <= LAST_YEAR:
                self.fault(row, Reason.BAD_TIME, canonical, f"a year from {FIRST_YEAR} to {LAST_YEAR}")
                moment = None
            result.append(moment)
        return result


def careful_series(
    source: TableSource, raw: RawRows, frame: Frame, log: ProblemLog
) -> tuple[SeriesRows, list[int]]:
    """Rows in the convention of the model, those at fault left out, and the line of each."""
    cells = Cells.of(source, raw, log)
    gears, gear = cells.gears()
    flank = cells.words("flank", FLANKS, FLANK_HINT) if "flank" in raw.columns else None
    label = LABEL_COLUMNS.get(source.kind)
    numbers = {
        name: cells.numbers(name, blank=name == label) for name in raw.columns if name in NUMBER_COLUMNS
    }
    with np.errstate(over="ignore"):
        rows, faults = to_series(
            NumberRows(source.kind, gears, gear, flank, numbers), frame, source.convention
        )
    cells.faults(faults)
    if not cells.bad.any():
        return rows, raw.lines
    good = ~cells.bad
    return rows.take(good), [line for line, ok in zip(raw.lines, good.tolist(), strict=True) if ok]


_GRAMMAR: Final = r"[ \t\v\f]*+[+-]?+(?:[0-9]++(?:\.[0-9]*+)?+|\.[0-9]++)(?:[eE][+-]?+[0-9]++)?+[ \t\v\f]*+"


def parse_column(cells: Sequence[str], decimal: Literal[".", ","] = ".") -> tuple[Array, list[int]]:
    """Numbers of a column, and the rows whose cell is none (NaN there; infinities are kept).

    >>> parse_column(["1.5", " -2e-1 ", "1_0", "nan"])
    (array([ 1.5, -0.2,  nan,  nan]), [2, 3])
    """
    joined = "\0".join([*cells, ""])
    if decimal == ",":
        # a point in such a file is no decimal mark: make it something that is no number
        joined = joined.replace(".", "x").replace(",", ".")
    ready = joined.split("\0")[:-1]
    if len(ready) == len(cells) and re.fullmatch(rf"(?:{_GRAMMAR}\0)*+", joined):
        return np.array(list(map(float, ready)), dtype=np.float64), []
    number = re.compile(_GRAMMAR)
    values = np.full(len(cells), np.nan)
    bad = []
    for row, cell in enumerate(ready):
        if number.fullmatch(cell):
            values[row] = float(cell)
        else:
            bad.append(row)
    return values, bad

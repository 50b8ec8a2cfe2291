"""Rows of the tables that hold texts: size, production, events."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import field, fields, replace
from datetime import datetime, time
from typing import TYPE_CHECKING, Any

from gearqa.errors import Reason, line_place
from gearqa.late_dataclass import dataclass
from gearqa.model.measurement import GearKey, GrinderEvent, Production, SizeReading
from gearqa.reading.folder.careful_reader import RawRows
from gearqa.reading.folder.sources import TableSource
from gearqa.reading.folder.table_kinds import MEASUREMENT, PRODUCTION_COLUMNS, SIZE_METHODS, TIME_COLUMNS
from gearqa.reading.rows.problem_log import ProblemLog
from gearqa.symbols import FLANKS

if TYPE_CHECKING:
    from gearqa.reading.folder.cells import Cells


@dataclass(slots=True)
class TextRows:
    """What the text tables of a folder say."""

    sizes: dict[GearKey, list[SizeReading]] = field(default_factory=dict)
    production: dict[GearKey, Production] = field(default_factory=dict)
    events: list[GrinderEvent] = field(default_factory=list)
    files: dict[GearKey, frozenset[str]] = field(default_factory=dict)
    """Gear -> files with rows of it."""
    _stated: dict[GearKey, list[tuple[str, int, tuple[str, ...]]]] = field(default_factory=dict)
    """Gear -> file and line of each row that stated something new, and the fields."""
    _fields: dict[tuple[str, ...], tuple[str, ...]] = field(default_factory=dict)
    """Fields that rows stated, as one object for all rows."""
    _rows_of: dict[str, list[GearKey]] = field(default_factory=dict)
    """Serial -> its measurements with rows of production."""

    def add(self, source: TableSource, raw: RawRows, log: ProblemLog) -> list[GearKey]:
        """Take rows in; returns their gears."""
        from gearqa.reading.folder.cells import Cells

        cells = Cells.of(source, raw, log)
        if source.kind == "events":
            self._add_events(cells)
            return []
        gears, codes = cells.gears()
        of_rows = [gears[code] for code in codes.tolist()]
        if source.kind == "size":
            self._add_sizes(cells, of_rows)
        else:
            self._add_production(cells, of_rows)
        known: dict[frozenset[str], frozenset[str]] = {}  # one object for all gears of the same files
        for gear in gears:
            files = self.files.get(gear, frozenset())
            self.files[gear] = known.setdefault(files, files | {source.name})
        return [gear for gear in gears if gear.serial]

    def production_of(self, gear: GearKey) -> Production | None:
        """What is known of a gear: how it was made from any row of its serial, how it was measured from the
        rows of this measurement."""
        found = self.production.get(gear)
        for other in self._rows_of.get(gear.serial, ()):
            if other != gear:
                made = self.production[other].made_only()
                found = made if found is None else _filled(found, made)
        return found

    # --- size --------------------------------------------------------------------------------------

    def _add_sizes(self, cells: Cells, gears: list[GearKey]) -> None:
        hint = "balls: dimension over or between balls or pins; span: over several teeth"
        methods = cells.words("method", SIZE_METHODS, hint)
        values = cells.optional_numbers("value_mm")
        pins = cells.optional_numbers("pin_diameter_mm")
        spans = cells.whole_numbers("teeth_spanned", 1)
        positions = cells.texts("position")
        for row, gear in enumerate(gears):
            if cells.bad[row]:
                continue
            method = SIZE_METHODS[methods[row]]
            needed = ("pin_diameter_mm", pins) if method == "balls" else ("teeth_spanned", spans)
            if values[row] is None:
                cells.fault(row, Reason.EMPTY_CELL, "value_mm", "a number", found="an empty cell")
            if needed[1][row] is None:
                cells.fault(
                    row, Reason.EMPTY_CELL, needed[0], f"a number, since the method is '{method}'",
                    found="an empty cell" if needed[0] in cells.raw.columns else "no such column",
                )  # fmt: skip
            pin, value = pins[row], values[row]
            if pin is not None and pin <= 0:
                cells.fault(row, Reason.OUT_OF_RANGE, "pin_diameter_mm", "more than 0")
            if value is None or cells.bad[row]:
                continue
            reading = SizeReading(method, value, pin, spans[row], positions[row] or "")
            self.sizes.setdefault(gear, []).append(reading)

    # --- production --------------------------------------------------------------------------------

    def _add_production(self, cells: Cells, gears: list[GearKey]) -> None:
        known: dict[str, list[Any]] = {}
        labels: dict[str, list[str | None]] = {}
        for column in cells.raw.columns:
            if column in ("serial", MEASUREMENT):
                continue
            if column in TIME_COLUMNS:
                known[column] = list(cells.times(column))
            elif column == "temperature_degC":
                known[column] = list(cells.optional_numbers(column))
            elif column == "parts_since_dress":
                known[column] = list(cells.whole_numbers(column, 1))
            elif column in PRODUCTION_COLUMNS:
                known[column] = list(cells.texts(column))
            else:
                labels[column] = cells.texts(column)
        for row, gear in enumerate(gears):
            if cells.bad[row]:
                continue
            stated = {column: values[row] for column, values in known.items() if values[row] is not None}
            extra = {column: text for column, texts in labels.items() if (text := texts[row]) is not None}
            if self._agrees(cells, row, gear, {**stated, **extra}):
                self._merge(gear, stated, extra)

    def _agrees(self, cells: Cells, row: int, gear: GearKey, stated: Mapping[str, Any]) -> bool:
        """Whether a row says nothing else than earlier rows of the same serial."""
        earlier = self.production.get(gear)
        before = {} if earlier is None else _stated(earlier)
        for column, value in stated.items():
            if column in before and before[column] != value:
                rows = self._stated[gear]
                file, line = next((file, line) for file, line, fields in rows if column in fields)
                cells.fault(
                    row, Reason.DUPLICATE_ROW, column,
                    f"{before[column]} as in {line_place(file, line)}, or one row per serial",
                    "two measurements of one gear get labels of their own in a column `measurement`",
                    found=f"a second row of serial {gear.quoted} with another {column}: {value}",
                )  # fmt: skip
                return False
        if new := tuple(column for column in stated if column not in before):
            entry = (cells.source.name, cells.raw.lines[row], self._fields.setdefault(new, new))
            self._stated.setdefault(gear, []).append(entry)
        return True

    def _merge(self, gear: GearKey, stated: Mapping[str, Any], labels: Mapping[str, str]) -> None:
        if gear not in self.production:
            self._rows_of.setdefault(gear.serial, []).append(gear)
        earlier = self.production.get(gear, Production())
        self.production[gear] = replace(earlier, **stated, labels={**earlier.labels, **labels})

    # --- events --------------------------------------------------------------------------------------

    def _add_events(self, cells: Cells) -> None:
        times = cells.times("at")
        grinders, events = cells.required_texts("grinder"), cells.required_texts("event")
        texts = {name: cells.texts(name) for name in ("wheel", "parameter", "flank", "unit", "remark")}
        corrections = cells.optional_numbers("correction")
        flanks = {flank: flank for flank in FLANKS}
        for row, moment in enumerate(times):
            word = texts["flank"][row]
            flank = flanks.get(word.casefold()) if word else None  # type: ignore[call-overload]
            if word and flank is None:
                cells.fault(row, Reason.UNKNOWN_WORD, "flank", "'left', 'right' or an empty cell")
            if moment is None:
                if not cells.bad[row]:
                    cells.fault(row, Reason.EMPTY_CELL, "at", "a time")
                continue
            if cells.bad[row]:
                continue
            self.events.append(
                GrinderEvent(
                    moment, events[row], grinders[row], texts["wheel"][row], texts["parameter"][row], flank,
                    corrections[row], texts["unit"][row], texts["remark"][row],
                )
            )  # fmt: skip

    # --- times without a zone ------------------------------------------------------------------------

    def settle_times(self) -> bool:
        """Make times comparable; returns whether some have no zone and are local.

        Where no time of the folder has a zone, they stay as they are; mixed with times that have one, they
        take the zone of this computer. The day on which a calibration is due needs no zone.
        """
        moments = [event.at for event in self.events]
        days: list[datetime] = []
        for production in self.production.values():
            for name, moment in _moments(production).items():
                only_day = name == "calibration_due" and moment.time() == time.min
                (days if only_day else moments).append(moment)
        naive = [moment for moment in moments if moment.tzinfo is None]
        moments += days
        if any(moment.tzinfo is None for moment in moments) and any(moment.tzinfo for moment in moments):
            self.events = [replace(event, at=_aware(event.at)) for event in self.events]
            for gear, production in self.production.items():
                aware: dict[str, Any] = {name: _aware(at) for name, at in _moments(production).items()}
                self.production[gear] = replace(production, **aware)
        return bool(naive)


def _filled(production: Production, more: Production) -> Production:
    """What is stated, and where nothing is, what another row states."""
    known = {f.name: getattr(production, f.name) for f in fields(production) if f.name != "labels"}
    filled = {name: getattr(more, name) if value is None else value for name, value in known.items()}
    return Production(**filled, labels={**more.labels, **production.labels})


def _stated(production: Production) -> dict[str, Any]:
    values = {f.name: getattr(production, f.name) for f in fields(production) if f.name != "labels"}
    return {**{k: v for k, v in values.items() if v is not None}, **production.labels}


def _moments(production: Production) -> dict[str, datetime]:
    values = {name: getattr(production, name) for name in TIME_COLUMNS if name != "at"}
    return {name: value for name, value in values.items() if value is not None}


def _aware(moment: datetime) -> datetime:
    return moment if moment.tzinfo is not None else moment.astimezone()

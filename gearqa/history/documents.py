"""A store as JSON ("gearqa.history/1") and CSV, streamed: any number of gears in bounded memory."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import asdict, fields
from datetime import datetime
from typing import Any, BinaryIO, Final, Literal

import orjson
import sqlalchemy as sa
from sqlalchemy.engine import Connection

from gearqa.history.queries import (
    PORTION,
    PRODUCTION_ORDER,
    Selection,
    select_audit,
    select_events,
    select_gears,
    select_intakes,
    select_parts,
    select_references,
    select_results,
)
from gearqa.history.sql_tables import FIGURE, GEAR, HEAD, INTAKE, PART
from gearqa.history.store import HistoryStore
from gearqa.model.history import HISTORY_SCHEMA, StoredGear
from gearqa.results.csvio import cell, result_mark
from gearqa.results.document import software
from gearqa.results.entries import key_of
from gearqa.results.jsonio import OPTIONS

Report = Literal["list", "show", "export"]

CSV_COLUMNS: Final = (
    "part_number", "revision", "serial", "measured_at", "finished_at", "grinder", "wheel", "dress",
    "parts_since_dress", "simulated", "parameter", "flank", "value_um", "mean_um", "min_um", "max_um",
    "lower_limit_um", "upper_limit_um", "class", "conforms",
)  # fmt: skip


def write_history_json(stream: BinaryIO, store: HistoryStore, report: Report, which: Selection) -> int:
    """Write the chosen gears and what belongs to them; return how many gears there are.

    `list`: gears in short, events and references that count. `show`: gears with result, digests and log.
    `export`: everything the store holds about them, part data of every revision and the whole log too.
    """
    full = report != "list"
    with store.reading() as connection:
        count = 0
        writer = _Writer(stream)
        writer.value("schema", HISTORY_SCHEMA)
        writer.value("software", software())
        writer.value("report", report)
        writer.value("store", {"location": store.shown, "schema_version": HEAD})
        writer.value("simulated", _any_simulated(connection, which))
        writer.rows("inputs", _inputs(connection, which))
        writer.open("gears")
        for table in _full_gears(connection, which) if full else _short_gears(connection, which):
            writer.row(table)
            count += 1
        writer.close()
        if report != "show":
            events = select_events(connection, grinder=which.grinder, since=which.since, until=which.until)
            writer.rows("events", map(asdict, events))
            references = select_references(connection, part_number=which.part_number, grinder=which.grinder)
            writer.rows("references", map(asdict, references))
        if report == "export":
            writer.rows("intakes", select_intakes(connection))
            writer.rows("parts", select_parts(connection))
            writer.rows("audit", select_audit(connection))
        if report == "show":
            writer.rows(
                "audit",
                select_audit(connection, serials=which.serials or None, part_number=which.part_number),
            )
        writer.end()
    return count


def write_history_csv(stream: BinaryIO, store: HistoryStore, which: Selection) -> int:
    """Write key figures, one row a gear, parameter and flank; return how many gears there are."""
    query = (
        sa.select(
            GEAR.c.id, GEAR.c.part_number, PART.c.revision, GEAR.c.serial, GEAR.c.measured_at,
            GEAR.c.finished_at, GEAR.c.grinder, GEAR.c.wheel, GEAR.c.dress, GEAR.c.parts_since_dress,
            GEAR.c.simulated, FIGURE.c.parameter, FIGURE.c.flank, FIGURE.c.value_um, FIGURE.c.mean_um,
            FIGURE.c.min_um, FIGURE.c.max_um, FIGURE.c.limit_low_um, FIGURE.c.limit_high_um, FIGURE.c.class_,
            FIGURE.c.conforms,
        )
        .join(PART, PART.c.id == GEAR.c.part_id)
        .join(FIGURE, FIGURE.c.gear_id == GEAR.c.id)
        .where(*which.conditions())
        .order_by(*PRODUCTION_ORDER, FIGURE.c.parameter, FIGURE.c.flank)
    )  # fmt: skip
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\n")
    gears, last = 0, None
    with store.reading() as connection:
        text.write(f"{result_mark(_any_simulated(connection, which))}\n")
        writer.writerow(CSV_COLUMNS)
        with connection.execute(query.execution_options(yield_per=20 * PORTION)) as rows:
            for number, *values in rows:
                gears += number != last
                last = number
                writer.writerow(map(cell, values))
                if text.tell() > 1 << 20:
                    stream.write(text.getvalue().encode())
                    text.seek(0)
                    text.truncate()
    stream.write(text.getvalue().encode())
    return gears


def gear_table(gear: StoredGear) -> dict[str, Any]:
    """A gear in short."""
    return {key_of(f.name): getattr(gear, f.name) for f in fields(StoredGear)}


def _short_gears(connection: Connection, which: Selection) -> Iterator[dict[str, Any]]:
    return map(gear_table, select_gears(connection, which))


def _full_gears(connection: Connection, which: Selection) -> Iterator[dict[str, Any]]:
    for gear, result, digests in select_results(connection, which):
        yield {**gear_table(gear), "digests": digests, "result": result}


def _inputs(connection: Connection, which: Selection) -> Iterator[dict[str, Any]]:
    """Files that the chosen gears were read from."""
    query = sa.select(GEAR.c.intake_id).where(*which.conditions()).distinct()
    numbers = list(connection.execute(query).scalars())
    for start in range(0, len(numbers), PORTION):
        for intake in select_intakes(connection, numbers[start : start + PORTION]):
            for one in intake["inputs"]:
                yield {"folder": intake["folder"], **one}


def _any_simulated(connection: Connection, which: Selection) -> bool:
    query = sa.select(GEAR.c.id).where(*which.conditions(), GEAR.c.simulated).limit(1)
    if connection.execute(query).first() is not None:
        return True
    if which != Selection(every_state=which.every_state):
        return False
    return connection.execute(sa.select(INTAKE.c.id).where(INTAKE.c.simulated).limit(1)).first() is not None


class _Writer:
    """A JSON document written key by key, long lists row by row."""

    def __init__(self, stream: BinaryIO) -> None:
        self._write = stream.write
        self._before = b"{"
        self._separator = b""

    def value(self, key: str, value: Any) -> None:
        self._key(key)
        self._write(_json(value))

    def rows(self, key: str, rows: Iterable[Mapping[str, Any]]) -> None:
        self.open(key)
        for row in rows:
            self.row(row)
        self.close()

    def open(self, key: str) -> None:
        self._key(key)
        self._write(b"[")
        self._separator = b"\n"

    def row(self, row: Mapping[str, Any]) -> None:
        self._write(self._separator)
        self._write(_json(row))
        self._separator = b",\n"

    def close(self) -> None:
        self._write(b"]")

    def end(self) -> None:
        self._write(b"}\n")

    def _key(self, key: str) -> None:
        self._write(self._before + _json(key) + b":")
        self._before = b",\n"


def _json(value: Any) -> bytes:
    return orjson.dumps(value, option=OPTIONS, default=_other)


def _other(value: Any) -> Any:
    if isinstance(value, datetime):
        return value.isoformat()
    raise TypeError(f"no JSON for {type(value)}")

"""Queries of a store: gears by who, where and when, their results, events, references, log."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, fields
from datetime import datetime
from difflib import get_close_matches
from typing import Any, Final, TypeVar

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from gearqa.errors import StoreError
from gearqa.history.parts import part_from_text
from gearqa.history.sql_tables import AUDIT, CURRENT, EVENT, GEAR, INTAKE, PART, REFERENCE
from gearqa.history.store import HistoryStore
from gearqa.history.stored_texts import loads, stored_time, unpacked, utc_text
from gearqa.model.history import Acknowledgement, FrozenReference, GradedAs, StoredEvent, StoredGear
from gearqa.model.measurement import FIRST_MEASUREMENT, InputFile
from gearqa.model.part import Part
from gearqa.model.results import GearResult
from gearqa.results.codec import read

PORTION: Final = 500
"""Rows fetched at once."""
Row = TypeVar("Row", StoredGear, StoredEvent, FrozenReference, Acknowledgement)

GEAR_COLUMNS: Final = (
    GEAR.c.id, GEAR.c.part_number, PART.c.revision, GEAR.c.serial, GEAR.c.measured_at, GEAR.c.finished_at,
    GEAR.c.grinder, GEAR.c.wheel, GEAR.c.dress, GEAR.c.parts_since_dress, GEAR.c.instrument, GEAR.c.class_,
    GEAR.c.class_complete, GEAR.c.beyond, GEAR.c.conforms, GEAR.c.master_quality, GEAR.c.simulated,
    GEAR.c.state, GEAR.c.superseded_by, GEAR.c.intake_id.label("intake"), GEAR.c.added_at,
)  # fmt: skip
TIMES: Final = frozenset({"measured_at", "finished_at", "added_at", "at", "from_at", "to_at", "frozen_at"})
PRODUCTION_ORDER: Final = (sa.nulls_first(GEAR.c.finished_utc), GEAR.c.id)


@dataclass(frozen=True, slots=True)
class Selection:
    """Which gears; all of them by default. Times are of production, both ends included."""

    part_number: str | None = None
    serials: tuple[str, ...] = ()
    grinder: str | None = None
    since: datetime | None = None
    until: datetime | None = None
    every_state: bool = False
    """Also superseded and removed gears."""
    ids: tuple[int, ...] = ()
    intake: int | None = None
    conforms: bool | None = None

    def conditions(self) -> Iterator[sa.ColumnElement[bool]]:
        """As conditions on the gear table."""
        if not self.every_state:
            yield GEAR.c.state == CURRENT
        if self.part_number is not None:
            yield GEAR.c.part_number == self.part_number
        if self.serials:
            yield GEAR.c.serial.in_(self.serials)
        if self.ids:
            yield GEAR.c.id.in_(self.ids)
        if self.grinder is not None:
            yield GEAR.c.grinder == self.grinder
        if self.intake is not None:
            yield GEAR.c.intake_id == self.intake
        if self.conforms is not None:
            yield GEAR.c.conforms.is_(self.conforms)
        if self.since is not None:
            yield GEAR.c.finished_utc >= utc_text(self.since)
        if self.until is not None:
            yield GEAR.c.finished_utc <= utc_text(self.until)


def select_gears(
    connection: Connection, which: Selection, *, last: int | None = None
) -> Iterator[StoredGear]:
    """Gears in the order they were made; those without a time come first. `last`: only so many."""
    query = sa.select(*GEAR_COLUMNS).join(PART, PART.c.id == GEAR.c.part_id).where(*which.conditions())
    query = query.order_by(*PRODUCTION_ORDER)
    if last is not None:
        query = query.offset(max(0, count_gears(connection, which) - last))
    for row in in_portions(connection, query):
        yield gear_of(row)


def known_gears(store: HistoryStore, which: Selection) -> list[StoredGear]:
    """The chosen gears; raises StoreError for a serial that the store does not have."""
    with store.reading() as connection:
        gears = list(select_gears(connection, which))
        missing = [serial for serial in which.serials if serial not in {gear.serial for gear in gears}]
        near = _nearest_serials(connection, missing[0], which.part_number) if missing else []
    if missing:
        of_part = f" of part {which.part_number}" if which.part_number else ""
        names = ", ".join(f"'{serial}'" for serial in missing)
        raise StoreError(
            f"history store {store.shown} has no gear {names}{of_part}",
            hint=f"nearest: {', '.join(near)}" if near else "look at: gearqa history list",
        )
    return gears


def _nearest_serials(connection: Connection, serial: str, part_number: str | None) -> list[str]:
    query = sa.select(GEAR.c.serial).where(*Selection(part_number).conditions()).distinct()
    return get_close_matches(serial, list(connection.execute(query.limit(50_000)).scalars()), n=3)


def part_of(connection: Connection, gear: int) -> Part:
    """Part data that a gear was graded by."""
    query = sa.select(PART.c.content).join(GEAR, GEAR.c.part_id == PART.c.id).where(GEAR.c.id == gear)
    return part_from_text(connection.execute(query).scalar_one())


def input_files(connection: Connection, intake: int) -> tuple[InputFile, ...]:
    """Files that an intake read or left out."""
    text = connection.execute(sa.select(INTAKE.c.inputs).where(INTAKE.c.id == intake)).scalar_one()
    return tuple(read(InputFile, one) for one in loads(text))


def count_gears(connection: Connection, which: Selection) -> int:
    """Number of the chosen gears."""
    query = sa.select(sa.func.count()).select_from(GEAR).where(*which.conditions())
    return int(connection.execute(query).scalar_one())


def select_results(
    connection: Connection, which: Selection
) -> Iterator[tuple[StoredGear, dict[str, Any], dict[str, str]]]:
    """Gears with their JSON result and the digests of what was measured."""
    query = (
        sa.select(*GEAR_COLUMNS, GEAR.c.result, GEAR.c.digests)
        .join(PART, PART.c.id == GEAR.c.part_id)
        .where(*which.conditions())
        .order_by(*PRODUCTION_ORDER)
    )
    for row in in_portions(connection, query):
        yield gear_of(row), unpacked(row.result), loads(row.digests)


def select_graded(connection: Connection, which: Selection) -> Iterator[tuple[StoredGear, GradedAs]]:
    """Gears with what their results say beside their columns."""
    query = (
        sa.select(*GEAR_COLUMNS, GEAR.c.measurement, GEAR.c.conformity_state)
        .join(PART, PART.c.id == GEAR.c.part_id)
        .where(*which.conditions())
        .order_by(*PRODUCTION_ORDER)
    )
    for row in in_portions(connection, query):
        yield gear_of(row), GradedAs(row.measurement, row.conformity_state)


def graded_as(connection: Connection, gears: Sequence[StoredGear]) -> dict[int, GradedAs]:
    """What the results say of gears that are left open or stand there more than once, by row number."""
    times = Counter((gear.part_number, gear.serial) for gear in gears)
    wanted = [g.id for g in gears if g.conforms is None or times[g.part_number, g.serial] > 1]
    found: dict[int, GradedAs] = {}
    columns = (GEAR.c.id, GEAR.c.measurement, GEAR.c.conformity_state)
    for start in range(0, len(wanted), PORTION):
        query = sa.select(*columns).where(GEAR.c.id.in_(wanted[start : start + PORTION]))
        found |= {row.id: GradedAs(*row[1:]) for row in connection.execute(query)}
    return found


def graded_in(document: Mapping[str, Any]) -> GradedAs:
    """Label and state of a stored JSON result."""
    return GradedAs(document.get("measurement", FIRST_MEASUREMENT), document.get("state"))


def standards_of_parts(connection: Connection, part_number: str | None = None) -> dict[int, str]:
    """Tolerance system by number of the part data, as they first came."""
    query = sa.select(PART.c.id, PART.c.content).order_by(PART.c.id)
    if part_number is not None:
        query = query.where(PART.c.number == part_number)
    rows = connection.execute(query)
    return {row.id: part_from_text(row.content).tolerance.standard for row in rows}


def standards_of(connection: Connection, which: Selection) -> dict[int, str]:
    """Tolerance system of the chosen gears by row number; empty where all have one."""
    named = standards_of_parts(connection, which.part_number)
    if len(set(named.values())) < 2:
        return {}
    query = sa.select(GEAR.c.id, GEAR.c.part_id).where(*which.conditions())
    return {row.id: named[row.part_id] for row in connection.execute(query)}


def result_of(document: dict[str, Any]) -> GearResult:
    """The result model of a stored JSON result."""
    return read(GearResult, document)


def gear_of(row: sa.Row[Any]) -> StoredGear:
    """A gear from its row."""
    return read_row(StoredGear, row)


def read_row(kind: type[Row], row: sa.Row[Any]) -> Row:
    """An object of the model from its row."""
    values: dict[str, Any] = {f.name: getattr(row, f.name) for f in fields(kind)}
    for name in TIMES & values.keys():
        values[name] = stored_time(values[name])
    return kind(**values)


def select_events(
    connection: Connection,
    *,
    grinder: str | None = None,
    since: datetime | None = None,
    until: datetime | None = None,
) -> list[StoredEvent]:
    """Events that count, by time."""
    query = sa.select(EVENT).where(EVENT.c.state == CURRENT).order_by(EVENT.c.at_utc, EVENT.c.id)
    if grinder is not None:
        query = query.where(EVENT.c.grinder == grinder)
    if since is not None:
        query = query.where(EVENT.c.at_utc >= utc_text(since))
    if until is not None:
        query = query.where(EVENT.c.at_utc <= utc_text(until))
    return [read_row(StoredEvent, row) for row in connection.execute(query)]


def select_references(
    connection: Connection, *, part_number: str | None = None, grinder: str | None = None
) -> list[FrozenReference]:
    """Frozen references that count."""
    query = sa.select(REFERENCE).where(REFERENCE.c.state == CURRENT).order_by(REFERENCE.c.id)
    if part_number is not None:
        query = query.where(REFERENCE.c.part_number == part_number)
    if grinder is not None:
        query = query.where(REFERENCE.c.grinder == grinder)
    return [read_row(FrozenReference, row) for row in connection.execute(query)]


def select_intakes(connection: Connection, numbers: Sequence[int] | None = None) -> Iterator[dict[str, Any]]:
    """Intakes with their inputs, as JSON."""
    columns = [c for c in INTAKE.c if c.name not in ("inputs", "notices", "part_id")]
    query = sa.select(
        *columns, INTAKE.c.inputs, INTAKE.c.notices, PART.c.number, PART.c.name, PART.c.revision
    ).join(PART, PART.c.id == INTAKE.c.part_id)
    if numbers is not None:
        query = query.where(INTAKE.c.id.in_(numbers))
    for row in in_portions(connection, query.order_by(INTAKE.c.id)):
        values = _document(row)
        part = {key: values.pop(key) for key in ("number", "name", "revision")}
        values |= {"inputs": loads(row.inputs), "notices": loads(row.notices), "part": part}
        yield values


def part_numbers(connection: Connection) -> list[str]:
    """Part numbers of the gears that count."""
    query = sa.select(GEAR.c.part_number).where(GEAR.c.state == CURRENT).distinct()
    return sorted(connection.execute(query).scalars())


def select_parts(connection: Connection) -> Iterator[dict[str, Any]]:
    """Part data of every revision, as JSON."""
    for row in connection.execute(sa.select(PART).order_by(PART.c.id)):
        yield {**_document(row), "content": loads(row.content)}


def select_audit(
    connection: Connection, *, serials: Sequence[str] | None = None, part_number: str | None = None
) -> Iterator[dict[str, Any]]:
    """What was done to the store, as JSON; of some gears, or all of it."""
    query = sa.select(AUDIT).order_by(AUDIT.c.id)
    if serials is not None:
        query = query.where(AUDIT.c.serial.in_(serials))
    if part_number is not None:
        query = query.where(AUDIT.c.part_number == part_number)
    for row in in_portions(connection, query):
        yield {**_document(row), "detail": loads(row.detail)}


def in_portions(connection: Connection, query: sa.Select[Any]) -> Iterator[sa.Row[Any]]:
    """Rows streamed from the database, so that any number of them fits into memory."""
    result = connection.execute(query.execution_options(yield_per=PORTION))
    try:
        yield from result
    finally:
        if not connection.closed:  # else an error has ended the transaction before this generator
            result.close()


def _document(row: sa.Row[Any]) -> dict[str, Any]:
    """A row as a table; SQLAlchemy's keys are a kind of text of its own."""
    return {str(key): value for key, value in row._asdict().items()}

"""A store as JSON ("gearqa.history/1"), CSV and Parquet, streamed: any number of gears in bounded memory."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from typing import Any, BinaryIO, Literal, TypeVar

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from gearqa.history.acknowledgements import select_acknowledgements
from gearqa.history.deliveries import select_deliveries
from gearqa.history.queries import (
    PORTION,
    PRODUCTION_ORDER,
    Selection,
    graded_in,
    select_audit,
    select_events,
    select_intakes,
    select_parts,
    select_references,
    select_results,
    standards_of_parts,
)
from gearqa.history.sql_tables import FIGURE, GEAR, HEAD, INTAKE, PART
from gearqa.history.store import HistoryStore
from gearqa.model.measurement import InputFile
from gearqa.model.store_reports import (
    AuditEntry,
    ExportedStore,
    ListedGear,
    ListedStore,
    ShownStore,
    StoredDocument,
    StoredInput,
    StoredIntake,
    StoredPart,
    StorePlace,
)
from gearqa.results.codec import read
from gearqa.results.csvio import cell, result_mark
from gearqa.results.history_json import HISTORY
from gearqa.results.parquet_files import CellType, write_parquet_rows

Report = Literal["list", "show", "export"]
Gear = TypeVar("Gear")


def write_history_json(stream: BinaryIO, store: HistoryStore, report: Report, which: Selection) -> int:
    """Write the chosen gears and what belongs to them; return how many gears there are.

    `list`: gears in short, events and references that count. `show`: gears with result, digests and log.
    `export`: everything the store holds about them, part data of every revision and the whole log too.
    """
    count = 0

    def counted(gears: Iterable[Gear]) -> Iterator[Gear]:
        nonlocal count
        for gear in gears:
            count += 1
            yield gear

    with store.reading() as connection:
        head: dict[str, Any] = {
            "store": StorePlace(store.shown, HEAD),
            "simulated": _any_simulated(connection, which),
            "inputs": _inputs(connection, which),
        }
        found = select_results(connection, which)
        whole = counted(StoredDocument(gear, digests, result) for gear, result, digests in found)
        made: ListedStore | ShownStore | ExportedStore
        if report == "list":
            short = counted(ListedGear(gear, graded_in(result)) for gear, result, _ in found)
            made = ListedStore(report, **head, gears=short, **_events(connection, which))
        elif report == "show":
            made = ShownStore(report, **head, gears=whole, audit=_audit(connection, which))
        else:
            made = ExportedStore(
                report, **head, gears=whole, **_events(connection, which, every_acknowledgement=True),
                intakes=(read(StoredIntake, row) for row in select_intakes(connection)),
                parts=(read(StoredPart, row) for row in select_parts(connection)),
                deliveries=iter(select_deliveries(connection, every_state=True)),
                audit=(read(AuditEntry, row) for row in select_audit(connection)),
            )  # fmt: skip
        HISTORY.stream(stream, made)
    return count


def _events(
    connection: Connection, which: Selection, *, every_acknowledgement: bool = False
) -> dict[str, Any]:
    """Events and references that count, and which signals were seen."""
    events = select_events(connection, grinder=which.grinder, since=which.since, until=which.until)
    references = select_references(connection, part_number=which.part_number, grinder=which.grinder)
    seen = select_acknowledgements(
        connection, part_number=which.part_number, grinder=which.grinder, every=every_acknowledgement
    )
    return {"events": iter(events), "references": iter(references), "acknowledgements": iter(seen)}


def _audit(connection: Connection, which: Selection) -> Iterator[AuditEntry]:
    """What was done to the chosen gears."""
    rows = select_audit(connection, serials=which.serials or None, part_number=which.part_number)
    return (read(AuditEntry, row) for row in rows)


def write_history_csv(stream: BinaryIO, store: HistoryStore, which: Selection) -> int:
    """Write key figures, one row a gear, parameter and flank; return how many gears there are."""
    query, counter = _figures(which), _GearCounter()
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\n")
    with store.reading() as connection:
        text.write(f"{result_mark(_any_simulated(connection, which))}\n")
        counter.standards = standards_of_parts(connection)
        writer.writerow([*(column.name for column in query.selected_columns[2:]), "standard"])
        with connection.execute(query.execution_options(yield_per=20 * PORTION)) as rows:
            for values in counter.over(rows):
                writer.writerow(map(cell, values))
                if text.tell() > 1 << 20:
                    stream.write(text.getvalue().encode())
                    text.seek(0)
                    text.truncate()
    stream.write(text.getvalue().encode())
    return counter.gears


def write_history_parquet(stream: BinaryIO, store: HistoryStore, which: Selection) -> int:
    """Write the same key figures as a Parquet table; return how many gears there are."""
    query, counter = _figures(which), _GearCounter()
    columns = {column.name: _cell_type(column.type) for column in query.selected_columns[2:]}
    columns["standard"] = "text"
    with store.reading() as connection:
        counter.standards = standards_of_parts(connection)
        mark = result_mark(_any_simulated(connection, which))
        with connection.execute(query.execution_options(yield_per=20 * PORTION)) as rows:
            cells = ([None if value == "" else value for value in values] for values in counter.over(rows))
            write_parquet_rows(stream, columns, cells, mark)
    return counter.gears


def _cell_type(kind: sa.types.TypeEngine[Any]) -> CellType:
    if isinstance(kind, sa.Float):
        return "number"
    if isinstance(kind, sa.Boolean):
        return "answer"
    return "whole" if isinstance(kind, sa.Integer) else "text"


@dataclass(slots=True)
class _GearCounter:
    """Counts the gears that pass by, row after row, and names the tolerance system of each."""

    gears: int = 0
    standards: dict[int, str] = field(default_factory=dict)
    """By number of the part data."""

    def over(self, rows: Iterable[Any]) -> Iterator[list[Any]]:
        """The rows without the numbers of their gear and part data, with the system at their end."""
        last = None
        for number, part, *values in rows:
            self.gears += number != last
            last = number
            yield [*values, self.standards[part]]


def _figures(which: Selection) -> sa.Select[Any]:
    return (
        sa.select(
            GEAR.c.id, GEAR.c.part_id, GEAR.c.part_number, PART.c.revision, GEAR.c.serial, GEAR.c.measured_at,
            GEAR.c.finished_at, GEAR.c.grinder, GEAR.c.wheel, GEAR.c.dress, GEAR.c.parts_since_dress,
            GEAR.c.simulated, FIGURE.c.parameter, FIGURE.c.flank, FIGURE.c.value_um, FIGURE.c.mean_um,
            FIGURE.c.min_um, FIGURE.c.max_um, FIGURE.c.limit_low_um.label("lower_limit_um"),
            FIGURE.c.limit_high_um.label("upper_limit_um"), FIGURE.c.class_, FIGURE.c.conforms,
        )
        .join(PART, PART.c.id == GEAR.c.part_id)
        .join(FIGURE, FIGURE.c.gear_id == GEAR.c.id)
        .where(*which.conditions())
        .order_by(*PRODUCTION_ORDER, FIGURE.c.parameter, FIGURE.c.flank)
    )  # fmt: skip


def _inputs(connection: Connection, which: Selection) -> Iterator[StoredInput]:
    """Files that the chosen gears were read from."""
    query = sa.select(GEAR.c.intake_id).where(*which.conditions()).distinct()
    numbers = list(connection.execute(query).scalars())
    for start in range(0, len(numbers), PORTION):
        for intake in select_intakes(connection, numbers[start : start + PORTION]):
            for one in intake["inputs"]:
                yield StoredInput(intake["folder"], read(InputFile, one))


def _any_simulated(connection: Connection, which: Selection) -> bool:
    query = sa.select(GEAR.c.id).where(*which.conditions(), GEAR.c.simulated).limit(1)
    if connection.execute(query).first() is not None:
        return True
    if which != Selection(every_state=which.every_state):
        return False
    return connection.execute(sa.select(INTAKE.c.id).where(INTAKE.c.simulated).limit(1)).first() is not None

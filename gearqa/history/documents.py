"""A store as JSON ("gearqa.history/1"), CSV and Parquet, streamed: any number of gears in bounded memory."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any, BinaryIO, Final, Literal, TypeVar

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from gearqa.history.acknowledgements import select_acknowledgements
from gearqa.history.deliveries import select_deliveries
from gearqa.history.figures import read_figures
from gearqa.history.queries import (
    PORTION,
    PRODUCTION_ORDER,
    Selection,
    in_portions,
    select_audit,
    select_events,
    select_graded,
    select_intakes,
    select_parts,
    select_references,
    select_results,
    standards_of,
    standards_of_parts,
)
from gearqa.history.sql_tables import FIGURES, GEAR, HEAD, INTAKE, PART
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
COLUMNS: Final[dict[str, CellType]] = {
    "part_number": "text",
    "revision": "text",
    "serial": "text",
    "measured_at": "text",
    "finished_at": "text",
    "grinder": "text",
    "wheel": "text",
    "dress": "text",
    "parts_since_dress": "whole",
    "simulated": "answer",
    "parameter": "text",
    "flank": "text",
    "value_um": "number",
    "mean_um": "number",
    "min_um": "number",
    "max_um": "number",
    "lower_limit_um": "number",
    "upper_limit_um": "number",
    "class": "whole",
    "conforms": "answer",
    "standard": "text",
}
"""Of the tables of key figures."""
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
            systems = standards_of(connection, which)  # empty where all have one
            only = next(iter(standards_of_parts(connection, which.part_number).values()), "")
            short = counted(
                ListedGear(gear, graded, systems.get(gear.id, only))
                for gear, graded in select_graded(connection, which)
            )
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
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\n")
    with store.reading() as connection:
        text.write(f"{result_mark(_any_simulated(connection, which))}\n")
        writer.writerow(COLUMNS)
        counter = _GearCounter(standards_of_parts(connection))
        for values in counter.over(in_portions(connection, _with_figures(which))):
            writer.writerow(map(cell, values))
            if text.tell() > 1 << 20:
                stream.write(text.getvalue().encode())
                text.seek(0)
                text.truncate()
    stream.write(text.getvalue().encode())
    return counter.gears


def write_history_parquet(stream: BinaryIO, store: HistoryStore, which: Selection) -> int:
    """Write the same key figures as a Parquet table; return how many gears there are."""
    with store.reading() as connection:
        counter = _GearCounter(standards_of_parts(connection))
        mark = result_mark(_any_simulated(connection, which))
        rows = counter.over(in_portions(connection, _with_figures(which)))
        cells = ([None if value == "" else value for value in values] for values in rows)
        write_parquet_rows(stream, COLUMNS, cells, mark)
    return counter.gears


@dataclass(slots=True)
class _GearCounter:
    """Counts the gears that pass by, and gives the rows of each."""

    standards: Mapping[int, str]
    """Tolerance system by number of the part data."""
    gears: int = 0

    def over(self, gears: Iterable[Any]) -> Iterator[list[Any]]:
        """A row of `COLUMNS` for each figure."""
        for figures, part, *made in gears:
            standard, several = self.standards[part], list(read_figures(figures))
            self.gears += bool(several)
            for one in several:
                yield [
                    *made, one.parameter, one.flank, one.value_um, one.mean_um, one.min_um, one.max_um,
                    one.limit_low_um, one.limit_high_um, one.class_, one.conforms, standard,
                ]  # fmt: skip


def _with_figures(which: Selection) -> sa.Select[Any]:
    return (
        sa.select(
            FIGURES.c.figures, GEAR.c.part_id, GEAR.c.part_number, PART.c.revision, GEAR.c.serial,
            GEAR.c.measured_at, GEAR.c.finished_at, GEAR.c.grinder, GEAR.c.wheel, GEAR.c.dress,
            GEAR.c.parts_since_dress, GEAR.c.simulated,
        )
        .join(PART, PART.c.id == GEAR.c.part_id)
        .join(FIGURES, FIGURES.c.gear_id == GEAR.c.id)
        .where(*which.conditions())
        .order_by(*PRODUCTION_ORDER)
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

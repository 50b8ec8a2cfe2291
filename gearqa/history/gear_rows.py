"""Writes rows of gears: new ones, what they supersede, and which no longer count."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy.engine import Connection

from gearqa.errors import StoreError
from gearqa.history.drafts import Draft
from gearqa.history.queries import Selection, select_gears
from gearqa.history.sealed_rows import change_state, insert_rows
from gearqa.history.sql_tables import CURRENT, GEAR, REMOVED, SUPERSEDED
from gearqa.history.store import HistoryStore, LogEntry, log
from gearqa.history.stored_texts import identity_text
from gearqa.model.history import StoredGear
from gearqa.wording.times import time_text


@dataclass(frozen=True, slots=True)
class NewGear:
    """A draft and the rows it belongs to."""

    id: int
    draft: Draft
    part_id: int
    intake_id: int


def insert_gears(connection: Connection, gears: Sequence[NewGear], added_at: str) -> None:
    """Write gears."""
    common = {"state": CURRENT, "added_at": added_at}
    numbers = [{"id": gear.id, "part_id": gear.part_id, "intake_id": gear.intake_id} for gear in gears]
    rows = [{**ids, **common, **gear.draft.row} for ids, gear in zip(numbers, gears, strict=True)]
    insert_rows(connection, GEAR, rows)


def supersede(connection: Connection, pairs: Sequence[tuple[int, int]]) -> None:
    """Mark gears as superseded: (old, new) row numbers."""
    rows = [{"id": old, "state": SUPERSEDED, "superseded_by": new} for old, new in pairs]
    change_state(connection, GEAR, rows)


def superseding(draft: Draft, new: int, old: int, changed: Sequence[str]) -> LogEntry:
    """What the log says of a gear that takes the place of another."""
    detail = {"supersedes": old, "changed": list(changed)}
    return LogEntry("supersede", draft.row["part_number"], draft.serial, draft.measured_key, new, detail)


def remove_gears(store: HistoryStore, which: Selection, *, remark: str | None = None) -> Sequence[StoredGear]:
    """Take the chosen gears out of the count and return them; rows and results are kept, and it is logged."""
    entries = []
    with store.writing() as connection:
        gears = list(select_gears(connection, which))
        for gear in gears:
            key = identity_text(gear.measured_at)
            entries.append(
                LogEntry("remove", gear.part_number, gear.serial, key, gear.id, {"remark": remark})
            )
        change_state(connection, GEAR, [{"id": gear.id, "state": REMOVED} for gear in gears])
        log(connection, *entries)
    return gears


def one_measurement_each(gears: Sequence[StoredGear], measured_at: datetime | None) -> list[StoredGear]:
    """The only measurement of each serial, or the one of a time; raises StoreError if there are several."""
    chosen = [gear for gear in gears if measured_at in (None, gear.measured_at)]
    if not chosen:
        raise StoreError("no measurement of that time", hint="look at: gearqa history list")
    parts = sorted({gear.part_number for gear in chosen})
    if len(parts) > 1:
        raise StoreError(f"serials of several parts: {', '.join(parts)}", hint="add --part-number P")
    serials = [gear.serial for gear in chosen]
    double = next((serial for serial in serials if serials.count(serial) > 1), None)
    if double is not None:
        times = ", ".join(time_text(gear.measured_at) for gear in chosen if gear.serial == double)
        raise StoreError(
            f"'{double}' was measured several times: {times}", hint="choose one with --measured-at T"
        )
    return chosen

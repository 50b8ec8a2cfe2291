"""Freezes the period that control limits come from, until another is frozen or it is released."""

from __future__ import annotations

from datetime import datetime

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from gearqa.errors import StoreError
from gearqa.history.queries import select_references
from gearqa.history.sealed_rows import change_state, insert_rows, next_id
from gearqa.history.sql_tables import CURRENT, GEAR, REFERENCE, REMOVED, SUPERSEDED
from gearqa.history.store import HistoryStore, LogEntry, log, now
from gearqa.history.stored_texts import stored_text, utc_text
from gearqa.model.history import FrozenReference


def freeze_period(
    store: HistoryStore,
    part_number: str,
    grinder: str,
    from_at: datetime,
    to_at: datetime,
    *,
    remark: str | None = None,
) -> tuple[FrozenReference, int]:
    """Freeze a period; return it and the number of gears in it. One frozen before is superseded.

    Raises StoreError if no gear of that part was made there on that grinder.
    """
    if utc_text(from_at) >= utc_text(to_at):
        raise StoreError(f"a reference from {from_at.isoformat()} to {to_at.isoformat()} is empty")
    with store.writing() as connection:
        of_part = (GEAR.c.state == CURRENT, GEAR.c.part_number == part_number, GEAR.c.grinder == grinder)
        inside = (GEAR.c.finished_utc >= utc_text(from_at), GEAR.c.finished_utc <= utc_text(to_at))
        count = sa.select(sa.func.count()).select_from(GEAR)
        gears = int(connection.execute(count.where(*of_part, *inside)).scalar_one())
        if not gears:
            first, last = connection.execute(
                sa.select(sa.func.min(GEAR.c.finished_utc), sa.func.max(GEAR.c.finished_utc)).where(*of_part)
            ).one()
            there = f"its gears there were made from {first} to {last}" if first else "there are none at all"
            raise StoreError(
                f"history store {store.shown} has no gear of part {part_number} made on grinder {grinder} in "
                f"that time: {there}",
                hint="look at: gearqa history list",
            )
        first, last = stored_text(from_at), stored_text(to_at)
        _take_out(connection, part_number, grinder, SUPERSEDED)
        row = {
            "id": next_id(connection, REFERENCE),
            "part_number": part_number,
            "grinder": grinder,
            "from_at": first,
            "to_at": last,
            "remark": remark,
            "state": CURRENT,
            "frozen_at": now(),
        }
        insert_rows(connection, REFERENCE, [row])
        detail = {"grinder": grinder, "from": first, "to": last, "remark": remark}
        log(connection, LogEntry("freeze", part_number, detail=detail))
        (frozen,) = select_references(connection, part_number=part_number, grinder=grinder)
    return frozen, gears


def release_period(store: HistoryStore, part_number: str, grinder: str) -> None:
    """Take the reference of a part and grinder out of use; raises StoreError if there is none."""
    with store.writing() as connection:
        if not _take_out(connection, part_number, grinder, REMOVED):
            raise StoreError(
                f"history store {store.shown} has no frozen reference of part {part_number} on grinder "
                f"{grinder}"
            )
        log(connection, LogEntry("release", part_number, detail={"grinder": grinder}))


def _take_out(connection: Connection, part_number: str, grinder: str, state: str) -> bool:
    """Take the reference that counts out of use; whether there was one."""
    query = sa.select(REFERENCE.c.id).where(
        REFERENCE.c.part_number == part_number, REFERENCE.c.grinder == grinder, REFERENCE.c.state == CURRENT
    )
    numbers = list(connection.execute(query).scalars())
    change_state(connection, REFERENCE, [{"id": number, "state": state} for number in numbers])
    return bool(numbers)


def period_of_dresses(
    store: HistoryStore, part_number: str, grinder: str, first: str, last: str
) -> tuple[datetime, datetime]:
    """Time from the first gear of one dress to the last gear of another, both by their labels."""
    ends: list[str] = []
    with store.reading() as connection:
        for label, end in ((first, sa.func.min), (last, sa.func.max)):
            query = sa.select(end(GEAR.c.finished_utc), sa.func.count(GEAR.c.wheel.distinct())).where(
                GEAR.c.state == CURRENT,
                GEAR.c.part_number == part_number,
                GEAR.c.grinder == grinder,
                GEAR.c.dress == label,
            )
            at, wheels = connection.execute(query).one()
            if at is None:
                raise StoreError(
                    f"history store {store.shown} has no gear of part {part_number} on grinder {grinder} "
                    f"with a time and dress '{label}'",
                    hint="give times, or look at the labels with: gearqa history list",
                )
            if wheels > 1:
                raise StoreError(f"dress '{label}' was used with {wheels} wheels", hint="give times instead")
            ends.append(at)
    return datetime.fromisoformat(ends[0]), datetime.fromisoformat(ends[1])

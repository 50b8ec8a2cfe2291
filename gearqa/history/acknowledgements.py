"""Signals that somebody has seen; a row is undone by a further row, never changed."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from gearqa.errors import StoreError
from gearqa.history.queries import read_row
from gearqa.history.sealed_rows import insert_rows, next_id
from gearqa.history.sql_tables import ACKNOWLEDGEMENT
from gearqa.history.store import HistoryStore, LogEntry, log, now
from gearqa.history.stored_texts import stored_text
from gearqa.model.history import Acknowledgement, WatchSignal

COPIED = ("part_number", "grinder", "parameter", "flank", "cycle", "dress", "sentence")


def keep_acknowledgements(
    store: HistoryStore, signals: Sequence[WatchSignal], *, by: str, cause: str, action: str, at: datetime
) -> list[Acknowledgement]:
    """Keep that somebody has seen signals of series."""
    said = {"seen_by": by, "cause": cause, "action": action, "at": stored_text(at), "undoes": None}
    with store.writing() as connection:
        first = next_id(connection, ACKNOWLEDGEMENT)
        rows = [
            {"id": number, **{name: getattr(one, name) for name in COPIED}, **said, "added_at": now()}
            for number, one in enumerate(signals, first)
        ]
        insert_rows(connection, ACKNOWLEDGEMENT, rows)
        log(
            connection,
            *(LogEntry("acknowledge", row["part_number"], detail={"number": row["id"]}) for row in rows),
        )
        return [one for one in select_acknowledgements(connection) if one.id >= first]


def load_acknowledgements(
    store: HistoryStore, *, part_number: str | None = None, grinder: str | None = None
) -> list[Acknowledgement]:
    """Acknowledgements that count, as they were made."""
    with store.reading() as connection:
        return select_acknowledgements(connection, part_number=part_number, grinder=grinder)


def undo_acknowledgement(
    store: HistoryStore, number: int, *, by: str, remark: str, at: datetime
) -> Acknowledgement:
    """Take an acknowledgement back by a further row; raises StoreError if none of that number counts."""
    with store.writing() as connection:
        counting = {one.id: one for one in select_acknowledgements(connection)}
        if number not in counting:
            raise StoreError(
                f"history store {store.shown} has no acknowledgement {number} that counts",
                hint="gearqa history list --events",
            )
        own = next_id(connection, ACKNOWLEDGEMENT)
        row = {
            "id": own, **{name: getattr(counting[number], name) for name in COPIED}, "seen_by": by,
            "cause": remark, "action": "", "at": stored_text(at), "undoes": number, "added_at": now(),
        }  # fmt: skip
        insert_rows(connection, ACKNOWLEDGEMENT, [row])
        log(connection, LogEntry("undo_acknowledgement", row["part_number"], detail={"number": number}))
    return counting[number]


def select_acknowledgements(
    connection: Connection,
    *,
    part_number: str | None = None,
    grinder: str | None = None,
    every: bool = False,
) -> list[Acknowledgement]:
    """Acknowledgements that count, as they were made; `every`: also undone ones, and what undid them."""
    query = sa.select(ACKNOWLEDGEMENT).order_by(ACKNOWLEDGEMENT.c.id)
    if part_number is not None:
        query = query.where(ACKNOWLEDGEMENT.c.part_number == part_number)
    if grinder is not None:
        query = query.where(ACKNOWLEDGEMENT.c.grinder == grinder)
    found = [read_row(Acknowledgement, row) for row in connection.execute(query)]
    undone = {one.undoes for one in found}
    return [one for one in found if every or (one.undoes is None and one.id not in undone)]

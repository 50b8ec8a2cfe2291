"""Grinder events: dress, wheel or dresser change, set-up, correction; each is kept once."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import asdict
from typing import Any

import orjson
import sqlalchemy as sa
from sqlalchemy.engine import Connection

from gearqa.errors import StoreError
from gearqa.history.sealed_rows import change_state, insert_rows, next_id
from gearqa.history.sql_tables import CURRENT, EVENT, REMOVED
from gearqa.history.store import HistoryStore, LogEntry, log, now
from gearqa.history.stored_texts import identity_text, stored_text, utc_text
from gearqa.model.measurement import GrinderEvent


def add_events(connection: Connection, events: Sequence[GrinderEvent], *, folder: str | None = None) -> int:
    """Add the events that are not there yet; return how many that were."""
    if not events:
        return 0
    rows = {_digest(event): event for event in events}
    known: set[str] = set()
    digests = list(rows)
    for start in range(0, len(digests), 500):
        query = sa.select(EVENT.c.digest).where(
            EVENT.c.state == CURRENT, EVENT.c.digest.in_(digests[start : start + 500])
        )
        known.update(connection.execute(query).scalars())
    first, added_at = next_id(connection, EVENT), now()
    new = [(digest, event) for digest, event in rows.items() if digest not in known]
    new_rows: list[dict[str, Any]] = [
        {"id": number, "digest": digest, "state": CURRENT, "added_at": added_at, "folder": folder}
        | _columns(event)
        for number, (digest, event) in enumerate(new, first)
    ]
    insert_rows(connection, EVENT, new_rows)
    return len(new)


def keep_event(store: HistoryStore, event: GrinderEvent) -> bool:
    """Keep one event; False if the store has it already."""
    with store.writing() as connection:
        new = add_events(connection, [event]) == 1
        log(connection, LogEntry("event", detail={**_columns(event), "known": not new}))
    return new


def drop_event(store: HistoryStore, number: int) -> None:
    """Take an event out of the count; raises StoreError if there is none of that number."""
    with store.writing() as connection:
        there = sa.select(EVENT.c.id).where(EVENT.c.id == number, EVENT.c.state == CURRENT)
        if connection.execute(there).first() is None:
            raise StoreError(
                f"history store {store.shown} has no event {number}", hint="gearqa history list --events"
            )
        change_state(connection, EVENT, [{"id": number, "state": REMOVED}])
        log(connection, LogEntry("remove_event", detail={"event": number}))


def _columns(event: GrinderEvent) -> dict[str, Any]:
    return {**asdict(event), "at": stored_text(event.at), "at_utc": utc_text(event.at)}


def _digest(event: GrinderEvent) -> str:
    values = {**asdict(event), "at": identity_text(event.at)}
    return hashlib.sha256(orjson.dumps(values, option=orjson.OPT_SORT_KEYS)).hexdigest()

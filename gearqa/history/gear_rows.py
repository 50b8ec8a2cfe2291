"""Writes rows of gears: new ones, and what they supersede."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from gearqa.history.drafts import Draft
from gearqa.history.sql_tables import CURRENT, FIGURE, GEAR, SUPERSEDED
from gearqa.history.store import LogEntry


@dataclass(frozen=True, slots=True)
class NewGear:
    """A draft and the rows it belongs to."""

    id: int
    draft: Draft
    part_id: int
    intake_id: int


def insert_gears(connection: Connection, gears: Sequence[NewGear], added_at: str) -> None:
    """Write gears and their key figures."""
    rows = [
        {
            "id": gear.id,
            "part_id": gear.part_id,
            "intake_id": gear.intake_id,
            "state": CURRENT,
            "added_at": added_at,
            **gear.draft.row,
        }
        for gear in gears
    ]
    connection.execute(GEAR.insert(), rows)
    figures = [{"gear_id": gear.id, **figure} for gear in gears for figure in gear.draft.figures]
    if figures:
        connection.execute(FIGURE.insert(), figures)


def supersede(connection: Connection, pairs: Sequence[tuple[int, int]]) -> None:
    """Mark gears as superseded: (old, new) row numbers."""
    if pairs:
        connection.execute(
            GEAR.update()
            .where(GEAR.c.id == sa.bindparam("old"))
            .values(state=SUPERSEDED, superseded_by=sa.bindparam("new")),
            [{"old": old, "new": new} for old, new in pairs],
        )


def superseding(draft: Draft, new: int, old: int, changed: Sequence[str]) -> LogEntry:
    """What the log says of a gear that takes the place of another."""
    detail = {"supersedes": old, "changed": list(changed)}
    return LogEntry("supersede", draft.row["part_number"], draft.serial, draft.measured_key, new, detail)

"""Checks a whole store: the database's own check, every result, and the raw files on request."""

from __future__ import annotations

import zlib
from collections.abc import Iterator
from typing import Any, Final

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from gearqa.history.passing import Passing, unwatched
from gearqa.history.queries import PORTION
from gearqa.history.raw_files import folder_faults, read_intakes
from gearqa.history.sql_tables import CURRENT, EVENT, GEAR, INTAKE, REMOVED, SUPERSEDED
from gearqa.history.store import HistoryStore
from gearqa.history.stored_texts import unpacked
from gearqa.model.history import CheckReport, StoreFinding

NAMED: Final = 20


def check_store(store: HistoryStore, *, files: bool = False, passing: Passing = unwatched) -> CheckReport:
    """Check a whole store; `files` compares the raw files with their digests too."""
    with store.reading() as connection:
        findings = [*_database(connection), *_results(connection, passing), *_links(connection)]
        by_state = {
            state: int(connection.execute(_count(GEAR).where(GEAR.c.state == state)).scalar_one())
            for state in (CURRENT, SUPERSEDED, REMOVED)
        }
        events = int(connection.execute(_count(EVENT).where(EVENT.c.state == CURRENT)).scalar_one())
        intakes = int(connection.execute(_count(INTAKE)).scalar_one())
        places = read_intakes(connection) if files else {}
    checked = 0
    for intake in places.values():
        findings += [StoreFinding("raw_file", fault) for fault in folder_faults(intake)]
        checked += len(intake.digests)
    return CheckReport(
        by_state[CURRENT], by_state[SUPERSEDED], by_state[REMOVED], events, intakes, checked, tuple(findings)
    )


def _count(table: sa.Table) -> sa.Select[Any]:
    return sa.select(sa.func.count()).select_from(table)


def _database(connection: Connection) -> Iterator[StoreFinding]:
    if connection.dialect.name != "sqlite":
        return
    for (text,) in connection.exec_driver_sql(f"PRAGMA integrity_check({NAMED})"):
        if text != "ok":
            yield StoreFinding("damaged", f"the file is damaged: {text}")
    for table, row, parent, _ in connection.exec_driver_sql("PRAGMA foreign_key_check"):
        yield StoreFinding(
            "lost_link", f"row {row} of {table} belongs to a row of {parent} that is not there"
        )


def _results(connection: Connection, passing: Passing) -> Iterator[StoreFinding]:
    total = int(connection.execute(_count(GEAR)).scalar_one())
    query = sa.select(GEAR.c.id, GEAR.c.serial, GEAR.c.result).order_by(GEAR.c.id)
    with connection.execute(query.execution_options(yield_per=PORTION)) as rows:
        for row in passing(rows, total=total):
            try:
                same = unpacked(row.result)["serial"] == row.serial
            except (zlib.error, ValueError, KeyError, TypeError):
                same = False
            if not same:
                yield StoreFinding(
                    "damaged_result", f"the result of gear {row.serial} (row {row.id}) is damaged"
                )


def _links(connection: Connection) -> Iterator[StoreFinding]:
    successor = GEAR.alias()
    followed = sa.select(successor.c.id).where(successor.c.id == GEAR.c.superseded_by).exists()
    lost = sa.select(GEAR.c.id, GEAR.c.serial).where(GEAR.c.state == SUPERSEDED, ~followed)
    for row in connection.execute(lost.limit(NAMED)):
        yield StoreFinding(
            "lost_successor", f"gear {row.serial} (row {row.id}) is superseded by a gear that is not there"
        )

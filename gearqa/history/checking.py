"""Checks a whole store: the database's own check, the chain with every row, and the raw files on request."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Any, Final

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from gearqa.history.chain_checks import ChainWalk, row_findings
from gearqa.history.passing import Passing, unwatched
from gearqa.history.raw_files import folder_faults, read_intakes
from gearqa.history.sql_tables import CURRENT, DELIVERY, EVENT, GEAR, INTAKE, REMOVED, SUPERSEDED
from gearqa.history.store import HistoryStore, new_in_memory
from gearqa.model.history import CheckReport, StoreFinding

NAMED: Final = 20
OBJECTS: Final = (
    "SELECT type || ' ' || name, coalesce(sql, '') FROM sqlite_master WHERE tbl_name LIKE 'gearqa%'"
)


def check_store(
    store: HistoryStore, *, files: bool = False, head: str | None = None, passing: Passing = unwatched
) -> CheckReport:
    """Check a whole store.

    `files` compares the raw files with their digests too; `head` is an earlier end of the chain, which must
    still be in it.
    """
    chain = ChainWalk(head)
    with store.reading() as connection:
        findings = list(store_findings(connection, chain, passing))
        by_state = {
            state: int(connection.execute(_count(GEAR).where(GEAR.c.state == state)).scalar_one())
            for state in (CURRENT, SUPERSEDED, REMOVED)
        }
        events = int(connection.execute(_count(EVENT).where(EVENT.c.state == CURRENT)).scalar_one())
        intakes = int(connection.execute(_count(INTAKE)).scalar_one())
        deliveries = int(connection.execute(_count(DELIVERY).where(DELIVERY.c.state == CURRENT)).scalar_one())
        places = read_intakes(connection) if files else {}
    checked = 0
    for intake in places.values():
        findings += [StoreFinding("raw_file", fault) for fault in folder_faults(intake)]
        checked += len(intake.digests)
    return CheckReport(
        by_state[CURRENT], by_state[SUPERSEDED], by_state[REMOVED], events, intakes, deliveries, checked,
        chain.head, tuple(findings),
    )  # fmt: skip


def store_findings(
    connection: Connection, chain: ChainWalk, passing: Passing = unwatched
) -> Iterator[StoreFinding]:
    """What is wrong with the database itself."""
    yield from _database(connection)
    yield from _readable(connection, chain.findings(connection))
    yield from _readable(connection, row_findings(connection, passing))
    yield from _links(connection)


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

    found = {tuple(row) for row in connection.exec_driver_sql(OBJECTS)}
    for name in sorted({name for name, _ in found ^ set(new_in_memory(OBJECTS))}):
        yield StoreFinding("schema", f"the {name} is not as gearqa makes it")


def _readable(connection: Connection, findings: Iterable[StoreFinding]) -> Iterator[StoreFinding]:
    """Findings as far as a damaged file can be read."""
    try:
        yield from findings
    except sa.exc.DBAPIError as error:
        if connection.dialect.name != "sqlite":
            raise
        yield StoreFinding("damaged", f"the file is damaged and cannot be read through: {error.orig}")


def _links(connection: Connection) -> Iterator[StoreFinding]:
    successor = GEAR.alias()
    followed = sa.select(successor.c.id).where(successor.c.id == GEAR.c.superseded_by).exists()
    lost = sa.select(GEAR.c.id, GEAR.c.serial).where(GEAR.c.state == SUPERSEDED, ~followed)
    for row in connection.execute(lost.limit(NAMED)):
        yield StoreFinding(
            "lost_successor", f"gear {row.serial} (row {row.id}) is superseded by a gear that is not there"
        )

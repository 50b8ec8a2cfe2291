"""Opens a history store: connection, schema version, transactions.

SQLite is used with a rollback journal and full synchronisation. The write-ahead log would be faster, but
it works only for programs of one computer, and two stations may share a network folder; besides, releases
before 3.51.3 can damage a file in that mode.
Every write begins with the write lock (BEGIN IMMEDIATE; on PostgreSQL an advisory lock): a transaction
that reads first and locks later fails against a second writer, however long it waits.
"""

from __future__ import annotations

import contextlib
import os
import platform
import sqlite3
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Any, Final, Self

import sqlalchemy as sa
from sqlalchemy.engine import Connection, Engine
from sqlalchemy.pool import NullPool, StaticPool

from gearqa.errors import StoreError
from gearqa.history.faults import in_words
from gearqa.history.sql_tables import AUDIT, CURRENT, GEAR, HEAD, VERSION_TABLE
from gearqa.history.store_location import Location, locate
from gearqa.history.stored_texts import dumps
from gearqa.version import __version__

LOCK_SECONDS: Final = 60.0
"""How long a write waits for another writer."""
CONNECT_SECONDS: Final = 10
SQLITE_BEGINNING: Final = b"SQLite format 3\0"
WRITES: Final = "gearqa_writes"
ADVISORY_LOCK: Final = 0x67656172
"""Key of PostgreSQL's advisory lock that writers of a store take in turn."""


class HistoryStore:
    """An open store. Reading a file that does not exist yet finds nothing and does not create it."""

    def __init__(self, location: Location, engine: Engine, *, exists: bool) -> None:
        self.location = location
        self.exists = exists
        """Whether it was there before it was opened."""
        self.created = False
        self._engine = engine

    @classmethod
    def open(
        cls,
        where: str | None = None,
        *,
        writing: bool = False,
        environ: Mapping[str, str] | None = None,
        lock_seconds: float = LOCK_SECONDS,
    ) -> Self:
        """Open a store for reading, or for reading and writing; then it is created where there is none.

        Raises StoreError for a place that is no store, is damaged, or has a schema this program
        does not know.
        """
        location = locate(where, environ)
        with in_words(location):
            engine, exists = _engine(location, writing=writing, lock_seconds=lock_seconds)
            store = cls(location, engine, exists=exists)
            try:
                store._bring_up_to_date(may_write=writing or not exists)
                store.created = writing and not exists
            except BaseException:
                store.close()
                raise
        return store

    @property
    def shown(self) -> str:
        """Where the store lies, without password."""
        return self.location.shown

    @contextlib.contextmanager
    def reading(self) -> Iterator[Connection]:
        """One consistent view of the store."""
        with in_words(self.location), self._engine.connect() as connection:
            if self._engine.dialect.name == "postgresql":
                connection.execution_options(isolation_level="REPEATABLE READ", postgresql_readonly=True)
            with connection.begin():
                yield connection

    @contextlib.contextmanager
    def writing(self) -> Iterator[Connection]:
        """One transaction under the write lock: all of it is kept, or nothing."""
        with in_words(self.location), self._engine.connect() as connection:
            connection.execution_options(**{WRITES: True})
            with connection.begin():
                yield connection

    def gear_count(self) -> int:
        """Gears that count: neither superseded nor removed."""
        query = sa.select(sa.func.count()).select_from(GEAR).where(GEAR.c.state == CURRENT)
        with self.reading() as connection:
            return int(connection.execute(query).scalar_one())

    def close(self) -> None:
        """Give up the connections."""
        self._engine.dispose()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def _bring_up_to_date(self, *, may_write: bool) -> None:
        with self.reading() as connection:
            found = self._version(connection)
        if found == HEAD:
            return
        if not may_write and self.location.path is not None and not os.access(self.location.path, os.W_OK):
            if found is None:
                raise self._foreign("is an empty database file")
            self._upgrade_needed(found)
        with self.writing() as connection:
            found = self._version(connection)
            if found == HEAD:
                return
            from gearqa.history.migrations.run import upgrade

            upgrade(connection, found, self.shown)
            if found is not None:
                log(connection, LogEntry("schema", detail={"from": found, "to": HEAD}))

    def _upgrade_needed(self, found: str) -> None:
        from gearqa.history.migrations.run import newer_schema, scripts

        if found not in {script.revision for script in scripts().walk_revisions()}:
            raise newer_schema(found, self.shown)
        raise StoreError(
            f"history store {self.shown} has the older schema version {found} and is write-protected",
            hint="allow writing to it once, so that it can be brought up to date",
        )

    def _version(self, connection: Connection) -> str | None:
        """Schema version that is there; None of an empty database."""
        tables = sa.inspect(connection).get_table_names()
        if VERSION_TABLE not in tables:
            if tables and self.location.path is not None:
                raise self._foreign(f"is a database of something else (it has a table '{tables[0]}')")
            return None
        table = sa.table(VERSION_TABLE, sa.column("version_num"))
        version: str | None = connection.execute(sa.select(table.c.version_num)).scalar_one_or_none()
        return version

    def _foreign(self, what: str) -> StoreError:
        return StoreError(
            f"{self.shown} {what}, not a history store",
            hint="name another file with --store; nothing was changed",
        )


def _engine(location: Location, *, writing: bool, lock_seconds: float) -> tuple[Engine, bool]:
    if location.url is not None:
        return _postgres_engine(location.url, lock_seconds), True
    exists = _look_at_file(location, writing=writing)
    if not exists and not writing:
        engine = sa.create_engine("sqlite://", poolclass=StaticPool, connect_args={"isolation_level": None})
    else:
        engine = _sqlite_engine(location, writing=writing, lock_seconds=lock_seconds)
    _begin_with_lock(engine, "BEGIN IMMEDIATE")
    return engine, exists


def _look_at_file(location: Location, *, writing: bool) -> bool:
    """Whether the file exists; raise for what cannot be a store."""
    path = location.path
    assert path is not None
    if path.is_dir():
        raise StoreError(f"{path} is a folder, a file is needed", hint=f"--store {path / 'history.sqlite'}")
    folder = path.parent
    if location.own and writing:
        try:
            folder.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise StoreError(
                f"the folder {folder} of the history store cannot be created: {error.strerror or error}",
                hint="name another store with --store or $GEARQA_STORE",
            ) from error
    if writing and not folder.is_dir():
        raise StoreError(f"history store {path}: the folder {folder} does not exist", hint="create it first")
    try:
        with path.open("rb") as file:
            beginning = file.read(len(SQLITE_BEGINNING))
    except FileNotFoundError:
        if writing and not os.access(folder, os.W_OK):
            raise StoreError(
                f"history store {path}: the folder {folder} is write-protected",
                hint="allow writing to it, or name another store with --store or $GEARQA_STORE",
            ) from None
        return False
    except OSError as error:
        raise StoreError(f"history store {path} cannot be read: {error.strerror or error}") from error
    if beginning and beginning != SQLITE_BEGINNING:
        raise StoreError(
            f"{path} is not a history store: it is no SQLite file, or its beginning is damaged",
            hint="name another file with --store, or restore the last backup; nothing was changed",
        )
    if writing and not (os.access(path, os.W_OK) and os.access(folder, os.W_OK)):
        which = f"the folder {folder}" if os.access(path, os.W_OK) else "the file"
        raise StoreError(
            f"history store {path}: {which} is write-protected",
            hint="allow writing to the file and to its folder, or name another store with --store",
        )
    return bool(beginning)


def _sqlite_engine(location: Location, *, writing: bool, lock_seconds: float) -> Engine:
    assert location.path is not None
    path = location.path.absolute()
    mode = "rwc" if writing else "rw" if os.access(path, os.W_OK) else "ro"

    def connect() -> sqlite3.Connection:
        connection = sqlite3.connect(
            f"{path.as_uri()}?mode={mode}", uri=True, timeout=lock_seconds, isolation_level=None,
            check_same_thread=False,
        )  # fmt: skip
        connection.execute("PRAGMA foreign_keys = ON")
        connection.execute("PRAGMA synchronous = EXTRA")
        if writing:
            with contextlib.suppress(sqlite3.OperationalError):  # in use in another mode: leave it so
                connection.execute("PRAGMA journal_mode = DELETE")
        return connection

    return sa.create_engine("sqlite://", creator=connect, poolclass=NullPool)


def _postgres_engine(url: str, lock_seconds: float) -> Engine:
    engine = sa.create_engine(
        url,
        pool_pre_ping=True,
        connect_args={"connect_timeout": CONNECT_SECONDS, "application_name": "gearqa"},
    )
    milliseconds = int(1000 * lock_seconds)
    _begin_with_lock(
        engine,
        f"SET LOCAL lock_timeout = {milliseconds}",
        f"SELECT pg_advisory_xact_lock({ADVISORY_LOCK})",
    )
    return engine


def _begin_with_lock(engine: Engine, *statements: str) -> None:
    """Begin transactions of writers with the write lock."""

    def begin(connection: Connection) -> None:
        if connection.get_execution_options().get(WRITES):
            for statement in statements:
                connection.exec_driver_sql(statement)
        elif engine.dialect.name == "sqlite":
            connection.exec_driver_sql("BEGIN")

    sa.event.listen(engine, "begin", begin)


def now() -> str:
    """The time of an entry."""
    return datetime.now(UTC).isoformat(timespec="milliseconds")


def station() -> str:
    """Which computer made an entry."""
    return platform.node() or "unknown"


def next_id(connection: Connection, table: sa.Table) -> int:
    """First free row number; safe under the write lock."""
    return int(connection.execute(sa.select(sa.func.coalesce(sa.func.max(table.c.id), 0))).scalar_one()) + 1


@dataclass(frozen=True, slots=True)
class LogEntry:
    """One thing done to the store."""

    action: str
    part_number: str | None = None
    serial: str | None = None
    measured_key: str | None = None
    gear_id: int | None = None
    detail: Mapping[str, Any] = field(default_factory=dict)


def log(connection: Connection, *entries: LogEntry) -> None:
    """Log what is done to the store, in the same transaction."""
    if not entries:
        return
    first = next_id(connection, AUDIT)
    common = {"at": now(), "station": station(), "version": __version__}
    rows = [
        {
            "id": first + number,
            **common,
            "action": entry.action,
            "part_number": entry.part_number,
            "serial": entry.serial,
            "measured_key": entry.measured_key,
            "gear_id": entry.gear_id,
            "detail": dumps(entry.detail),
        }
        for number, entry in enumerate(entries)
    ]
    connection.execute(AUDIT.insert(), rows)

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
from dataclasses import asdict, dataclass, field
from datetime import UTC, datetime
from functools import cache
from pathlib import Path
from typing import Any, Final, Self

import sqlalchemy as sa
from sqlalchemy.engine import Connection, Engine
from sqlalchemy.pool import NullPool, QueuePool

from gearqa.errors import StoreBusyError, StoreError
from gearqa.history.faults import SAVE_A_COPY, in_words
from gearqa.history.sealed_rows import insert_rows, next_id
from gearqa.history.sql_tables import AUDIT, CURRENT, GEAR, HEAD, VERSION_TABLE
from gearqa.history.store_location import Location, locate
from gearqa.history.stored_texts import dumps
from gearqa.version import __version__

LOCK_SECONDS: Final = 60.0
"""How long a write waits for another writer."""
CONNECT_SECONDS: Final = 10
FIRST_WRITES: Final = 5
"""Tries to create a file: a station that fails at it takes away the file that others have open too."""
WRITES: Final = "gearqa_writes"
ADVISORY_LOCK: Final = 0x67656172
"""Key of PostgreSQL's advisory lock that writers of a store take in turn."""


class HistoryStore:
    """An open store. A file that does not exist yet reads as an empty store; the first write creates it."""

    def __init__(self, location: Location, engine: Engine, new_file: Engine | None, *, exists: bool) -> None:
        self.location = location
        self.exists = exists
        """Whether it was there before it was opened."""
        self._engine = engine
        self._new_file = new_file
        """The file that the first write creates; until then `_engine` is empty, in memory."""
        self.created = new_file is not None

    @classmethod
    def open(
        cls,
        where: str | None = None,
        *,
        writing: bool = False,
        environ: Mapping[str, str] | None = None,
        lock_seconds: float = LOCK_SECONDS,
    ) -> Self:
        """Open a store for reading, or for reading and writing.

        Raises StoreError for a place that is no store, is damaged, or has a schema this program
        does not know.
        """
        location = locate(where, environ)
        with in_words(location):
            if location.url is not None:
                store = cls(location, _postgres_engine(location.url, lock_seconds), None, exists=True)
            else:
                exists = _look_at_file(location, writing=writing)
                file = _sqlite_engine(location, writing=writing, lock_seconds=lock_seconds)
                memory = None if exists else _empty_engine()
                store = cls(location, memory or file, file if memory and writing else None, exists=exists)
            try:
                store._bring_up_to_date(may_write=writing or not store.exists)
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
        if self._new_file is not None and self._path.exists() and self._path.stat().st_size:
            self._use_new_file()  # another station has created it
        with in_words(self.location), self._engine.connect() as connection:
            if self._engine.dialect.name == "postgresql":
                connection.execution_options(isolation_level="REPEATABLE READ", postgresql_readonly=True)
            with connection.begin():
                yield connection

    @contextlib.contextmanager
    def writing(self) -> Iterator[Connection]:
        """One transaction under the write lock: all of it is kept, or nothing."""
        if self._new_file is None:
            with self._locked(self._engine) as connection:
                yield connection
            return
        for attempt in range(1, FIRST_WRITES + 1):
            was_there, locked = self._path.exists(), False
            try:
                with self._locked(self._new_file) as connection:
                    locked = self._path.exists()
                    if not locked and attempt < FIRST_WRITES:
                        continue
                    found = self._version(connection)
                    try:
                        self._upgrade(connection, found)
                        yield connection
                    except BaseException:
                        if found is None and not was_there:  # under the lock nobody else has written to it
                            with contextlib.suppress(OSError):
                                self._path.unlink()
                        raise
                break
            except StoreBusyError:
                raise
            except StoreError:
                if locked or attempt == FIRST_WRITES:
                    raise
        self._use_new_file()

    @contextlib.contextmanager
    def _locked(self, engine: Engine) -> Iterator[Connection]:
        with in_words(self.location), engine.connect() as connection:
            connection.execution_options(**{WRITES: True})
            with connection.begin():
                yield connection

    def _use_new_file(self) -> None:
        assert self._new_file is not None
        self._engine.dispose()
        self._engine, self._new_file = self._new_file, None

    @property
    def _path(self) -> Path:
        assert self.location.path is not None
        return self.location.path

    def gear_count(self) -> int:
        """Gears that count: neither superseded nor removed."""
        query = sa.select(sa.func.count()).select_from(GEAR).where(GEAR.c.state == CURRENT)
        with self.reading() as connection:
            return int(connection.execute(query).scalar_one())

    def close(self) -> None:
        """Close the connections."""
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
            raise self._upgrade_needed(found)
        with self._locked(self._engine) as connection:
            self._upgrade(connection, self._version(connection))

    def _upgrade(self, connection: Connection, found: str | None) -> None:
        if found == HEAD:
            return
        from gearqa.history.migrations.run import upgrade

        upgrade(connection, found, self.shown)
        if found is not None:
            log(connection, LogEntry("schema", detail={"from": found, "to": HEAD}))

    def _upgrade_needed(self, found: str) -> StoreError:
        from gearqa.history.migrations.run import newer_schema, scripts

        if found not in {script.revision for script in scripts().walk_revisions()}:
            return newer_schema(found, self.shown)
        return StoreError(
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
        versions = list(connection.execute(sa.select(table.c.version_num)).scalars())
        if len(versions) != 1 and (versions or len(tables) > 1):
            raise StoreError(f"history store {self.shown}: its schema version is damaged", hint=SAVE_A_COPY)
        return str(versions[0]) if versions else None

    def _foreign(self, what: str) -> StoreError:
        return StoreError(
            f"{self.shown} {what}, not a history store",
            hint="name another file with --store; nothing was changed",
        )


@cache
def new_in_memory(query: str) -> tuple[tuple[Any, ...], ...]:
    """What a query gives of a store just made."""
    from gearqa.history.migrations.run import upgrade

    with _empty_engine().begin() as connection:
        upgrade(connection, None, "in memory")
        return tuple(tuple(row) for row in connection.exec_driver_sql(query))


def _empty_engine() -> Engine:
    """A database in memory: one connection, which threads use in turn."""
    engine = sa.create_engine(
        "sqlite://", poolclass=QueuePool, pool_size=1, max_overflow=0,
        connect_args={"isolation_level": None, "check_same_thread": False},
    )  # fmt: skip
    return _begin_with_lock(engine, "BEGIN IMMEDIATE")


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
        size = path.stat().st_size  # not opened here: closing a file ends all locks of this process on it
    except FileNotFoundError:
        if writing and not os.access(folder, os.W_OK):
            raise StoreError(
                f"history store {path}: the folder {folder} is write-protected",
                hint="allow writing to it, or name another store with --store or $GEARQA_STORE",
            ) from None
        return False
    except OSError as error:
        raise StoreError(f"history store {path} cannot be read: {error.strerror or error}") from error
    if not os.access(path, os.R_OK):
        raise StoreError(f"history store {path} cannot be read: it is read-protected")
    if writing and not (os.access(path, os.W_OK) and os.access(folder, os.W_OK)):
        which = f"the folder {folder}" if os.access(path, os.W_OK) else "the file"
        raise StoreError(
            f"history store {path}: {which} is write-protected",
            hint="allow writing to the file and to its folder, or name another store with --store",
        )
    return bool(size)


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

    engine = sa.create_engine("sqlite://", creator=connect, poolclass=NullPool)
    return _begin_with_lock(engine, "BEGIN IMMEDIATE")


def _postgres_engine(url: str, lock_seconds: float) -> Engine:
    engine = sa.create_engine(
        url, pool_pre_ping=True,
        connect_args={"connect_timeout": CONNECT_SECONDS, "application_name": "gearqa"},
    )  # fmt: skip
    timeout = f"SET LOCAL lock_timeout = {int(1000 * lock_seconds)}"
    return _begin_with_lock(engine, timeout, f"SELECT pg_advisory_xact_lock({ADVISORY_LOCK})")


def _begin_with_lock(engine: Engine, *statements: str) -> Engine:
    """Begin transactions of writers with the write lock."""

    def begin(connection: Connection) -> None:
        if connection.get_execution_options().get(WRITES):
            for statement in statements:
                connection.exec_driver_sql(statement)
        elif engine.dialect.name == "sqlite":
            connection.exec_driver_sql("BEGIN")

    sa.event.listen(engine, "begin", begin)
    return engine


def now() -> str:
    """The time of an entry."""
    return datetime.now(UTC).isoformat(timespec="milliseconds")


def station() -> str:
    """Which computer made an entry."""
    return platform.node() or "unknown"


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
    first = next_id(connection, AUDIT)
    common = {"at": now(), "station": station(), "version": __version__}
    rows = [
        {"id": number, **common, **asdict(entry), "detail": dumps(entry.detail)}
        for number, entry in enumerate(entries, first)
    ]
    insert_rows(connection, AUDIT, rows)

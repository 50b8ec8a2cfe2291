"""Faults of SQLite and PostgreSQL in words: what happened, to which store, what to do."""

from __future__ import annotations

import contextlib
import sqlite3
from collections.abc import Iterator

from sqlalchemy.exc import DBAPIError, NoSuchModuleError, SQLAlchemyError

from gearqa.errors import StoreBusyError, StoreError
from gearqa.history.store_location import Location

NOTHING = "nothing was changed"
SAVE_A_COPY = (
    "keep a copy of the file as it is, then restore the last backup; "
    "`gearqa history check` finds what is wrong"
)

# SQLite says what is wrong only in words before Python 3.11; the words are stable over its versions.
SQLITE_FAULTS: tuple[tuple[str, type[StoreError], str, str], ...] = (
    ("database or disk is full", StoreError, "the disk is full", f"{NOTHING}; free some space and try again"),
    (
        "is locked", StoreBusyError, "another program holds it locked",
        f"{NOTHING}; wait until the other one is done, then try again",
    ),
    (
        "readonly database", StoreError, "it is write-protected",
        "allow writing to the file and to its folder, or name another store with --store",
    ),
    (
        "unable to open database file", StoreError, "the file cannot be opened",
        "look at the rights of the file and its folder",
    ),
    (
        "not a database", StoreError,
        "it is not a history store: no SQLite file, or its beginning is damaged",
        "name another file with --store, or restore the last backup; nothing was changed",
    ),
    ("already exists", StoreError, "its schema version does not fit its tables", SAVE_A_COPY),
    ("no such table: gearqa", StoreError, "a table is missing", SAVE_A_COPY),
    ("no such column: gearqa", StoreError, "a column is missing", SAVE_A_COPY),
    ("Could not decode to UTF-8", StoreError, "the file is damaged", SAVE_A_COPY),
    ("unsupported file format", StoreError, "the file is damaged", SAVE_A_COPY),
    ("malformed", StoreError, "the file is damaged", SAVE_A_COPY),
    ("disk I/O error", StoreError, "the disk gives an error on reading or writing", SAVE_A_COPY),
)  # fmt: skip

POSTGRES_FAULTS: dict[str, tuple[type[StoreError], str, str]] = {
    "53100": (StoreError, "the server's disk is full", f"{NOTHING}; free some space on the server"),
    "55P03": (StoreBusyError, "another station holds it locked", f"{NOTHING}; try again when it is done"),
    "25006": (StoreError, "the server is read-only (a standby?)", "name the primary server"),
    "42501": (StoreError, "this user may not do that there", "ask the database administrator for the rights"),
    "28P01": (StoreError, "the server refuses user or password", "set PGPASSWORD or a ~/.pgpass file"),
    "28000": (StoreError, "the server refuses this user", "ask the database administrator"),
    "3D000": (StoreError, "there is no such database", "create it on the server: createdb NAME"),
    "3F000": (
        StoreError, "the search path names no schema that exists",
        "set it for this user: ALTER ROLE NAME SET search_path = public",
    ),
    "42P07": (StoreError, "its schema version does not fit its tables", "restore the last backup"),
    "57P01": (StoreBusyError, "the server was shut down", f"{NOTHING}; try again when it runs"),
}  # fmt: skip

NO_DRIVER = "the driver for PostgreSQL is not installed"
DRIVER_HINT = "install it with: pip install 'gearqa[postgres]'"


@contextlib.contextmanager
def in_words(location: Location) -> Iterator[None]:
    """Turn faults of the database below into StoreError."""
    try:
        yield
    except (SQLAlchemyError, sqlite3.Error, ImportError, UnicodeDecodeError) as error:
        fault = store_error(error, location)
        if fault is None:
            raise
        raise fault from error


def store_error(error: Exception, location: Location) -> StoreError | None:
    """The fault in words; None for what is a fault of this program."""
    head = f"history store {location.shown}"
    if isinstance(error, ImportError | NoSuchModuleError):
        if location.url is None or not _concerns_driver(error):
            return None
        return StoreError(f"{head}: {NO_DRIVER}", hint=DRIVER_HINT)
    if isinstance(error, UnicodeDecodeError):  # SQLite quotes damaged bytes in its message
        return StoreError(f"{head}: the file is damaged", hint=SAVE_A_COPY)
    original = error.orig if isinstance(error, DBAPIError) else error
    if isinstance(original, sqlite3.Error):
        return _sqlite_error(original, head)
    return _postgres_error(original, head)


def _sqlite_error(error: sqlite3.Error, head: str) -> StoreError | None:
    text = str(error)
    for words, kind, what, hint in SQLITE_FAULTS:
        if words in text:
            return kind(f"{head}: {what}", hint=hint)
    return None


def _postgres_error(original: BaseException | None, head: str) -> StoreError | None:
    state = getattr(original, "sqlstate", None)
    if state in POSTGRES_FAULTS:
        kind, what, hint = POSTGRES_FAULTS[state]
        return kind(f"{head}: {what}", hint=hint)
    if type(original).__name__ == "OperationalError" and (state is None or state[:2] in {"08", "53", "57"}):
        first = (str(original).strip().splitlines() or ["no reason given"])[-1]
        return StoreBusyError(
            f"{head}: the server cannot be reached ({first.strip()})",
            hint=f"{NOTHING}; look at host, port and network, then try again",
        )
    return None


def _concerns_driver(error: Exception) -> bool:
    return "psycopg" in str(error) or "pq wrapper" in str(error)

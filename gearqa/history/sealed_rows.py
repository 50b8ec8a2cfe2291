"""Writes rows of a store, each with an entry in the chain; the only place that writes any.

An entry holds the digest of a row (of a gear with its figures) or the state that it changed to, and a
link: the digest of itself and the link before. A row changed, deleted, added or exchanged by anything else
does not agree with the chain any more, and an entry taken out or put in breaks the links after it.
"""

from __future__ import annotations

import hashlib
import math
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from itertools import islice
from operator import itemgetter
from typing import Any, Final

import orjson
import sqlalchemy as sa
from sqlalchemy.engine import Connection

from gearqa.history.sql_tables import CHAIN, FIGURES, GEAR, METADATA

BEGINNING: Final = ""
"""The link before the first."""
STATES: Final = ("state", "superseded_by")
"""Columns that may change; all others stay as they were written."""
PORTION: Final = 500
_Columns = tuple[tuple[str, str, Callable[[Any], Any] | None], ...]


@dataclass(frozen=True, slots=True)
class ChainEntry:
    """What the chain is to hold of one row: its content when it is written, then each change of its state."""

    kind: str
    """Name of its table."""
    row_id: int
    content: str | None
    state: str | None


# --- digests ---------------------------------------------------------------------------------------


def content_digest(table: sa.Table, row: Mapping[str, Any], *, read: bool = True) -> str:
    """Digest of what does not change of a row.

    `read`: a row as `raw_rows` reads it, else as it is handed to SQLAlchemy. Empty columns are left out, so
    that a column added later changes no digest.
    """
    return digest_of([said(table, row, read=read)])


def digest_of(values: Any) -> str:
    """Digest of plain values."""
    return hashlib.sha256(orjson.dumps(values, default=repr)).hexdigest()


def said(table: sa.Table, row: Mapping[str, Any], *, read: bool = True) -> dict[str, Any]:
    """What a row says, the same on every database."""
    return {
        name: value if plain is None else plain(value)
        for name, key, plain in _columns(table, read)
        if (value := row.get(key)) is not None
    }


def state_text(row: Mapping[str, Any]) -> str | None:
    """State of a row; None in tables whose rows have none."""
    if "state" not in row:
        return None
    successor = row.get("superseded_by")
    return str(row["state"]) if successor is None else f"{row['state']} {successor}"


def link_after(link: str, number: int, entry: ChainEntry) -> str:
    """The link of an entry: the digest of the link before it and of all that the entry says."""
    return digest_of([link, number, entry.kind, entry.row_id, entry.content, entry.state])


@cache
def _columns(table: sa.Table, read: bool) -> _Columns:
    """Of each column its name, where rows have it, and how a value is made the same on every database."""
    kept = [*table.columns, *([FIGURES.c.figures] if table is GEAR else [])]
    columns = sorted((str(one.name), one) for one in kept if one.name not in STATES)
    return tuple((name, name if read else str(one.key), _plain_of(one)) for name, one in columns)


def _plain_of(column: sa.Column[Any]) -> Callable[[Any], Any] | None:
    kinds = {sa.Double: _number, sa.Boolean: _truth, sa.LargeBinary: _binary}
    return next((plain for kind, plain in kinds.items() if isinstance(column.type, kind)), None)


def _number(value: Any) -> Any:
    if not isinstance(value, int | float):
        return value
    number = float(value) + 0.0  # SQLite keeps no sign of a zero
    return number if math.isfinite(number) else str(number)


def _truth(value: Any) -> Any:
    return bool(value) if isinstance(value, int) and value in (0, 1) else value


def _binary(value: Any) -> Any:
    return hashlib.sha256(value).hexdigest() if isinstance(value, bytes) else value


# --- writing ---------------------------------------------------------------------------------------


def next_id(connection: Connection, table: sa.Table) -> int:
    """First free row number; safe under the write lock."""
    return int(connection.execute(sa.select(sa.func.coalesce(sa.func.max(table.c.id), 0))).scalar_one()) + 1


def insert_rows(connection: Connection, table: sa.Table, rows: Sequence[Mapping[str, Any]]) -> None:
    """Write rows, of gears with their `figures`; keys as SQLAlchemy has them."""
    if rows:
        _insert(connection, table, rows)
        if table is GEAR:
            _insert(connection, FIGURES, [{"gear_id": row["id"], "figures": row["figures"]} for row in rows])
        append(connection, [_entry(table, row) for row in rows])


def _insert(connection: Connection, table: sa.Table, rows: Sequence[Mapping[str, Any]]) -> None:
    """Insert plain values as the driver takes them: SQLAlchemy's own way takes as long as all else."""
    names = [name for name in rows[0] if name in table.columns]
    statement = table.insert().compile(dialect=connection.dialect, column_keys=names)
    if statement.positiontup is None:
        connection.exec_driver_sql(str(statement), [{name: row[name] for name in names} for row in rows])
    else:
        in_order = itemgetter(*statement.positiontup)
        connection.exec_driver_sql(str(statement), [in_order(row) for row in rows])


def change_state(connection: Connection, table: sa.Table, rows: Iterable[Mapping[str, Any]]) -> None:
    """Change the state of rows: each has its `id`, its new `state` and what else goes with it."""
    listed = list(rows)
    if listed:
        values: dict[str, Any] = {name: sa.bindparam(f"new_{name}") for name in listed[0] if name != "id"}
        update = table.update().where(table.c.id == sa.bindparam("new_id")).values(values)
        connection.execute(update, [{f"new_{k}": v for k, v in row.items()} for row in listed])
    append(connection, [ChainEntry(kind_of(table), row["id"], None, state_text(row)) for row in listed])


def seal_everything(connection: Connection, names: Iterable[str]) -> None:
    """Make the chain of tables that have none, from their rows as they are now."""
    for name in names:
        table = METADATA.tables[f"gearqa_{name}"]
        for portion in portions(raw_rows(connection, table, "id")):
            append(connection, [_entry(table, row, read=True) for row in portion])


def _entry(table: sa.Table, row: Mapping[str, Any], *, read: bool = False) -> ChainEntry:
    return ChainEntry(kind_of(table), row["id"], content_digest(table, row, read=read), state_text(row))


def kind_of(table: sa.Table) -> str:
    """Name of a table in the chain."""
    return table.name.removeprefix("gearqa_")


def append(connection: Connection, entries: Sequence[ChainEntry]) -> None:
    """Append entries to the chain."""
    last = sa.select(CHAIN.c.id, CHAIN.c.link).order_by(CHAIN.c.id.desc()).limit(1)
    found = connection.execute(last).one_or_none()
    number, link = (0, BEGINNING) if found is None else found
    rows = []
    for entry in entries:
        number += 1
        link = link_after(link, number, entry)
        rows.append(
            {
                "id": number, "kind": entry.kind, "row_id": entry.row_id, "content": entry.content,
                "state": entry.state, "link": link,
            }
        )  # fmt: skip
    if rows:
        _insert(connection, CHAIN, rows)


# --- reading ---------------------------------------------------------------------------------------


def raw_rows(connection: Connection, table: sa.Table, *order: str) -> Iterator[dict[str, Any]]:
    """Rows as the database has them, whatever their columns should hold; streamed in an order."""
    yield from streamed(connection, f"SELECT * FROM {table.name} ORDER BY {', '.join(order)}")


def sealed_rows(connection: Connection, table: sa.Table) -> Iterator[dict[str, Any]]:
    """Rows by number, of gears with their figures."""
    if table is not GEAR:
        return raw_rows(connection, table, "id")
    query = (
        "SELECT one.*, own.figures FROM gearqa_gear one LEFT JOIN gearqa_figures own ON own.gear_id = one.id"
    )
    return streamed(connection, f"{query} ORDER BY one.id")


def streamed(connection: Connection, query: str, **values: str) -> Iterator[dict[str, Any]]:
    """Rows of a query, some at a time."""
    rows = connection.execute(sa.text(query).execution_options(yield_per=PORTION), values)
    names = list(rows.keys())
    try:
        for row in rows:
            yield dict(zip(names, row, strict=True))
    finally:  # who stopped half-way over a damaged page may have closed the connection by now
        if not connection.closed:
            rows.close()


def before(one: Any, other: Any) -> bool:
    """Whether a row number comes before another, in the order of the database; damaged ones are texts."""
    return (isinstance(one, str), one) < (isinstance(other, str), other)


def portions(rows: Iterable[Any]) -> Iterator[list[Any]]:
    """Rows in portions, of which each is in memory at once."""
    source = iter(rows)
    while portion := list(islice(source, PORTION)):
        yield portion

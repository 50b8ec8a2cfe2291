"""Tables of the store as SQLAlchemy sees them; made and changed only by the migrations.

Rows are written by `sealed_rows` alone, which keeps the chain.

Numbers of rows are given by the store, under its write lock. Times are ISO 8601 text: with their own
offset for people, in UTC (`..._utc`) to sort by. No row of a gear or event is ever deleted: `state` says
whether it still counts.
"""

from __future__ import annotations

from typing import Any, Final

import sqlalchemy as sa

METADATA: Final = sa.MetaData()
VERSION_TABLE: Final = "gearqa_schema"
HEAD: Final = "0005"
"""Newest schema version: the revision of the last migration."""
CURRENT: Final = "current"
SUPERSEDED: Final = "superseded"
REMOVED: Final = "removed"
_COUNTS: Final = sa.text("state = 'current'")


def _table(name: str, *columns: sa.Column[Any] | sa.Index, **options: Any) -> sa.Table:
    return sa.Table(f"gearqa_{name}", METADATA, *columns, **options)


def _columns(kind: type[sa.types.TypeEngine[Any]], *names: str, **options: Any) -> list[sa.Column[Any]]:
    return [sa.Column(name, kind, **{"nullable": False, **options}) for name in names]


def _optional(kind: type[sa.types.TypeEngine[Any]], *names: str) -> list[sa.Column[Any]]:
    return _columns(kind, *names, nullable=True)


def _id() -> sa.Column[int]:
    return sa.Column("id", sa.BigInteger, primary_key=True, autoincrement=False)


def _row_of(table: str, **options: Any) -> sa.Column[int]:
    return sa.Column(f"{table}_id", sa.BigInteger, sa.ForeignKey(f"gearqa_{table}.id"), **options)


def _identity(name: str, *columns: str) -> sa.Index:
    """Only one row counts at a time."""
    return sa.Index(
        f"gearqa_{name}_identity", *columns, unique=True, sqlite_where=_COUNTS, postgresql_where=_COUNTS
    )


PART: Final = _table(
    "part",
    _id(),
    *_columns(sa.Text, "number", "name", "revision", "content", "added_at"),
    *_columns(sa.Text, "digest", unique=True),
)
"""Part data as it was when gears were added: one row for each content, whatever its revision says."""

INTAKE: Final = _table(
    "intake",
    _id(),
    _row_of("part", nullable=False),
    *_columns(sa.Text, "folder", "inputs", "notices", "added_at", "station", "version"),
    *_optional(sa.Text, "part_file", "column_map"),
    *_columns(sa.Boolean, "simulated"),
)
"""One adding of one folder: where its raw files lie and their digests."""

GEAR: Final = _table(
    "gear",
    _id(),
    _row_of("part", nullable=False),
    _row_of("intake", nullable=False),
    *_columns(sa.Text, "part_number", "serial", "measured_key", "state", "digests", "added_at"),
    *_optional(
        sa.Text, "measured_at", "finished_at", "finished_utc", "grinder", "wheel", "dress", "instrument"
    ),
    *_optional(sa.BigInteger, "parts_since_dress", "superseded_by"),
    *_columns(sa.Boolean, "produced", "simulated", "class_complete", "beyond"),
    *_optional(sa.Boolean, "conforms", "master_quality"),
    sa.Column("class", sa.Integer, key="class_"),
    *_columns(sa.LargeBinary, "result"),
    *_optional(sa.Text, "measurement", "conformity_state", "conditions"),
    _identity("gear", "part_number", "serial", "measured_key"),
    sa.Index("gearqa_gear_made", "part_number", "grinder", "finished_utc"),
)
"""`digests`: of what was measured, by kind of table. `result`: the gear's JSON result, zlib; `measurement`,
`conformity_state` of it. `conditions`: labels of the production table that have no column."""

FIGURES: Final = _table("figures", _row_of("gear", primary_key=True), *_columns(sa.LargeBinary, "figures"))
"""Key figures of each gear, see the module `figures`; sealed with its gear. Apart from its row, so that two
of those fit on a page of SQLite."""

EVENT: Final = _table(
    "event",
    _id(),
    *_columns(sa.Text, "digest", "at", "at_utc", "grinder", "event", "state", "added_at"),
    *_optional(sa.Text, "wheel", "parameter", "flank", "unit", "remark", "folder"),
    *_optional(sa.Double, "correction"),
    _identity("event", "digest"),
)

REFERENCE: Final = _table(
    "reference",
    _id(),
    *_columns(sa.Text, "part_number", "grinder", "from_at", "to_at", "state", "frozen_at"),
    *_optional(sa.Text, "remark"),
    _identity("reference", "part_number", "grinder"),
)

AUDIT: Final = _table(
    "audit",
    _id(),
    *_columns(sa.Text, "at", "station", "version", "action", "detail"),
    *_optional(sa.Text, "part_number", "serial", "measured_key"),
    *_optional(sa.BigInteger, "gear_id"),
)
"""Everything that was done to the store."""

ACKNOWLEDGEMENT: Final = _table(
    "acknowledgement",
    _id(),
    *_columns(sa.Text, "part_number", "grinder", "parameter", "sentence", "seen_by", "cause", "action", "at"),
    *_columns(sa.Text, "added_at"),
    *_optional(sa.Text, "flank", "dress"),
    *_columns(sa.BigInteger, "cycle"),
    *_optional(sa.BigInteger, "undoes"),
)
"""A signal of a series that somebody has seen; or (`undoes`) that takes an earlier row back."""

DELIVERY: Final = _table(
    "delivery",
    _id(),
    *_columns(sa.Text, "supplier", "part_number", "revision", "delivered_at", "delivered_utc"),
    *_columns(sa.Text, "report_sha256", "content", "state", "added_at"),
    *_optional(sa.BigInteger, "superseded_by"),
    *_columns(sa.Boolean, "simulated"),
    _identity("delivery", "supplier", "part_number", "report_sha256"),
)
"""A supplier's report that was checked. `content`: what was found, JSON."""

CHAIN: Final = _table(
    "chain",
    _id(),
    *_columns(sa.Text, "kind", "link"),
    *_columns(sa.BigInteger, "row_id"),
    *_optional(sa.Text, "content", "state"),
    sa.Index("gearqa_chain_row", "kind", "row_id"),
)
"""An entry for every row written to the tables above, and for every change of state; see `sealed_rows`."""

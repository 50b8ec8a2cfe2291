"""Tables of the store as SQLAlchemy sees them; made and changed only by the migrations.

Numbers of rows are given by the store, under its write lock. Times are ISO 8601 text: with their own
offset for people, in UTC (`..._utc`) to sort by. No row of a gear or event is ever deleted: `state` says
whether it still counts.
"""

from __future__ import annotations

from typing import Any, Final

import sqlalchemy as sa

METADATA: Final = sa.MetaData()
VERSION_TABLE: Final = "gearqa_schema"
HEAD: Final = "0001"
"""Newest schema version: the revision of the last migration."""
CURRENT: Final = "current"
SUPERSEDED: Final = "superseded"
REMOVED: Final = "removed"
_COUNTS: Final = sa.text("state = 'current'")


def _table(name: str, *columns: sa.Column[Any] | sa.Index, **options: Any) -> sa.Table:
    return sa.Table(f"gearqa_{name}", METADATA, *columns, **options)


def _id() -> sa.Column[int]:
    return sa.Column("id", sa.BigInteger, primary_key=True, autoincrement=False)


def _identity(name: str, *columns: str) -> sa.Index:
    """Only one row counts at a time."""
    return sa.Index(
        f"gearqa_{name}_identity", *columns, unique=True, sqlite_where=_COUNTS, postgresql_where=_COUNTS
    )


PART: Final = _table(
    "part",
    _id(),
    sa.Column("number", sa.Text, nullable=False),
    sa.Column("name", sa.Text, nullable=False),
    sa.Column("revision", sa.Text, nullable=False),
    sa.Column("digest", sa.Text, nullable=False, unique=True),
    sa.Column("content", sa.Text, nullable=False),
    sa.Column("added_at", sa.Text, nullable=False),
)
"""Part data as it was when gears were added: one row for each content, whatever its revision says."""

INTAKE: Final = _table(
    "intake",
    _id(),
    sa.Column("folder", sa.Text, nullable=False),
    sa.Column("part_file", sa.Text),
    sa.Column("column_map", sa.Text),
    sa.Column("part_id", sa.BigInteger, sa.ForeignKey("gearqa_part.id"), nullable=False),
    sa.Column("inputs", sa.Text, nullable=False),
    sa.Column("notices", sa.Text, nullable=False),
    sa.Column("simulated", sa.Boolean, nullable=False),
    sa.Column("added_at", sa.Text, nullable=False),
    sa.Column("station", sa.Text, nullable=False),
    sa.Column("version", sa.Text, nullable=False),
)
"""One adding of one folder: where its raw files lie and their digests."""

GEAR: Final = _table(
    "gear",
    _id(),
    sa.Column("part_id", sa.BigInteger, sa.ForeignKey("gearqa_part.id"), nullable=False),
    sa.Column("intake_id", sa.BigInteger, sa.ForeignKey("gearqa_intake.id"), nullable=False),
    sa.Column("part_number", sa.Text, nullable=False),
    sa.Column("serial", sa.Text, nullable=False),
    sa.Column("measured_key", sa.Text, nullable=False),
    sa.Column("measured_at", sa.Text),
    sa.Column("finished_at", sa.Text),
    sa.Column("finished_utc", sa.Text),
    sa.Column("produced", sa.Boolean, nullable=False),
    sa.Column("grinder", sa.Text),
    sa.Column("wheel", sa.Text),
    sa.Column("dress", sa.Text),
    sa.Column("parts_since_dress", sa.BigInteger),
    sa.Column("instrument", sa.Text),
    sa.Column("simulated", sa.Boolean, nullable=False),
    sa.Column("class", sa.Integer, key="class_"),
    sa.Column("class_complete", sa.Boolean, nullable=False),
    sa.Column("beyond", sa.Boolean, nullable=False),
    sa.Column("conforms", sa.Boolean),
    sa.Column("master_quality", sa.Boolean),
    sa.Column("state", sa.Text, nullable=False),
    sa.Column("superseded_by", sa.BigInteger),
    sa.Column("digests", sa.Text, nullable=False),
    sa.Column("result", sa.LargeBinary, nullable=False),
    sa.Column("added_at", sa.Text, nullable=False),
    _identity("gear", "part_number", "serial", "measured_key"),
    sa.Index("gearqa_gear_made", "part_number", "grinder", "finished_utc"),
)
"""`digests`: of what was measured, by kind of table. `result`: the gear's JSON result, zlib."""

FIGURE: Final = _table(
    "figure",
    sa.Column("gear_id", sa.BigInteger, sa.ForeignKey("gearqa_gear.id"), primary_key=True),
    sa.Column("parameter", sa.Text, primary_key=True),
    sa.Column("flank", sa.Text, primary_key=True),
    sa.Column("value_um", sa.Double, nullable=False),
    sa.Column("mean_um", sa.Double, nullable=False),
    sa.Column("min_um", sa.Double, nullable=False),
    sa.Column("max_um", sa.Double, nullable=False),
    sa.Column("limit_low_um", sa.Double),
    sa.Column("limit_high_um", sa.Double),
    sa.Column("expanded_u_um", sa.Double),
    sa.Column("class", sa.Integer, key="class_"),
    sa.Column("conforms", sa.Boolean),
    sqlite_with_rowid=False,
)
"""Key figures per parameter and flank (empty text: no flank)."""

EVENT: Final = _table(
    "event",
    _id(),
    sa.Column("digest", sa.Text, nullable=False),
    sa.Column("at", sa.Text, nullable=False),
    sa.Column("at_utc", sa.Text, nullable=False),
    sa.Column("grinder", sa.Text, nullable=False),
    sa.Column("event", sa.Text, nullable=False),
    sa.Column("wheel", sa.Text),
    sa.Column("parameter", sa.Text),
    sa.Column("flank", sa.Text),
    sa.Column("correction", sa.Double),
    sa.Column("unit", sa.Text),
    sa.Column("remark", sa.Text),
    sa.Column("folder", sa.Text),
    sa.Column("state", sa.Text, nullable=False),
    sa.Column("added_at", sa.Text, nullable=False),
    _identity("event", "digest"),
)

REFERENCE: Final = _table(
    "reference",
    _id(),
    sa.Column("part_number", sa.Text, nullable=False),
    sa.Column("grinder", sa.Text, nullable=False),
    sa.Column("from_at", sa.Text, nullable=False),
    sa.Column("to_at", sa.Text, nullable=False),
    sa.Column("remark", sa.Text),
    sa.Column("state", sa.Text, nullable=False),
    sa.Column("frozen_at", sa.Text, nullable=False),
    _identity("reference", "part_number", "grinder"),
)

AUDIT: Final = _table(
    "audit",
    _id(),
    sa.Column("at", sa.Text, nullable=False),
    sa.Column("station", sa.Text, nullable=False),
    sa.Column("version", sa.Text, nullable=False),
    sa.Column("action", sa.Text, nullable=False),
    sa.Column("part_number", sa.Text),
    sa.Column("serial", sa.Text),
    sa.Column("measured_key", sa.Text),
    sa.Column("gear_id", sa.BigInteger),
    sa.Column("detail", sa.Text, nullable=False),
)
"""Everything that was done to the store."""

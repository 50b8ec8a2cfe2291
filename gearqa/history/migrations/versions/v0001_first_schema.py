"""First schema: parts, intakes, gears, key figures, events, references, audit."""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "gearqa_part",
        sa.Column("id", sa.BigInteger, primary_key=True, autoincrement=False),
        sa.Column("number", sa.Text, nullable=False),
        sa.Column("name", sa.Text, nullable=False),
        sa.Column("revision", sa.Text, nullable=False),
        sa.Column("digest", sa.Text, nullable=False, unique=True),
        sa.Column("content", sa.Text, nullable=False),
        sa.Column("added_at", sa.Text, nullable=False),
    )
    op.create_table(
        "gearqa_intake",
        sa.Column("id", sa.BigInteger, primary_key=True, autoincrement=False),
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
    op.create_table(
        "gearqa_gear",
        sa.Column("id", sa.BigInteger, primary_key=True, autoincrement=False),
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
        sa.Column("class", sa.Integer),
        sa.Column("class_complete", sa.Boolean, nullable=False),
        sa.Column("beyond", sa.Boolean, nullable=False),
        sa.Column("conforms", sa.Boolean),
        sa.Column("master_quality", sa.Boolean),
        sa.Column("state", sa.Text, nullable=False),
        sa.Column("superseded_by", sa.BigInteger),
        sa.Column("digests", sa.Text, nullable=False),
        sa.Column("result", sa.LargeBinary, nullable=False),
        sa.Column("added_at", sa.Text, nullable=False),
    )
    op.create_index(
        "gearqa_gear_identity",
        "gearqa_gear",
        ["part_number", "serial", "measured_key"],
        unique=True,
        sqlite_where=sa.text("state = 'current'"),
        postgresql_where=sa.text("state = 'current'"),
    )
    op.create_index("gearqa_gear_made", "gearqa_gear", ["part_number", "grinder", "finished_utc"])
    op.create_table(
        "gearqa_figure",
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
        sa.Column("class", sa.Integer),
        sa.Column("conforms", sa.Boolean),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "gearqa_event",
        sa.Column("id", sa.BigInteger, primary_key=True, autoincrement=False),
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
    )
    op.create_index(
        "gearqa_event_identity",
        "gearqa_event",
        ["digest"],
        unique=True,
        sqlite_where=sa.text("state = 'current'"),
        postgresql_where=sa.text("state = 'current'"),
    )
    op.create_table(
        "gearqa_reference",
        sa.Column("id", sa.BigInteger, primary_key=True, autoincrement=False),
        sa.Column("part_number", sa.Text, nullable=False),
        sa.Column("grinder", sa.Text, nullable=False),
        sa.Column("from_at", sa.Text, nullable=False),
        sa.Column("to_at", sa.Text, nullable=False),
        sa.Column("remark", sa.Text),
        sa.Column("state", sa.Text, nullable=False),
        sa.Column("frozen_at", sa.Text, nullable=False),
    )
    op.create_index(
        "gearqa_reference_identity",
        "gearqa_reference",
        ["part_number", "grinder"],
        unique=True,
        sqlite_where=sa.text("state = 'current'"),
        postgresql_where=sa.text("state = 'current'"),
    )
    op.create_table(
        "gearqa_audit",
        sa.Column("id", sa.BigInteger, primary_key=True, autoincrement=False),
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


def downgrade() -> None:
    for name in ("audit", "reference", "event", "figure", "gear", "intake", "part"):
        op.drop_table(f"gearqa_{name}")

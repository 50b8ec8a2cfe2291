"""Deliveries of suppliers: what checking each report found."""

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "gearqa_delivery",
        sa.Column("id", sa.BigInteger, primary_key=True, autoincrement=False),
        sa.Column("supplier", sa.Text, nullable=False),
        sa.Column("part_number", sa.Text, nullable=False),
        sa.Column("revision", sa.Text, nullable=False),
        sa.Column("delivered_at", sa.Text, nullable=False),
        sa.Column("delivered_utc", sa.Text, nullable=False),
        sa.Column("report_sha256", sa.Text, nullable=False),
        sa.Column("content", sa.Text, nullable=False),
        sa.Column("state", sa.Text, nullable=False),
        sa.Column("added_at", sa.Text, nullable=False),
        sa.Column("superseded_by", sa.BigInteger),
        sa.Column("simulated", sa.Boolean, nullable=False),
    )
    counts = sa.text("state = 'current'")
    op.create_index(
        "gearqa_delivery_identity", "gearqa_delivery", ["supplier", "part_number", "report_sha256"],
        unique=True, sqlite_where=counts, postgresql_where=counts,
    )  # fmt: skip


def downgrade() -> None:
    op.drop_table("gearqa_delivery")

"""Signals that somebody has seen: by whom, cause, action, time."""

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "gearqa_acknowledgement",
        sa.Column("id", sa.BigInteger, primary_key=True, autoincrement=False),
        sa.Column("part_number", sa.Text, nullable=False),
        sa.Column("grinder", sa.Text, nullable=False),
        sa.Column("parameter", sa.Text, nullable=False),
        sa.Column("flank", sa.Text),
        sa.Column("cycle", sa.BigInteger, nullable=False),
        sa.Column("dress", sa.Text),
        sa.Column("sentence", sa.Text, nullable=False),
        sa.Column("seen_by", sa.Text, nullable=False),
        sa.Column("cause", sa.Text, nullable=False),
        sa.Column("action", sa.Text, nullable=False),
        sa.Column("at", sa.Text, nullable=False),
        sa.Column("undoes", sa.BigInteger),
        sa.Column("added_at", sa.Text, nullable=False),
    )


def downgrade() -> None:
    op.drop_table("gearqa_acknowledgement")

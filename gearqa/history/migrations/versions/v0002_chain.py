"""The chain: a digest of every row, each entry with the digest of the one before.

Rows that are there get theirs as they are now.
"""

import sqlalchemy as sa
from alembic import op

from gearqa.history.migrations.figure_rows import digest_with_figures, gears_with_figures
from gearqa.history.sealed_rows import ChainEntry, append, portions, seal_everything, state_text

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "gearqa_chain",
        sa.Column("id", sa.BigInteger, primary_key=True, autoincrement=False),
        sa.Column("kind", sa.Text, nullable=False),
        sa.Column("link", sa.Text, nullable=False),
        sa.Column("row_id", sa.BigInteger, nullable=False),
        sa.Column("content", sa.Text),
        sa.Column("state", sa.Text),
    )
    op.create_index("gearqa_chain_row", "gearqa_chain", ["kind", "row_id"])
    connection = op.get_bind()
    seal_everything(connection, ("part", "intake"))
    for portion in portions(gears_with_figures(connection)):
        append(
            connection,
            [
                ChainEntry("gear", row["id"], digest_with_figures(row, figures), state_text(row))
                for row, figures in portion
            ],
        )
    seal_everything(connection, ("event", "reference", "audit"))


def downgrade() -> None:
    op.drop_table("gearqa_chain")

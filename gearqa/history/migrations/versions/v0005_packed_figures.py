"""Key figures of a gear packed into one text, and columns for what drift and the list need of its result.

A gear whose row and figures are as they were sealed gets a new entry in the chain; one that was changed gets
none, so that the check still finds it.
"""

import zlib
from collections.abc import Iterable
from typing import Any

import orjson
import sqlalchemy as sa
from alembic import op
from sqlalchemy.engine import Connection

from gearqa.history.drafts import conditions_text
from gearqa.history.figures import figure_list, read_figures
from gearqa.history.migrations.figure_rows import FIGURE, Row, digest_with_figures, gears_with_figures
from gearqa.history.queries import graded_in
from gearqa.history.sealed_rows import ChainEntry, append, content_digest, portions, sealed_rows
from gearqa.history.sql_tables import CHAIN, FIGURES, GEAR
from gearqa.history.stored_texts import packed, unpacked
from gearqa.model.measurement import Production
from gearqa.results.codec import read

revision = "0005"
down_revision = "0004"
branch_labels = None
depends_on = None

NEW = ("measurement", "conformity_state", "conditions")


def upgrade() -> None:
    for name in NEW:
        op.add_column("gearqa_gear", sa.Column(name, sa.Text))
    op.create_table(
        "gearqa_figures",
        sa.Column("gear_id", sa.BigInteger, sa.ForeignKey("gearqa_gear.id"), primary_key=True),
        sa.Column("figures", sa.LargeBinary, nullable=False),
    )
    connection = op.get_bind()
    values: dict[str, Any] = {name: sa.bindparam(f"new_{name}") for name in NEW}
    update = GEAR.update().where(GEAR.c.id == sa.bindparam("new_id")).values(values)
    for portion in portions(gears_with_figures(connection)):
        changes = [(row, figures, _new_values(row, figures)) for row, figures in portion]
        new_rows = [
            {"new_id": row["id"], **{f"new_{name}": new[name] for name in NEW}} for row, _, new in changes
        ]
        connection.execute(update, new_rows)
        texts = [{"gear_id": row["id"], "figures": new["figures"]} for row, _, new in changes]
        connection.execute(FIGURES.insert(), texts)
        digests = (
            (row["id"], digest_with_figures(row, figures), content_digest(GEAR, {**row, **new}))
            for row, figures, new in changes
        )
        _seal(connection, digests)
    op.drop_table("gearqa_figure")


def downgrade() -> None:
    connection = op.get_bind()
    FIGURE.create(connection)
    for portion in portions(sealed_rows(connection, GEAR)):
        figures = {row["id"]: list(_figure_rows(row)) for row in portion}
        every = [one for own in figures.values() for one in own]
        if every:
            names = [column.key for column in FIGURE.c]
            connection.execute(FIGURE.insert(), [{name: one[name] for name in names} for one in every])
        without = [{key: one for key, one in row.items() if key not in ("figures", *NEW)} for row in portion]
        digests = (
            (row["id"], content_digest(GEAR, row), digest_with_figures(old, figures[row["id"]]))
            for row, old in zip(portion, without, strict=True)
        )
        _seal(connection, digests)
    op.drop_table("gearqa_figures")
    for name in NEW:
        op.drop_column("gearqa_gear", name)


def _new_values(row: Row, figures: list[Row]) -> dict[str, Any]:
    listed = [
        figure_list(
            one["parameter"], one["flank"], one["value_um"], one["limit_low_um"], one["limit_high_um"],
            one["class"], None if one["conforms"] is None else bool(one["conforms"]), one["expanded_u_um"],
            one["mean_um"], one["min_um"], one["max_um"],
        )
        for one in figures
    ]  # fmt: skip
    new: dict[str, Any] = {**dict.fromkeys(NEW), "figures": packed(orjson.dumps(sorted(listed)))}
    try:
        document = unpacked(row["result"])
        graded, made = graded_in(document), read(Production, document.get("production") or {})
    except (zlib.error, ValueError, LookupError, TypeError, AttributeError):  # the check tells of it
        return new
    said = {"measurement": graded.measurement, "conformity_state": graded.state}
    return {**new, **said, "conditions": conditions_text(made)}


def _figure_rows(row: Row) -> Iterable[Row]:
    for one in read_figures(row["figures"]):
        yield {"gear_id": row["id"], "class": one.class_, **one._asdict()}


def _seal(connection: Connection, gears: Iterable[tuple[int, str, str]]) -> None:
    """New entries for gears, each with its digest before and after, that are as they were sealed."""
    listed = list(gears)
    query = sa.select(CHAIN.c.row_id, CHAIN.c.content, CHAIN.c.state).order_by(CHAIN.c.id)
    ours = query.where(CHAIN.c.kind == "gear", CHAIN.c.row_id.in_([number for number, _, _ in listed]))
    content: dict[int, str | None] = {}
    state: dict[int, str | None] = {}
    for number, digest, now in connection.execute(ours):
        content[number] = digest or content.get(number)
        state[number] = now
    append(
        connection,
        [
            ChainEntry("gear", number, new, state[number])
            for number, old, new in listed
            if content.get(number) == old
        ],
    )

"""Key figures as stores up to schema 0004 had them: a row each, sealed together with their gear."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from itertools import groupby
from typing import Any, Final

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from gearqa.history.sealed_rows import before, digest_of, raw_rows, said
from gearqa.history.sql_tables import GEAR

FIGURE: Final = sa.Table(
    "gearqa_figure",
    sa.MetaData(),
    sa.Column("gear_id", sa.BigInteger, sa.ForeignKey(GEAR.c.id), primary_key=True),
    sa.Column("parameter", sa.Text, primary_key=True),
    sa.Column("flank", sa.Text, primary_key=True),
    *(sa.Column(name, sa.Double, nullable=False) for name in ("value_um", "mean_um", "min_um", "max_um")),
    *(sa.Column(name, sa.Double) for name in ("limit_low_um", "limit_high_um", "expanded_u_um")),
    sa.Column("class", sa.Integer, key="class_"),
    sa.Column("conforms", sa.Boolean),
    sqlite_with_rowid=False,
)
Row = Mapping[str, Any]


def gears_with_figures(connection: Connection) -> Iterator[tuple[Row, list[Row]]]:
    """Gears by number, each with its figures, so that both are read once."""
    groups = groupby(raw_rows(connection, FIGURE, "gear_id"), lambda figure: figure["gear_id"])
    number, own = next(groups, (None, iter(())))
    for row in raw_rows(connection, GEAR, "id"):
        while number is not None and before(number, row["id"]):
            number, own = next(groups, (None, iter(())))
        yield row, list(own) if number == row["id"] else []
    for _ in groups:  # a table that is still being read cannot be dropped
        pass


def digest_with_figures(row: Row, figures: list[Row]) -> str:
    """Digest of a gear with its figures."""
    own = sorted(figures, key=lambda figure: (str(figure["parameter"]), str(figure["flank"])))
    return digest_of([said(GEAR, row), *[said(FIGURE, figure) for figure in own]])

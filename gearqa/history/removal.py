"""Takes gears out of the count; rows and results are kept, and it is written down."""

from __future__ import annotations

from collections.abc import Sequence

from gearqa.history.queries import Selection, select_gears
from gearqa.history.sql_tables import GEAR, REMOVED
from gearqa.history.store import Entry, HistoryStore, log
from gearqa.history.stored_texts import identity_text
from gearqa.model.history import StoredGear


def remove_gears(store: HistoryStore, which: Selection, *, remark: str | None = None) -> Sequence[StoredGear]:
    """Remove the gears that are chosen; return them (none: nothing was changed)."""
    with store.writing() as connection:
        gears = list(select_gears(connection, which))
        for gear in gears:
            connection.execute(GEAR.update().where(GEAR.c.id == gear.id).values(state=REMOVED))
        log(
            connection,
            *(
                Entry(
                    "remove", gear.part_number, gear.serial, identity_text(gear.measured_at), gear.id,
                    {"remark": remark},
                )
                for gear in gears
            ),
        )  # fmt: skip
    return gears

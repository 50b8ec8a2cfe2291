"""Takes gears out of the count; rows and results are kept, and the removal is logged."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from gearqa.errors import StoreError
from gearqa.history.queries import Selection, select_gears
from gearqa.history.sql_tables import GEAR, REMOVED
from gearqa.history.store import HistoryStore, LogEntry, log
from gearqa.history.stored_texts import identity_text
from gearqa.model.history import StoredGear
from gearqa.wording.times import time_text


def remove_gears(store: HistoryStore, which: Selection, *, remark: str | None = None) -> Sequence[StoredGear]:
    """Remove the chosen gears and return them."""
    with store.writing() as connection:
        gears = list(select_gears(connection, which))
        for gear in gears:
            connection.execute(GEAR.update().where(GEAR.c.id == gear.id).values(state=REMOVED))
        log(
            connection,
            *(
                LogEntry(
                    "remove", gear.part_number, gear.serial, identity_text(gear.measured_at), gear.id,
                    {"remark": remark},
                )
                for gear in gears
            ),
        )  # fmt: skip
    return gears


def one_measurement_each(gears: Sequence[StoredGear], measured_at: datetime | None) -> list[StoredGear]:
    """The only measurement of each serial, or the one of a time; raises StoreError if there are several."""
    chosen = [gear for gear in gears if measured_at in (None, gear.measured_at)]
    if not chosen:
        raise StoreError("no measurement of that time", hint="look at: gearqa history list")
    parts = sorted({gear.part_number for gear in chosen})
    if len(parts) > 1:
        raise StoreError(f"serials of several parts: {', '.join(parts)}", hint="add --part-number P")
    serials = [gear.serial for gear in chosen]
    double = next((serial for serial in serials if serials.count(serial) > 1), None)
    if double is not None:
        times = ", ".join(time_text(gear.measured_at) for gear in chosen if gear.serial == double)
        raise StoreError(
            f"'{double}' was measured several times: {times}", hint="choose one with --measured-at T"
        )
    return chosen

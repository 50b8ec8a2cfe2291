"""Deliveries of suppliers: each report is kept once; what changes it supersedes or removes it, logged."""

from __future__ import annotations

from datetime import datetime
from difflib import get_close_matches
from typing import Any, Final

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from gearqa.errors import StoreConflictError, StoreError
from gearqa.history.sealed_rows import change_state, insert_rows, next_id
from gearqa.history.sql_tables import CURRENT, DELIVERY, REMOVED, SUPERSEDED
from gearqa.history.store import HistoryStore, LogEntry, log, now
from gearqa.history.stored_texts import aware, loads, stored_text, stored_time, utc_text
from gearqa.model.deliveries import DeliveryCheck, KeptDelivery, StoredDelivery
from gearqa.results.codec import read
from gearqa.results.history_json import HISTORY

DELIVERY_ORDER: Final = (DELIVERY.c.delivered_utc, DELIVERY.c.id)


def add_delivery(
    store: HistoryStore,
    supplier: str,
    part: tuple[str, str],
    report_sha256: str,
    check: DeliveryCheck,
    *,
    delivered: datetime | None,
    simulated: bool,
    replace: bool = False,
) -> KeptDelivery:
    """Keep what checking a report found; `part` is number and revision, `delivered` now by default.

    The same report with the same findings changes nothing. Raises StoreConflictError where the findings,
    or the time of delivery, are others and `replace` is not asked for.
    """
    content = HISTORY.dumps(check).decode()
    number, revision = part
    with store.writing() as connection:
        _require_spelling(connection, store, supplier)
        same_report = sa.select(DELIVERY).where(
            DELIVERY.c.state == CURRENT, DELIVERY.c.supplier == supplier, DELIVERY.c.part_number == number,
            DELIVERY.c.report_sha256 == report_sha256,
        )  # fmt: skip
        row = connection.execute(same_report).one_or_none()
        old = None if row is None else _delivery(row)
        same = old is not None and (old.check, old.revision) == (check, revision)
        if old is not None and same and delivered in (None, old.delivered_at):
            log(connection, LogEntry("delivery", number, detail={"delivery": old.id, "known": True}))
            return KeptDelivery(old, new=False, superseded=None)
        if old is not None and not replace:
            what = "another time of delivery" if same else "other findings"
            raise StoreConflictError(
                f"history store {store.shown} holds this report of {supplier} as delivery {old.id}, with "
                f"{what}",
                hint="--replace supersedes it (it is kept, and logged)",
            )
        at = delivered or (old.delivered_at if old else aware(datetime.fromisoformat(now())))
        own = next_id(connection, DELIVERY)
        if old is not None:
            change_state(connection, DELIVERY, [{"id": old.id, "state": SUPERSEDED, "superseded_by": own}])
        values: dict[str, Any] = {
            "id": own, "supplier": supplier, "part_number": number, "revision": revision,
            "delivered_at": stored_text(at), "delivered_utc": utc_text(at), "report_sha256": report_sha256,
            "content": content, "state": CURRENT, "added_at": now(), "superseded_by": None,
            "simulated": simulated,
        }  # fmt: skip
        insert_rows(connection, DELIVERY, [values])
        superseded = None if old is None else old.id
        log(connection, LogEntry("delivery", number, detail={"delivery": own, "supersedes": superseded}))
        (kept,) = [one for one in select_deliveries(connection) if one.id == own]
    return KeptDelivery(kept, new=True, superseded=superseded)


def drop_delivery(store: HistoryStore, number: int, *, remark: str | None = None) -> StoredDelivery:
    """Take a delivery out of the count; raises StoreError if none of that number counts."""
    with store.writing() as connection:
        found = next((one for one in select_deliveries(connection) if one.id == number), None)
        if found is None:
            raise StoreError(
                f"history store {store.shown} has no delivery {number} that counts",
                hint="gearqa history suppliers",
            )
        change_state(connection, DELIVERY, [{"id": number, "state": REMOVED}])
        detail = {"delivery": number, "supplier": found.supplier, "remark": remark}
        log(connection, LogEntry("remove_delivery", found.part_number, detail=detail))
    return found


def select_deliveries(
    connection: Connection,
    *,
    supplier: str | None = None,
    part_number: str | None = None,
    since: datetime | None = None,
    until: datetime | None = None,
    every_state: bool = False,
) -> list[StoredDelivery]:
    """Deliveries in the order of delivery; those that count, or every one."""
    query = sa.select(DELIVERY).order_by(*DELIVERY_ORDER)
    if not every_state:
        query = query.where(DELIVERY.c.state == CURRENT)
    if supplier is not None:
        query = query.where(DELIVERY.c.supplier == supplier)
    if part_number is not None:
        query = query.where(DELIVERY.c.part_number == part_number)
    if since is not None:
        query = query.where(DELIVERY.c.delivered_utc >= utc_text(since))
    if until is not None:
        query = query.where(DELIVERY.c.delivered_utc <= utc_text(until))
    return [_delivery(row) for row in connection.execute(query)]


def require_supplier(connection: Connection, store: HistoryStore, supplier: str) -> None:
    """Raise StoreError, naming the nearest, where no delivery of a supplier counts."""
    known = _suppliers(connection)
    if supplier not in known:
        lower = {name.casefold(): name for name in known}
        near = [lower[one] for one in get_close_matches(supplier.casefold(), lower, n=3)]
        raise StoreError(
            f"history store {store.shown} has no delivery of '{supplier}'",
            hint=f"nearest: {', '.join(near)}" if near else "look at: gearqa history suppliers",
        )


def _require_spelling(connection: Connection, store: HistoryStore, supplier: str) -> None:
    """One supplier under two spellings would have two histories."""
    known = _suppliers(connection)
    other = next((name for name in known if name.casefold() == supplier.casefold()), supplier)
    if supplier not in known and other != supplier:
        raise StoreError(
            f"history store {store.shown} knows this supplier as '{other}'", hint=f'--supplier "{other}"'
        )


def _suppliers(connection: Connection) -> list[str]:
    query = sa.select(DELIVERY.c.supplier).where(DELIVERY.c.state == CURRENT).distinct()
    return sorted(connection.execute(query).scalars())


def _delivery(row: sa.Row[Any]) -> StoredDelivery:
    delivered, added = stored_time(row.delivered_at), stored_time(row.added_at)
    assert delivered is not None
    assert added is not None
    return StoredDelivery(
        row.id, row.supplier, row.part_number, row.revision, delivered, row.report_sha256, row.state,
        row.superseded_by, row.simulated, added, read(DeliveryCheck, loads(row.content)),
    )  # fmt: skip

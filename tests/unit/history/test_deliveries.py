"""Deliveries in the store: each report once, changes superseded or removed and logged, on both databases."""

from __future__ import annotations

import io
import json

import pytest
import sqlalchemy as sa
from store_damage import came, delivery_found, downgraded, engine_of

from gearqa.errors import StoreConflictError, StoreError
from gearqa.history.checking import check_store
from gearqa.history.deliveries import add_delivery, drop_delivery, select_deliveries
from gearqa.history.documents import write_history_json
from gearqa.history.queries import Selection, select_audit
from gearqa.history.sql_tables import HEAD
from gearqa.history.store import HistoryStore

PART = ("OT-4471", "C")


def keep(store, day, found=None, *, supplier="Quince Works", **more):
    found = delivery_found() if found is None else found
    return add_delivery(store, supplier, PART, f"{day:064x}", found, **{**came(day), **more})


def counting(store):
    with store.reading() as connection:
        return [one.id for one in select_deliveries(connection)]


def logged(store):
    with store.reading() as connection:
        return [(row["action"], row["detail"]) for row in select_audit(connection)]


def test_a_delivery_comes_back_as_it_was(store):
    kept = keep(store, 3, delivery_found(explained_by=("a",), questions=("unit",), impossible=1))
    with store.reading() as connection:
        (found,) = select_deliveries(connection)
    assert found == kept.delivery
    assert (found.supplier, found.part_number, found.revision) == ("Quince Works", *PART)
    assert found.delivered_at == came(3)["delivered"]
    assert found.check == delivery_found(explained_by=("a",), questions=("unit",), impossible=1)


def test_the_same_report_again_changes_nothing_and_is_logged(store):
    first = keep(store, 3)
    for delivered in (came(3)["delivered"], None):
        again = keep(store, 3, delivered=delivered)
        assert (again.new, again.superseded, again.delivery) == (False, None, first.delivery)
    assert counting(store) == [1]
    assert [action for action, _ in logged(store)] == ["delivery"] * 3
    assert logged(store)[-1][1] == {"delivery": 1, "known": True}


def test_the_same_report_of_another_supplier_or_part_is_another_delivery(store):
    keep(store, 3)
    keep(store, 3, supplier="Medlar Gears")
    add_delivery(store, "Quince Works", ("OT-4480", "A"), f"{3:064x}", delivery_found(), **came(3))
    assert counting(store) == [1, 2, 3]


def test_other_findings_of_a_report_are_refused_until_they_are_to_supersede(store):
    keep(store, 3)
    other = delivery_found(verdict="differs")
    with pytest.raises(StoreConflictError, match="as delivery 1, with other findings"):
        keep(store, 3, other)
    with pytest.raises(StoreConflictError, match="another time of delivery"):
        keep(store, 3, delivered=came(4)["delivered"])
    assert counting(store) == [1]
    kept = keep(store, 3, other, delivered=None, replace=True)
    assert (kept.delivery.id, kept.superseded, kept.delivery.delivered_at) == (2, 1, came(3)["delivered"])
    assert counting(store) == [2]
    with store.reading() as connection:
        old, _ = select_deliveries(connection, every_state=True)
    assert (old.state, old.superseded_by, old.check.verdict) == ("superseded", 2, "agrees")
    assert logged(store)[-1] == ("delivery", {"delivery": 2, "supersedes": 1})
    assert check_store(store).findings == ()


def test_removing_is_logged_and_the_report_may_come_again(store):
    keep(store, 3)
    removed = drop_delivery(store, 1, remark="of another plant")
    assert removed.id == 1
    assert counting(store) == []
    assert logged(store)[-1] == (
        "remove_delivery", {"delivery": 1, "supplier": "Quince Works", "remark": "of another plant"},
    )  # fmt: skip
    with pytest.raises(StoreError, match="no delivery 1 that counts"):
        drop_delivery(store, 1)
    assert keep(store, 3).delivery.id == 2
    report = check_store(store)
    assert (report.findings, report.deliveries) == ((), 1)


def test_one_supplier_has_one_spelling(store):
    keep(store, 3)
    with pytest.raises(StoreError, match="knows this supplier as 'Quince Works'") as caught:
        keep(store, 4, supplier="QUINCE works")
    assert caught.value.hint == '--supplier "Quince Works"'
    assert counting(store) == [1]


def test_deliveries_come_in_their_order_not_in_that_of_adding(store):
    for day in (9, 3, 6):
        keep(store, day)
    assert counting(store) == [2, 3, 1]


def test_the_export_holds_every_delivery(store):
    keep(store, 3)
    keep(store, 3, delivery_found(verdict="differs"), replace=True)
    stream = io.BytesIO()
    write_history_json(stream, store, "export", Selection())
    exported = json.loads(stream.getvalue())["deliveries"]
    assert [(one["id"], one["state"], one["check"]["verdict"]) for one in exported] == [
        (1, "superseded", "agrees"), (2, "current", "differs"),
    ]  # fmt: skip


def test_a_store_of_the_schema_before_takes_deliveries(where):
    downgraded(where, "0003")
    engine = engine_of(where)
    with engine.connect() as connection:
        assert "gearqa_delivery" not in sa.inspect(connection).get_table_names()
    engine.dispose()
    with HistoryStore.open(where, writing=True) as store:
        keep(store, 3)
        assert counting(store) == [1]
        assert ("schema", {"from": "0003", "to": HEAD}) in logged(store)
        assert check_store(store).findings == ()

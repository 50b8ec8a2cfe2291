"""Jobs of the history and of watching, as a notebook calls them."""

from __future__ import annotations

import io
import json
from datetime import UTC, datetime

import pytest
from history_folders import made_folder

import gearqa
from gearqa.errors import ArgumentError, StoreError
from gearqa.history.store import HistoryStore
from gearqa.jobs.history import latest_observations


@pytest.fixture
def place(tmp_path):
    return tmp_path / "gears.sqlite"


def serials(place, **chosen):
    return [gear.serial for gear in gearqa.list_history(store=place, **chosen).gears]


def test_a_store_is_named_by_path_or_url_or_is_open_already_and_stays_open(place, tmp_path):
    gearqa.add_to_history(made_folder(tmp_path / "a", ["A"]), store=place)
    assert serials(str(place)) == serials(f"sqlite:///{place}") == ["A"]
    with HistoryStore.open(str(place), writing=True) as store:
        gearqa.add_to_history([made_folder(tmp_path / "b", ["B"], day=2)], store=store)
        assert serials(store) == ["A", "B"]
        assert store.gear_count() == 2


def test_the_last_gears_of_a_time(place, tmp_path):
    for day in (1, 2, 3):
        gearqa.add_to_history(made_folder(tmp_path / str(day), [f"A{day}", f"B{day}"], day=day), store=place)
    found = gearqa.list_history(until="2025-06-02", last=3, store=place)
    assert [gear.serial for gear in found.gears] == ["B1", "A2", "B2"]
    assert found.total == 4
    assert serials(place, since=datetime(2025, 6, 3, tzinfo=UTC)) == ["A3", "B3"]
    assert {one.serial for one in latest_observations(1, store=place)} == {"B3"}


def test_full_results_with_those_that_no_longer_count(place, tmp_path):
    gearqa.add_to_history(made_folder(tmp_path / "a", {"A": 1.0}), store=place)
    gearqa.add_to_history(made_folder(tmp_path / "b", {"A": 9.0}), store=place, replace=True)
    results = gearqa.stored_results(["A"], store=place)
    # by hand, see made_folders: fp is twice the amount
    assert [(one.gear.state, one.result.parameters["single_pitch"].value_um) for one in results] == [
        ("superseded", 2.0), ("current", 18.0),
    ]  # fmt: skip
    with pytest.raises(StoreError, match="has no gear 'B'"):
        gearqa.stored_results(["B"], store=place)


def test_an_export_goes_to_streams(place, tmp_path):
    gearqa.add_to_history(made_folder(tmp_path / "a", ["A", "B"]), store=place)
    document, figures = io.BytesIO(), io.BytesIO()
    assert gearqa.export_history(json=document, csv=figures, serial=["B"], store=place) == 1
    assert [gear["serial"] for gear in json.loads(document.getvalue())["gears"]] == ["B"]
    assert b"\nT-8,A,B," in figures.getvalue()
    with pytest.raises(StoreError, match="'C'"):
        gearqa.export_history(json=io.BytesIO(), contents="show", serial=["C"], store=place)


def test_events_and_references(place, tmp_path):
    for day in (1, 2):
        gearqa.add_to_history(made_folder(tmp_path / str(day), [f"A{day}"], day=day), store=place)
    at = datetime(2025, 6, 1, 6, tzinfo=UTC)
    change = gearqa.record_event("wheel-change", "GR-1", at=at, wheel="W-2", store=place)
    assert (change.event.event, change.event.unit, change.new) == ("wheel change", None, True)
    assert not gearqa.record_event("wheel-change", "GR-1", at=at, wheel="W-2", store=place).new
    frozen, gears = gearqa.freeze_reference("T-8", "GR-1", "2025-06-01", "2025-06-02", store=place)
    assert gears == 2
    found = gearqa.list_history(store=place)
    assert ([one.event for one in found.events], found.references) == (["wheel change"], (frozen,))
    gearqa.remove_event(found.events[0].id, store=place)
    gearqa.release_reference("T-8", "GR-1", store=place)
    found = gearqa.list_history(store=place)
    assert (found.events, found.references) == ((), ())


@pytest.mark.parametrize(
    ("argument", "call"),
    [
        ("folder", lambda store: gearqa.add_to_history("nowhere", store=store)),
        ("since", lambda store: gearqa.list_history(since="yesterday", store=store)),
        ("kind", lambda store: gearqa.record_event("polish", "GR-1", store=store)),
        ("correction", lambda store: gearqa.record_event("correction", "GR-1", store=store)),
        ("parameter", lambda store: gearqa.record_event("dress", "GR-1", parameter="fp", store=store)),
        ("standard", lambda store: gearqa.regrade_history(standard="DIN 3990", store=store)),
        ("measured_at", lambda store: gearqa.remove_from_history(["A"], measured_at="?", store=store)),
        ("folder", lambda store: gearqa.watch_folder("nowhere", store=store)),
        ("settle", lambda store: gearqa.watch_folder(".", settle=0.0, store=store)),
    ],
)
def test_arguments_that_cannot_be_taken_are_named_and_no_store_is_made(place, argument, call):
    with pytest.raises(ArgumentError) as caught:
        call(place)
    assert caught.value.argument == argument
    assert not place.exists()


class Stopped:
    """Progress that Ctrl-C stops at the first gear."""

    def over(self, items, doing, noun, *, total=None):
        yield from items
        raise KeyboardInterrupt


def test_a_new_store_is_made_with_its_first_entry(place, tmp_path):
    folder = made_folder(tmp_path / "a", ["A"])
    with pytest.raises(KeyboardInterrupt):
        gearqa.add_to_history(folder, store=place, progress=Stopped())
    with pytest.raises(StoreError):
        gearqa.remove_event(7, store=place)
    with pytest.raises(StoreError):
        gearqa.remove_from_history(["B"], store=place)
    assert not place.exists()
    with HistoryStore.open(str(place), writing=True) as store:
        assert (store.created, store.gear_count(), place.exists()) == (True, 0, False)
        gearqa.add_to_history(folder, store=place)  # by another station
        assert store.gear_count() == 1
        gearqa.add_to_history(made_folder(tmp_path / "b", ["B"], day=2), store=store)
        assert store.gear_count() == 2


def test_gears_are_counted_while_they_are_graded(place, tmp_path):
    class Counted:
        def __init__(self):
            self.seen = []

        def over(self, items, doing, noun, *, total=None):
            for item in items:
                self.seen.append((doing, total))
                yield item

    progress = Counted()
    gearqa.add_to_history(made_folder(tmp_path / "a", ["A", "B"]), store=place, progress=progress)
    gearqa.check_history(store=place, progress=progress)
    gearqa.regrade_history(class_=4, serial=["A"], store=place, progress=progress)
    expected = [("adding", 2)] * 2 + [("checking", 2)] * 2 + [("regrading", 1)]
    assert progress.seen == expected


def test_a_frozen_reference_that_fits_no_series_is_a_notice_of_the_watch(place, tmp_path):
    for day in (1, 2, 3):
        gearqa.add_to_history(made_folder(tmp_path / str(day), [f"A{day}"], day=day), store=place)
    gearqa.freeze_reference("T-8", "GR-1", "2025-06-01", "2025-06-02", store=place)
    arriving = made_folder(tmp_path / "arriving", ["A4"], day=4)
    status = gearqa.watch_folder(arriving, settle=0.01, once=True, store=place)
    assert status.gears_added == 1
    assert [notice.code for notice in status.notices] == ["reference_not_used"]
    assert "holds 2 dress cycles" in status.notices[0].message

"""A watch in this process: what arrives is added; faults, completions, signals, stopping."""

from __future__ import annotations

import shutil
import threading
import time

import pytest
from history_folders import made_folder

from gearqa.errors import Notice, NoticeCode
from gearqa.history import watching
from gearqa.history.store import HistoryStore
from gearqa.history.watching import Detected, FolderWatch, WatchOptions
from gearqa.model.history import WatchSignal

SETTLE = 0.15


@pytest.fixture
def opened(tmp_path):
    with HistoryStore.open(str(tmp_path / "history.sqlite"), writing=True) as store:
        yield store


@pytest.fixture
def folder(tmp_path):
    place = tmp_path / "arriving"
    place.mkdir()
    return place


class Seen:
    """Keeps what a watch reports."""

    def __init__(self):
        self.all = []

    def __call__(self, status):
        self.all.append(status)

    @property
    def last(self):
        return self.all[-1]


def once(store, folder, **options):
    seen = Seen()
    watch = FolderWatch(store, WatchOptions(folder, settle_s=SETTLE, once=True, **options), seen)
    watch.run()
    return seen.last


def until(condition, seconds=20.0):
    end = time.monotonic() + seconds
    while not condition():
        assert time.monotonic() < end, "waited in vain"
        time.sleep(0.02)


def test_what_is_there_already_is_taken_in_and_again_nothing(opened, folder):
    made_folder(folder / "a", {"A": 1.0, "B": 9.0})
    made_folder(folder / "b", ["C"], day=2)
    status = once(opened, folder)
    assert (status.gears_added, status.gears_in_store, status.running) == (3, 3, False)
    assert {one.report.added for one in status.intakes} == {1, 2}
    status = once(opened, folder)
    assert (status.gears_added, status.intakes) == (0, ())


def test_a_folder_at_fault_is_reported_and_does_not_hinder_the_others(opened, folder):
    bad = made_folder(folder / "bad", ["A"])
    (bad / "pitch.csv").write_text("serial,flank,tooth,index_um\nA,left,1,many\n")
    made_folder(folder / "good", ["B"], day=2)
    status = once(opened, folder)
    (problem,) = status.problems
    assert problem.folder == str(bad)
    assert "found 'many'" in problem.message
    assert not problem.again
    assert status.gears_in_store == 1


def test_other_values_of_a_stored_gear_are_a_problem_or_supersede_it_where_asked(opened, folder):
    made_folder(folder / "a", {"A": 1.0})
    once(opened, folder)
    made_folder(folder / "a", {"A": 1.5})
    assert "another pitch" in once(opened, folder).problems[0].message
    status = once(opened, folder, replace=True)
    assert status.problems == ()
    assert status.intakes[0].report.replaced == 1


@pytest.fixture
def running(opened, folder):
    """Starts watches in threads and stops them all."""
    started = []

    def start(**options):
        seen = Seen()
        own = {name: options.pop(name) for name in ("detect", "on_signal", "known") if name in options}
        watch = FolderWatch(opened, WatchOptions(folder, settle_s=SETTLE, **options), seen, **own)
        thread = threading.Thread(target=watch.run)
        thread.start()
        started.append((watch, thread))
        until(lambda: seen.all)
        return watch, seen, thread

    yield start
    for watch, thread in started:
        watch.stop.set()
        thread.join(10)
        assert not thread.is_alive()


@pytest.mark.parametrize("polling", [False, True])
def test_folders_and_tables_are_taken_in_as_they_arrive(running, folder, tmp_path, polling):
    _, seen, _ = running(polling=polling, poll_s=0.1)
    made_folder(tmp_path / "a", ["A"]).rename(folder / "a")
    until(lambda: seen.last.gears_in_store == 1)
    made_folder(folder / "a", ["A", "B"])
    until(lambda: seen.last.gears_in_store == 2)
    runout = "serial,space,radial_um\n" + "".join(f"A,{space},{space / 4}\n" for space in range(1, 9))
    (folder / "a" / "runout.csv").write_text(runout)
    until(lambda: seen.last.intakes[0].report.replaced == 1)
    assert seen.last.problems == ()


def test_a_table_that_is_being_written_is_waited_for(running, folder):
    _, seen, _ = running()
    made_folder(folder / "a", ["A"])
    whole = (folder / "a" / "pitch.csv").read_text()
    with (folder / "a" / "pitch.csv").open("w") as table:
        for line in whole.splitlines(keepends=True):
            table.write(line)
            table.flush()
            time.sleep(SETTLE / 8)
            assert seen.last.gears_in_store == 0
    until(lambda: seen.last.gears_in_store == 1)
    assert all(status.problems == () for status in seen.all)
    assert any(status.waiting for status in seen.all)


def test_each_new_signal_is_reported_once_and_may_end_the_watch(running, folder):
    reported = []

    old = WatchSignal("old", "T-8", None, "known before")
    notice = Notice(NoticeCode.REFERENCE_NOT_USED, "too short")

    def detect(report):
        first, second = (WatchSignal(key, report.part_number, None, "first") for key in "ab")
        return Detected((old, first, second), (notice,))

    _, seen, thread = running(
        detect=detect, on_signal=reported.append, known=Detected((old,), (notice,)), stop_at_signal=True
    )
    made_folder(folder / "a", ["A"])
    thread.join(20)
    assert not thread.is_alive()
    assert [one.sentence for one in reported] == ["first"]
    assert seen.last.signals == tuple(reported)
    assert seen.last.notices == (notice,)
    assert not seen.last.running


def test_stopping_in_the_middle_of_a_folder_adds_nothing_of_it(opened, folder, monkeypatch):
    made_folder(folder / "a", [f"G{n}" for n in range(50)])
    watch = FolderWatch(opened, WatchOptions(folder, settle_s=0.01, once=True), lambda status: None)
    look, calls = FolderWatch._raise_if_stopped, []

    def stop_at_the_third(self):
        calls.append(1)
        if len(calls) == 3:
            self.stop.set()
        look(self)

    monkeypatch.setattr(FolderWatch, "_raise_if_stopped", stop_at_the_third)
    watch.run()
    assert len(calls) == 3
    assert opened.gear_count() == 0


def test_files_that_change_while_they_are_read_are_waited_for_again(opened, folder, monkeypatch):
    made_folder(folder / "a", ["A"])
    prepare, calls = watching.prepare, []

    def changing(*arguments, **options):
        if not calls:
            made_folder(folder / "a", ["A", "B"])
        calls.append(1)
        return prepare(*arguments, **options)

    monkeypatch.setattr(watching, "prepare", changing)
    status = once(opened, folder)
    assert len(calls) == 2
    assert (status.gears_in_store, len(status.intakes)) == (2, 1)


def test_a_store_that_cannot_be_used_now_is_tried_again(opened, folder, monkeypatch):
    monkeypatch.setattr(watching, "TRY_AGAIN_S", 0.1)
    from gearqa.errors import StoreBusyError

    add, calls = watching.add_prepared, []

    def busy_first(*arguments, **options):
        calls.append(1)
        if len(calls) < 3:
            raise StoreBusyError("the store is busy", hint="try again")
        return add(*arguments, **options)

    monkeypatch.setattr(watching, "add_prepared", busy_first)
    seen = Seen()
    made_folder(folder / "a", ["A"])
    watch = FolderWatch(opened, WatchOptions(folder, settle_s=SETTLE), seen)
    thread = threading.Thread(target=watch.run)
    thread.start()
    until(lambda: seen.all and seen.last.gears_in_store == 1)
    watch.stop.set()
    thread.join(10)
    assert any(status.problems and status.problems[0].again for status in seen.all)
    assert seen.last.problems == ()


def test_a_watched_folder_that_goes_away_and_comes_back(opened, folder, monkeypatch):
    monkeypatch.setattr(watching, "FULL_SCAN_S", 0.1)
    seen = Seen()
    watch = FolderWatch(opened, WatchOptions(folder, settle_s=SETTLE, polling=True, poll_s=0.1), seen)
    thread = threading.Thread(target=watch.run)
    thread.start()
    try:
        until(lambda: seen.all)
        shutil.rmtree(folder)
        until(lambda: seen.last.problems)
        made_folder(folder / "a", ["A"])
        until(lambda: seen.last.gears_in_store == 1)
        assert seen.last.problems == ()
    finally:
        watch.stop.set()
        thread.join(10)


def test_without_events_from_the_system_files_are_looked_at(running, folder, monkeypatch):
    def no_events(self):
        raise OSError("no more watches")
        yield

    monkeypatch.setattr(FolderWatch, "_events", no_events)
    _, seen, _ = running(poll_s=0.05)
    made_folder(folder / "a", ["A"])
    until(lambda: seen.last.gears_in_store == 1)

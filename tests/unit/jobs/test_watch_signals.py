"""Signals of a watch: one a change, with what a program needs to know of it."""

from __future__ import annotations

import json
import random
from pathlib import Path

import jsonschema
import pytest
from history_folders import made_folder

import gearqa
import gearqa.jobs.history
from gearqa.cli import app
from gearqa.errors import ArgumentError, StoreError
from gearqa.history.acknowledgements import select_acknowledgements
from gearqa.history.checking import check_store
from gearqa.history.intake import FolderToAdd, add_folders
from gearqa.history.store import HistoryStore
from gearqa.history.watching import FolderWatch, WatchOptions
from gearqa.jobs.json_schemas import json_schema
from gearqa.jobs.watch_signals import drift_signals
from gearqa.report.history.figures import latest_gears

QUIET, CHANGED, AGAIN = 14, 6, 5
SERIES = "drift/T-8/GR-1/cumulative_pitch/left"


@pytest.fixture
def alarmed(tmp_path):
    """A store whose last two dress cycles have moved by 4 µm."""
    chance = random.Random(3)
    where = str(tmp_path / "history.sqlite")
    for day in range(1, QUIET + 3):
        add_cycle(where, tmp_path, day, 2.0 if day <= QUIET else 2.8, chance)
    return where


def add_cycle(where, place, day, level, chance):
    gears = {f"G{day}-{n}": level + chance.gauss(0.0, 0.03) for n in range(4)}
    with HistoryStore.open(where, writing=True) as store:
        add_folders(store, [FolderToAdd(made_folder(place / f"day{day}", gears, day=day))])


def signals_of(where):
    with HistoryStore.open(where) as store:
        return [one for one in drift_signals(store, "T-8").signals if one.key == SERIES]


def told_anew(where):
    """Signals that a watch that begins now would tell."""
    with HistoryStore.open(where) as store:
        watch = FolderWatch(store, WatchOptions(Path(where).parent), lambda status: None)
        return [one for one in drift_signals(store, "T-8").signals if watch._is_new(one)]


SAID = {"by": "setter of the night shift", "cause": "loose dresser", "action": "tightened, dressed anew"}


def test_a_signal_that_was_seen_is_not_told_again_until_the_level_changes_once_more(alarmed, tmp_path):
    assert any(one.key == SERIES for one in told_anew(alarmed))
    seen = gearqa.acknowledge_signals("T-8", "GR-1", store=alarmed, **SAID)
    assert {(one.seen_by, one.cause, one.action) for one in seen} == {tuple(SAID.values())}
    assert told_anew(alarmed) == []
    (signal,) = signals_of(alarmed)
    assert signal.seen in seen
    listed = gearqa.list_history(store=alarmed).acknowledgements
    assert list(listed) == seen
    chance = random.Random(5)
    for day in (QUIET + 3, QUIET + 4):
        add_cycle(alarmed, tmp_path, day, 2.8, chance)
        assert told_anew(alarmed) == []
    for day in (QUIET + 5, QUIET + 6, QUIET + 7):
        add_cycle(alarmed, tmp_path, day, 1.2, chance)
    assert any(one.key == SERIES for one in told_anew(alarmed))


def test_an_acknowledgement_is_undone_by_a_further_row(alarmed):
    first, *rest = gearqa.acknowledge_signals("T-8", "GR-1", store=alarmed, **SAID)
    gearqa.undo_acknowledgement(first.id, by="foreman", remark="was another grinder", store=alarmed)
    assert list(gearqa.list_history(store=alarmed).acknowledgements) == rest
    assert told_anew(alarmed) != []
    with HistoryStore.open(alarmed) as store, store.reading() as connection:
        (undoing,) = [one for one in select_acknowledgements(connection, every=True) if one.undoes]
        assert (undoing.undoes, undoing.seen_by, undoing.cause) == (
            first.id,
            "foreman",
            "was another grinder",
        )
        assert check_store(store).findings == ()
    with pytest.raises(StoreError, match="no acknowledgement 1 that counts"):
        gearqa.undo_acknowledgement(first.id, by="foreman", store=alarmed)


def test_only_what_is_open_can_be_seen(alarmed):
    with pytest.raises(StoreError, match="no signal of part T-8 on grinder GR-9 is open"):
        gearqa.acknowledge_signals("T-8", "GR-9", store=alarmed, **SAID)
    gearqa.acknowledge_signals("T-8", "GR-1", store=alarmed, **SAID)
    with pytest.raises(StoreError, match="is open"):
        gearqa.acknowledge_signals("T-8", "GR-1", store=alarmed, **SAID)
    with pytest.raises(ArgumentError, match="is empty"):
        gearqa.acknowledge_signals("T-8", "GR-1", store=alarmed, **{**SAID, "by": " "})


def test_the_command_keeps_lists_and_takes_back(alarmed, capsys):
    line = ["history", "acknowledge", "--part-number", "T-8", "--grinder", "GR-1", "--store", alarmed]
    words = [word for name, text in SAID.items() for word in (f"--{name}", text)]
    assert app.run([*line, *words]) == 0
    assert "by setter of the night shift: left" in capsys.readouterr().out
    assert app.run(["history", "list", "--events", "--store", alarmed]) == 0
    out = capsys.readouterr().out
    assert "Signals seen" in out
    assert "loose" in out
    assert app.run(["history", "acknowledge", "--undo", "1", "--by", "foreman", "--store", alarmed]) == 0
    assert "its signal is open again" in capsys.readouterr().out
    assert app.run([*line[:-2], "--by", "x", "--store", alarmed]) == 2
    assert app.run(["history", "list", "--json", "-", "--store", alarmed]) == 0
    document = json.loads(capsys.readouterr().out)
    assert [one["id"] for one in document["acknowledgements"]][:1] == [2]
    jsonschema.validate(document, json_schema("history"), cls=jsonschema.Draft202012Validator)


@pytest.fixture(scope="module")
def told(tmp_path_factory):
    """Cycle -> signals told in it, of a level that moves by 4 µm and later back by 8 µm.

    By hand: the cumulative pitch of a gear is 5 µm times its factor.
    """
    place = tmp_path_factory.mktemp("signals")
    chance = random.Random(3)
    found = {}
    with HistoryStore.open(str(place / "history.sqlite"), writing=True) as store:
        watch = FolderWatch(store, WatchOptions(place), lambda status: None)
        levels = [2.0] * QUIET + [2.8] * CHANGED + [1.2] * AGAIN
        for day, level in enumerate(levels, start=1):
            gears = {f"G{day}-{n}": level + chance.gauss(0.0, 0.03) for n in range(4)}
            folder = made_folder(place / f"day{day}", gears, day=day)
            add_folders(store, [FolderToAdd(folder)])
            signals = drift_signals(store, "T-8").signals
            found[day] = [one for one in signals if watch._is_new(one) and one.key == SERIES]
    return found


def test_a_change_is_told_once_and_the_next_one_again(told):
    days = [day for day, signals in told.items() if signals and day > QUIET]
    first, second = days
    assert QUIET < first <= QUIET + 2
    assert QUIET + CHANGED < second <= QUIET + CHANGED + 3


def test_a_signal_names_what_it_is_about(told):
    (signal,) = next(signals for day, signals in told.items() if signals and day > QUIET)
    assert (signal.part_number, signal.grinder) == ("T-8", "GR-1")
    assert (signal.parameter, signal.flank) == ("cumulative_pitch", "left")
    assert signal.cycle in (QUIET + 1, QUIET + 2)
    assert signal.dress == f"D{signal.cycle:02d}"
    assert signal.size_um == pytest.approx(4.0, abs=0.3)  # 5 µm by (2.8 - 2.0); noise 0.15 µm / sqrt(4)


def test_the_status_page_draws_dresses_and_signals(alarmed):
    """The word stands there only where a signal was told."""
    signals = signals_of(alarmed)
    observations = list(gearqa.jobs.history.latest_observations(60, store=alarmed))
    ((_, _, figure),) = latest_gears(observations, signals)
    ((_, _, plain),) = latest_gears(observations)
    text, without = str(figure.svg), str(plain.svg)
    assert "signal" in text
    assert "signal" not in without
    assert "dress" in text

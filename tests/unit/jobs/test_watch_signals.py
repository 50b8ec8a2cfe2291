"""Signals of a watch: one a change, with what a program needs to know of it."""

from __future__ import annotations

import random

import pytest
from history_folders import made_folder

from gearqa.history.intake import FolderToAdd, add_folders
from gearqa.history.store import HistoryStore
from gearqa.history.watching import FolderWatch, WatchOptions
from gearqa.jobs.watch_signals import drift_signals

QUIET, CHANGED, AGAIN = 14, 6, 5
SERIES = "drift/T-8/GR-1/cumulative_pitch/left"


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

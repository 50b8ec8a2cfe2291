"""Chosen and frozen reference periods become cycles; events at the very time of a gear."""

from __future__ import annotations

from datetime import timedelta

import numpy as np
import pytest
from drift_histories import Grinder, at, history

from gearqa.drift.between_cycles import place_events
from gearqa.drift.ordering import production_order
from gearqa.drift.reference_periods import ReferencePeriodError, place_references, reference_of
from gearqa.model.drift import Reference
from gearqa.model.measurement import GrinderEvent

GRINDER = Grinder(cycles=20)
KEYS = (("profile_slope", "left"), ("runout", None))


def gears():
    return history(np.random.default_rng(0), GRINDER, KEYS)


def order_of(observations):
    return production_order([o for o in observations if o.parameter == "runout"], ())


@pytest.mark.parametrize(
    ("period", "first", "last"),
    [
        (("3", "14"), 3, 14),
        (("D3", "D14"), 3, 14),
        (("D3", "14"), 3, 14),
        # from the very first gear of cycle 3 to the very last one of cycle 14
        ((at(3, 1, GRINDER), at(14, 30, GRINDER)), 3, 14),
        # the last time is the start of cycle 14, which belongs to it
        ((at(3, 1, GRINDER), at(14, 1, GRINDER)), 3, 14),
        # a cycle that began before the first time, or after the last, stays out
        ((at(3, 1, GRINDER) + timedelta(seconds=1), at(15, 1, GRINDER) - timedelta(seconds=1)), 4, 14),
    ],
)
def test_ends_of_a_period(period, first, last):
    assert reference_of(order_of(gears()), period, "") == Reference(first, last, frozen=True)


def test_a_label_goes_before_a_number():
    labelled = [o._replace(dress=str(100 - int(o.dress[1:]))) for o in gears()]
    assert reference_of(order_of(labelled), ("97", "86"), "") == Reference(3, 14, frozen=True)


def test_a_label_of_two_wheels_is_refused():
    twice = [
        o._replace(wheel="W2" if int(o.dress[1:]) > 10 else "W1", dress=f"D{(int(o.dress[1:]) - 1) % 10}")
        for o in gears()
    ]
    with pytest.raises(ReferencePeriodError, match="dress 'D0' names the cycles 1, 11"):
        reference_of(order_of(twice), ("D0", "D9"), "")


def test_ten_cycles_are_needed():
    assert reference_of(order_of(gears()), ("3", "12"), "") == Reference(3, 12, frozen=True)
    with pytest.raises(ReferencePeriodError, match="holds 9 dress cycles, at least 10 are needed"):
        reference_of(order_of(gears()), ("3", "11"), "")


def test_every_series_of_a_part_and_grinder_gets_its_cycles():
    found, notices = place_references(gears(), (), lambda part, grinder: ("1", "12"))
    assert {key[2] for key in found} == {"profile_slope", "runout"}
    assert set(found.values()) == {Reference(1, 12, frozen=True)}
    assert notices == ()


def test_a_period_that_fits_some_series_only_is_noticed_for_the_others():
    short = [o for o in gears() if o.parameter == "runout" or int(o.dress[1:]) <= 8]
    found, notices = place_references(short, (), lambda part, grinder: ("1", "12"))
    assert [key[2] for key in found] == ["runout"]
    assert [one.code for one in notices] == ["reference_not_used"]
    assert "no dress cycle '12'" in notices[0].message
    with pytest.raises(ReferencePeriodError, match="no dress cycle '40'"):
        place_references(short, (), lambda part, grinder: ("1", "40"))


def test_grinders_without_a_period_keep_their_own():
    found, notices = place_references(gears(), (), lambda part, grinder: None)
    assert found == {}
    assert notices == ()


def test_an_event_at_the_time_a_gear_was_finished_comes_after_that_gear():
    order = order_of(gears())
    last_of_4 = GrinderEvent(at(4, 30, GRINDER), "set-up", "G1")
    first_of_4 = GrinderEvent(at(4, 1, GRINDER), "set-up", "G1")
    assert [one.cycle for one in place_events(order, [last_of_4], "runout", None)] == [4]  # cycle 5, from 0
    assert [one.cycle for one in place_events(order, [first_of_4], "runout", None)] == [3]

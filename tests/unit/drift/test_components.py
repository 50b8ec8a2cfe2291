"""Physical errors as series: what changed is named, nothing is charted, no limit is held against them."""

from __future__ import annotations

import re
from datetime import datetime, timedelta

import numpy as np
import pytest

from gearqa.drift.analysis import analyse_observations
from gearqa.model.drift import Observation

CYCLES, NEW = 30, 21
"""Cycles, and the first one (from 0) with the other fixture."""


def history(keys, sizes=None, seed=4, scatter=None):
    """Three parts a cycle; from one cycle on another fixture, and series that move with it by a size."""
    rng = np.random.default_rng(seed)
    for key in keys:
        level = rng.normal(0, (scatter or {}).get(key, 0.2), CYCLES)
        for c in range(CYCLES):
            for place in (1, 20, 40):
                at = datetime(2026, 1, 5, 6) + timedelta(minutes=2 * (45 * c + place))
                value = 5 + level[c] + rng.normal(0, 0.2) + (sizes or {}).get(key, 0.0) * (c >= NEW)
                yield Observation(
                    "OT-1", "G1", "W1", f"D{c + 1:03d}", place, at, f"{c}-{place}", *key, value, value, value,
                    fixture="F-2" if c >= NEW else "F-1",
                )  # fmt: skip


RUNOUT, ORDER_3, ORDER_2 = ("runout", None), ("runout_order_3", None), ("runout_order_2", None)


def test_the_order_that_came_with_a_fixture_is_named():
    result = analyse_observations(history([RUNOUT, ORDER_2, ORDER_3], {RUNOUT: 2.0, ORDER_3: 2.0}))
    steps = {one.parameter: one.steps for one in result.series}
    assert [step.cycle for step in steps["runout_order_3"]] == [NEW + 1]
    assert "F-2" in steps["runout_order_3"][0].possible_causes[0]
    assert steps["runout_order_2"] == ()
    (text,) = [one.sentence for one in result.advice if one.code == "level_change"]
    assert "order 3 of runout +" in text
    assert "F-2" in text


def test_components_are_not_charted_and_thin_out_no_chart():
    alone = analyse_observations(history([RUNOUT]))
    result = analyse_observations(history([RUNOUT, ORDER_2, ORDER_3], {ORDER_3: 2.0}))
    assert result.series[0].false_alarm == alone.series[0].false_alarm
    for one in result.series[1:]:
        assert (one.in_control, one.signals, one.reference, one.suspected) == (None, (), None, None)
        assert (one.limit_kind, one.alarm) == ("none", False)


@pytest.mark.parametrize(
    ("parameter", "left", "right", "words"),
    [
        ("helix_slope", 2.0, 2.2, "alike: a taper"),
        ("helix_slope", -2.0, 2.2, "opposite: the lead"),
        ("profile_slope", 2.2, 2.0, "alike: the pressure angle"),
        ("profile_slope", 2.0, -2.0, "opposite: the sides of the dresser"),
        ("helix_slope", 2.0, 4.5, None),
    ],
)
def test_a_change_of_both_flanks_is_named(parameter, left, right, words):
    keys = {(parameter, "left"): left, (parameter, "right"): right}
    result = analyse_observations(history(keys, keys))
    (text,) = [one.sentence for one in result.advice if one.code == "level_change"]
    assert ("of both flanks" in text) == (words is not None)
    assert words is None or words in text


def changes(result):
    return [one.sentence for one in result.advice if one.code == "level_change"]


def test_an_eccentricity_and_what_it_drives_are_one_change():
    """The toothing 4 um off towards 120 degrees: both parts of the vector, its size, Fp and Fr."""
    sizes = {
        ("eccentricity_0_deg", None): -2.0, ("eccentricity_90_deg", None): 3.46,
        ("runout_order_1", None): 4.0, RUNOUT: 7.0, ("cumulative_pitch", "left"): 8.0,
    }  # fmt: skip
    (text,) = changes(analyse_observations(history(sizes, sizes, 1, dict.fromkeys(sizes, 0.1))))
    assert re.search(r": eccentricity: the toothing moved (3\.9|4\.[01]) µm towards 1(19|20|21)°", text)
    assert re.search(r"; with it left total cumulative pitch \+\d\.\d µm, runout \+\d\.\d µm; possible", text)
    assert "order 1" not in text


def test_of_one_certain_part_the_direction_is_rough():
    """The part at 90 degrees may have moved within its scatter."""
    sizes = {("eccentricity_0_deg", None): 4.0, ("eccentricity_90_deg", None): 0.0}
    (text,) = changes(analyse_observations(history(sizes, sizes, 1, {("eccentricity_0_deg", None): 0.1})))
    assert "towards about tooth 1" in text


def test_changes_whose_ranges_hold_one_place_are_one_change():
    """A series that scatters shows the change later than it was; the sharp one tells the cycle."""
    keys = {("profile_slope", "left"): 2.0, ("profile_slope", "right"): 2.0}
    scatter = {("profile_slope", "left"): 1.2}
    apart = 0
    for seed in range(12):
        result = analyse_observations(history(keys, keys, seed, scatter))
        steps = [one.steps[-1] for one in result.series if one.steps]
        if len(steps) == 2 and steps[0].cycle_low <= steps[1].cycle <= steps[0].cycle_high:
            apart += steps[0].cycle != steps[1].cycle
            (text,) = changes(result)
            assert f"at cycle {NEW + 1} (" in text
            assert "left profile slope" in text
            assert "right profile slope" in text
    assert apart


def test_two_changes_far_apart_stay_two():
    early, late = ("profile_slope", "left"), ("helix_slope", "left")
    rows = [o._replace(mean_um=o.mean_um + 2 * (int(o.dress[1:]) > 10) * (o.parameter == early[0]))
            for o in history([early, late], {late: 2.0})]  # fmt: skip
    assert [re.search(r"cycle (\d+)", text)[1] for text in changes(analyse_observations(rows))] == [
        "22",
        "11",
    ]


def test_a_moved_component_asks_for_no_gears_to_hold():
    twist = ("twist", "left")
    result = analyse_observations(history([twist, ("profile_slope", "left")], {twist: 3.0}))
    assert [bool(one.steps) for one in result.series] == [False, True]
    assert all(one.quarantine is None for one in result.series)
    assert not any(one.code == "nothing_to_hold" for one in result.advice)


def test_a_trend_of_runout_does_not_lead_to_the_dresser():
    rows = [o._replace(mean_um=o.mean_um + 0.1 * int(o.dress[1:])) for o in history([RUNOUT])]
    (text,) = [o.sentence for o in analyse_observations(rows).advice if o.code == "correct_level"]
    assert "look at fixture, table and the set-up" in text


def test_a_signal_with_a_recorded_cause_leads_to_it():
    result = analyse_observations(history([RUNOUT, ORDER_3], {RUNOUT: 4.0, ORDER_3: 4.0}))
    assert any(one.current_signals for one in result.series)
    (text,) = [one.sentence for one in result.advice if one.code == "check_cause"]
    assert "cycle 22" in text
    assert "F-2" in text

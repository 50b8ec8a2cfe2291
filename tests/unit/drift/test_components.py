"""Physical errors as series: what changed is named, nothing is charted, no limit is held against them."""

from __future__ import annotations

from datetime import datetime, timedelta

import numpy as np
import pytest

from gearqa.drift.analysis import analyse_observations
from gearqa.model.drift import Observation

CYCLES, NEW = 30, 21
"""Cycles, and the first one (from 0) with the other fixture."""


def history(keys, sizes=None, seed=4):
    """Three parts a cycle; from one cycle on another fixture, and series that move with it by a size."""
    rng = np.random.default_rng(seed)
    for key in keys:
        level = rng.normal(0, 0.2, CYCLES)
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

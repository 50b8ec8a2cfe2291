"""The grinder over parts and dress cycles: what is put in stands in the parts, term by term."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from unit.simulate import make

from gearqa.simulate import Scenario, measured_count, simulate_events, simulate_gears
from gearqa.simulate.process import SimulatedPart, made_parts
from gearqa.simulate.scenario import SHAPE_KEYS

SLOPE = SHAPE_KEYS.index("profile_slope_um")
HELIX = SHAPE_KEYS.index("helix_slope_um")
LEFT, RIGHT = 0, 1


def _process(parts: int, **process: Any) -> Scenario:
    return make.scenario(lot={"parts": parts}, shape={"both": {"profile_slope_um": 1.0}}, process=process)


def _parts(scenario: Scenario, seed: int = 1) -> list[SimulatedPart]:
    return list(made_parts(scenario, seed))


def _slopes(scenario: Scenario, flank: int = LEFT, key: int = SLOPE, seed: int = 1) -> list[float]:
    return [float(p.shape[flank, key]) for p in _parts(scenario, seed)]


def test_wear_starts_anew_after_each_dress() -> None:
    wear = {"both": {"profile_slope_um": -0.5}, "right": {"profile_slope_um": 0.25}}
    scenario = _process(7, parts_per_dress=3, wear=wear)
    assert _slopes(scenario) == [1.0, 0.5, 0.0, 1.0, 0.5, 0.0, 1.0]
    assert _slopes(scenario, RIGHT) == [1.0, 0.75, 0.5, 1.0, 0.75, 0.5, 1.0]
    assert [p.since_dress for p in _parts(scenario)] == [1, 2, 3, 1, 2, 3, 1]
    assert [p.cycle for p in _parts(scenario)] == [1, 1, 1, 2, 2, 2, 3]


def test_without_a_dress_interval_there_is_one_cycle() -> None:
    scenario = _process(4, wear={"both": {"profile_slope_um": 1.0}})
    assert _slopes(scenario) == [1.0, 2.0, 3.0, 4.0]
    assert [e.event for e in simulate_events(scenario)] == ["dress"]


def test_dresser_trend_is_not_reset() -> None:
    scenario = _process(6, parts_per_dress=2, trend={"both": {"profile_slope_um": 0.125}})
    assert _slopes(scenario) == [1.0, 1.0, 1.125, 1.125, 1.25, 1.25]


def test_steps_begin_at_a_cycle_or_at_a_part_and_stay() -> None:
    step = [
        {"at_cycle": 2, "shift": {"left": {"profile_slope_um": 4.0}}},
        {"at_part": 6, "shift": {"both": {"helix_slope_um": -2.0}}, "wheel": "W2"},
    ]
    scenario = _process(8, parts_per_dress=3, step=step)
    assert _slopes(scenario) == [1.0, 1.0, 1.0, 5.0, 5.0, 5.0, 5.0, 5.0]
    assert _slopes(scenario, RIGHT) == [1.0] * 8
    assert _slopes(scenario, RIGHT, HELIX) == [0.0] * 5 + [-2.0] * 3
    assert [p.wheel for p in _parts(scenario)] == ["W1"] * 5 + ["W2"] * 3


def test_thermal_drift_starts_anew_each_morning() -> None:
    thermal = {"time_constant_min": 30.0, "drift": {"both": {"profile_slope_um": 6.0}}}
    scenario = _process(10, cycle_time_s=1800.0, dress_time_s=0.0, hours_per_day=2.0, thermal=thermal)
    # after 30, 60, 90 min, then the day is over: 120 min is minute 0 of the next one
    want = [1 + 6 * (1 - math.exp(-minutes / 30)) for minutes in (30, 60, 90, 0) * 2]
    assert _slopes(scenario)[:8] == pytest.approx(want, abs=1e-12)
    days = [p.finished_at.isoformat() for p in _parts(scenario)][2:4]
    assert days == ["2025-03-03T07:30:00", "2025-03-04T06:00:00"]


def test_scatter_has_the_size_it_is_given() -> None:
    """Sample standard deviations of 4000 normal draws stand within 5 % of the truth (4.5 sigma)."""
    levels = {"left": {"profile_slope_um": 0.8}, "both": {"helix_slope_um": 0.5}}
    scenario = _process(4000, parts_per_dress=1, level_scatter=levels)
    assert np.std(_slopes(scenario)) == pytest.approx(0.8, rel=0.05)
    assert _slopes(scenario, RIGHT) == [1.0] * 4000
    helix = np.array([p.shape[:, HELIX] for p in _parts(scenario)])
    assert np.array_equal(helix[:, 0], helix[:, 1])
    assert np.std(helix[:, 0]) == pytest.approx(0.5, rel=0.05)
    parts = _process(4000, part_scatter={"right": {"profile_slope_um": 0.3}})
    assert np.std(_slopes(parts, RIGHT)) == pytest.approx(0.3, rel=0.05)
    rates = _process(8000, parts_per_dress=2, wear_scatter={"right": {"profile_slope_um": 0.1}})
    steps = np.diff(np.array(_slopes(rates, RIGHT)).reshape(-1, 2), axis=1)
    assert np.std(steps) == pytest.approx(0.1, rel=0.05)


def test_more_parts_change_nothing_that_was_there() -> None:
    scatter = {
        "parts_per_dress": 4,
        "level_scatter": {"both": {"profile_slope_um": 1.0}},
        "part_scatter": {"left": {"profile_slope_um": 1.0}},
    }
    assert _slopes(_process(20, **scatter))[:9] == _slopes(_process(9, **scatter))
    assert _slopes(_process(9, **scatter), seed=2) != _slopes(_process(9, **scatter))


def test_choice_of_parts_tables_and_noise_leaves_the_gears_alone() -> None:
    more = {
        "lot": {"parts": 6, "serial_prefix": "A"},
        "mounting": {"eccentricity_scatter_um": 3.0},
        "process": {"part_scatter": {"both": {"profile_slope_um": 1.0}}, "parts_per_dress": 3},
    }
    every = {g.serial: g for g in simulate_gears(make.scenario(**more), make.part())}
    few = make.scenario(**more, measuring={"last_of_cycle": 1, "tables": ["profile"], "runout_noise_um": 1.0})
    chosen = list(simulate_gears(few, make.part()))
    assert [g.serial for g in chosen] == ["A0003", "A0006"]
    for gear in chosen:
        profiles = [t for t in every[gear.serial].traces if t.kind == "profile"]
        for a, b in zip(gear.traces, profiles, strict=True):
            assert np.array_equal(a.deviation_um, b.deviation_um)


@pytest.mark.parametrize(
    ("measuring", "numbers"),
    [
        ({}, [1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11]),
        ({"first_of_cycle": 1, "last_of_cycle": 1}, [1, 5, 6, 10, 11]),
        ({"every": 2}, [1, 3, 5, 6, 8, 10, 11]),
        ({"last_of_cycle": 2}, [4, 5, 9, 10, 11]),
        ({"first_of_cycle": 2, "every": 4}, [1, 2, 5, 6, 7, 10, 11]),
    ],
)
def test_which_parts_of_a_cycle_are_measured(measuring: dict[str, int], numbers: list[int]) -> None:
    scenario = make.scenario(lot={"parts": 11}, process={"parts_per_dress": 5}, measuring=measuring)
    got = [int(g.serial) for g in simulate_gears(scenario, make.part())]
    assert got == numbers
    assert measured_count(scenario) == len(numbers)


def test_events_and_production_tell_the_same_story() -> None:
    step = [
        {"at_cycle": 2, "record": {"event": "dresser change", "remark": "new roll"}, "wheel": "W7"},
        {"at_cycle": 3, "shift": {"both": {"profile_slope_um": 1.0}}},
    ]
    process = {
        "parts_per_dress": 2, "step": step, "cycle_time_s": 60.0, "dress_time_s": 120.0, "grinder": "G9",
        "started_at": "2025-05-05T06:00:00+02:00",
    }  # fmt: skip
    measuring = {"instrument": "I1", "operators": ["A", "B"], "temperature_degC": 20.5, "delay_min": 10.0}
    scenario = make.scenario(lot={"parts": 5}, process=process, measuring=measuring)
    events = [(e.at.isoformat(), e.event, e.grinder, e.wheel, e.remark) for e in simulate_events(scenario)]
    assert events == [
        ("2025-05-05T06:02:00+02:00", "dress", "G9", "W1", None),
        ("2025-05-05T06:04:00+02:00", "dresser change", "G9", "W7", "new roll"),
        ("2025-05-05T06:06:00+02:00", "dress", "G9", "W7", None),
        ("2025-05-05T06:10:00+02:00", "dress", "G9", "W7", None),
    ]
    made = [g.production for g in simulate_gears(scenario, make.part())]
    assert all(p is not None for p in made)
    assert [(p.dress, p.parts_since_dress, p.wheel) for p in made if p] == [
        ("D001", 1, "W1"), ("D001", 2, "W1"), ("D002", 1, "W7"), ("D002", 2, "W7"), ("D003", 1, "W7"),
    ]  # fmt: skip
    first = made[0]
    assert first is not None
    assert first.finished_at is not None
    assert first.measured_at is not None
    assert first.finished_at.isoformat() == "2025-05-05T06:03:00+02:00"
    assert (first.measured_at - first.finished_at).total_seconds() == 600
    assert (first.instrument, first.operator, first.temperature_degC) == ("I1", "A", 20.5)

"""The sample history of 40 dress cycles: what was injected is found."""

from __future__ import annotations

from pathlib import Path

import pytest

from gearqa.drift.analysis import analyse_observations
from gearqa.evaluation.evaluate import evaluate
from gearqa.evaluation.observations import observations_from_results
from gearqa.model.drift import DriftResult, DriftSeries
from gearqa.reading.folder.passes import read_folder

FOLDER = Path(__file__).parents[3] / "sample_measurements" / "drift_history"


@pytest.fixture(scope="module")
def result() -> DriftResult:
    with read_folder(FOLDER) as inspection:
        gears = evaluate(inspection, inspection.part)
        observations = observations_from_results(gears, inspection.part, simulated=inspection.simulated)
        return analyse_observations(list(observations), inspection.events)


def series(result: DriftResult, parameter: str, flank: str | None) -> DriftSeries:
    return next(one for one in result.series if (one.parameter, one.flank) == (parameter, flank))


# The truth stands in sample_measurements/scenarios/drift_history.toml.
@pytest.mark.parametrize(
    ("parameter", "flank", "wear"),
    [
        ("profile_slope", "left", -0.100),
        ("profile_slope", "right", -0.060),
        ("profile_crowning", "left", -0.010),
        ("profile_crowning", "right", -0.010),
        ("helix_slope", "left", 0.0),
        ("helix_slope", "right", 0.0),
        ("helix_crowning", "left", 0.0),
        ("single_pitch", "right", 0.0),
    ],
)
def test_injected_wear_lies_in_its_interval(
    result: DriftResult, parameter: str, flank: str, wear: float
) -> None:
    found = series(result, parameter, flank)
    low, high = found.wear_interval_um_per_part or (1.0, 0.0)
    assert low <= wear <= high
    assert found.wear_significant is (wear != 0)
    assert (found.gears, found.cycles) == (120, 40)


def test_injected_steps_are_found_at_their_cycle(result: DriftResult) -> None:
    (corrected,) = series(result, "profile_slope", "left").steps
    assert corrected.cycle_low <= 25 <= corrected.cycle_high
    assert str(corrected.event).startswith("correction +1.5 µm")
    for flank in ("left", "right"):
        (unknown,) = series(result, "helix_slope", flank).steps
        assert unknown.cycle_low <= 31 <= unknown.cycle_high
        assert unknown.event is None
        assert abs(unknown.size_um - 1.6) < 3 * 0.4 * (1 / 30 + 1 / 10) ** 0.5
        assert series(result, "helix_slope", flank).in_control is False
    with_step = {(one.parameter, one.flank) for one in result.series if one.steps}
    assert with_step == {("profile_slope", "left"), ("helix_slope", "left"), ("helix_slope", "right")}


def test_dresser_trend_of_the_flank_without_correction(result: DriftResult) -> None:
    low, high = series(result, "profile_slope", "right").trend_interval or (1.0, 0.0)
    assert low <= -0.030 <= high


def test_it_says_simulated_and_what_to_do(result: DriftResult) -> None:
    assert result.simulated
    assert result.alarm
    codes = [one.code for one in result.advice]
    assert codes[0] == "quarantine"
    assert {"dress_interval", "level_change", "level_trend", "sampling_plan", "setter"} <= set(codes)

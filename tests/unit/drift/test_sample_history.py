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
    (corrected,) = series(result, "profile_slope", "left").corrections
    assert (corrected.cycle, corrected.intended, corrected.verdict) == (25, 1.5, "as intended")
    assert corrected.words.startswith("correction +1.5 µm")
    low, high = corrected.low or 0.0, corrected.high or 0.0
    assert low < 1.5 < high
    for flank in ("left", "right"):
        (unknown,) = series(result, "helix_slope", flank).steps
        assert unknown.cycle_low <= 31 <= unknown.cycle_high
        assert unknown.event is None
        assert unknown.size_interval_um is not None
        assert unknown.size_interval_um[0] < 1.6 < unknown.size_interval_um[1]
        assert series(result, "helix_slope", flank).in_control is False
    with_step = {(one.parameter, one.flank) for one in result.series if one.steps}
    assert with_step == {("helix_slope", "left"), ("helix_slope", "right")}


def test_the_flank_without_correction_moves(result: DriftResult) -> None:
    """Its trend of -0.030 um per cycle is seen as a movement; trend and change are not told apart."""
    found = series(result, "profile_slope", "right")
    assert found.level_moved
    assert found.in_control is False


def test_it_says_simulated_and_what_to_do(result: DriftResult) -> None:
    assert result.simulated
    assert result.alarm
    codes = [one.code for one in result.advice]
    assert codes[:2] == ["nothing_to_hold", "signal"]
    assert {"dress_interval", "level_change", "level_moved", "correction_seen", "setter"} <= set(codes)
    (dress,) = result.dress_intervals
    assert (dress.parameter, dress.flank) == ("profile_slope", "right")

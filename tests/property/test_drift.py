"""Invariants of the drift analysis over invented histories, noise-free and gappy ones too."""

from __future__ import annotations

import math
import random
from dataclasses import replace

import numpy as np
import pytest
from drift_histories import CYCLE_TIME_S, Grinder, event_before, history
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from gearqa.drift.analysis import analyse_observations
from gearqa.model.drift import DriftSeries, DriftSettings, Observation

GRINDERS = st.builds(
    Grinder,
    cycles=st.sampled_from([1, 2, 4, 6, 8, 10, 13, 22]),
    measured=st.lists(st.integers(1, 30), min_size=1, max_size=4, unique=True).map(
        lambda p: tuple(sorted(p))
    ),
    wear=st.sampled_from([0.0, -0.05, 0.05, 1.0]),
    trend=st.sampled_from([0.0, 0.2]),
    step_at=st.sampled_from([None, 6]),
    step=st.just(3.0),
    sd_cycle=st.sampled_from([0.0, 0.4]),
    sd_part=st.sampled_from([0.0, 0.4]),
    limits=st.sampled_from([(-6.0, 6.0), (None, 6.0), (None, None), (-0.5, 0.5)]),
    U=st.sampled_from([None, 0.6]),
)
FEW = settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])


def only(observations: list[Observation]) -> DriftSeries:
    (series,) = analyse_observations(observations).series
    return series


@FEW
@given(GRINDERS, st.integers(0, 10_000))
def test_order_of_the_input_changes_nothing(grinder: Grinder, seed: int) -> None:
    observations = history(np.random.default_rng(seed), grinder)
    shuffled = observations.copy()
    random.Random(seed).shuffle(shuffled)
    one, other = only(observations), only(shuffled)
    assert one.sentence == other.sentence
    assert one.cycle_levels_um == other.cycle_levels_um
    assert one.signals == other.signals


@FEW
@given(GRINDERS, st.integers(0, 10_000))
def test_changing_the_sign_mirrors_the_result(grinder: Grinder, seed: int) -> None:
    observations = history(np.random.default_rng(seed), replace(grinder, limits=(-4.0, 4.0)))
    mirrored = [o._replace(mean_um=-o.mean_um, min_um=-o.max_um, max_um=-o.min_um) for o in observations]
    one, other = only(observations), only(mirrored)
    assert one.in_control is other.in_control
    assert one.parts_to_limit == other.parts_to_limit
    assert one.dress_interval_parts == other.dress_interval_parts
    assert [s.cycle for s in one.steps] == [s.cycle for s in other.steps]
    assert (one.wear_um_per_part or 0.0) == pytest.approx(-(other.wear_um_per_part or 0.0), abs=1e-12)


@FEW
@given(
    GRINDERS,
    st.integers(0, 10_000),
    st.sampled_from(["none", "parts_since_dress", "finished_at", "dress"]),
    st.booleans(),
)
def test_gaps_give_finite_numbers_or_reasons(grinder: Grinder, seed: int, gap: str, times: bool) -> None:
    pick = random.Random(seed)
    observations = [
        o._replace(**{gap: None}) if gap != "none" and pick.random() < 0.3 else o
        for o in history(np.random.default_rng(seed), grinder)
    ]
    choice = DriftSettings(cycle_time_s=CYCLE_TIME_S if times else None, measuring_time_s=400.0)
    result = analyse_observations(observations, [event_before(1, grinder)], choice)
    for series in result.series:
        numbers = [series.wear_um_per_part, series.sd_um, series.level_trend_um_per_cycle]
        numbers += [series.centring_offset_um, *(step.size_um for step in series.steps)]
        assert all(number is None or math.isfinite(number) for number in numbers)
        assert (series.parts_to_limit is None) is (series.parts_to_limit_reason is not None)
        assert (series.dress_interval_parts is None) is (series.dress_interval_reason is not None)
        assert (series.in_control is True) is (series.reasons == ())
        assert "nan" not in series.sentence

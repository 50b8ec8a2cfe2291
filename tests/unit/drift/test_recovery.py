"""What the analysis promises, over many invented histories: intervals, places, rates, risk."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from drift_histories import Grinder, event_before, history
from scipy.special import ndtr

from gearqa.drift.analysis import analyse_observations
from gearqa.drift.control import chart_series, choose_reference
from gearqa.drift.ordering import CycleValues
from gearqa.model.drift import DRIFT_PARAMETERS, DriftSettings
from gearqa.statistics.wear import fit_wear

pytestmark = pytest.mark.independent


def test_wear_trend_step_and_place() -> None:
    """120 histories of 40 cycles: wear in its 95 % interval, step of 2 um (4.3 sd of a level), its place."""
    grinder = Grinder(trend=0.03, step_at=25, step=2.0)
    runs, wear, found, place, size, trend, shown = 120, 0, 0, 0, [], 0, 0
    for seed in range(runs):
        (series,) = analyse_observations(history(np.random.default_rng(seed), grinder)).series
        low, high = series.wear_interval_um_per_part or (0.0, 0.0)
        wear += low <= -0.05 <= high
        near = [step for step in series.steps if abs(step.cycle - 25) <= 2]
        found += bool(near)
        place += any(step.cycle_low <= 25 <= step.cycle_high for step in near)
        size += [step.size_um for step in near]
        if series.trend_interval is not None and near and len(series.steps) == 1:
            shown += 1
            trend += series.trend_interval[0] <= 0.03 <= series.trend_interval[1]
    assert wear / runs > 0.95 - 4 * math.sqrt(0.95 * 0.05 / runs)
    assert found / runs > 0.9
    assert place / found > 0.9
    assert abs(np.mean(size) - 2.0) < 0.25
    assert shown > 20
    assert trend / shown > 0.8  # reported only where significant, which selects large trends


def test_false_claims_of_a_report() -> None:
    """Wear 1 %, movement 3 % of reports of ten quiet series, all together; 60 reports."""
    wear = moved = 0
    keys = [(name, flank) for name in DRIFT_PARAMETERS[2:7] for flank in ("left", "right")]
    for seed in range(60):
        rng, grinder = np.random.default_rng(seed), Grinder(cycles=16, wear=0.0)
        result = analyse_observations(history(rng, grinder, keys))  # type: ignore[arg-type]
        wear += any(one.wear_significant for one in result.series)
        moved += any(
            one.steps or one.level_moved or one.level_trend_um_per_cycle is not None for one in result.series
        )
    assert wear / 60 < 0.01 + 4 * math.sqrt(0.01 * 0.99 / 60)
    assert moved / 60 < 0.03 + 4 * math.sqrt(0.03 * 0.97 / 60)


@pytest.mark.parametrize(("cycles", "positions"), [(40, (0, 14, 29)), (20, (0, 14, 29)), (40, (0, 29))])
def test_false_chart_alarms_at_the_claimed_rate(cycles: int, positions: tuple[int, ...]) -> None:
    """Cycles behind the reference, 1 % per chart and cycle; the EWMA counts every cycle it stays out."""
    rng, runs, each = np.random.default_rng(5), 1200, 0.01
    cycle, s = np.repeat(np.arange(cycles), len(positions)), np.tile(np.array(positions, float), cycles)
    start, stop = choose_reference(cycles, ()) or (0, 0)
    rates = np.zeros((3, runs))
    for run in range(runs):
        y = rng.normal(0, 0.4, cycles)[cycle] + 0.05 * s + rng.normal(0, 0.4, len(s))
        fit = fit_wear(cycle, s, y)
        charts = chart_series(CycleValues(cycle, s, y), fit, fit.levels, (start, stop), 3 * each, 0.2)
        ewma_cycles = np.zeros(cycles, dtype=bool)
        ewma_cycles[cycle[charts.ewma_signals]] = True
        out = (charts.level_signals, charts.moving_range_signals, ewma_cycles)
        rates[:, run] = [signal[stop:].mean() for signal in out]
    mean, se = rates.mean(axis=1), rates.std(axis=1) / math.sqrt(runs)
    assert mean[0] == pytest.approx(each, abs=4 * se[0])
    assert mean[1] < each + 4 * se[1]
    assert mean[2] < 2 * each + 4 * se[2]


@pytest.mark.parametrize(
    ("cycles", "wear_sd", "limit", "least"),
    [
        (20, 0.0, 4.0, 0.95),
        (20, 0.01, 2.2, 0.95),
        (8, 0.0, 4.0, 0.95),
        (5, 0.0, 4.0, 0.95),
        # Far beyond what was measured, with a wear rate that differs from cycle to cycle: a warning says so.
        (20, 0.01, 4.0, 0.90),
        (8, 0.01, 4.0, 0.88),
    ],
)
def test_forecast_interval_covers(cycles: int, wear_sd: float, limit: float, least: float) -> None:
    """The running cycle's own crossing of the limit lies in the 95 % interval."""
    rng = np.random.default_rng(cycles)
    grinder = Grinder(
        cycles=cycles, measured=(1, 16, 30), last_part=16, limits=(None, limit), level=0.0, wear=0.05,
        wear_sd=wear_sd, spread=0.0,
    )  # fmt: skip
    inside = shown = 0
    for _ in range(300):
        # the history draws level and wear of each cycle in turn; the last cycle's own are drawn again here
        before = history(rng, replace(grinder, cycles=cycles - 1, last_part=None))
        level, wear = rng.normal(0, 0.4), max(0.05 + wear_sd * rng.standard_normal(), 0.005)
        running = [
            o._replace(mean_um=y, min_um=y, max_um=y)
            for o in history(rng, grinder)
            if o.serial.startswith(f"{cycles:04d}")
            for y in [level + wear * ((o.parts_since_dress or 1) - 1) + rng.normal(0, 0.4)]
        ]
        (series,) = analyse_observations([*before, *running]).series
        parts = series.parts_to_limit
        if parts is None:
            continue
        shown += 1
        inside += parts.low <= (limit - level) / wear + 1 <= parts.high + 1
    assert shown > 100
    assert inside / shown > least - 0.01


@pytest.mark.parametrize("U", [None, 0.6])
def test_dress_interval_meets_the_risk(U: float | None) -> None:
    """Last part of a coming cycle at the recommended interval, worst trace against the action limit."""
    rng = np.random.default_rng(77)
    beyond, used = 0.0, 0
    grinder = Grinder(cycles=16, parts=60, measured=(1, 20, 40, 60), limits=(-2.6, 6.0), level=1.2, U=U)
    for _ in range(250):
        (series,) = analyse_observations(history(rng, grinder), (), DriftSettings(risk=0.02)).series
        if series.dress_interval_parts is None or series.dress_interval_at_least or series.steps:
            continue
        used += 1
        low = series.limit_um[0] or 0.0
        worst = 1.2 - 0.5 - 0.05 * (series.dress_interval_parts - 1)
        beyond += float(ndtr((low - worst) / math.hypot(0.4, 0.4)))
    assert used > 200
    assert 0.008 < beyond / used < 0.022


def test_effect_of_a_correction_lies_in_its_interval() -> None:
    """200 histories of 20 cycles, a correction at cycle 13 that did half of what was recorded."""
    grinder = Grinder(cycles=20, step_at=13, step=1.0, wear=0.0)
    recorded = replace(event_before(13, grinder), parameter="profile_slope", correction=2.0, unit="um")
    inside = wrong = 0
    for seed in range(200):
        (series,) = analyse_observations(history(np.random.default_rng(seed), grinder), [recorded]).series
        (found,) = series.corrections
        inside += (found.low or 0.0) <= 1.0 <= (found.high or 0.0)
        wrong += found.verdict in ("opposite", "larger")
    assert inside / 200 > 0.95 - 4 * math.sqrt(0.95 * 0.05 / 200)
    assert wrong == 0

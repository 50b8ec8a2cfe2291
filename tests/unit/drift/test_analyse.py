"""The analysis of a history: words, verdicts, matching, limits."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from drift_histories import Grinder, at, event_before, history

from gearqa.drift.analysis import analyse_observations
from gearqa.drift.control import choose_reference
from gearqa.model.drift import DriftSeries, DriftSettings, Observation, Reference


def one(grinder: Grinder, seed: int = 1, events: Any = (), **settings: Any) -> DriftSeries:
    (series,) = analyse_observations(
        history(np.random.default_rng(seed), grinder), events, DriftSettings(**settings)
    ).series
    return series


def test_the_sentence_that_matters_first():
    """From 1.0 um at the first part, 52 steps of 0.05 um stay above -1.62 um: 53 parts are made inside."""
    series = one(Grinder(sd_cycle=0.002, sd_part=0.002, limits=(-1.62, 1.62), spread=0.0))
    assert series.sentence == (
        "Left profile slope loses 0.050 µm per part (0.050 to 0.050; less metal at the tip); "
        "the lower limit is reached after 53 parts (53 to 53); "
        "dress every 44 parts (at least: the history reaches no further) for a risk of 1 %."
    )
    assert series.dress_interval_at_least


def test_interval_inside_the_history_is_plain():
    series = one(Grinder(limits=(-2.5, 2.5)))
    assert series.dress_interval_parts is not None
    assert not series.dress_interval_at_least
    assert f"dress every {series.dress_interval_parts} parts for a risk of 1 %" in series.sentence
    assert series.dress_interval_parts < 45


def test_wear_to_the_upper_limit_mirrors():
    down = one(Grinder(limits=(-2.5, 2.5)))
    mirrored = [
        replace(o, mean_um=-o.mean_um, min_um=-o.max_um, max_um=-o.min_um)
        for o in history(np.random.default_rng(1), Grinder(limits=(-2.5, 2.5)))
    ]
    (up,) = analyse_observations(mirrored).series
    assert up.dress_interval_parts == down.dress_interval_parts
    assert up.parts_to_limit == down.parts_to_limit
    assert up.centring_offset_um == pytest.approx(-(down.centring_offset_um or 0))
    assert "gains 0.0" in up.sentence
    assert "more metal at the tip" in up.sentence
    assert "the upper limit" in up.sentence


def test_limits_are_those_of_the_newest_gear_less_the_guard():
    observations = history(np.random.default_rng(1), Grinder(U=1.0))
    observations[-1] = replace(observations[-1], limit_low=-5.0, limit_high=5.0, revision="D")
    (series,) = analyse_observations(observations).series
    assert series.limit_um == pytest.approx((-5 + 0.822427, 5 - 0.822427))
    assert (series.limit_kind, series.limit_revision) == ("acceptance limit", "D")
    assert one(Grinder()).limit_kind == "tolerance limit"


def test_no_limit_on_that_side():
    series = one(Grinder(limits=(None, 6.0)))
    assert series.parts_to_limit is None
    assert series.parts_to_limit_reason == "no lower limit is known"
    assert series.dress_interval_reason == "no lower limit is known"
    assert series.centring_offset_um is None


def test_no_wear_no_crossing():
    series = one(Grinder(wear=0.0))
    assert series.wear_significant is False
    assert series.parts_to_limit is None
    assert series.dress_interval_parts is None
    assert "no crossing can be shown" in str(series.parts_to_limit_reason)
    assert series.dress_interval_reason == series.parts_to_limit_reason


def test_step_is_found_and_matched_with_a_recorded_event():
    grinder = Grinder(step_at=23, step=2.5)
    series = one(grinder, events=[event_before(22, grinder, "set-up"), event_before(23, grinder, "dress")])
    (step,) = series.steps
    assert step.cycle_low <= 23 <= step.cycle_high
    assert step.event == "set-up"
    assert abs(step.size_um - 2.5) < 0.6
    assert series.segment_from_cycle == step.cycle
    # The level was changed on purpose: limits begin anew.
    assert series.reference == Reference(step.cycle, 39, frozen=False)


def test_event_of_another_parameter_or_long_ago_explains_nothing():
    grinder = Grinder(step_at=23, step=2.5)
    other = replace(event_before(23, grinder), parameter="helix_slope")
    series = one(grinder, events=[other, event_before(18, grinder)])
    assert series.steps[0].event is None
    assert series.in_control is False
    assert {reason.code for reason in series.reasons} >= {"level_change"}
    assert series.reference is not None
    assert series.reference.to == series.steps[0].cycle - 1


def test_correction_that_changed_nothing_is_said():
    grinder = Grinder()
    correction = replace(event_before(20, grinder), parameter="profile_slope", correction=-1.0, unit="um")
    warnings = {w.code: w.message for w in one(grinder, events=[correction]).warnings}
    assert (
        warnings["correction_not_seen"] == "correction -1 µm before cycle 20: no level change is seen there"
    )
    effective = Grinder(step_at=20, step=2.5)
    assert "correction_not_seen" not in {w.code for w in one(effective, events=[correction]).warnings}


def test_new_wheel_counts_as_an_event():
    grinder = Grinder(step_at=23, step=2.5)
    observations = [
        replace(o, wheel="W2") if int(o.serial[:4]) >= 23 else o
        for o in history(np.random.default_rng(1), grinder)
    ]
    (series,) = analyse_observations(observations).series
    assert series.steps[0].event == "wheel change to W2"


def test_six_cycles_for_an_interval_and_twelve_for_a_trend():
    five, six = one(Grinder(cycles=5)), one(Grinder(cycles=6))
    assert five.dress_interval_parts is None
    assert "5 dress cycles since the last level change: at least 6" in str(five.dress_interval_reason)
    assert six.dress_interval_parts is not None
    assert not one(Grinder(cycles=11)).identifiable.trend
    assert one(Grinder(cycles=12)).identifiable.trend


@pytest.mark.parametrize(
    ("cycles", "first", "unexplained", "expected"),
    [
        (60, 0, (), (0, 25)),
        (26, 0, (), (0, 25)),
        (25, 0, (), (0, 24)),
        (10, 0, (), (0, 10)),
        (9, 0, (), None),
        (60, 30, (), (30, 55)),
        (60, 55, (), None),
        (60, 0, (14, 40), (0, 14)),
        (60, 0, (6,), (0, 25)),
    ],
)
def test_cycles_that_limits_come_from(
    cycles: int, first: int, unexplained: tuple[int, ...], expected: tuple[int, int] | None
):
    assert choose_reference(cycles, first, unexplained) == expected


def test_few_cycles_leave_control_open():
    series = one(Grinder(cycles=9))
    assert series.in_control is None
    assert series.reference is None
    assert series.signals == ()
    assert series.reasons[0].code == "few_cycles"
    assert one(Grinder(cycles=10)).in_control is not None


def test_a_chosen_reference_stays():
    grinder = Grinder(step_at=23, step=2.5)
    frozen = Reference(2, 15, frozen=True)
    series = one(grinder, events=[event_before(23, grinder)], reference=frozen)
    assert series.reference == frozen
    assert any(signal.cycle >= 23 and signal.chart == "levels" for signal in series.signals)
    key = series.key
    assert one(grinder, references={key: frozen}).reference == frozen
    # Too short a reference leaves control open.
    assert one(grinder, reference=Reference(2, 8)).in_control is None


def test_current_signal_sets_the_exit_and_names_what_to_hold():
    grinder = Grinder(cycles=30, step_at=30, step=6.0, last_part=15, limits=(-9.0, 9.0))
    series = one(grinder)
    assert series.alarm
    assert any(signal.current and signal.cycle == 30 for signal in series.signals)
    assert series.quarantine is not None
    assert series.quarantine.after_serial == "0029-030"
    assert series.quarantine.measured == ("0030-001", "0030-015")
    assert series.quarantine.to_serial == "0030-015"


def test_gears_beyond_the_limit_are_not_good():
    grinder = Grinder(cycles=30, step_at=30, step=6.0, last_part=15, limits=(-9.0, 9.0))
    observations = history(np.random.default_rng(1), grinder)
    observations = [
        replace(o, max_um=9.5) if o.serial in ("0029-030", "0029-015") else o for o in observations
    ]
    (series,) = analyse_observations(observations).series
    assert series.quarantine is not None
    assert series.quarantine.after_serial == "0029-001"


def test_a_signal_comes_before_the_forecast():
    result = analyse_observations(
        [
            *history(np.random.default_rng(1), Grinder(cycles=30, limits=(-9.0, 9.0))),
            *history(
                np.random.default_rng(2),
                Grinder(cycles=30, step_at=28, step=6.0, limits=(-9.0, 9.0)),
                name="G2",
            ),
        ]
    )
    assert result.headline is not None
    assert result.headline.startswith(
        "Left profile slope is out of control: beyond a control limit in cycles 28"
    )
    assert result.headline == result.series[1].sentence
    assert "loses 0.0" in result.headline
    assert result.advice[0].code == "quarantine"


def test_old_signals_are_listed_and_do_not_set_the_exit():
    grinder = Grinder(cycles=30)
    observations = [
        replace(o, mean_um=o.mean_um + 6, max_um=o.max_um + 6) if o.serial.startswith("0028") else o
        for o in history(np.random.default_rng(1), replace(grinder, limits=(None, None)))
    ]
    result = analyse_observations(observations)
    (series,) = result.series
    assert {signal.cycle for signal in series.signals} >= {28}
    assert series.in_control is False
    assert not any(s.current for s in series.signals if s.cycle == 28)
    assert series.quarantine is None
    assert not result.alarm
    since = analyse_observations(observations, (), DriftSettings(since=at(28, 1, grinder)))
    assert since.alarm


def test_limit_within_the_usual_cycle_sets_the_exit():
    series = one(Grinder(limits=(-0.6, 3.0), last_part=15))
    assert series.parts_to_limit is not None
    assert series.parts_to_limit.expected < 30
    assert series.current_dress_interval_parts == 30
    assert series.limit_within_interval
    assert series.alarm


def test_same_part_of_every_cycle_cannot_tell_wear():
    series = one(Grinder(measured=(7,)))
    assert series.wear_um_per_part is None
    assert not series.identifiable.wear
    assert "measured at the same part" in " ".join(w.message for w in series.warnings)
    assert series.in_control is not None  # levels can still be charted


def test_two_parts_per_cycle_leave_slope_variation_open():
    series = one(Grinder(measured=(1, 30)))
    assert series.identifiable.wear
    assert not series.identifiable.slope_variation
    assert "slope_variation_unknown" in {w.code for w in series.warnings}


def test_without_parts_since_dress_no_wear_is_claimed():
    observations = [replace(o, parts_since_dress=None) for o in history(np.random.default_rng(1), Grinder())]
    (series,) = analyse_observations(observations).series
    assert series.wear_um_per_part is None
    assert series.parts_to_limit_reason == "parts since dress are not known"
    (estimated,) = analyse_observations(observations, (), DriftSettings(cycle_time_s=100.0)).series
    assert estimated.wear_estimated
    assert estimated.wear_um_per_part == pytest.approx(one(Grinder()).wear_um_per_part)


def test_without_dresses_nothing_is_claimed():
    observations = [
        replace(o, parts_since_dress=None, dress=None) for o in history(np.random.default_rng(1), Grinder())
    ]
    (series,) = analyse_observations(observations).series
    assert series.cycles == 0
    assert series.in_control is None
    assert series.wear_um_per_part is None
    assert {w.code for w in series.warnings} == {"no_cycles"}


def test_later_gears_and_earlier_cycles_can_be_left_out():
    grinder = Grinder()
    until = one(grinder, until=at(20, 30, grinder))
    assert until.cycles == 20
    last = one(grinder, last_cycles=12)
    assert (last.cycles, last.cycle_levels_um[0].cycle, last.current_cycle) == (12, 29, 40)


def test_rates_are_shared_over_the_series():
    keys = [("profile_slope", "left"), ("profile_slope", "right"), ("runout", None)]
    result = analyse_observations(history(np.random.default_rng(1), Grinder(), keys))  # type: ignore[arg-type]
    assert [s.parameter for s in result.series] == ["runout", "profile_slope", "profile_slope"]
    for series in result.series:
        assert 1 - (1 - series.false_alarm.per_series) ** 3 == pytest.approx(0.01)
        assert series.false_alarm.in_control_run_length_parts == pytest.approx(
            30 / series.false_alarm.per_series
        )


def test_parts_and_grinders_stay_apart():
    rng = np.random.default_rng(1)
    observations = [*history(rng, Grinder()), *history(rng, Grinder(wear=0.02), name="G2")]
    first, second = analyse_observations(observations).series
    assert (first.grinder, second.grinder) == ("G1", "G2")
    assert abs((second.wear_um_per_part or 0) - 0.02) < 0.02


def test_advice_in_words():
    grinder = Grinder(step_at=23, step=2.5, limits=(-3.0, 3.0), trend=-0.06)
    result = analyse_observations(
        history(np.random.default_rng(1), grinder),
        [event_before(23, grinder)],
        DriftSettings(cycle_time_s=100.0, measuring_time_s=400.0),
    )
    advice = {one.code: one.sentence for one in result.advice}
    assert "recorded within one cycle: correction" in advice["level_change"]
    assert "dressing does not reset it" in advice["level_trend"]
    assert "qualified setter" in advice["setter"]
    assert "grinding burn" in advice["geometry_only"]
    assert "Measure parts 1, " in advice["sampling_plan"]
    assert "one gear in 4" in advice["sampling_plan"]
    assert "dress_interval" in advice


def test_nothing_to_analyse():
    result = analyse_observations([])
    assert (result.series, result.advice, result.alarm, result.headline) == ((), (), False, None)


def test_one_gear_is_no_crash():
    (series,) = analyse_observations(
        history(np.random.default_rng(1), Grinder(cycles=1, measured=(4,)))
    ).series
    assert (series.gears, series.cycles, series.in_control) == (1, 1, None)
    assert series.sd_um is None


@pytest.mark.parametrize("cycles", range(1, 14))
@pytest.mark.parametrize("measured", [(1,), (3, 3), (1, 30), (2, 9, 14, 28)])
def test_short_histories_give_finite_numbers_or_none(cycles: int, measured: tuple[int, ...]):
    observations: list[Observation] = [
        replace(o, serial=f"{i}")
        for i, o in enumerate(
            history(np.random.default_rng(cycles), Grinder(cycles=cycles, measured=measured))
        )
    ]
    (series,) = analyse_observations(observations).series
    numbers = [
        series.wear_um_per_part,
        series.sd_um,
        series.sd_part_um,
        series.sd_cycle_um,
        series.level_trend_um_per_cycle,
        series.centring_offset_um,
        *(series.wear_interval_um_per_part or ()),
        *(level.level_um for level in series.cycle_levels_um),
        *(level.se_um for level in series.cycle_levels_um),
    ]
    assert all(number is None or np.isfinite(number) for number in numbers)


def test_advice_names_part_and_grinder_only_where_there_are_several():
    rng = np.random.default_rng(1)
    observations = history(rng, Grinder(limits=(-2.5, 2.5)))
    alone = analyse_observations(observations).advice[0].sentence
    assert alone.startswith("Dress every ")
    both = analyse_observations([*observations, *history(rng, Grinder(wear=0.0), name="G2")]).advice
    assert both[0].sentence == f"OT-4471 on G1: d{alone[1:]}"

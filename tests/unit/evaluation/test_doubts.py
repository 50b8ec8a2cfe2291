"""Readings that are not assessed for doubt: dead, cut off, copied, marked or in another unit.

There is no published catalogue of such faults (common practice, no source): each is made here from good
random readings. How often good readings are taken for bad ones is counted over seeded random traces.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from unit.evaluation import make
from unit.evaluation.make import graded

from gearqa.evaluation.evaluate import evaluate
from gearqa.evaluation.part_setup import setup_of
from gearqa.evaluation.probe_faults import odd_rows, table_fault, trace_fault, zone_fault
from gearqa.evaluation.rejudge import judged_anew
from gearqa.model.measurement import GearMeasurement, PitchReadings, RunoutReadings, Trace
from gearqa.model.results import GearResult

X = np.linspace(0.0, 1.0, 480)
RANGE = (0.05, 0.95)
PROFILE = ("profile_total", "profile_form", "profile_slope")
PITCH = ("single_pitch", "cumulative_pitch")


def flank_like(rng: np.random.Generator, n: int = 480, resolution: float = 0.001) -> np.ndarray:
    """Slope, crowning, waves, relief at the ends, and noise of a probe on a ground flank."""
    x = np.linspace(0.0, 1.0, n)
    y = rng.normal(0, 2) * x + rng.normal(0, 8) * (x - 0.5) ** 2
    y += rng.uniform(0, 2) * np.sin(2 * np.pi * rng.uniform(0.5, 6) * x + rng.uniform(0, 7))
    if rng.random() < 0.4:
        y -= rng.uniform(1, 15) * np.clip(1 - x / rng.uniform(0.1, 0.35), 0, None) ** rng.choice([1, 2])
    smooth = int(rng.choice([1, 3, 10, 30]))
    noise = np.convolve(rng.normal(0, 1, n + smooth), np.ones(smooth) / smooth, "valid")[:n]
    return np.round((y + noise * rng.uniform(0.03, 0.4) / noise.std()) / resolution) * resolution


def code_of(y: np.ndarray, x: np.ndarray = X) -> str | None:
    """The fault of a trace; one that the quick look passes has none."""
    if not odd_rows(x, y[None], *RANGE)[0]:
        assert trace_fault(x, y, *RANGE) is None
        return None
    fault = trace_fault(x, y, *RANGE)
    return None if fault is None else fault.code


@pytest.mark.parametrize("resolution", [0.001, 0.01, 0.1])
@pytest.mark.parametrize("n", [81, 480, 3000])
def test_no_doubt_about_good_traces_fine_or_coarse_short_or_long(resolution: float, n: int) -> None:
    rng = np.random.default_rng(int(1000 * resolution) + n)
    x = np.linspace(0.0, 1.0, n)
    assert {code_of(flank_like(rng, n, resolution), x) for _ in range(400)} == {None}


@pytest.mark.parametrize("flicker", [0.001, 0.003])
@pytest.mark.parametrize("part", [slice(0, 240), slice(150, 300), slice(120, 480)])
@pytest.mark.parametrize("n", [480, 2000])
def test_a_probe_that_flickers_at_one_value_is_stuck(flicker: float, part: slice, n: int) -> None:
    rng = np.random.default_rng(n)
    x = np.linspace(0.0, 1.0, n)
    for _ in range(20):
        y = np.round(rng.normal(0, 2) * x + rng.normal(0, 0.1, n), 3)
        here = slice(part.start * n // 480, part.stop * n // 480)
        y[here] = y[here.start] + np.round(rng.choice([-1, 0, 1], here.stop - here.start) * flicker, 3)
        assert code_of(y, x) == "stuck"


def test_a_damaged_place_on_a_smooth_flank_is_no_stuck_probe() -> None:
    rng = np.random.default_rng(8)
    for _ in range(200):
        y = np.round(rng.normal(0, 0.002, 480) + rng.normal(0, 0.05) * X, 3)
        first = rng.integers(0, 400)
        y[first : first + 70] += rng.normal(0, 1.5, 70)
        assert code_of(y) is None


def test_a_coarse_crest_and_a_coarse_wave_are_no_fault() -> None:
    """Without noise they stand at one level for long, but go there step by step."""
    for shape in (-3 * (2 * X - 1) ** 2, -3 * (2 * X - 1) ** 4, 0.8 * np.sin(4 * np.pi * X)):
        assert code_of(np.round(shape, 1)) is None


def half(y: np.ndarray) -> np.ndarray:
    return np.where(np.arange(480) >= 240, y[240], y)


def marked(value: float) -> Callable[[np.ndarray], np.ndarray]:
    return lambda y: np.where(np.arange(480) % 40 < 5, value, y)


@pytest.mark.parametrize(
    ("break_", "code"),
    [
        (lambda y: 0 * y, "stuck"),
        (lambda y: 0 * y + 1.234, "stuck"),
        (half, "stuck"),
        (lambda y: np.clip(2 * np.sin(9 * X) + y / 10, -1.5, 1.5), "clipped"),
        (lambda y: np.minimum(2 * np.sin(16 * X) + y / 10, 1.5), "clipped"),  # one end, twice
        *((marked(v), "no_reading") for v in (9999, -9999, 99.99, -999.9, 99999, 9.999e6)),
        (lambda y: 0 * y + 9999, "no_reading"),
    ],
)
@pytest.mark.parametrize("resolution", [0.001, 0.1])
def test_what_no_probe_on_a_flank_gives(break_: Callable[..., np.ndarray], code: str, resolution: float):
    rng = np.random.default_rng(7)
    broken = [np.round(break_(flank_like(rng)) / resolution) * resolution for _ in range(50)]
    if code == "no_reading":
        broken = [break_(flank_like(rng)) for _ in range(50)]
    found = [code_of(y) for y in broken]
    # of coarse readings cut off little the levels beside the cut are filled too: not all can be told
    least = 35 if code == "clipped" and resolution == 0.1 else 50
    assert found.count(code) >= least
    assert set(found) <= {code, None}


def test_a_steep_chamfer_that_passes_through_999_is_no_mark() -> None:
    y = np.where(X > 0.97, -40000 * (X - 0.97), 0.0) + flank_like(np.random.default_rng(1))
    y[np.argmin(np.abs(y + 999.9))] = -999.9
    assert code_of(y) is None


@pytest.mark.parametrize("resolution", [0.001, 0.1])
@pytest.mark.parametrize("teeth", [12, 24, 87])
def test_no_doubt_about_good_tables(resolution: float, teeth: int) -> None:
    rng = np.random.default_rng(teeth)
    angles = 2 * np.pi * np.arange(teeth) / teeth
    for _ in range(400):
        noise = rng.normal(0, rng.uniform(0.3, 3), teeth)
        y = rng.uniform(0, 15) * np.cos(angles + rng.uniform(0, 7)) + noise
        y = np.round(y / resolution) * resolution
        assert table_fault(y) is None
        assert table_fault(y - np.roll(y, 1)) is None


@pytest.mark.parametrize(
    ("at", "value", "code"),
    [(slice(None), 0.0, "stuck"), (slice(20, 45), 3.125, "stuck"), (slice(4, 6), -9999.0, "no_reading")],
)
def test_tables_at_fault(at: slice, value: float, code: str) -> None:
    y = np.round(np.random.default_rng(2).normal(0, 3, 87), 3)
    y[at] = value
    fault = table_fault(y)
    assert fault is not None
    assert fault.code == code
    missing = y.copy()
    missing[60] = np.nan
    assert table_fault(missing) == fault


# --- what becomes of them in a gear -------------------------------------------------------------------


def live(trace: Trace, seed: int) -> Trace:
    """A trace as a probe gives it: with noise."""
    noise = np.random.default_rng(seed).normal(0, 0.05, len(trace.position_mm))
    return Trace(trace.kind, trace.flank, trace.tooth, trace.position_mm, trace.deviation_um + noise)


def live_gear(*replaced: Trace, **more: object) -> GearMeasurement:
    rng = np.random.default_rng(3)
    traces = [live(trace, seed) for seed, trace in enumerate(make.all_traces())]
    own = {(t.kind, t.flank, t.tooth): t for t in replaced}
    index = {"left": rng.normal(0, 0.5, make.Z), "right": rng.normal(0, 0.5, make.Z)}
    return make.gear([own.get((t.kind, t.flank, t.tooth), t) for t in traces], **{**index, **more})


def doubts(result: GearResult) -> set[tuple[str, str | None, str]]:
    return {(gap.parameter, gap.flank, gap.code) for gap in result.not_assessed}


def test_a_live_gear_is_assessed() -> None:
    result = graded(live_gear(runout=np.random.default_rng(4).normal(0, 1, make.Z)))
    assert (doubts(result), result.warnings, result.conforms) == (set(), (), True)


def test_a_dead_trace_has_no_value_and_opens_its_flank() -> None:
    dead = make.profile("left", 13)
    result = graded(live_gear(dead))
    assert doubts(result) == {(key, "left", "stuck") for key in PROFILE}
    assert (result.conforms, result.class_complete, len(result.traces)) == (None, False, 15)
    assert [w.code for w in result.warnings] == ["stuck"]
    assert "profile trace of tooth 13, left flank reads 0 µm everywhere" in result.warnings[0].message
    assert judged_anew(result, setup_of(make.part())) == result


def test_what_is_doubtful_excuses_no_failure_of_the_rest() -> None:
    bad = live(make.profile("left", 1, slope=30.0), 1)
    result = graded(live_gear(bad, make.profile("left", 13)))
    assert result.parameters["profile_slope"].conforms is False
    assert result.conforms is False


def test_marks_for_no_reading_in_the_normal_plane_and_under_single_pitch() -> None:
    """Readings are looked at as the table gives them, not as they are converted."""
    trace = live(make.helix("right", 26), 5)
    y = trace.deviation_um.copy()
    y[200:210] = 9999.0 / np.cos(np.radians(20))
    gear = live_gear(Trace("helix", "right", 26, trace.position_mm, y))
    base = make.merged(make.PINION, {"gear": {"helix_angle_deg": 20.0, "helix_hand": "right"}})
    part = make.part(base, evaluation={"deviation_plane": "normal"})
    factor = setup_of(part).flank_factor
    y[200:210] = 9999.0 * factor
    gear = live_gear(Trace("helix", "right", 26, trace.position_mm, y))
    result = next(evaluate([gear], part))
    assert {gap.code for gap in result.not_assessed} == {"no_reading"}

    pitches = np.random.default_rng(9).normal(0, 1, make.Z)
    pitches[7] = 9999.0
    closed = PitchReadings("left", np.cumsum(pitches - pitches.mean()), float(pitches.sum()))
    gear = live_gear()
    gear = GearMeasurement("A", gear.traces, {**gear.pitch, "left": closed})
    assert doubts(graded(gear)) == {
        *((key, "left", "no_reading") for key in PITCH), ("runout", None, "no_reading"),
    }  # fmt: skip


def test_a_copy_is_not_assessed_and_names_the_other() -> None:
    gear = live_gear()
    first = gear.traces[0]
    copy = Trace(
        first.kind, first.flank, first.tooth, first.position_mm, first.deviation_um, None, "the trace of 'B'"
    )
    result = graded(GearMeasurement("A", (copy, *gear.traces[1:]), gear.pitch))
    assert doubts(result) == {(key, "left", "copied") for key in PROFILE}
    assert "repeats the trace of 'B' value for value" in result.not_assessed[0].reason


def confirmed(code: str, parameter: str, serials: object = "all") -> dict[str, object]:
    entry = {"code": code, "parameter": parameter, "serials": serials, "reason": "polished", "by": "A. Gauge"}
    return {"evaluation": {"confirmed": [entry]}}


@pytest.mark.parametrize("parameter", ["profile", "profile_form"])
def test_a_confirmed_doubt_is_assessed_and_printed(parameter: str) -> None:
    tables = confirmed("stuck", parameter)
    result = graded(live_gear(make.profile("left", 13)), **tables)
    taken = PROFILE if parameter == "profile" else (parameter,)
    assert doubts(result) == {(key, "left", "stuck") for key in PROFILE if key not in taken}
    assert (result.conforms, len(result.traces)) == (True if parameter == "profile" else None, 16)
    (notice,) = [w for w in result.warnings if w.code == "confirmed"]
    assert "taken as they stand, confirmed by A. Gauge: polished (doubt: profile trace of" in notice.message
    for key in PROFILE:  # what was not confirmed has no value of the flank in doubt
        assert ("left" in result.parameters[key].flanks) is (key in taken)
    assert judged_anew(result, setup_of(make.part(**tables))) == result


def test_a_confirmation_goes_for_its_serials_and_its_code() -> None:
    dead = make.profile("left", 13)
    assert graded(live_gear(dead), **confirmed("stuck", "profile", ["OT-0001"])).not_assessed == ()
    for tables in (confirmed("stuck", "profile", ["OT-2"]), confirmed("clipped", "profile"),
                   confirmed("stuck", "helix")):  # fmt: skip
        assert graded(live_gear(dead), **tables).not_assessed


@pytest.mark.parametrize("scale", [0.001, 1000.0])
def test_another_unit_is_no_value(scale: float) -> None:
    gear = live_gear()
    traces = tuple(
        Trace(t.kind, t.flank, t.tooth, t.position_mm, scale * (t.deviation_um + 4 * t.position_mm / 20))
        for t in gear.traces
    )
    rng = np.random.default_rng(4)
    pitch = {f: PitchReadings(f, scale * rng.normal(0, 2, make.Z)) for f in ("left", "right")}
    radial = RunoutReadings(scale * rng.normal(0, 3, make.Z))
    result = graded(GearMeasurement("A", traces, pitch, radial))
    assert {gap.code for gap in result.not_assessed} == {"unit_doubt"}
    assert (len(result.not_assessed), result.parameters, result.conforms) == (17, {}, None)
    everything = [
        {"code": "unit_doubt", "parameter": family, "serials": "all", "reason": "so it is", "by": "N.N."}
        for family in ("profile", "helix", "pitch", "runout")
    ]
    taken = graded(GearMeasurement("A", traces, pitch, radial), evaluation={"confirmed": everything})
    assert taken.not_assessed == ()
    assert taken.conforms is (scale < 1)


def test_fewest_teeth_are_the_jobs_to_set() -> None:
    gear = live_gear()
    two = GearMeasurement("A", tuple(t for t in gear.traces if t.tooth in (1, 26)), gear.pitch)
    result = graded(two)
    assert {gap.code for gap in result.not_assessed} == {"too_few_teeth"}
    assert "teeth 1, 26 traced, at least 3 teeth" in result.not_assessed[0].reason
    assert result.parameters["profile_form"].value_um > 0
    assert graded(two, evaluation={"fewest_teeth": 2}).not_assessed == ()
    four = graded(gear, evaluation={"fewest_teeth": 5})
    assert {gap.code for gap in four.not_assessed} == {"too_few_teeth"}


def spiked(rng: np.random.Generator, y: np.ndarray, first: int, past: int) -> np.ndarray:
    """A stretch that stands still but for three spikes."""
    y = y.copy()
    y[first:past] = y[first]
    y[rng.choice(np.arange(first + 1, past - 1), 3, replace=False)] += np.round(rng.normal(0, 1, 3), 3)
    return y


@pytest.mark.parametrize("ends", [(0, 480), (200, 350)])
def test_spikes_do_not_make_a_dead_probe_live(ends: tuple[int, int]) -> None:
    rng = np.random.default_rng(11)
    found = [code_of(spiked(rng, flank_like(rng), *ends)) for _ in range(200)]
    assert found.count("stuck") >= 195  # the rest: a spike of less than two steps, or beside another


def test_a_coarse_trace_on_two_levels_is_no_fault_and_on_one_is_no_trace() -> None:
    """Whole micrometres of a good flank: it leaves a level by the smallest step there is."""
    one_step = np.where((X > 0.3) & (X < 0.34), 1.0, 0.0)
    assert code_of(one_step) is None
    assert code_of(np.round(0.937 * one_step, 3)) == "stuck"
    assert code_of(0.0 * X) == "stuck"


def test_a_coarse_trace_that_never_leaves_its_level_by_more_than_one_step_is_no_fault() -> None:
    """Of a good flank all but its ends round to one level; what a flank passes on its way is no jump."""
    y = np.where(X < 0.07, -1.0, np.where(X > 0.93, 1.0, 0.0))
    assert code_of(y) is None
    assert code_of(np.where(X > 0.93, 7.0, y)) == "stuck"


def test_in_whole_micrometres_a_stuck_value_is_left_by_a_jump() -> None:
    """Two flanks like the oddest of 9600 good ones: flat, then steep over the levels next to it."""
    flat = np.repeat([-2.0, -1.0, 0.0, 1.0], [148, 13, 10, 1])
    worn = np.repeat([-3.0, -2.0, -1.0, -2.0, -1.0, 0.0, 1.0, 2.0, 3.0], [9, 11, 1, 13, 21, 8, 14, 7, 88])
    x = np.linspace(0.0, 1.0, 172)
    assert [code_of(y, x) for y in (flat, worn)] == [None, None]
    assert [code_of(0.5 * y, x) for y in (flat, worn)] == ["stuck", "stuck"]  # finer, and no chance
    worn[-88:] += 2.0
    assert code_of(worn, x) == "stuck"


def test_coarse_tables_are_closed_and_have_no_spikes() -> None:
    """Flat crests of good index tables: one that holds the first tooth, and one with another tooth on it."""
    trough = [*[-3] * 8, -4, -3, -3, -3, -3, -3, -4, -4, -4, -4, -4, -3, -3, -4, -3, -3, -4, *[-3] * 8]
    down = [-1, 0, 0, -1, -1, -1, -2, -2, -2, -2, -2, -3, -2, -3, -3, -2]
    closed = [*[0] * 5, *down, *trough, -2, -2, -2, -2, -1, -1, -2, -1, -1, *[0] * 24]
    assert table_fault(np.array(closed, dtype=np.float64)) is None
    crest = [0, 1, 2, 2, 2, 0, -5, -17, -25, -33, -36, -36, -40, -36, -36, -36, -31, -22, -12, -5]
    assert table_fault(0.5 * np.array(crest)) is None


def test_one_trace_that_spans_next_to_nothing_is_doubtful_beside_good_ones() -> None:
    rng = np.random.default_rng(5)
    for trace in make.all_traces()[:3]:
        tiny = rng.choice([0.0, 0.001, 0.002], len(trace.position_mm))
        dead = Trace(trace.kind, trace.flank, trace.tooth, trace.position_mm, tiny)
        result = graded(live_gear(dead))
        assert {gap.code for gap in result.not_assessed} == {"unit_doubt"}
        assert result.conforms is None
        confirmed = [
            {"code": "unit_doubt", "parameter": trace.kind, "serials": "all", "reason": "so", "by": "N.N."}
        ]
        assert graded(live_gear(dead), evaluation={"confirmed": confirmed}).not_assessed == ()


@pytest.mark.independent
def test_no_trace_at_fault_is_passed_over_by_the_quick_look() -> None:
    """What looks at all traces together against what looks at one."""
    rng = np.random.default_rng(11)
    position = np.linspace(0.5, 31.5, 240)
    found = 0
    for grain in (0.0, 0.1, 0.5):
        traces = rng.normal(0, 1, (400, 240)).cumsum(axis=1) * 10.0 ** rng.uniform(-2, 1, (400, 1))
        for trace in traces[::2]:
            at, count = int(rng.integers(0, 240)), int(rng.integers(1, 60))
            fault = rng.integers(0, 4)
            if fault == 0:
                trace[at : at + count] = rng.choice([9.99, 99.9, -99.99, 999.0, -9999.0])
            elif fault == 1:
                trace[at : at + count] = trace[at]
            elif fault == 2:
                np.clip(trace, *np.quantile(trace, (0.2, 0.8)), out=trace)
        if grain:
            traces = np.round(traces / grain) * grain
        odd = odd_rows(position, traces, 1.6, 30.4)
        faults = np.array([trace_fault(position, trace, 1.6, 30.4) is not None for trace in traces])
        assert not np.any(faults & ~odd)
        found += int(faults.sum())
    assert found > 200


@pytest.mark.parametrize("required", [True, False])
def test_a_probe_that_stood_still_over_most_of_a_zone_proves_nothing_there(required: bool) -> None:
    # 1.9 of 10 mm are too little for a fault of the whole range; elsewhere it is a good flank
    rng = np.random.default_rng(3)
    traces = [
        replace(one, deviation_um=flank_like(rng, len(one.position_mm)) / 4) for one in make.all_traces()
    ]
    zone = {"kind": "profile", "from": 15.0, "to": 17.0, "total_um": 9.0, "required": required}
    part = make.part(tolerance={"class": 11, "parameters": ["profile_total"], "zone": [zone]})
    good = next(evaluate([make.gear(traces)], part))
    assert (good.conforms, good.not_assessed, len(good.zones[0].traces)) == (True, (), len(make.TEETH))
    first = traces[0]
    still = (first.position_mm >= 14.9) & (first.position_mm <= 16.8)
    dead = replace(first, deviation_um=np.where(still, 0.313, first.deviation_um))
    result = next(evaluate([make.gear([dead, *traces[1:]])], part))
    gaps = [(one.parameter, one.flank, one.code) for one in result.not_assessed]
    assert gaps == ([("profile_total_zone_1", "left", "stuck")] if required else [])
    assert result.conforms is (None if required else True)
    assert any("zone 1: reads 0.313" in one.message for one in result.warnings)
    left, right = result.zones
    assert [one.tooth for one in left.traces] == [one.tooth for one in traces[1:4]]
    assert (left.conforms, left.state, right.conforms, right.state) == (
        None, "not assessed", True, "conforms"
    )  # fmt: skip
    assert judged_anew(result, setup_of(part)) == result
    # by hand: a rise of 99 um over 10 mm is 19.8 over 2 mm, which no trace beside it excuses
    steep = traces[1].deviation_um + 9.9 * traces[1].position_mm
    failing = next(evaluate([make.gear([dead, replace(traces[1], deviation_um=steep), *traces[2:]])], part))
    assert (failing.zones[0].conforms, failing.zones[0].state) == (False, "does not conform")


@pytest.mark.parametrize("resolution", [0.001, 0.01, 0.1])
def test_no_doubt_about_zones_of_good_traces(resolution: float) -> None:
    rng = np.random.default_rng(int(1000 * resolution))
    for points in (20, 40, 120):
        for _ in range(300):
            low = X[rng.integers(0, len(X) - points)]
            high = low + (points - 1) * (X[1] - X[0])
            assert zone_fault(X, flank_like(rng, resolution=resolution), low, high) is None

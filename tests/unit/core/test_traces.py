"""Traces: ranges, design, mean line, deviations, tip zone, coverage."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest
from oracle_file import load
from scipy import optimize
from unit.core import plain_evaluation as plain

from gearqa.core import traces
from gearqa.core.traces import (
    Relief,
    TraceDesign,
    TraceSpec,
    cached_trace_operator,
    coverage,
    default_cutoff,
    design_trace,
    evaluate_traces,
    helix_range,
    mean_line,
    profile_range,
    trace_operator,
)

HELIX = TraceSpec(1.6, 30.4, 0.0, 32.0, None, 0.96)
EXTERNAL = TraceSpec(10.0, 19.5, 10.0, 20.2, 20.0, None)
INTERNAL = TraceSpec(20.0, 10.5, 20.0, 9.8, 10.0, None)


def evaluated(spec: TraceSpec, x: np.ndarray, y: np.ndarray) -> dict[str, float]:
    values = evaluate_traces(trace_operator(x, spec), np.asarray(y, dtype=float)[None])
    return {field.name: getattr(values, field.name)[0].item() for field in dataclasses.fields(values)}


CLOSED_FORMS = {
    "5*u": lambda u: 5 * u,
    "-4*(2*u-1)**2": lambda u: -4 * (2 * u - 1) ** 2,
    "5*u-4*(2*u-1)**2": lambda u: 5 * u - 4 * (2 * u - 1) ** 2,
    "2*sin(2*pi*u)": lambda u: 2 * np.sin(2 * np.pi * u),
    "2*sin(4*pi*u)": lambda u: 2 * np.sin(4 * np.pi * u),
    "2*sin(20*pi*u)": lambda u: 2 * np.sin(20 * np.pi * u),
    "2*sin(7*pi*u)": lambda u: 2 * np.sin(7 * np.pi * u),
    "0 to u=0.8 then linear to -6": lambda u: np.where(u > 0.8, -6 * (u - 0.8) / 0.2, 0),
}


@pytest.mark.parametrize("row", load("trace_closed_forms").params())
@pytest.mark.parametrize("falling", [False, True], ids=["rising positions", "falling towards the end"])
def test_closed_forms(row, falling):
    """Integrals of the straight line through simple traces; 20001 points, no filter."""
    x = np.linspace(3.0, 13.0, 20_001)
    spec = (
        TraceSpec(13.0, 3.0, 13.0, 3.0, None, None)
        if falling
        else TraceSpec(3.0, 13.0, 3.0, 13.0, None, None)
    )
    u = (13.0 - x) / 10 if falling else (x - 3.0) / 10
    found = evaluated(spec, x, CLOSED_FORMS[row["trace"]](u))
    for key in ("slope", "form", "total"):
        digits = len(row[key].partition(".")[2])
        assert round(found[key], digits) + 0.0 == float(row[key]), key
        assert abs(found["slope_full"] - found["slope"]) < 1e-12


def test_eleven_equidistant_points_with_equal_weights():
    """Elementary: slope 9.272727, form 2.781818."""
    t, u = np.linspace(0, 1, 11), np.array([0, 1, 3, 2, 4, 6, 5, 7, 6, 9, 10.0])
    level, rise = mean_line(t, u, np.ones(11))
    residual = u - level - rise * t
    assert (f"{rise:.6f}", f"{np.ptp(residual):.6f}") == ("9.272727", "2.781818")


@pytest.mark.published
def test_mean_line_on_nist_norris():
    """NIST StRD Norris, certified to 15 digits."""
    data = np.array([[float(row["x"]), float(row["y"])] for row in load("nist_norris").rows])
    level, rise = mean_line(data[:, 0], data[:, 1], np.ones(36))
    assert rise == pytest.approx(1.00211681802045, rel=1e-13)
    assert level == pytest.approx(-0.262323073774029, rel=1e-11)


@pytest.mark.published
def test_mean_line_on_nist_noint1():
    """NIST StRD NoInt1 has no intercept: each point stands with its mirror image about the origin."""
    data = np.array([[float(row["x"]), float(row["y"])] for row in load("nist_noint1").rows])
    mirrored = np.concatenate((data, -data))
    level, rise = mean_line(mirrored[:, 0], mirrored[:, 1], np.ones(22))
    assert rise == pytest.approx(2.07438016528926, rel=1e-14)
    assert abs(level) < 1e-12


def test_mean_line_weights_count_as_repeated_points():
    t, u, w = np.array([0.0, 0.3, 0.7, 1.0]), np.array([1.0, -2.0, 4.0, 3.0]), np.array([1, 3, 2, 1])
    repeated = mean_line(np.repeat(t, w), np.repeat(u, w), np.ones(7))
    assert np.allclose(mean_line(t, u, w.astype(float)), repeated, rtol=0, atol=1e-13)


def random_case(rng: np.random.Generator) -> tuple[plain.Case, TraceSpec, np.ndarray, np.ndarray]:
    n = int(rng.integers(60, 140))
    steps = rng.uniform(0.2, 1.0, n - 1)
    x = 5.0 + np.concatenate(([0.0], np.cumsum(steps) * 20 / steps.sum()))
    step = float(np.median(np.diff(x)))
    start = rng.choice([x[0] - 1.9 * step, x[0] + rng.uniform(0, 3), x[7]])
    end = rng.choice([x[-1] + 1.9 * step, x[-1] - rng.uniform(0.2, 3), x[-9]])
    tip = rng.choice([end + rng.uniform(0.2, 2), x[-3], end + 1e-3, x[-1] + 4])
    zone = None if rng.uniform() < 0.3 else max(tip, end)
    cutoff = rng.choice([None, 0.4, 1.3, 6.0])
    crowning, slope = rng.choice([0.0, 7.0]), rng.choice([0.0, -4.0])
    reliefs = [(5.0, start + 0.8 * (end - start), end + 1.0), (3.0, start + 2.0, start)]
    reliefs = reliefs[: int(rng.integers(0, 3))]
    full = start - 0.3, end + 1.1
    if rng.uniform() < 0.5:
        mirror = 40.0
        x = mirror - x[::-1]
        start, end, full = mirror - start, mirror - end, (mirror - full[0], mirror - full[1])
        zone = None if zone is None else mirror - zone
        reliefs = [(a, mirror - b, mirror - c) for a, b, c in reliefs]
    y = np.cumsum(rng.normal(size=n)) + rng.choice([0.0, 1000.0])
    case = plain.Case(start, end, *full, zone, cutoff, crowning, slope, reliefs)
    spec = TraceSpec(
        start, end, *full, zone, cutoff, TraceDesign(crowning, slope, tuple(Relief(*r) for r in reliefs))
    )
    return case, spec, x, y


@pytest.mark.independent
@pytest.mark.parametrize("seed", range(40))
def test_irregular_traces_against_plain_loops(seed):
    """Vectorised and plain evaluation agree to 1e-9 um: filter, limits, design, zone, missing ends."""
    case, spec, x, y = random_case(np.random.default_rng(seed))
    assert coverage(x, spec).fault is None
    expected = plain.evaluate(case, x.tolist(), y.tolist())
    found = evaluated(spec, x, y)
    assert found["tip_zone_counted"] == expected.pop("tip_zone_counted")
    expected.pop("parabola_slope")  # of uneven points only near that of the line
    for key, value in expected.items():
        assert found[key] == pytest.approx(value, rel=0, abs=1e-9), key


@pytest.mark.independent
def test_a_wave_about_its_mean_parabola():
    """cos(2 pi u), by hand: square term 90/pi^2 about the middle, so crowning -22.5/pi^2; the width by its
    stationary points."""
    u = np.linspace(0, 1, 20_001)
    found = evaluated(TraceSpec(3.0, 13.0, 3.0, 13.0, None, None), 3 + 10 * u, np.cos(2 * np.pi * u))
    square = 90 / np.pi**2
    assert found["crowning"] == pytest.approx(-square / 4, abs=1e-6)

    def left(t):
        return -math.cos(2 * math.pi * t) - square * (t * t - 1 / 12)

    top = optimize.brentq(lambda t: math.pi * math.sin(2 * math.pi * t) - square * t, 0.1, 0.5)
    places = [left(t) for t in (0.0, top, 0.5)]
    assert found["parabola_form"] == pytest.approx(max(places) - min(places), abs=1e-6)
    assert found["form"] == pytest.approx(2.0)


@pytest.mark.independent
@pytest.mark.parametrize("sine", [1, 2, 10])
def test_what_is_odd_about_the_middle_has_no_parabola(sine):
    """A parabola on a sine: about the mean parabola stays what stays of the sine about its line."""
    u = np.linspace(0, 1, 20_001)
    spec, wave = TraceSpec(3.0, 13.0, 3.0, 13.0, None, None), 2 * np.sin(2 * np.pi * sine * u)
    alone = evaluated(spec, 3 + 10 * u, wave)
    bowed = evaluated(spec, 3 + 10 * u, wave - 4 * (2 * u - 1) ** 2)
    assert bowed["parabola_form"] == pytest.approx(alone["form"], abs=1e-6)
    assert (bowed["crowning"], bowed["slope"]) == pytest.approx((4, alone["slope"]), abs=1e-6)


@pytest.mark.independent
def test_the_slope_of_the_mean_parabola_is_that_of_the_mean_line():
    """Exactly for points at even steps; to a hundredth of a micrometre at even steps of diameter."""
    d_b = 93.9692620786
    for x, near in (
        (np.linspace(12.0, 24.0, 300), 1e-9),
        (np.sqrt(np.linspace(97.0, 105.0, 300) ** 2 - d_b**2) / 2, 0.01),
    ):
        start, end = float(x[0]), float(x[-1])
        t = (x - start) / (end - start) - 0.5
        y = 3 * t - 10 * (2 * t) ** 2 + np.sin(9 * t)
        expected = plain.evaluate(plain.Case(start, end, start, end), x.tolist(), y.tolist())
        found = evaluated(TraceSpec(start, end, start, end, None, None), x, y)
        assert found["slope"] == pytest.approx(expected["parabola_slope"], abs=near)


def test_the_tip_zone_does_not_count_about_the_mean_parabola():
    x = np.linspace(10.0, 20.2, 1021)
    lifted = evaluated(EXTERNAL, x, np.where(x > 19.6, 5.0, 0.0))
    assert (lifted["form"], lifted["parabola_form"]) == pytest.approx((5.0, 0.0), abs=1e-9)


def test_cases_of_the_comparison_cover_what_they_should():
    cases = [random_case(np.random.default_rng(seed)) for seed in range(40)]
    found = [evaluated(spec, x, y) for _, spec, x, y in cases]
    assert {r["tip_zone_counted"] for r in found} == {False, True}
    assert {spec.end > spec.start for _, spec, _, _ in cases} == {False, True}
    assert {spec.cutoff is None for _, spec, _, _ in cases} == {False, True}
    assert any(spec.low < x[0] for _, spec, x, _ in cases)
    assert any(spec.high > x[-1] for _, spec, x, _ in cases)


def test_a_batch_is_evaluated_as_its_traces_are(monkeypatch):
    rng = np.random.default_rng(1)
    x = np.linspace(0.0, 32.0, 400)
    y = np.cumsum(rng.normal(size=(37, 400)), axis=1)
    monkeypatch.setattr(traces, "CHUNK_VALUES", 5 * 400)
    batch = evaluate_traces(trace_operator(x, HELIX), y)
    for i in range(37):
        one = evaluated(HELIX, x, y[i])
        for key, value in one.items():
            assert getattr(batch, key)[i] == pytest.approx(value, rel=0, abs=1e-10), key


def test_no_traces_give_no_values():
    x = np.linspace(0.0, 32.0, 400)
    assert evaluate_traces(trace_operator(x, HELIX), np.empty((0, 400))).total.shape == (0,)


# ranges and design


def test_profile_range_is_95_percent_from_the_root_side():
    """Roll lengths 44.292096 (d 293) and 60.029491 (d 304) of the ring z 97, m_n 3 (computed values)."""
    start, end, tip = profile_range(304.0, 293.0, 279.288096465)
    assert (f"{start:.6f}", f"{tip:.6f}") == ("60.029491", "44.292096")
    assert end == pytest.approx(60.029491 - 0.95 * (60.029491 - 44.292096), abs=1e-6)


@pytest.mark.parametrize(
    ("b", "m_n", "expected"),
    [
        (32.0, 1.75, (1.6, 30.4)),
        (40.0, 2.0, (2.0, 38.0)),
        (100.0, 2.0, (2.0, 98.0)),
        (20.0, 3.0, (1.0, 19.0)),
    ],
)
def test_helix_range_leaves_5_percent_or_one_module(b, m_n, expected):
    """ISO 1328-1:2013 (from memory): the smaller of both at each end."""
    assert helix_range(b, m_n) == pytest.approx(expected, abs=1e-12)


@pytest.mark.parametrize(("length", "cutoff"), [(30.0, 1.0), (1.5, 0.05), (1.2, 0.05), (9.0, 0.3)])
def test_default_cutoff_is_a_thirtieth_not_below_0_05(length, cutoff):
    """ISO 1328-1:2013 annex on filtering (from memory)."""
    assert default_cutoff(length) == pytest.approx(cutoff, abs=1e-15)


@pytest.mark.parametrize("spec", [EXTERNAL, INTERNAL], ids=["external", "internal"])
def test_a_trace_that_is_the_design_deviates_in_nothing(spec):
    tip, root = spec.zone_end, spec.start
    inward = math.copysign(1.0, spec.end - spec.start)
    reliefs = (Relief(6.0, spec.end - 2 * inward, tip), Relief(3.0, root + 2 * inward, root))
    spec = dataclasses.replace(spec, design=TraceDesign(4.0, -3.0, reliefs))
    x = np.linspace(9.5, 20.5, 800)
    found = evaluated(spec, x, design_trace(x, spec))
    kinks = 1e-3  # the relief's start lies between two samples: interpolation leaves a trifle
    assert all(abs(found[key]) < kinks for key in ("total", "form", "slope", "slope_full"))
    assert found["crowning"] == pytest.approx(4.0, abs=kinks)
    at = design_trace(np.array([tip, root]), spec)
    t_tip = 0.5 + 0.5 / 9.5
    assert at == pytest.approx([-4.0 * (2 * t_tip) ** 2 - 3.0 * t_tip - 6.0, -4.0 + 1.5 - 3.0])


def test_a_crowned_trace_on_an_unmodified_design_shows_its_crowning():
    """A parabola 4 um high over the ends of the range has crowning 4, form 4, no slope (elementary)."""
    x = np.linspace(0.0, 32.0, 3201)
    t = (x - 16.0) / 28.8
    found = evaluated(dataclasses.replace(HELIX, cutoff=None), x, -4.0 * (2 * t) ** 2)
    assert [round(found[k], 6) + 0.0 for k in ("crowning", "form", "slope")] == [4.0, 4.0, 0.0]


def test_defaults_of_a_design_are_nothing():
    assert TraceDesign() == TraceDesign(crowning=0.0, slope=0.0, reliefs=())


def test_full_slope_by_hand():
    """Over 32 of 28.8 mm, and for a profile from control to tip diameter: 10.2 of 9.5 mm."""
    x = np.linspace(0.0, 32.0, 641)
    found = evaluated(HELIX, x, 2.88 * x / 28.8)
    assert (round(found["slope"], 9), round(found["slope_full"], 9)) == (2.88, 3.2)
    x = np.linspace(9.5, 20.5, 641)
    for spec, sign in ((EXTERNAL, 1), (INTERNAL, -1)):
        found = evaluated(spec, x, 9.5 * x / 9.5)
        assert (round(found["slope"], 9), round(found["slope_full"], 9)) == (sign * 9.5, sign * 10.2)


# tip zone


def with_bump(spec: TraceSpec, amount: float, at: float) -> dict[str, float]:
    x = np.linspace(9.0, 21.0, 2401)
    y = np.sin(x)
    y[np.argmin(np.abs(x - at))] += amount
    return evaluated(spec, x, y)


@pytest.mark.parametrize(("spec", "at"), [(EXTERNAL, 19.8), (INTERNAL, 10.2)], ids=["external", "internal"])
def test_in_the_tip_zone_plus_counts_and_minus_does_not(spec, at):
    without = evaluated(
        dataclasses.replace(spec, zone_end=None),
        np.linspace(9.0, 21.0, 2401),
        np.sin(np.linspace(9.0, 21.0, 2401)),
    )
    minus = with_bump(spec, -30.0, at)
    assert minus == {**without, "departs": minus["departs"]}
    plus = with_bump(spec, 30.0, at)
    assert plus["tip_zone_counted"]
    x = np.linspace(9.0, 21.0, 2401)
    peak = 30.0 + math.sin(x[np.argmin(np.abs(x - at))])
    lowest = min(np.sin(x[(x >= spec.low) & (x <= spec.high)]).min(), math.sin(spec.low), math.sin(spec.high))
    assert plus["total"] == pytest.approx(peak - lowest, abs=1e-5)
    assert plus["form"] > without["form"] + 25
    for key in ("slope", "slope_full", "crowning", "level"):
        assert plus[key] == without[key]


@pytest.mark.parametrize("spec", [EXTERNAL, INTERNAL], ids=["external", "internal"])
def test_a_flat_trace_counts_nothing_in_its_tip_zone(spec):
    x = np.linspace(9.0, 21.0, 2401)
    assert not evaluated(spec, x, np.zeros(2401))["tip_zone_counted"]
    assert not evaluated(dataclasses.replace(spec, cutoff=0.3), x, np.full(2401, 7.0))["tip_zone_counted"]


def test_behind_the_tip_zone_nothing_counts():
    assert not with_bump(EXTERNAL, 30.0, 20.1)["tip_zone_counted"]
    assert not with_bump(INTERNAL, 30.0, 9.9)["tip_zone_counted"]


def test_the_value_at_the_tip_form_diameter_is_interpolated():
    """A sample at 20.01 of 40 um and one at 19.99 of 0: halfway, at 20.0, it is 20 um."""
    x = np.concatenate((np.linspace(9.0, 19.99, 1100), [20.01, 20.1]))
    y = np.zeros(len(x))
    y[-2] = 40.0
    assert evaluated(EXTERNAL, x, y)["total"] == pytest.approx(20.0, abs=1e-9)


def test_a_trace_that_ends_in_the_tip_zone_counts_as_far_as_it_goes():
    x = np.linspace(9.0, 19.8, 1081)
    y = np.zeros(len(x))
    y[-1] = 7.0
    assert evaluated(EXTERNAL, x, y)["total"] == pytest.approx(7.0, abs=1e-12)


# coverage


def positions(first: float, last: float, step: float) -> np.ndarray:
    return np.linspace(first, last, round((last - first) / step) + 1)


@pytest.mark.parametrize(
    ("first", "last", "fault"),
    [
        (1.6, 30.4, None),
        (1.8, 30.4, None),
        (1.85, 30.4, "range_not_covered"),
        (1.6, 30.2, None),
        (1.6, 30.15, "range_not_covered"),
        (31.0, 40.0, "range_not_covered"),
    ],
)
def test_at_most_two_median_steps_may_be_missing(first, last, fault):
    """Steps of 0.1 mm, range 1.6 to 30.4."""
    covered = coverage(positions(first, last, 0.1), HELIX)
    assert covered.fault == fault
    assert (covered.measured_low, covered.measured_high) == pytest.approx((first, last))


def test_the_last_sample_stands_for_a_missing_end():
    """Nothing is extrapolated: a slope goes on in the mean line only, not in total and form."""
    x = positions(1.8, 30.2, 0.1)
    found = evaluated(dataclasses.replace(HELIX, cutoff=None), x, x)
    assert found["total"] == pytest.approx(28.4, abs=1e-12)
    assert found["slope"] == pytest.approx(28.8, abs=1e-9)


@pytest.mark.parametrize(
    ("step", "first", "last", "fault"),
    [
        (0.1, 12.0, 14.8, None),  # 28 steps, a little less than a tenth of 28.8 mm
        (0.1, 12.0, 14.9, "hole"),
        (0.1, 1.7, 5.0, "hole"),
        (1.2, 13.6, 17.2, None),  # more than a tenth, but three steps only
    ],
)
def test_no_hole_may_be_inside(step, first, last, fault):
    """No samples between `first` and `last`."""
    x = positions(1.6, 30.4, step)
    assert coverage(x[(x < first + step / 2) | (x > last - step / 2)], HELIX).fault == fault


def test_a_gap_that_reaches_out_of_the_range_counts_within_it_only():
    """No samples from 0.0 to 3.0, of which 1.4 are inside: less than a tenth of the range."""
    x = np.concatenate(([-0.1, 0.0], positions(3.0, 32.0, 0.1)))
    assert coverage(x, HELIX).fault is None


@pytest.mark.parametrize(("n", "fault"), [(20, None), (19, "too_few_points")])
def test_twenty_points_are_needed(n, fault):
    x = np.linspace(1.6, 30.4, n)
    covered = coverage(x, HELIX)
    assert (covered.points, covered.fault) == (n, fault)


@pytest.mark.parametrize(("n", "few"), [(150, False), (149, True)])
def test_150_points_are_wanted(n, few):
    assert coverage(np.linspace(1.6, 30.4, n), HELIX).few_points is few


def test_points_outside_the_range_do_not_count():
    x = np.concatenate((np.linspace(0, 1.5, 100), np.linspace(1.6, 30.4, 25), np.linspace(30.5, 32, 100)))
    assert coverage(x, HELIX).points == 25


def test_three_points_within_a_cutoff_are_wanted_everywhere():
    """Cutoff 0.96: steps of 0.3 put 3 points into every cutoff, steps of 0.33 or a hole do not."""
    assert not coverage(np.linspace(1.6, 30.4, 97), HELIX).sparse
    assert coverage(np.linspace(1.6, 30.4, 88), HELIX).sparse
    x = np.linspace(1.6, 30.4, 961)
    assert not coverage(x, HELIX).sparse
    assert coverage(x[(x < 12.0) | (x > 13.0)], HELIX).sparse
    assert not coverage(np.linspace(1.6, 30.4, 30), dataclasses.replace(HELIX, cutoff=None)).sparse


@pytest.mark.parametrize("x", [np.empty(0), np.array([5.0])])
def test_hardly_any_points_are_a_fault_and_no_error(x):
    assert coverage(x, HELIX).fault in {"too_few_points", "range_not_covered"}


# steep departure


def test_a_fillet_just_outside_the_range_is_noticed():
    x = np.linspace(0.0, 32.0, 961)
    flank = 0.5 * np.sin(x)
    operator = trace_operator(x, HELIX)
    near_low = np.where(x < 1.5, flank - 40 * (1.5 - x), flank)
    near_high = np.where(x > 30.5, flank + 40 * (x - 30.5), flank)
    far = np.where(x < 0.6, flank - 40 * (0.6 - x), flank)
    noise = flank + np.random.default_rng(0).normal(0, 0.3, 961)
    found = evaluate_traces(operator, np.array([flank, near_low, near_high, far, noise]))
    assert found.departs.tolist() == [False, True, True, False, False]
    unfiltered = trace_operator(x, dataclasses.replace(HELIX, cutoff=None))
    assert not evaluate_traces(unfiltered, near_low[None]).departs.any()


def test_steep_is_what_leaves_the_band_by_its_width_or_by_1_um():
    """House rule: the filtered trace within half a cutoff outside, against the band inside it."""
    x = np.linspace(0.0, 32.0, 321)
    chamfer = np.where(x < 1.4, x - 1.4, 0.0)
    filtered = np.array(plain.filtered(x.tolist(), chamfer.tolist(), 0.96))
    case = plain.Case(1.6, 30.4, 0.0, 32.0)
    level, rise = plain.polynomial(plain.points_between(case, x.tolist(), filtered.tolist(), 1.6, 30.4), 1)
    residual = filtered - level - rise * np.array([plain.fraction(case, v) for v in x])
    inside = residual[(x >= 1.6) & (x <= 30.4)]
    depth = -(residual[(x > 1.6 - 0.48) & (x < 1.6)].min() - inside.min())
    critical = 1.0 / depth
    assert critical * np.ptp(inside) < 1.0
    operator = trace_operator(x, HELIX)
    steep = evaluate_traces(operator, np.array([0.999, 1.001])[:, None] * critical * chamfer).departs
    assert steep.tolist() == [False, True]


def test_steep_is_measured_by_the_band_of_a_wavy_trace():
    """A band 8 um wide, all above its middle line, lets the trace leave it by 8 um below as well."""
    x = np.linspace(0.0, 32.0, 961)
    wave = 4.0 * np.cos(2 * np.pi * (x - 1.6) / 14.4) + 100.0
    operator = trace_operator(x, HELIX)
    deep = np.array([[5.0], [80.0]]) * np.where(x < 1.5, x - 1.5, 0.0)
    assert evaluate_traces(operator, wave + deep).departs.tolist() == [False, True]
    assert evaluate_traces(operator, deep).departs.tolist() == [True, True]


def test_operators_are_kept_by_positions_and_spec():
    x = np.linspace(0.0, 32.0, 400)
    first = cached_trace_operator(x, HELIX)
    assert cached_trace_operator(x + 0.0, HELIX) is first
    assert cached_trace_operator(x + 1e-12, HELIX) is not first
    assert cached_trace_operator(x, dataclasses.replace(HELIX, cutoff=1.0)) is not first

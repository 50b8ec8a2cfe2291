"""What a grinder does to the gears, from simulated gears of known errors, with and without a change."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import datetime
from types import SimpleNamespace

import numpy as np
import pytest
from unit.diagnosis.made import part

from gearqa.diagnosis.alike import TracedPart, traced_teeth, waves_as_shapes
from gearqa.diagnosis.analysis import diagnose_gears
from gearqa.diagnosis.followed import with_components
from gearqa.diagnosis.gains import as_parameters, meant_effects
from gearqa.drift.analysis import analyse_observations
from gearqa.drift.grinder_diagnosis import _vectors, grinder_diagnoses
from gearqa.evaluation.observations import observations_from_results
from gearqa.evaluation.part_setup import setup_of
from gearqa.jobs.drift import scatter_of_components
from gearqa.model.drift import DriftSettings
from gearqa.model.measurement import GrinderEvent
from gearqa.report.drift.grinder import grinder_sections
from gearqa.simulate.made_gears import simulate_gears
from gearqa.simulate.process import simulate_events
from gearqa.simulate.scenario import Scenario

CYCLES, PARTS = 16, 2
SCATTER = {"profile_slope_um": 0.15, "helix_slope_um": 0.15}


def history(
    drawing, seed=1, gears=None, measuring=None, keep=lambda one: one, parts_per_dress=None, **tables
):
    """Result and what the grinder does; `gears` gives the tables of a gear from its cycle, `parts_per_dress`
    the usual interval."""
    process = {
        "grinder": "G1", "parts_per_dress": 30, "parts_of_cycle": [1, 30], "fixture": "F-1",
        "level_scatter": {"left": SCATTER, "right": SCATTER},
        "part_scatter": {"left": SCATTER, "right": SCATTER},
        **tables.pop("process", {}),
    }  # fmt: skip
    own = [
        {"serial": f"{k + 1:04d}", **more}
        for k in range(CYCLES * PARTS)
        if (more := (gears or (lambda cycle: {}))(k // PARTS + 1))
    ]
    scenario = Scenario.model_validate(
        {
            "schema": "gearqa.scenario/1", "part": "part.toml", "lot": {"parts": CYCLES * PARTS},
            "process": process, "gear": own,
            "pitch": {"scatter_um": 0.3, **tables.pop("pitch", {})},
            "measuring": {
                "tables": ["profile", "helix", "pitch", "production"], "profile_points": 81,
                "helix_points": 81, "trace_noise_um": 0.1, "pitch_noise_um": 0.15, **(measuring or {}),
            },
            **tables,
        }
    )  # fmt: skip
    setup = setup_of(drawing)
    graded = [result for _, result in with_components(simulate_gears(scenario, drawing, seed=seed), setup)]
    seen = [keep(one) for one in observations_from_results(graded, drawing)]
    teeth = traced_teeth(graded[-1].traces)
    settings = DriftSettings(
        waves_as_shapes={drawing.part.number: waves_as_shapes(teeth, setup)},
        parts_per_dress={"G1": parts_per_dress} if parts_per_dress else {},
    )
    number, events = drawing.part.number, simulate_events(scenario)
    meant = meant_effects(events, setup)
    expanded = {number: as_parameters(meant)}
    result = analyse_observations(seen, events, settings, events_of_part=expanded)
    (found,) = grinder_diagnoses(
        result.series, scatter_of_components(seen), {number: TracedPart(setup, teeth)}, {number: meant}
    )
    return result, found


def claimed(found):
    return {(one.key, one.order): one for one in found.components if one.significant}


@pytest.mark.parametrize(("kind", "hand"), [("internal", "right"), ("external", "left")])
def test_what_was_put_in_is_named_with_phase_and_share(kind, hand):
    drawing = part(kind, 18.0, hand)
    result, found = history(
        drawing,
        mounting={"eccentricity_um": 8.0, "eccentricity_deg": 75.0, "tilt_mrad": 0.1, "tilt_deg": 20.0},
        pitch={"tangential_um": 3.0},
        lobes=[{"n": 3, "amplitude_um": 4.0}],
        shape={"both": {"profile_slope_um": 2.5, "helix_slope_um": -2.0}},
    )
    by_key = claimed(found)
    assert set(by_key) == {
        ("eccentricity", 1), ("tilt", 1), ("tangential", 1), ("lobes", 3), ("pressure_angle", None),
        ("taper", None),
    }  # fmt: skip
    off = by_key["eccentricity", 1]
    assert off.amplitude_um == pytest.approx(8.0, abs=0.2)
    assert off.phase_deg == pytest.approx(75.0, abs=2.0)
    assert 0.5 < off.explains["runout"] < 0.9
    index = [s for s in result.series if s.parameter == "cumulative_pitch"]
    worst = max(cycle_means(s).mean() for s in index)
    tangential = by_key["tangential", 1]
    cos_t = math.cos(math.atan(math.tan(math.radians(20)) / math.cos(math.radians(18))))
    # an index that swings by e / cos(alpha_t), and one by its amplitude, peak to valley (by definition)
    assert off.explains["cumulative_pitch"] == pytest.approx(2 * off.amplitude_um / cos_t / worst)
    assert tangential.explains["cumulative_pitch"] == pytest.approx(2 * tangential.amplitude_um / worst)
    assert by_key["tilt", 1].amplitude_um == pytest.approx(0.1 * 32, abs=0.3)
    assert by_key["pressure_angle", None].amplitude_um == pytest.approx(2.5, abs=0.2)
    assert by_key["taper", None].amplitude_um == pytest.approx(-2.0, abs=0.2)
    assert found.components[0].key == "eccentricity"
    assert found.gains_most == "centre_0_deg"
    moves = {one.quantity: one.change for one in found.corrections}
    assert moves["centre_0_deg"] == pytest.approx(-8.0 * math.cos(math.radians(75)), abs=0.3)
    assert found.moved == ()


def test_worn_slopes_are_told_and_corrected_amid_the_dress_cycle():
    """A level of +2.0 um after the dress and -0.1 um a part: amid 30 parts +0.55 um (by hand)."""
    drawing = part()
    worn = {"wear": {"both": {"profile_slope_um": -0.1}}}
    result, found = history(drawing, process=worn, shape={"both": {"profile_slope_um": 2.0}})
    one = claimed(found)["pressure_angle", None]
    assert one.amplitude_um == pytest.approx(2.0 - 0.1 * 29 / 2, abs=0.15)
    both = [s for s in result.series if s.parameter == "profile_slope"]
    amid = [np.mean([c.level_um for c in s.cycle_levels_um]) + s.wear_um_per_part * 29 / 2 for s in both]
    assert one.amplitude_um == pytest.approx(np.mean(amid), rel=1e-9)
    slopes = [c for c in found.corrections if c.quantity == "profile_slope"]
    assert {c.expect for c in slopes} == {"fHα of this flank amid a dress cycle"}
    for series in result.series:
        if series.parameter == "profile_slope":
            (suggested,) = (c.change for c in slopes if c.flank == series.flank)
            assert suggested == pytest.approx(series.centring_offset_um, abs=0.3)


def cycle_means(series):
    """Mean of the values of each cycle."""
    charts = series.charts
    return np.array([charts.value_um[charts.cycle == c].mean() for c in np.unique(charts.cycle)])


@pytest.mark.independent
def test_wear_that_is_not_proven_moves_no_mean():
    """A rate that is only chance shifts all levels after the dress alike: their scatter does not show it."""
    import statsmodels.api as sm

    result, found = history(part(), shape={"both": {"profile_slope_um": 0.3}}, seed=4)
    both = [s for s in result.series if s.parameter == "profile_slope"]
    assert not any(s.wear_significant for s in both)
    (one,) = (c for c in found.components if c.key == "pressure_angle")
    mean = sm.OLS(sum(map(cycle_means, both)) / 2, np.ones(CYCLES)).fit()
    assert one.amplitude_um == pytest.approx(mean.params[0], rel=1e-9)
    assert one.u_um == pytest.approx(2 * mean.bse[0], rel=1e-9)


@pytest.mark.independent
def test_wear_beyond_the_parts_measured_widens_the_uncertainty():
    """Parts 1 and 10 of 60 measured: the rate of wear, and its error, lead to the middle."""
    import statsmodels.api as sm

    worn = {"wear": {"both": {"profile_slope_um": -0.1}}, "parts_of_cycle": [1, 10]}
    result, found = history(part(), process=worn, parts_per_dress=60)
    one = claimed(found)["pressure_angle", None]
    both = [s for s in result.series if s.parameter == "profile_slope"]
    mean = sm.OLS(sum(map(cycle_means, both)) / 2, np.ones(CYCLES)).fit()
    errors = []
    for series in both:
        charts = series.charts
        design = np.column_stack([charts.cycle[:, None] == np.unique(charts.cycle), charts.parts_since_dress])
        errors.append(sm.OLS(charts.value_um, design.astype(float)).fit().bse[-1] / 2)
    expected = 2 * math.hypot(mean.bse[0], (30.5 - 5.5) * math.hypot(*errors))
    assert one.u_um == pytest.approx(expected, rel=0.15)
    assert one.u_um > 3 * mean.bse[0]


@pytest.mark.independent
def test_under_a_trend_it_is_the_end_of_the_line():
    """0.35 um more with every cycle, 5.25 um at the last one; its uncertainty by statsmodels."""
    import statsmodels.api as sm

    def moving(cycle):
        return {"shape": {"both": {"profile_slope_um": 0.35 * (cycle - 1)}}}

    result, found = history(part(), gears=moving)
    one = claimed(found)["pressure_angle", None]
    assert one.amplitude_um == pytest.approx(5.25, abs=0.15)
    slopes = [s for s in result.series if s.parameter == "profile_slope"]
    assert all(s.level_trend_um_per_cycle is not None and not s.steps for s in slopes)
    levels = sum(cycle_means(s) for s in slopes) / 2
    design = sm.add_constant(np.arange(CYCLES, dtype=float))
    line = sm.OLS(levels, design).fit().get_prediction(design[-1:])
    assert one.amplitude_um == pytest.approx(line.predicted_mean[0], rel=1e-9)
    assert one.u_um == pytest.approx(2 * line.se_mean[0], rel=1e-9)


def test_a_correction_at_the_last_cycle_leaves_nothing_to_correct_yet():
    steps = [
        {"at_cycle": CYCLES, "shift": {"both": {"profile_slope_um": -4.0}},
         "record": change("profile_slope", None, -4.0)},
    ]  # fmt: skip
    result, found = history(part(), process={"step": steps}, shape={"both": {"profile_slope_um": 4.0}})
    assert not claimed(found)
    assert not found.corrections
    for components, said in ((found.components, "beyond chance"), ((), "can be told yet")):
        shown = replace(result, diagnosis=(replace(found, components=components),))
        assert f"No component {said}." in str(list(grinder_sections(shown)))
    (level,) = (one for one in found.not_identifiable if one.key == "level")
    assert level.reason == "fewer than 3 dress cycles since the last level change or recorded correction"


def test_crowning_counts_from_its_design():
    """The simulation puts its shapes on top of the design of the drawing."""
    design = {"helix": {"crowning_um": 4.0}, "profile": {"crowning_um": 3.0}}
    _, found = history(part(design=design), shape={"both": {"helix_crowning_um": 6.0}})
    assert claimed(found).keys() == {("helix_crowning", None)}
    assert claimed(found)["helix_crowning", None].amplitude_um == pytest.approx(6.0, abs=0.1)


def test_one_flank_that_is_off_is_corrected_on_that_flank():
    """Taking the pressure angle away would leave half of it on this flank and put half on the other."""
    _, found = history(part(), shape={"left": {"profile_slope_um": 4.0}})
    assert claimed(found).keys() == {("pressure_angle", None), ("profile_asymmetry", None)}
    assert found.gains_most == "profile_slope"
    _, found = history(part(), shape={"both": {"profile_slope_um": 4.0}})
    assert found.gains_most == "pressure_angle"


def test_lead_has_the_sign_of_the_helix_angle():
    """Opposite slopes are lead; its sign is that of `fHb by helix angle` of the evaluation itself."""
    drawing = part("internal", 18.0, "right")
    shape = {"left": {"helix_slope_um": 3.0}, "right": {"helix_slope_um": -3.0}}
    _, found = history(drawing, shape=shape)
    scenario = Scenario.model_validate(
        {"schema": "gearqa.scenario/1", "part": "part.toml", "lot": {"parts": 1}, "shape": shape}
    )
    ((_, graded),) = with_components(simulate_gears(scenario, drawing), setup_of(drawing))
    by_angle = {one.slope_by_helix_angle_um for one in graded.traces if one.kind == "helix"}
    lead = claimed(found)["lead", None]
    assert lead.amplitude_um == pytest.approx(sum(by_angle) / len(by_angle), abs=0.2)
    assert lead.explains["helix_slope"] > 0.9
    _, found = history(drawing, gears=lambda cycle: {"shape": shape} if cycle >= 9 else {})
    assert [one.key for one in found.moved] == ["lead"]
    assert found.moved[0].change_um == pytest.approx(lead.amplitude_um, abs=0.3)


@pytest.mark.independent
@pytest.mark.parametrize("slope_span", ["full", "evaluation"])
def test_angles_follow_from_slopes_over_whichever_length_those_are(slope_span):
    """Slopes over a length L: a pressure angle too small by fHa / (L tan(alpha_t)), a taper that deeper
    infeed at the far end of the face takes away by fHb b / (L sin(alpha_t)) (derived)."""
    drawing = part("external", 0.0, "")
    limits = drawing.evaluation.profile.model_dump(exclude_none=True)
    drawing = part("external", 0.0, "", evaluation={"profile": limits, "slope_span": slope_span})
    r_b = drawing.gear.teeth * 1.75 / 2 * math.cos(math.radians(20))
    root, form, tip = (
        math.sqrt((d / 2) ** 2 - r_b**2)
        for d in (limits["control_diameter_mm"], limits["tip_form_diameter_mm"], drawing.gear.tip_diameter_mm)
    )
    full = slope_span == "full"
    L_alpha, L_beta = (tip - root, 32.0) if full else (0.95 * (form - root), 32.0 - 2 * 1.6)
    shape = {"both": {"profile_slope_um": 3.0, "helix_slope_um": -4.0}}
    angle = math.degrees(3.0 / (1000 * L_alpha * math.tan(math.radians(20)))) * 60
    infeed = -4.0 * 32.0 / (1000 * L_beta * math.sin(math.radians(20)))
    _, found = history(drawing, shape=shape)
    scenario = Scenario.model_validate(
        {
            "schema": "gearqa.scenario/1", "part": "part.toml", "lot": {"parts": 1}, "shape": shape,
            "measuring": {"teeth": 6, "trace_noise_um": 0.1}, "pitch": {"scatter_um": 0.3},
            "process": {"tooth_scatter": {"both": SCATTER}},
        }
    )  # fmt: skip
    (alone,), _ = diagnose_gears(list(simulate_gears(scenario, drawing)), setup_of(drawing))
    for corrections in (found.corrections, alone.corrections):
        told = {(one.quantity, one.flank): one for one in corrections}
        assert told["pressure_angle", None].change == pytest.approx(angle, rel=0.06)
        assert told["infeed_far_end", None].change == pytest.approx(infeed, rel=0.06)
        assert told["pressure_angle", None].deviation_um == pytest.approx(3.0, rel=0.06)
        assert told["infeed_far_end", None].deviation_um == pytest.approx(-4.0, rel=0.06)
        assert told["profile_slope", "left"].change == pytest.approx(-3.0, rel=0.1)
    assert alone.corrected.class_ < alone.ladder[0].class_
    events = [
        GrinderEvent(
            at=datetime(2026, 1, 1), grinder="G1", event="correction", parameter=parameter, correction=size,
            unit=unit,
        )
        for parameter, size, unit in (("pressure_angle", angle, "arcmin"), ("infeed_far_end", infeed, "mm"))
    ]  # fmt: skip
    meant = [one.effects for one in meant_effects(events, setup_of(drawing))]
    assert meant[0]["profile_slope", "left"] == pytest.approx(-3.0, rel=1e-6)
    assert meant[1]["helix_slope", "right"] == pytest.approx(4.0, rel=1e-6)


def test_what_moved_has_the_sign_of_the_component():
    off = {"shape": {"right": {"profile_slope_um": 4.0}}}
    _, found = history(part(), gears=lambda cycle: off if cycle >= 9 else {})
    now, moved = claimed(found), {one.key: one.change_um for one in found.moved}
    assert moved.keys() == {"pressure_angle", "profile_asymmetry"}
    for key, change_um in moved.items():
        assert change_um == pytest.approx(2.0, abs=0.2)
        assert now[key, None].amplitude_um == pytest.approx(2.0, abs=0.2)


@pytest.mark.parametrize("seed", range(4))
def test_nothing_is_named_on_a_quiet_grinder(seed):
    assert not claimed(history(part(), seed=seed)[1])


def test_a_new_fixture_that_clamps_off_centre():
    def clamped(cycle):
        return {"eccentricity_um": 6.0, "eccentricity_deg": 120.0} if cycle >= 9 else {"eccentricity_um": 0.0}

    _, found = history(part(), gears=clamped)
    (moved,) = (one for one in found.moved if one.key == "eccentricity")
    assert (moved.cycle, moved.dress) == (9, "D009")
    assert moved.change_um == pytest.approx(6.0, abs=0.4)
    assert moved.direction_deg == pytest.approx(120.0, abs=3.0)
    now = claimed(found)["eccentricity", 1]
    assert (now.amplitude_um, now.phase_deg) == (pytest.approx(6.0, abs=0.3), pytest.approx(120.0, abs=3.0))


def test_a_chuck_that_clamps_every_part_anew_has_a_size_and_no_direction():
    _, found = history(part(), mounting={"eccentricity_scatter_um": 5.0})
    one = claimed(found)["eccentricity", 1]
    assert (one.phase_deg, one.origin) == (None, "clamping")
    assert not any(c.quantity.startswith("centre") for c in found.corrections)


@pytest.mark.parametrize("seed", [1, 2])
def test_lobes_on_as_many_places_as_teeth_traced_do_not_lead_to_the_dresser(seed):
    """Lobes of order 4 from cycle 9 on, four teeth traced: all slopes move by what the lobes make of them."""

    def clamped(cycle):
        return {"lobes": [{"n": 4, "amplitude_um": 6.0, "phase_deg": 20.0 * seed}]} if cycle >= 9 else {}

    result, found = history(part(), seed=seed, gears=clamped)
    assert claimed(found).keys() == {("lobes", 4)}
    assert {one.key for one in found.moved} == {"lobes"}
    said = " ".join(one.sentence for one in result.advice)
    assert "all traced teeth lie at the same place of order 4" in said
    for blamed in ("dresser", "a taper", "the lead"):
        assert blamed not in said
    untold = {one.key for one in found.not_identifiable}
    assert untold & {"pressure_angle", "profile_asymmetry", "lead", "taper"}


def test_slopes_that_move_beside_lobes_that_do_not_stand_alike_are_named():
    def changed(cycle):
        shape = {"both": {"profile_slope_um": 3.0}}
        return (
            {"lobes": [{"n": 3, "amplitude_um": 6.0, "phase_deg": 0.0}], "shape": shape} if cycle >= 9 else {}
        )

    result, found = history(part(), gears=changed)
    assert {one.key for one in found.moved} >= {"lobes", "pressure_angle"}
    said = " ".join(one.sentence for one in result.advice)
    assert "profile slope of both flanks alike: the pressure angle" in said


@pytest.mark.parametrize("off", [{"eccentricity_um": 25.0, "eccentricity_deg": 75.0}, {"tilt_mrad": 0.2}])
def test_on_one_traced_tooth_a_mounting_error_is_no_slope(off):
    """Of the eccentricity 0.9 um of profile slope and 1.2 um of helix slope, of the tilt 2.3 um."""

    def clamped(cycle):
        return {key: size if cycle >= 9 else 0.0 for key, size in off.items()}

    for one in ({"mounting": {"tilt_deg": 75.0, **off}}, {"mounting": {"tilt_deg": 75.0}, "gears": clamped}):
        _, found = history(part(), measuring={"teeth": 1}, **one)
        slopes = {"pressure_angle", "profile_asymmetry", "lead", "taper"}
        assert not {key for key, _ in claimed(found)} & slopes
        assert not {one.key for one in found.moved} & slopes
        assert slopes <= {one.key for one in found.not_identifiable}
        assert all(c.quantity.startswith("centre") for c in found.corrections)


def test_on_one_traced_tooth_slopes_that_move_lead_to_no_setting():
    """A tilt towards tooth 1 moves its helix slopes the opposite way, as the lead would."""

    def tilted(cycle):
        return {"tilt_mrad": 0.2 if cycle >= 9 else 0.0}

    result, _ = history(part(), measuring={"teeth": 1}, gears=tilted)
    (said,) = (one.sentence for one in result.advice if "Level change at cycle 9" in one.sentence)
    assert "left helix slope" in said
    assert "the lead" not in said


def test_without_pitch_it_says_what_a_wave_looks_like():
    _, found = history(part(), measuring={"tables": ["profile", "helix", "production"]})
    (one,) = (one for one in found.not_identifiable if one.key == "eccentricity")
    assert "on the 4 traced teeth a wave of order 4 looks like pressure angle, lead or taper" in one.reason


def test_sizes_without_their_scatter_are_not_claimed():
    """A store of version 0.4.0 keeps how large an order is, not how large it comes out by chance."""

    def old(one):
        return one._replace(U=None) if "order" in one.parameter else one

    _, found = history(part(), lobes=[{"n": 3, "amplitude_um": 4.0}], keep=old)
    assert ("lobes", 3) not in claimed(found)
    assert "lobes" in {one.key for one in found.not_identifiable}


def change(parameter, flank, size, unit="um"):
    record = {"event": "correction", "parameter": parameter, "correction": size, "unit": unit}
    return record if flank is None else {**record, "flank": flank}


@pytest.mark.parametrize("gain", [0.6, 1.0, 1.4])
@pytest.mark.parametrize("seed", [1, 2])
def test_gains_of_changes_made_together_are_learned_apart(gain, seed):
    """Pressure angle and the left profile slope at one dress, the lead beside them; each with its own gain.

    3 um of profile slope are 3 / (L tan alpha_t) of pressure angle (derived, the slope over the length of
    roll from control to tip diameter, computed here by hand); a larger angle takes material off the tip.
    """
    alpha_t = math.atan(math.tan(math.radians(20)) / math.cos(math.radians(18)))
    d = 87 * 1.75 / math.cos(math.radians(18))
    r_b = d / 2 * math.cos(alpha_t)
    control, tip = (math.sqrt((one / 2) ** 2 - r_b**2) for one in (d + 2.6, d - 3.0))
    angle = math.degrees(3e-3 / ((control - tip) * math.tan(alpha_t))) * 60
    steps = [
        {"at_cycle": 9, "shift": {"both": {"profile_slope_um": -3.0 * gain}},
         "record": change("pressure_angle", None, angle, "arcmin")},
        {"at_cycle": 9, "shift": {"left": {"profile_slope_um": 2.0}},
         "record": change("profile_slope", "left", 2.0)},
        {"at_cycle": 9, "shift": {"both": {"helix_slope_um": 2.5 * gain}},
         "record": change("helix_slope", None, 2.5)},
    ]  # fmt: skip
    result, found = history(
        part(), seed=seed, process={"step": steps}, shape={"both": {"profile_slope_um": 6.0}}
    )
    pressure, slope, helix = found.changes
    assert abs(pressure.gain - gain) <= 1.5 * pressure.gain_u < 0.3
    assert abs(slope.gain - 1.0) <= 1.5 * slope.gain_u < 0.6
    assert abs(helix.gain - gain) <= 1.5 * helix.gain_u < 0.3
    by_quantity = {(one.quantity, one.flank): one for one in found.corrections}
    suggested = by_quantity["pressure_angle", None]
    assert suggested.gain == pressure.gain
    assert suggested.fraction == pytest.approx(1 / gain, rel=0.2)
    left = 1 - suggested.fraction * gain
    assert abs(suggested.expect_um - left * suggested.deviation_um) <= suggested.expect_u_um
    (effect,) = next(one for one in result.series if one.key[2:] == ("helix_slope", "left")).corrections
    assert effect.verdict == {0.6: "smaller", 1.0: "as intended", 1.4: "larger"}[gain]


def test_changes_one_after_the_other_are_learned_apart():
    steps = [
        {"at_cycle": cycle, "shift": {"both": {"profile_slope_um": -2.5 * gain}},
         "record": change("profile_slope", None, -2.5)}
        for cycle, gain in ((6, 0.5), (11, 1.4))
    ]  # fmt: skip
    _, found = history(part(), process={"step": steps}, shape={"both": {"profile_slope_um": 6.0}})
    assert [one.gain for one in found.changes] == [pytest.approx(0.5, abs=0.12), pytest.approx(1.4, abs=0.12)]


@pytest.mark.independent
def test_p_of_a_vector_is_that_of_hotelling():
    """Against statsmodels, with few cycles; scatter along one direction: root mean square of both."""
    from statsmodels.stats.multivariate import test_mvmean as hotelling

    x = np.random.default_rng(5).normal((0.6, -0.4), 0.5, (5, 2))
    members = {
        (f"eccentricity_{angle}_deg", None): SimpleNamespace(
            segment_from_cycle=1, level_trend_um_per_cycle=None, wear_um_per_part=None,
            wear_significant=False, sd_um=sd,
            cycle_levels_um=[SimpleNamespace(cycle=k, level_um=v) for k, v in enumerate(column, start=1)],
        )
        for angle, column, sd in zip((0, 90), x.T, (0.3, 0.4), strict=True)
    }  # fmt: skip
    (one,) = _vectors(members, {})
    assert one.p == pytest.approx(hotelling(x).pvalue, rel=1e-6)
    assert one.component.scatter_um == pytest.approx(math.sqrt((0.3**2 + 0.4**2) / 2))
    # a rate known to 0.02 um per part, 20 parts from where was measured, adds 0.4 um to U in each direction
    worn = {
        "wear_significant": True, "wear_um_per_part": 0.0, "wear_interval_um_per_part": (-0.02, 0.02),
        "current_dress_interval_parts": 49, "charts": SimpleNamespace(parts_since_dress=np.full(10, 5.0)),
    }  # fmt: skip
    for series in members.values():
        series.__dict__.update(worn)
    (wider,) = _vectors(members, {})
    assert wider.component.u_um == pytest.approx(math.hypot(one.component.u_um, 0.4), rel=1e-6)


def test_changes_in_one_proportion_have_no_gain_of_their_own():
    steps = [
        {"at_cycle": 9, "shift": {"both": {"profile_slope_um": 1.5}},
         "record": change("profile_slope", None, 1.0)},
        {"at_cycle": 9, "record": change("pressure_angle", None, -1.0, "arcmin")},
    ]  # fmt: skip
    _, found = history(part(), process={"step": steps})
    assert [one.gain for one in found.changes] == [None, None]
    assert {one.reason for one in found.changes} == {
        "it acted together with another change, in one proportion"
    }


def test_a_centre_that_was_moved_shows_its_gain():
    def clamped(cycle):
        return {"eccentricity_um": 8.0 if cycle < 9 else 8.0 - 0.5 * 8.0, "eccentricity_deg": 0.0}

    steps = [{"at_cycle": 9, "record": change("centre_0_deg", None, -8.0)}]
    _, found = history(part(), gears=clamped, process={"step": steps})
    (one,) = found.changes
    assert one.gain == pytest.approx(0.5, abs=0.05)
    again = next(c for c in found.corrections if c.quantity == "centre_0_deg")
    assert again.change == pytest.approx(-4.0, abs=0.3)
    assert again.fraction == pytest.approx(2.0, abs=0.2)

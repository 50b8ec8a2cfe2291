"""Every change of settings, alone and in pairs, is found again; equal settings leave nothing to explain."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from unit.incoming.laboratory import Lab, report, sample

from gearqa.core.traces import TraceDesign, TraceSpec, design_trace
from gearqa.evaluation.evaluate import evaluate
from gearqa.incoming.explanations import explain
from gearqa.incoming.predictions import Predictor, Target, chosen, rounded
from gearqa.incoming.reevaluation import spec_over_diameter
from gearqa.incoming.setting_words import changes_text, setting_text
from gearqa.incoming.settings import alternatives, base_setup
from gearqa.model.incoming import SettingChange

SINGLES = {
    "slope_span": Lab(span="evaluation"),
    "profile_range 92": Lab(share=0.92),
    "tip_zone": Lab(zone=False),
    "filter off": Lab(cutoff=None),
    "filter half": Lab(cutoff=0.5),
    "filter twice": Lab(cutoff=2.0),
    "profile_axis": Lab(diameter=True),
    "plane normal": Lab(plane=1),
    "plane tables": Lab(plane=-1),
    "profile_sign": Lab(profile_sign=-1),
    "helix_sign": Lab(helix="reversed"),
    "helix_sign angle": Lab(helix="angle"),
    "flanks": Lab(swapped=True),
    "runout_from": Lab(runout_from_pitch=True),
    "rounding 1": Lab(rounding=1.0),
}
PAIRS = [
    Lab(span="evaluation", swapped=True),
    Lab(span="evaluation", cutoff=None),
    Lab(span="evaluation", share=0.92),
    Lab(span="evaluation", zone=False),
    Lab(span="evaluation", helix="reversed"),
    Lab(zone=False, cutoff=None),
    Lab(diameter=True, swapped=True),
    Lab(plane=1, profile_sign=-1),
    Lab(plane=-1, helix="angle"),
    Lab(cutoff=0.5, runout_from_pitch=True),
    Lab(profile_sign=-1, helix="angle"),
    Lab(swapped=True, rounding=1.0),
    Lab(zone=False, diameter=True),
]  # fmt: skip
SIZES = {"ring_conforming": 3, "helical_pinion": 3}
SETTING = {
    "span": "slope_span", "share": "profile_range", "cutoff": "filter", "zone": "tip_zone",
    "diameter": "profile_axis", "plane": "plane", "profile_sign": "profile_sign", "helix": "helix_sign",
    "swapped": "flanks", "reversed": "tooth_direction", "shift": "tooth_start",
    "runout_from_pitch": "runout_from", "rounding": "rounding",
}  # fmt: skip


@cache
def results(name, count):
    part, gears = sample(name, count)
    return tuple(evaluate(gears, part))


def explained(name, table, count=None):
    count = count or SIZES[name]
    part, gears = sample(name, count)
    places = {gear.serial: place for place, gear in enumerate(gears)}
    wanted = [
        Target(places[v.serial], v.parameter, v.flank, v.tooth, v.basis, v.value_um, 10.0**-v.decimals)
        for v in table.values
    ]
    predictor = Predictor(part, gears, results(name, count), wanted)
    return explain(predictor, base_setup(part, readings=True), "ours")


def settings_of(lab):
    base = Lab()
    return {SETTING[f] for f in SETTING if getattr(lab, f) != getattr(base, f)}


def changed(outcome):
    return {change.setting for change in outcome.result.explanations[0].changes}


def moved_by(name, lab):
    """Root mean square by which a setting moves the reported values. [um]"""
    plain, other = (report(name, one, gears=SIZES[name]).values for one in (Lab(), lab))
    moves = np.array([b.value_um - a.value_um for a, b in zip(plain, other, strict=True)])
    return float(np.sqrt(np.mean(moves**2)))


@pytest.mark.parametrize("setting", SINGLES)
def test_every_change_is_large_enough_somewhere(setting):
    """So that the tests below cannot pass by seeing nothing."""
    assert any(moved_by(name, SINGLES[setting]) > 0.06 for name in SIZES)


@pytest.mark.independent
@pytest.mark.parametrize("name", SIZES)
@pytest.mark.parametrize("setting", SINGLES)
def test_single_change_is_found(name, setting):
    lab = SINGLES[setting]
    outcome = explained(name, report(name, lab, gears=SIZES[name]))
    if moved_by(name, lab) < 0.055:  # up to 0.05 um there is no difference to explain, and no cause
        assert outcome.result.reason in {"no_difference", "explained"}
        return
    assert (outcome.result.explained, outcome.result.reason) == (True, "explained")
    assert changed(outcome) == settings_of(lab)
    assert outcome.result.explanations[0].rms_after_um < 0.006  # two decimals: 0.01 / sqrt(12) = 0.0029


def test_the_values_behind_the_words_are_the_ones_injected():
    lab = Lab(span="evaluation", share=0.92)
    best = explained("ring_conforming", report("ring_conforming", lab)).result.explanations[0]
    assert best.changes == (
        SettingChange("slope_span", "full", "evaluation"),
        SettingChange("profile_range", "95 %", "92 %"),
    )
    assert setting_text("share", 0.92) == "92 %"


@pytest.mark.parametrize("name", SIZES)
def test_every_change_that_is_tried_has_words(name):
    part, _ = sample(name, 1)
    base = base_setup(part, readings=True)
    texts = [changes_text(base, other) for other in alternatives(base, part, tooth_shifts=(22,))]
    assert len(set(texts)) == len(texts)
    assert "values are rounded to 0.5 µm before grading" in texts
    assert "counting starts elsewhere: tooth 1 of theirs is tooth 23 of ours" in texts


@pytest.mark.independent
@pytest.mark.parametrize("name", SIZES)
@pytest.mark.parametrize("lab", PAIRS, ids=lambda lab: "+".join(sorted(settings_of(lab))))
def test_pair_of_changes_is_found(name, lab):
    outcome = explained(name, report(name, lab, gears=SIZES[name]))
    assert outcome.result.explained is True
    assert changed(outcome) == settings_of(lab)
    assert outcome.result.explanations[0].rms_after_um < 0.006


@pytest.mark.independent
@pytest.mark.parametrize("name", SIZES)
def test_equal_settings_leave_nothing_to_explain(name):
    for lab in (Lab(), Lab(basis="mean")):
        result = explained(name, report(name, lab, gears=SIZES[name])).result
        assert (result.explained, result.reason, result.explanations) == (None, "no_difference", ())
        assert result.rms_before_um < 0.006


def test_values_typed_without_decimals_leave_nothing_to_explain():
    result = explained("ring_conforming", report("ring_conforming", Lab(), decimals=0)).result
    assert (result.explained, result.reason) == (None, "no_difference")
    assert 0.2 < result.rms_before_um < 0.5


def test_the_basis_that_fits_is_told():
    outcome = explained("ring_conforming", report("ring_conforming", Lab(basis="mean")))
    assert set(outcome.bases.values()) == {"mean"}
    assert {"profile_total", "profile_slope", "helix_slope"} <= set(outcome.bases)
    swapped = explained("ring_conforming", report("ring_conforming", Lab(basis="mean", swapped=True)))
    assert changed(swapped) == {"flanks"}
    assert swapped.bases["helix_slope"] == "mean"


@pytest.mark.independent
@pytest.mark.parametrize("lab", [Lab(reversed=True), Lab(shift=22), Lab(reversed=True, shift=22)])
def test_tooth_numbering_is_found(lab):
    """Of the teeth 1, 23, 45, 66 named otherwise: 22 on is 23 for 1, and the rest were not measured."""
    part, gears = sample("ring_conforming", 2)
    teeth = sorted({trace.tooth for trace in gears[0].traces})
    z = part.gear.teeth
    moved = {(t - 1 + lab.shift) % z + 1 for t in teeth} & set(teeth)
    assert moved  # the case is not empty
    table = report("ring_conforming", lab, gears=2, by_tooth=True)
    outcome = explained("ring_conforming", table, 2)
    assert outcome.result.explained is True
    assert changed(outcome) == settings_of(lab)
    assert outcome.result.explanations[0].rms_after_um < 0.006


def test_measured_again_with_scatter_a_clear_cause_is_found():
    rng = np.random.default_rng(5)
    lab = Lab(span="evaluation", swapped=True)
    outcome = explained("ring_conforming", report("ring_conforming", lab, noise=rng))
    assert outcome.result.explained is True
    assert changed(outcome) == {"slope_span", "flanks"}
    assert 0.08 < outcome.result.explanations[0].rms_after_um < 0.12


def test_scatter_alone_is_not_explained():
    table = report("ring_conforming", Lab(), noise=np.random.default_rng(6))
    result = explained("ring_conforming", table).result
    assert (result.explained, result.reason, result.shared) == (False, "nothing_fits", ())
    assert result.explanations == ()  # none gains a fifth: no nearest one is listed


def test_few_values_name_no_cause_by_halving_alone():
    """Chance halves the difference of four values in 44 % of cases (computed)."""
    rng = np.random.default_rng(8)
    table = report("ring_conforming", Lab(), gears=1, noise=rng)
    few = replace(table, values=tuple(v for v in table.values if v.parameter == "helix_slope")[:2])
    few = replace(few, values=tuple(replace(v, value_um=v.value_um * 1.6) for v in few.values))
    result = explained("ring_conforming", few, 1).result
    assert result.few_values
    assert result.explained is False


def test_several_that_fit_alike_are_no_cause():
    """Slopes alone cannot tell the normal plane from a shorter slope span where both factors agree."""
    table = report("ring_conforming", Lab(profile_sign=-1, helix="reversed"), gears=1)
    values = tuple(v for v in table.values if v.parameter == "profile_slope")
    outcome = explained("ring_conforming", replace(table, values=values), 1)
    # the tip zone, the runout and the helix make no difference to these values: not listed at all
    listed = {c.setting for e in outcome.result.explanations for c in e.changes}
    assert not listed & {"helix_sign", "runout_from", "tip_zone"}
    assert not any(
        {c.setting for c in e.changes} > {"profile_sign"} and e.equivalent
        for e in outcome.result.explanations[1:]
        if e.same_predictions
    )


def test_equivalent_explanations_keep_it_open():
    """Two gears whose left and right flanks are alike: swapping flanks explains nothing, and is no rival."""
    part, (gear, *_) = sample("ring_conforming", 1)
    mirror = replace(
        gear,
        traces=tuple(
            replace(t, deviation_um=next(
                o.deviation_um for o in gear.traces if (o.kind, o.flank, o.tooth) == (t.kind, "left", t.tooth)
            ))
            for t in gear.traces
        ),
    )  # fmt: skip
    (result,) = evaluate([mirror], part)
    slopes = [
        Target(0, "helix_slope", trace.flank, trace.tooth, None, -trace.slope_um, 0.01)
        for trace in result.traces
        if trace.kind == "helix"
    ]
    predictor = Predictor(part, [mirror], [result], slopes)
    outcome = explain(predictor, base_setup(part, readings=True), "ours").result
    assert outcome.explained is True
    assert [c.setting for c in outcome.explanations[0].changes] == ["helix_sign"]
    assert not any("flanks" in {c.setting for c in e.changes} for e in outcome.explanations)


def test_without_raw_data_nothing_is_explained():
    part, gears = sample("helical_pinion", 1)
    bare = [replace(gears[0], traces=(), pitch={}, runout=None)]
    target = Target(0, "runout", None, None, None, 4.0, 0.1)
    predictor = Predictor(part, bare, tuple(evaluate(bare, part)), [target])
    result = explain(predictor, base_setup(part, readings=False), "ours").result
    assert (result.explained, result.reason, result.n) == (None, "no_raw_data", 0)


def test_rounding_goes_away_from_zero_at_halves():
    assert rounded(np.array([0.25, -0.25, 1.74, 2.5]), 0.5).tolist() == [0.5, -0.5, 1.5, 2.5]


# --- what all fitting explanations share --------------------------------------------------------------


def biased(table, **bias):
    """The same report with a constant added to some parameters, rounded as it was."""
    values = tuple(
        replace(v, value_um=round(v.value_um + bias.get(v.parameter, 0.0), 2)) for v in table.values
    )
    return replace(table, values=values)


@pytest.mark.independent
def test_an_exchange_of_flanks_is_named_behind_a_bias():
    """Whatever else is tried with it: all that fits holds the exchange."""
    table = report("ring_conforming", Lab(swapped=True), noise=np.random.default_rng(3))
    outcome = explained("ring_conforming", biased(table, profile_slope=0.8))
    assert [change.setting for change in outcome.result.shared] == ["flanks"]
    assert outcome.setup is not None
    assert outcome.setup.swapped


@pytest.mark.independent
def test_a_bias_is_not_explained_away():
    table = report("ring_conforming", Lab(), noise=np.random.default_rng(4))
    result = explained("ring_conforming", biased(table, profile_slope=0.8, helix_slope=-0.6)).result
    assert (result.explained, result.shared) == (False, ())


@pytest.mark.independent
def test_a_change_that_shows_to_half_its_size_is_not_named():
    """Halfway between both slope spans: neither laboratory exists."""
    full, short = (report("ring_conforming", Lab(span=span)) for span in ("full", "evaluation"))
    halves = tuple(
        replace(a, value_um=round((a.value_um + b.value_um) / 2, 3), decimals=3)
        for a, b in zip(full.values, short.values, strict=True)
    )
    assert explained("ring_conforming", replace(full, values=halves)).result.shared == ()


@pytest.mark.independent
@pytest.mark.parametrize("name", SIZES)
def test_a_helix_range_of_its_own_is_found(name):
    """Whole face width: evaluated with a part file that says so."""
    part, gears = sample(name, SIZES[name])
    own = part.evaluation.helix.model_copy(
        update={"start_face_position_mm": 0.0, "end_face_position_mm": part.gear.face_width_mm}
    )
    evaluation = part.evaluation.model_copy(update={"helix": own})
    table = report(name, Lab(), gears=SIZES[name])
    found = {r.serial: r for r in evaluate(gears, part.model_copy(update={"evaluation": evaluation}))}
    values = tuple(
        replace(v, value_um=round(found[v.serial].parameters[v.parameter].flanks[v.flank].value_um, 2))
        if v.parameter.startswith("helix")
        else v
        for v in table.values
    )
    outcome = explained(name, replace(table, values=values))
    assert [(c.setting, c.to) for c in outcome.result.shared] == [("helix_range", "whole face width")]


@pytest.mark.independent
def test_teeth_numbered_in_their_order_are_found():
    table = report("ring_conforming", Lab(), gears=2, by_tooth=True)
    _, gears = sample("ring_conforming", 2)
    order = sorted({trace.tooth for trace in gears[0].traces})
    values = tuple(v if v.tooth is None else replace(v, tooth=order.index(v.tooth) + 1) for v in table.values)
    outcome = explained("ring_conforming", replace(table, values=values), 2)
    assert [change.setting for change in outcome.result.shared] == ["tooth_numbers"]
    assert outcome.result.explained is True


@pytest.mark.independent
def test_the_end_that_was_reported_counts_where_both_are_nearly_tied():
    """A gear with helix slopes of both signs: the other end of nearly the same size is no difference."""
    part, gears = sample("ring_conforming", 1)
    ends = [t.slope_um for t in results("ring_conforming", 1)[0].traces if t.kind == "helix"]
    high, low = max(ends), min(ends)
    assert high > 0 > low
    for tie, compared in ((abs(high + low) + 0.01, min(high, -low)), (abs(high + low) - 0.01, None)):
        target = Target(0, "helix_slope", None, None, "worst", 0.0, 0.01, tie_um=tie)
        other = -1 if high > -low else 1
        reported = np.array([other * min(high, -low)])
        (value,) = chosen(
            Predictor(part, gears, results("ring_conforming", 1), [target]).predict(
                base_setup(part, readings=True)
            ),
            [target], reported, {},
        )  # fmt: skip
        assert value == pytest.approx(other * compared if compared else -other * max(high, -low), abs=1e-9)


@pytest.mark.independent
def test_a_design_by_points_stays_on_the_flank_when_the_axis_is_the_diameter():
    """The same places, named by diameter: d = root(d_b^2 + (2 L)^2)."""
    d_b = 94.0
    design = TraceDesign(points=((12.0, 0.0), (20.0, -1.0), (24.0, -6.0)))
    spec = TraceSpec(12.0, 24.0, 12.0, 24.0, None, None, design)
    corners = np.array([12.0, 20.0, 24.0])
    over = design_trace(np.hypot(d_b, 2 * corners), spec_over_diameter(spec, d_b))
    np.testing.assert_allclose(over, design_trace(corners, spec), atol=1e-9)

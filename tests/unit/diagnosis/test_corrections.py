"""What is worth a change, size to the middle of its tolerance, and gains from recorded corrections."""

from __future__ import annotations

import math
import shutil
from dataclasses import replace
from datetime import datetime
from pathlib import Path

import numpy as np
import pytest
from unit.diagnosis.made import gears, part, setup

from gearqa.core.geometry import gear_geometry
from gearqa.diagnosis.analysis import diagnose_gears
from gearqa.diagnosis.corrections import expecting
from gearqa.diagnosis.gains import meant_effects, with_gains
from gearqa.jobs.archive import add_archive
from gearqa.jobs.diagnose import diagnose
from gearqa.jobs.drift import analyse_drift
from gearqa.jobs.recorded_corrections import MIXED, of_both_sides
from gearqa.model.diagnosis import Correction, RecordedChange
from gearqa.model.measurement import GrinderEvent, Production, SizeReading
from gearqa.report.diagnosis.words import corrections_table


@pytest.mark.parametrize(("kind", "sign"), [("internal", 1), ("external", -1)])
def test_infeed_for_the_size(kind, sign):
    """Dimension 40 um below the middle: deeper in a ring, less deep on a pinion; about half of it, since
    ball and flanks meet near the reference circle."""
    geometry = gear_geometry(87, 1.75, 0.3490658503988659, 0.0, 32.0, s=1 if kind == "external" else -1, H=0)
    middle = geometry.d + (3.0 if kind == "external" else -3.0)
    size = {"method": "balls", "pin_diameter_mm": 3.0, "lower_mm": middle - 0.1, "upper_mm": middle + 0.1}
    tolerance = {"standard": "ISO 1328-1:2013", "class": 6, "size": size}
    drawing = part(kind, 0.0, "", tolerance=tolerance)
    (gear,) = gears(drawing)
    small = replace(gear, sizes=(SizeReading("balls", middle - 0.04, 3.0),))
    (found,), _ = diagnose_gears([small], setup(drawing))
    (one,) = [one for one in found.corrections if one.quantity == "infeed"]
    assert one.change == pytest.approx(sign * 0.02, rel=0.02)
    assert found.corrected.quantities == ("infeed",)
    meant = effects_of([event("infeed", one.change, "mm")], drawing)
    assert meant == {("size", None): pytest.approx(40.0, rel=1e-6)}
    near = replace(gear, sizes=(SizeReading("balls", middle - 0.01, 3.0),))
    (found,), _ = diagnose_gears([near], setup(drawing))
    assert not [one for one in found.corrections if one.quantity == "infeed"]


def test_infeed_at_its_fraction_brings_the_size_into_its_limits():
    """0.12 mm below the middle of 0.2: outside; 70 % of the way back is 0.036 below it: inside."""
    middle = gear_geometry(87, 1.75, 0.3490658503988659, 0.0, 32.0, s=-1, H=0).d - 3.0
    size = {"method": "balls", "pin_diameter_mm": 3.0, "lower_mm": middle - 0.1, "upper_mm": middle + 0.1}
    drawing = part("internal", 0.0, "", tolerance={"standard": "ISO 1328-1:2013", "class": 8, "size": size})
    made = [
        replace(one, sizes=(SizeReading("balls", middle - 0.12, 3.0),)) for one in gears(drawing, parts=3)
    ]
    found, lot = diagnose_gears(made, setup(drawing))
    for one in (*found, lot):
        assert one.ladder[0].conforms is False
        assert one.corrected.conforms is True


def recorded(gain, u=0.1, quantity="profile_slope", flank="left", grinder="G1", day=1):
    return RecordedChange(quantity, flank, grinder, datetime(2026, 1, day), 2.0, "um", gain, u, None)


CHANGE = expecting(
    Correction(
        "profile_slope", "left", -1.0, "µm", 0.1, 0.7, "trial", "", deviation_um=1.0, deviation_u_um=0.1
    )
)


def test_the_fraction_follows_from_the_gain_and_how_sure_it_is():
    (learned,) = with_gains([CHANGE], [recorded(0.6)])
    assert (learned.gain, learned.gain_u) == (pytest.approx(0.6), pytest.approx(0.1))
    # the least mean square of what is left, gain normal about 0.6 with 0.05: by numpy over many draws
    draws = np.random.default_rng(1).normal(0.6, 0.05, 400_000)
    tried = np.linspace(1.2, 2.0, 801)
    left = 1 - 2 * tried * draws.mean() + tried**2 * np.mean(draws**2)
    assert learned.fraction == pytest.approx(tried[np.argmin(left)], abs=0.005)
    assert "gain 0.60 ± 0.10" in learned.basis
    assert learned.expect_um == pytest.approx(1 - learned.fraction * 0.6)
    assert learned.expect_u_um == pytest.approx(np.hypot(0.1, learned.fraction * 0.1))
    unsure = with_gains([CHANGE], [recorded(0.6, 0.5)])[0]
    assert unsure.fraction < learned.fraction
    assert with_gains([CHANGE], [recorded(0.25)])[0].fraction == 3.0
    scattered = expecting(replace(CHANGE, deviation_u_um=0.0, scatter_um=0.3))
    assert scattered.expect_u_um == pytest.approx(2 * 0.3)


def event(quantity, size, unit, flank=None):
    return GrinderEvent(datetime(2026, 1, 6), "correction", "G1", None, quantity, flank, size, unit)


def effects_of(events, drawing):
    (only,) = {tuple(sorted(one.effects.items(), key=str)) for one in meant_effects(events, setup(drawing))}
    return dict(only)


@pytest.mark.parametrize(("kind", "hand"), [("internal", "right"), ("external", "left")])
def test_a_suggested_change_is_meant_to_take_the_error_away(kind, hand):
    """Slopes that the simulation put on the flanks; what is suggested against them, recorded, undoes them."""
    drawing = part(kind, 18.0, hand)
    for quantity, parameter, left, right in (
        ("pressure_angle", "profile_slope", 4.0, 4.0), ("helix_angle", "helix_slope", 5.0, -5.0),
        ("twist_over_face_width", "helix_slope", 5.0, -5.0), ("infeed_far_end", "helix_slope", 6.0, 6.0),
        ("infeed_ends", "helix_crowning", 5.0, 5.0),
    ):  # fmt: skip
        shape = {"left": {f"{parameter}_um": left}, "right": {f"{parameter}_um": right}}
        _, lot = diagnose_gears(gears(drawing, parts=3, shape=shape), setup(drawing))
        (one,) = (one for one in lot.corrections if one.quantity == quantity)
        meant = effects_of([event(quantity, one.change, one.unit)], drawing)
        assert meant == {
            (parameter, "left"): pytest.approx(-left, abs=0.3),
            (parameter, "right"): pytest.approx(-right, abs=0.3),
        }


def test_units_of_recorded_changes():
    turn = math.radians(0.1)
    angles = (0.1, "deg"), (6.0, "arcmin"), (360.0, "arcsec"), (turn, "rad"), (1000 * turn, "mrad")
    both = [
        {key: round(um, 9) for key, um in one.effects.items()}
        for one in meant_effects([event("helix_angle", *one) for one in angles], setup(part()))
    ]
    assert len(both) == 5
    assert all(one == both[0] for one in both)
    lengths = [event("profile_slope", 2.0, "um", "left"), event("profile_slope", 0.002, "mm", "left")]
    assert effects_of(lengths, part()) == {("profile_slope", "left"): 2.0}
    assert not meant_effects([event("helix_angle", 1.0, "mm")], setup(part()))


def test_what_is_recorded_without_a_gain_leaves_the_trial_step():
    for unknown in ([], [recorded(None, None)], [recorded(0.6, flank="right")]):
        assert with_gains([CHANGE], unknown) == (CHANGE,)
    assert with_gains([CHANGE], [recorded(0.6), recorded(0.5, grinder="G2")]) == (CHANGE,)
    (unproven,) = with_gains([CHANGE], [recorded(0.3, 0.4)])
    assert (unproven.gain, unproven.fraction) == (None, 0.7)
    assert unproven.basis.startswith("trial step")
    (opposite,) = with_gains([CHANGE], [recorded(-0.8)])
    assert (opposite.gain, opposite.fraction) == (None, 0.0)
    assert "opposite" in opposite.basis


@pytest.mark.parametrize(("gain", "u"), [(0.12, 0.08), (-0.09, 0.07), (0.02, 0.07)])
def test_a_change_that_hardly_acted_is_no_gain_to_scale_by(gain, u):
    """A correction that was recorded and not made: what it did is chance, whichever sign it has."""
    (one,) = with_gains([CHANGE], [recorded(gain, u)])
    assert (one.gain, one.fraction) == (None, 0.0)
    assert "hardly acted" in one.basis
    assert "opposite" not in one.basis


def test_gains_of_changes_back_and_forth_are_less_sure_than_of_independent_ones():
    """Steps +2 and -2 share the level between them: by its definition the mean gain has the variance of
    (-a + 2 b - c) / 4, 6/16 of that of a level, not 2 * 2/16 (by hand)."""
    one = recorded(0.9, 0.2)
    (forth_and_back,) = with_gains([CHANGE], [one, replace(recorded(1.0, 0.2, day=2), size=-2.0)])
    assert forth_and_back.gain_u == pytest.approx(0.2 / math.sqrt(2) * math.sqrt(6 / 4))
    other = replace(recorded(1.0, 0.2, day=2, flank=None), size=-2.0)
    (apart,) = with_gains([CHANGE], [one, other])
    assert apart.gain_u == pytest.approx(0.2 / math.sqrt(2))
    (at_once,) = with_gains([CHANGE], [one, replace(recorded(1.0, 0.2), size=-2.0)])
    assert at_once.gain_u == pytest.approx(0.2 / math.sqrt(2))


def test_gains_of_several_changes_are_put_together_and_one_that_differs_counts_alone():
    (both,) = with_gains([CHANGE], [recorded(0.5, 0.2), recorded(0.7, 0.2, day=2)])
    assert both.gain == pytest.approx(0.6)
    assert both.gain_u == pytest.approx(0.2 / math.sqrt(2))
    (last,) = with_gains([CHANGE], [recorded(0.5, 0.1), recorded(1.5, 0.1, day=2)])
    assert last.gain == pytest.approx(1.5)
    assert "earlier ones had another gain" in last.basis


def test_the_same_quantity_counts_before_another_that_acts_on_the_same():
    angle = replace(CHANGE, quantity="pressure_angle", flank=None, unit="arcmin")
    (own,) = with_gains([angle], [recorded(0.5, quantity="pressure_angle", flank=None), recorded(0.9)])
    assert own.gain == pytest.approx(0.5)
    (other,) = with_gains([angle], [recorded(0.9)])
    assert other.gain == pytest.approx(0.9)


def test_a_change_within_its_own_uncertainty_is_not_suggested():
    """Both parts of the profile slope are sure and cancel on the left flank; the shift of the toothing
    differs from gear to gear by more than its mean."""
    drawing = part()
    shape = {"left": {"profile_slope_um": 0.0}, "right": {"profile_slope_um": 6.0}}
    mounting = {"eccentricity_um": 5.0, "eccentricity_deg": 90.0}
    off = [{"serial": "0001", "eccentricity_um": 30.0, "eccentricity_deg": 90.0}]
    lot_gears = gears(drawing, parts=4, shape=shape, mounting=mounting, gear=off)
    _, lot = diagnose_gears(lot_gears, setup(drawing))
    assert {"pressure_angle", "profile_asymmetry"} <= {one.key for one in lot.components if one.significant}
    slopes = {one.flank for one in lot.corrections if one.quantity == "profile_slope"}
    assert slopes == {"right"}
    assert all(one.u is None or abs(one.change) > one.u for one in lot.corrections)


def test_gains_are_learned_from_the_history_of_a_store(tmp_path):
    """The sample history has a step of +1.5 um in the left profile slope, recorded as a correction."""
    sample, store = Path(__file__).parents[3] / "sample_measurements/drift_history", tmp_path / "s.sqlite"
    add_archive(sample, store=store)
    kept, read = analyse_drift(store=store).result.diagnosis, analyse_drift(sample).result.diagnosis
    assert kept == read
    later = tmp_path / "later"
    shutil.copytree(sample, later, ignore=shutil.ignore_patterns("events.csv"))
    last = ["R1405", "R1423", "R1440"]
    assert diagnose(later, serial=last).recorded == ()
    found = diagnose(later, serial=last, store=store)
    (recorded,) = found.recorded
    assert (recorded.parameter, recorded.flank, recorded.intended_um) == ("profile_slope", "left", 1.5)
    assert recorded.low_um < 1.5 < recorded.high_um
    gains = {(one.quantity, one.flank): one.gain for one in found.lot.corrections}
    assert gains["profile_slope", "left"] == pytest.approx(recorded.effect_um / 1.5)
    (change,) = found.changes
    assert (change.quantity, change.flank, change.gain) == ("profile_slope", "left", kept[0].changes[0].gain)
    assert gains["profile_slope", "right"] is None


def test_a_mean_over_a_correction_is_told():
    change = Correction("profile_slope", "left", -1.0, "µm", None, 0.7, "trial", "")
    other = replace(change, flank="right")
    made = [
        replace(gear, production=Production(grinder="G1", finished_at=datetime(2026, 1, day)))
        for day, gear in zip((5, 7), gears(part(), parts=2), strict=True)
    ]
    event = GrinderEvent(datetime(2026, 1, 6), "correction", "G1", None, "profile_slope", "left", 1.0, "um")
    found = of_both_sides([change, other], made, [event])
    assert found == (replace(change, basis=f"trial; {MIXED}"), other)
    assert of_both_sides([change], made[1:], [event]) == (change,)
    assert of_both_sides([change], made, [replace(event, grinder="G2")]) == (change,)


def test_changes_that_take_the_same_error_away_are_told_as_one_of_two():
    """Both together would correct twice."""
    drawing = part()
    both = {"profile_slope_um": 4.0, "helix_slope_um": 5.0, "helix_crowning_um": 6.0}
    _, lot = diagnose_gears(gears(drawing, parts=3, shape={"left": both, "right": both}), setup(drawing))
    instead = {one.quantity: one.instead_of for one in lot.corrections}
    assert instead["pressure_angle"] == "profile_slope"
    alike = [one for one in lot.corrections if one.instead_of is not None]
    table = corrections_table(lot.corrections)
    assert sum("or, instead of the" in str(row[0]) for row in table.rows) == len(alike)
    assert any("make one of the two" in str(note) for note in table.notes)
    for one in alike:
        assert instead[one.instead_of] is None
    assert not any("make one" in str(note) for note in corrections_table([lot.corrections[0]]).notes)

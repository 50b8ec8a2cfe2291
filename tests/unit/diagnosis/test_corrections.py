"""What is worth a change, size to the middle of its tolerance, and gains from recorded corrections."""

from __future__ import annotations

import shutil
from dataclasses import replace
from datetime import datetime
from pathlib import Path

import pytest
from unit.diagnosis.made import gears, part, setup

from gearqa.core.geometry import gear_geometry
from gearqa.diagnosis.analysis import diagnose_gears
from gearqa.jobs.archive import add_archive
from gearqa.jobs.diagnose import diagnose
from gearqa.jobs.recorded_corrections import MIXED, of_both_sides, with_gains
from gearqa.model.diagnosis import Correction, RecordedCorrection
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
    near = replace(gear, sizes=(SizeReading("balls", middle - 0.01, 3.0),))
    (found,), _ = diagnose_gears([near], setup(drawing))
    assert not [one for one in found.corrections if one.quantity == "infeed"]


def recorded(verdict, effect, flank="left", grinder="G1"):
    return RecordedCorrection(
        "profile_slope", flank, grinder, "correction", 2.0, effect, None, None, verdict
    )  # fmt: skip


def test_gains_come_from_what_was_recorded():
    change = Correction("profile_slope", "left", -1.0, "µm", None, 0.7, "trial", "")
    (learned,) = with_gains([change], [recorded("smaller", 1.2)])
    assert learned.gain == pytest.approx(0.6)
    assert learned.basis.startswith("learned")
    (opposite,) = with_gains([change], [recorded("opposite", -2.0)])
    assert opposite.gain is None
    assert "opposite" in opposite.basis
    for unknown in ([], [recorded("not decidable", None)], [recorded("smaller", 1.2, "right")]):
        assert with_gains([change], unknown) == (change,)
    assert with_gains([change], [recorded("smaller", 1.2), recorded("smaller", 1.0, grinder="G2")]) == (
        change,
    )


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

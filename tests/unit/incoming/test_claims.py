"""Claims of a class on our value and our uncertainty; editions; states by hand."""

from __future__ import annotations

import math

import pytest
from ideal_readings import taken_for_good
from unit.evaluation.make import all_traces, gear, helix, part, profile, with_trace

from gearqa.evaluation.criteria import criteria_of
from gearqa.evaluation.evaluate import evaluate
from gearqa.incoming.claims import drawing_state, extremes, judge
from gearqa.incoming.editions import ISO_1328_1_1995, edition_named, editions_of
from gearqa.model.incoming import ReportedValue

pytestmark = pytest.mark.usefixtures("ideal_readings")

PART = part()
MADE = gear(with_trace(helix("left", 13, slope=-5.0), profile("right", 1, wave=2.0)))
with taken_for_good():
    (MEASURED,) = evaluate([MADE], PART)


def claim(key="helix_slope", flank="left", grade="5", standard="ISO 1328-1:2013", tooth=None):
    number = int(grade) if grade.isdigit() else None
    return ReportedValue("A", key, 4.0, flank, tooth, None, number, grade, standard, None, None, 1, 2)


def judged(reported, U=None, measured=MEASURED):
    return judge(reported, measured, U, editions_of(PART))


@pytest.mark.independent
@pytest.mark.parametrize(
    ("grade", "U", "verdict"),
    [
        # f_H_beta of the made gear is -5.0; tolerances of the classes 4, 5, 6 by hand: 4.2, 6, 8.5
        ("5", None, "confirmed"),
        ("4", None, "not confirmed"),
        ("6", 2.0, "confirmed"),  # (8.5 - 5) / 1 = 3.5 standard uncertainties
        ("5", 2.0, "not proven"),  # Phi(1) = 0.841
        ("4", 2.0, "not proven"),  # Phi(0.8) = 0.788 of not conforming
        ("3", 2.0, "not confirmed"),  # tolerance 3.0: Phi(2) = 0.977
        ("5", 1.0, "confirmed"),  # Phi(2) = 0.977
    ],
)
def test_verdicts_by_hand(grade, U, verdict):
    found = judged(claim(grade=grade), U)
    assert found.claim == verdict
    assert found.class_found == 5
    assert found.claim_reason == ("by_value" if U is None else "with_uncertainty")


@pytest.mark.independent
def test_probability_counts_both_limits():
    """Phi((6 + 5) / 1) - Phi((-6 + 5) / 1), the same as Phi(1) but for the far limit."""
    pc = judged(claim(), 2.0).pc
    assert pc == pytest.approx(0.5 * (math.erf(11 / math.sqrt(2)) + math.erf(1 / math.sqrt(2))), abs=1e-12)


def test_a_better_class_than_claimed_is_confirmed():
    found = judged(claim("profile_form", "left", "9"))
    assert (found.claim, found.class_found) == ("confirmed", 1)


def test_no_claim_no_verdict():
    assert judged(claim(grade="")).claim == "none"
    assert judged(claim(), measured=None).claim_reason == "not_measured"
    assert judged(claim(), measured=None).claim == "none"


@pytest.mark.parametrize("standard", ["DIN 3962", "AGMA 2000-A88", "works standard 7"])
def test_classes_of_another_system_are_not_judged(standard):
    found = judged(claim(standard=standard))
    assert (found.claim, found.claim_reason, found.tolerance_claimed_um) == ("none", "other_system", None)


def test_a_claim_in_words_and_a_class_that_does_not_exist():
    assert judged(claim(grade="AGMA A5")).claim_reason == "claim_in_words"
    assert judged(claim(grade="12")).claim_reason == "no_such_class"
    assert judged(claim(grade="12", standard=ISO_1328_1_1995)).claim == "confirmed"


@pytest.mark.independent
def test_the_older_edition_goes_by_its_own_tolerances():
    """ISO 1328-1:1995, f_H_beta grade 5 by hand (from memory), range means d 50 to 125, b 10 to 20:
    0.07 sqrt(79.06) + 0.45 sqrt(14.14) + 3 = 5.314, rounded 5.5; grade 4: 3.758, rounded 3.8."""
    found = judged(claim(grade="5", standard="ISO 1328-1:1995"))
    assert (found.claim, found.tolerance_claimed_um, found.class_found_as_claimed) == ("confirmed", 5.5, 5)
    assert judged(claim(grade="4", standard="ISO 1328-1:1995")).tolerance_claimed_um == 3.8


def test_the_older_edition_judges_slopes_over_the_evaluation_range():
    wide = part(evaluation={"slope_span": "full"}, gear={"tip_diameter_mm": 104.0})
    (measured,) = evaluate([gear(with_trace(helix("left", 13, slope=-5.0)))], wide)
    newer = extremes(measured, "helix_slope", "left", None, False)
    older = extremes(measured, "helix_slope", "left", None, True)
    assert min(older) == pytest.approx(-5.0, abs=1e-9)
    assert min(newer) == pytest.approx(-5.0 * 20 / 18, abs=1e-9)  # face width over evaluation length


def test_both_extreme_traces_of_a_slope_count():
    (measured,) = evaluate(
        [gear(with_trace(helix("left", 1, slope=-2.0), helix("left", 13, slope=5.5)))], PART
    )
    assert extremes(measured, "helix_slope", "left", None, False) == pytest.approx((-2.0, 5.5))
    assert extremes(measured, "helix_slope", "left", 1, False) == pytest.approx((-2.0,))
    assert extremes(measured, "helix_slope", "left", 99, False) == ()
    assert extremes(measured, "profile_form", None, None, False) == pytest.approx((0.0,), abs=1e-9)


@pytest.mark.parametrize(
    ("text", "title"),
    [
        ("ISO 1328-1:2013", "ISO 1328-1:2013"),
        ("DIN ISO 1328-1:2018-03", "ISO 1328-1:2013"),
        ("iso 1328", "ISO 1328-1:2013"),
        (None, "ISO 1328-1:2013"),
        ("ISO 1328-2:1997", ISO_1328_1_1995),
        ("ISO 1328-1 (1975)", None),
        ("ISO 13281", None),
    ],
)
def test_names_of_editions(text, title):
    assert edition_named(text) == title


def test_a_gear_outside_the_older_edition_has_no_claims_by_it():
    wide = part(gear={"face_width_mm": 1100.0})
    assert list(editions_of(wide)) == ["ISO 1328-1:2013"]
    assert (
        judge(claim(standard=ISO_1328_1_1995), MEASURED, None, editions_of(wide)).claim_reason
        == "outside_edition"
    )


def test_state_against_the_drawing():
    drawing = part(tolerance={"class": 5, "limits_um": {"helix_slope": [-6.0, 4.0]}})
    criteria = criteria_of(drawing)
    assert drawing_state(criteria, "helix_slope", "left", (4.5,), None) == "does not conform"
    assert drawing_state(criteria, "helix_slope", "left", (3.9,), 1.0) == "not proven"
    assert drawing_state(criteria, "helix_slope", "left", (-4.0,), 1.0) == "conforms"
    assert drawing_state(criteria, "adjacent_pitch", "left", (1.0,), None) is None
    assert drawing_state(criteria, "helix_slope", "left", (), None) is None


def test_traces_of_the_made_gear_are_all_there():
    assert len(MEASURED.traces) == len(all_traces())

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


@pytest.mark.parametrize("standard", ["JIS B 1702", "AGMA 2000-A88", "works standard 7"])
def test_classes_of_another_system_are_not_judged(standard):
    found = judged(claim(standard=standard))
    assert (found.claim, found.claim_reason, found.tolerance_claimed_um) == ("none", "other_system", None)


def test_a_claim_in_words_and_a_class_that_does_not_exist():
    assert judged(claim(grade="AGMA A5")).claim_reason == "claim_in_words"
    assert judged(claim(grade="12")).claim_reason == "no_such_class"
    assert judged(claim(grade="12", standard=ISO_1328_1_1995)).claim == "confirmed"
    assert judged(claim("helix_slope", grade="3", standard="JIS B 1702:1976")).claim_reason == "no_tolerance"


@pytest.mark.published
def test_a_claim_by_another_system_is_judged_by_its_tolerances():
    """DIN 3962-2:1978, printed cells of fHbeta, b up to 20 mm: quality 5 allows 6 um, 6 allows 8 um, for a
    gear of module 1.5; Elements of Metric Gear Technology, table T-132: 1.0 W + 2.8 for class 2 of fp."""
    editions = editions_of(part(gear={"normal_module_mm": 1.5}))
    for grade, tolerance in (("5", 6), ("6", 8)):
        found = judge(claim(grade=grade, standard="DIN 3962-2"), None, None, editions)
        assert (found.claim_reason, found.tolerance_claimed_um) == ("not_measured", tolerance)
    pitch = claim("single_pitch", "left", "2", standard="JIS B 1702:1976")
    W = 75.0 ** (1 / 3) + 0.65 * 1.5
    assert judge(pitch, None, None, editions).tolerance_claimed_um == round(W + 2.8, 2)


def test_a_claim_by_the_newer_edition_on_an_older_drawing_goes_over_the_full_span():
    """Extrapolating a straight trace from the evaluation range (18 mm) to the face width (20 mm)."""
    older = part(tolerance={"standard": ISO_1328_1_1995, "class": 6})
    (measured,) = evaluate([gear(with_trace(helix("left", 13, slope=-5.0)))], older)
    newer = judge(claim(standard="ISO 1328-1:2013"), measured, None, editions_of(older))
    own = judge(claim(standard=None), measured, None, editions_of(older))
    assert (newer.tolerance_claimed_um, own.tolerance_claimed_um) != (None, None)
    assert extremes(measured, "helix_slope", "left", None, "full")[0] == pytest.approx(-5.0 * 20 / 18)
    assert newer.class_found_as_claimed == editions_of(older)["ISO 1328-1:2013"].class_of(
        "helix_slope", -5.0 * 20 / 18
    )
    assert own.judged_um == pytest.approx(-5.0)


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
    newer = extremes(measured, "helix_slope", "left", None, None)
    older = extremes(measured, "helix_slope", "left", None, "evaluation")
    assert min(older) == pytest.approx(-5.0, abs=1e-9)
    assert min(newer) == pytest.approx(-5.0 * 20 / 18, abs=1e-9)  # face width over evaluation length


def test_both_extreme_traces_of_a_slope_count():
    (measured,) = evaluate(
        [gear(with_trace(helix("left", 1, slope=-2.0), helix("left", 13, slope=5.5)))], PART
    )
    assert extremes(measured, "helix_slope", "left", None, None) == pytest.approx((-2.0, 5.5))
    assert extremes(measured, "helix_slope", "left", 1, None) == pytest.approx((-2.0,))
    assert extremes(measured, "helix_slope", "left", 99, None) == ()
    assert extremes(measured, "profile_form", None, None, None) == pytest.approx((0.0,), abs=1e-9)


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
        ("ANSI/AGMA ISO 1328-1-B14", "ISO 1328-1:2013"),
        ("GB/T 10095.1-2008", ISO_1328_1_1995),
        ("GB/T 10095.1-2022", "ISO 1328-1:2013"),
        ("JIS B 1702-1:1998", ISO_1328_1_1995),
        ("JIS B 1702:1976", "JIS B 1702:1976"),
        ("DIN 3962", "DIN 3962:1978"),
        ("DIN 3961/3962", "DIN 3962:1978"),
        ("DIN 3962:1952", None),
    ],
)
def test_names_of_editions(text, title):
    assert edition_named(text, "ISO 1328-1:2013") == title


@pytest.mark.parametrize(
    ("text", "drawing", "title"),
    [
        (None, "DIN 3962:1978", "DIN 3962:1978"),
        ("ISO 1328-1", ISO_1328_1_1995, ISO_1328_1_1995),
        ("ISO 1328-1", "DIN 3962:1978", "ISO 1328-1:2013"),
        ("JIS B 1702", "JIS B 1702:1976", "JIS B 1702:1976"),
        ("ISO 1328-1:2013", ISO_1328_1_1995, "ISO 1328-1:2013"),
    ],
)
def test_what_names_no_year_means_the_drawing_where_the_family_is_the_same(text, drawing, title):
    assert edition_named(text, drawing) == title


def test_a_gear_outside_the_older_edition_has_no_claims_by_it():
    wide = part(gear={"face_width_mm": 1100.0})
    assert list(editions_of(wide)) == ["ISO 1328-1:2013", "JIS B 1702:1976"]
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

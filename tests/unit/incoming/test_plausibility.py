"""What reported figures ask for by themselves: found where it was made, silent where they are honest."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import gearqa
from gearqa.incoming.editions import editions_of
from gearqa.incoming.plausibility.questions import plausibility
from gearqa.model.incoming import ReportedValue
from gearqa.reading.settings.part_file import read_part
from gearqa.report.blocks import document as doc
from gearqa.report.incoming.mail import incoming_text
from gearqa.report.incoming.page import incoming_document
from gearqa.report.incoming.screen import incoming_blocks
from gearqa.results.incoming_json import INCOMING

SAMPLES = Path(__file__).parents[3] / "sample_measurements"
PART = SAMPLES / "ring_conforming" / "part.toml"
PROFILE = ("profile_total", "profile_form", "profile_slope")
HELIX = ("helix_total", "helix_form", "helix_slope")
REPORT = SAMPLES / "supplier_report" / "report.csv"


def value(serial, key, um, flank="left", *, tooth=None, basis="worst", decimals=1, class_=None):
    return ReportedValue(
        serial, key, um, flank, tooth, basis, class_, "" if class_ is None else str(class_), None, None, None,
        decimals, 0,
    )  # fmt: skip


def asked(values, part=None):
    part = read_part(PART) if part is None else part
    digit: dict[str, float] = {}
    for one in values:
        digit[one.parameter] = min(digit.get(one.parameter, 1e9), 10.0**-one.decimals)
    return plausibility(values, part, editions_of(part), digit)


def checks(values, part=None):
    return [one.check for one in asked(values, part).questions]


def some_lot(gears, rng, *, sd=0.6):
    """Independent figures of an invented process; nothing but noise."""
    size = {"helix_form": 4.0, "profile_form": 5.0, "single_pitch": 4.0, "cumulative_pitch": 15.0}
    return [
        value(f"G{gear}", key, round(level + sd * rng.normal(), 1), flank)
        for gear in range(gears)
        for key, level in size.items()
        for flank in ("left", "right")
    ]


@pytest.mark.parametrize(
    ("figures", "parameters"),
    [
        (dict(zip(PROFILE, (3.0, 5.0, 0.5), strict=True)), (PROFILE[1], PROFILE[0], PROFILE[2])),
        (dict(zip(HELIX, (9.0, 2.0, 3.0), strict=True)), HELIX),
        (dict(zip(HELIX, (3.0, 1.0, -6.0), strict=True)), (HELIX[2], HELIX[0], HELIX[1])),
        ({"profile_total": 2.0, "profile_form": 6.0}, ("profile_form", "profile_total")),
        ({"helix_total": 2.0, "helix_slope": 5.0}, ("helix_slope", "helix_total")),
        ({"single_pitch": 7.0, "cumulative_pitch": 6.0}, ("single_pitch", "cumulative_pitch")),
        ({"single_pitch": 1.0, "cumulative_pitch": 60.0}, ("cumulative_pitch", "single_pitch")),
        ({"single_pitch": 2.0, "adjacent_pitch": 5.0}, ("adjacent_pitch", "single_pitch")),
    ],
)  # fmt: skip
def test_figures_that_cannot_stand_together(figures, parameters):
    found = asked([value("A", key, um) for key, um in figures.items()]).questions
    assert [(one.check, one.strength) for one in found if one.parameters == parameters] == [
        ("contradiction", "cannot be")
    ]
    assert all(one.serials == ("A",) for one in found)


def test_runout_and_tooth_thickness_cannot_exceed_what_pitch_allows():
    pitch = [value("A", "cumulative_pitch", 5.0, flank) for flank in ("left", "right")]
    far = [value("A", "runout", 30.0, None), value("A", "tooth_thickness_variation", 11.0, None)]
    assert checks([*pitch, *far]) == ["contradiction", "contradiction"]
    near = [value("A", "runout", 13.0, None), value("A", "tooth_thickness_variation", 10.1, None)]
    assert checks([*pitch, *near]) == []


def test_mean_above_worst():
    assert checks([value("A", "helix_form", 3.0), value("A", "helix_form", 4.0, basis="mean")]) == [
        "contradiction"
    ]
    assert checks([value("A", "helix_form", 3.0), value("A", "helix_form", 3.1, tooth=4, basis=None)]) == []


@settings(max_examples=200, deadline=None)
@given(st.integers(0, 10_000), st.sampled_from([0, 1, 2]))
def test_no_trace_contradicts_itself(seed, decimals):
    """Traces of any shape, evaluated here by numpy's least squares and typed coarsely: never asked about."""
    rng = np.random.default_rng(seed)
    t = np.linspace(-0.5, 0.5, 50)
    y = (
        rng.normal(0, 3) * t
        + np.cumsum(rng.normal(0, rng.uniform(0.01, 1), 50))
        + (t > rng.uniform(0.3, 0.5)) * rng.normal(0, 5)
    )
    slope, level = np.polyfit(t, y, 1)
    figures = {"total": np.ptp(y), "form": np.ptp(y - slope * t - level), "slope": slope}
    values = [
        value("A", f"helix_{key}", round(float(um), decimals), decimals=decimals)
        for key, um in figures.items()
    ]
    assert "contradiction" not in checks(values)


@pytest.mark.parametrize("gears", [2, 12])
def test_a_copied_gear_is_asked_about(gears):
    lot = some_lot(gears, np.random.default_rng(gears))
    assert checks(lot) == []
    first = {(v.parameter, v.flank): v.value_um for v in lot if v.serial == "G0"}
    copied = [
        value("G1", v.parameter, first[v.parameter, v.flank], v.flank) if v.serial == "G1" else v for v in lot
    ]
    (found,) = asked(copied).questions
    assert (found.check, found.serials, found.values) == ("copied_gears", ("G0", "G1"), 8)
    assert found.probability < 1e-4
    # Of two gears with eight figures each, one moved by a digit, chance is not ruled out.
    moved = [
        value("G1", v.parameter, round(v.value_um + 0.1, 1), v.flank) if v.serial == "G1" else v
        for v in copied
    ]
    assert checks(moved) == ([] if gears == 2 else ["copied_gears"])


def test_a_copied_flank_is_asked_about():
    lot = some_lot(5, np.random.default_rng(8))
    left = {(v.serial, v.parameter): v.value_um for v in lot if v.flank == "left"}
    copied = [
        value(v.serial, v.parameter, left[v.serial, v.parameter], v.flank) if v.serial == "G3" else v
        for v in lot
    ]
    (found,) = asked(copied).questions
    assert (found.check, found.serials) == ("copied_flanks", ("G3",))


def test_coarse_figures_of_one_process_may_be_equal():
    rng = np.random.default_rng(4)
    lot = [
        value(v.serial, v.parameter, round(v.value_um), v.flank, decimals=0)
        for v in some_lot(12, rng, sd=0.3)
    ]
    assert checks(lot) == []


@pytest.mark.parametrize(
    ("factor", "fits"), [(1e-3, "millimetres"), (1e3, "nanometres"), (1 / 25.4, "inch"), (25.4, "25.4")]
)
def test_another_unit_is_named(factor, fits):
    lot = some_lot(5, np.random.default_rng(5))
    whole = [value(v.serial, v.parameter, v.value_um * factor, v.flank, decimals=5) for v in lot]
    found = [one for one in asked(whole).questions if one.check == "unit"]
    assert len(found) == 1
    assert fits in found[0].sentence
    one = [
        value(v.serial, v.parameter, v.value_um * factor, v.flank, decimals=5)
        if v.parameter == "helix_form"
        else v
        for v in lot
    ]
    assert [q.parameters for q in asked(one).questions if q.check == "unit"] == [("helix_form",)]
    gear = [
        value(v.serial, v.parameter, v.value_um * factor, v.flank, decimals=5) if v.serial == "G2" else v
        for v in lot
    ]
    assert [q.serials for q in asked(gear).questions if q.check == "unit"] == [("G2",)]


def test_a_whole_report_eight_times_too_large_is_asked_about():
    """Seven times what is allowed may be a bad lot, which no unit explains better."""
    part = read_part(PART)
    limit = editions_of(part)[part.tolerance.standard].tolerance("helix_form", 6)
    for share, found in ((7.0, []), (9.0, ["unit"])):
        lot = [value(f"G{n}", "helix_form", round(share * limit + n, 1), class_=6) for n in range(5)]
        assert [one for one in checks(lot) if one == "unit"] == found


def test_made_up_last_digits():
    rng = np.random.default_rng(6)
    lot = some_lot(60, rng, sd=1.0)
    assert "last_digits" not in checks(lot)
    made_up = [
        value(v.serial, v.parameter, int(v.value_um) + rng.choice([3, 7, 8, 2, 4]) / 10, v.flank) for v in lot
    ]
    assert "last_digits" in checks(made_up)
    halves = [value(v.serial, v.parameter, round(2 * v.value_um) / 2, v.flank) for v in lot]
    assert checks(halves) == []


def limited(limit):
    part = read_part(PART)
    return part.model_copy(
        update={"tolerance": part.tolerance.model_copy(update={"limits_um": {"helix_form": (0.0, limit)}})}
    )


def test_values_set_to_the_limit_and_a_lot_without_its_tail():
    rng = np.random.default_rng(7)
    whole = [
        value(f"G{n}", "helix_form", round(um, 2), decimals=2) for n, um in enumerate(rng.normal(5, 1, 300))
    ]
    part = limited(5.5)
    assert checks(whole, part) == []
    clamped = [value(v.serial, v.parameter, min(v.value_um, 5.5), decimals=2) for v in whole]
    assert "pile_up" in checks(clamped, part)
    kept = [v for v in whole if v.value_um <= 5.5]
    assert checks(kept, part) == ["trimmed"]


def test_a_class_that_no_edition_gives():
    part = read_part(PART)
    tolerances = [
        one.tolerance("helix_total", 5) for title, one in editions_of(part).items() if title.startswith("ISO")
    ]
    over, within = max(tolerances) + 1.1, max(tolerances)
    assert checks([value("A", "helix_total", over, class_=5)]) == ["class_of_no_edition"]
    assert checks([value("A", "helix_total", within, class_=5)]) == []


def test_too_few_figures_are_said_so():
    found = asked([value("A", "helix_total", 3.0)])
    assert "last_digits" in found.not_looked_for
    assert "copied_gears" in found.not_looked_for
    assert "contradiction" in found.looked_for


def test_long_serials_and_claims_are_clipped_in_every_question():
    rng = np.random.default_rng(3)
    long = {f"G{gear}": f"G{gear}" + "x" * 300 for gear in range(12)}
    lot = [value(long[v.serial], v.parameter, v.value_um, v.flank) for v in some_lot(12, rng)]
    typed = {(v.serial, v.parameter, v.flank): v.value_um for v in lot}
    odd = [
        value(v.serial, v.parameter, typed[long["G0"], v.parameter, v.flank], v.flank)
        if v.serial in (long["G1"], long["G2"])
        else value(v.serial, v.parameter, typed[v.serial, v.parameter, "left"], v.flank)
        if v.serial == long["G3"]
        else value(v.serial, v.parameter, 1000 * v.value_um, v.flank)
        if v.serial == long["G4"]
        else v
        for v in lot
    ]
    odd += [value(long["G5"], "helix_total", 0.1), value(long["G5"], "runout", 900.0, None, class_=1)]
    found = asked(odd).questions
    assert {one.check for one in found} >= {
        "contradiction", "copied_gears", "copied_flanks", "unit", "class_of_no_edition"
    }  # fmt: skip
    assert all("x" * 30 not in one.sentence and len(one.sentence) < 500 for one in found)
    assert all(one.serials == () or "x" * 300 in one.serials[0] for one in found)


def test_a_mail_holds_no_endless_serial(tmp_path):
    rows = [f"{'S' * 300}{n},{key},left,{um}" for n in range(3) for key, um in (("Fp", 6.0), ("fp", 9.0))]
    report = tmp_path / "report.csv"
    report.write_text("\n".join(["serial,parameter,flank,value_um", *rows]) + "\n", encoding="utf-8")
    for folder in (None, SAMPLES / "ring_conforming"):
        mail = incoming_text(gearqa.check_report(report, folder, part=PART))
        assert "cannot stand together" in " ".join(mail.split())
        assert "S" * 30 not in mail


def test_a_report_alone_shows_its_questions_everywhere(tmp_path):
    report = tmp_path / "report.csv"
    lines = ["serial,parameter,flank,value_um", "A,Fp,left,6.0", "A,fp,left,9.0"]
    report.write_text("\n".join(lines) + "\n", encoding="utf-8")
    result = gearqa.check_report(report, part=PART)
    (question,) = result.plausibility.questions
    assert "fp left: 9 µm exceeds Fp 6 µm" in question.sentence
    assert json.loads(INCOMING.json(result))["plausibility"]["questions"][0]["check"] == "contradiction"
    assert "9 µm exceeds Fp 6 µm" in " ".join(incoming_text(result).split())
    shown = [one for one in incoming_blocks(result, wide=False) if isinstance(one, doc.Table)]
    assert any("asks for a look" in str(table.columns[0]) for table in shown)
    assert [section.id for section in incoming_document(result).sheets[0].sections][1] == "plausible"


def test_the_honest_sample_is_asked_nothing_but_its_one_class():
    result = gearqa.check_report(REPORT, part=PART)
    assert [(one.check, one.values) for one in result.plausibility.questions] == [("class_of_no_edition", 1)]

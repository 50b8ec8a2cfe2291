"""The grading result in words, and its layout on terminals."""

from __future__ import annotations

import io
import math
import re
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from made_folders import pitch_folder
from sheet_factory import header_of
from unit.simulate import make

import gearqa
from gearqa.evaluation.evaluate import evaluate
from gearqa.evaluation.trace_specs import trace_spec
from gearqa.report.blocks.document import Bullets, Cautions, Table, Verdict, plain
from gearqa.report.grading.lot_words import ALL_ROWS_UP_TO, WORST_ROWS, LotCollector, lot_blocks, noted
from gearqa.report.grading.notes import helix_angle_lines, mean_slope_lines, slope_lines
from gearqa.report.grading.values import worst_of
from gearqa.report.grading.words import gear_blocks
from gearqa.report.render.terminal import Terminal
from gearqa.standards.iso1328_1_2013 import rounded_tolerances
from gearqa.symbols import PARAMETERS
from gearqa.wording.numbers import percent_text, tolerance_text, value_text
from gearqa.wording.safety import CAUTIONS

pytestmark = pytest.mark.usefixtures("ideal_readings")

SAMPLES = Path(__file__).parents[4] / "sample_measurements"


@pytest.fixture(scope="module")
def faults():
    with gearqa.read_folder(SAMPLES / "ring_faults") as inspection:
        return gearqa.grade(inspection)


@pytest.fixture(scope="module")
def pinions():
    with gearqa.read_folder(SAMPLES / "pinion") as inspection:
        return gearqa.grade(inspection)


def collected(result):
    seen = LotCollector()
    for gear in result.gears:
        seen.add(noted(gear, alone=len(result.gears) == 1))
    return seen


def shown(blocks, *, width=80, encoding="utf-8", colour=False):
    raw = io.BytesIO()
    stream = io.TextIOWrapper(raw, encoding=encoding, newline="")
    Terminal(stream, width=width, colour=colour).blocks(blocks)
    stream.flush()
    return raw.getvalue().decode(encoding)


def answers(blocks):
    (verdict,) = (block for block in blocks if isinstance(block, Verdict))
    return {plain(one.question): (plain(one.answer), plain(one.detail)) for one in verdict.answers}


def gear_of(result, serial):
    return next(gear for gear in result.gears if gear.serial == serial)


# --- numbers ------------------------------------------------------------------------------------


@given(
    st.floats(-200, 200),
    st.tuples(st.floats(-50, 0), st.floats(0.001, 50)).map(lambda p: (round(p[0], 3), round(p[1], 3))),
)
def test_a_printed_value_never_contradicts_its_verdict(value, limits):
    low, high = limits
    printed = float(value_text(value, limits=[limits]))
    exact = round(value, 9)
    assert (low <= printed <= high) == (low <= exact <= high)
    assert abs(printed - value) <= 0.005 + 1e-9


@given(st.floats(0, 5))
def test_a_share_is_never_printed_on_the_wrong_side_of_the_limit(share):
    printed = float(percent_text(share).split()[0])
    if abs(share - 1) > 1e-8:
        assert (printed > 100) == (share > 1)


@given(st.floats(0.1, 300))
def test_tolerances_are_printed_exactly(T_5):
    for tolerance in rounded_tolerances(T_5):
        assert float(tolerance_text(tolerance)) == tolerance


# --- one gear -----------------------------------------------------------------------------------


def test_a_gear_that_conforms(faults):
    said = answers(gear_blocks(faults.header, gear_of(faults, "OT-0301"), "full"))
    assert said["Conformity to the drawing"] == ("conforms", "")
    assert said["Master quality"][0] == "reached"
    assert "criterion: class 4 or better in fp, Fp, Fr" in said["Master quality"][1]


def test_a_gear_that_does_not_conform_names_value_place_and_limit(faults):
    gear = gear_of(faults, "OT-0304")
    said = answers(gear_blocks(faults.header, gear, "full"))
    word, detail = said["Conformity to the drawing"]
    value = gear.parameters["profile_slope"].flanks["left"]
    assert word == "does not conform"
    assert f"fHα {value.value_um:.2f} µm left tooth {value.tooth}, allowed ±7.0 (class 6)" in detail
    assert said["Flank tolerance class"][0] == "beyond every class"
    assert said["Master quality"][0] == "not reached"
    assert "decided by" in said["Master quality"][1]


def test_a_gear_with_something_missing_is_never_called_complete(faults):
    for serial in ("OT-0302", "OT-0306"):
        said = answers(gear_blocks(faults.header, gear_of(faults, serial), "full"))
        assert said["Conformity to the drawing"][0] == "not assessed"
        assert said["Flank tolerance class"][0].endswith("(incomplete)")
        assert said["Master quality"][0] == "not decidable"
        assert "not assessed: " in said["Flank tolerance class"][1]


def test_a_reason_stands_once_for_all_that_it_leaves_open(faults):
    gear = gear_of(faults, "OT-0302")
    blocks = gear_blocks(faults.header, gear, "full")
    (notes,) = (block for block in blocks if isinstance(block, Bullets) and block.style == "note")
    said = [" ".join(map(plain, notes.items)), answers(blocks)["Conformity to the drawing"][1]]
    pitch = [gap.reason for gap in gear.not_assessed if gap.parameter in ("single_pitch", "cumulative_pitch")]
    assert len(pitch) > len(set(pitch))
    for reason in set(pitch):
        assert [text.count(reason) for text in said] == [1, 1]
    assert said[0].count("[not_assessed]") == len({one.message for one in gear.warnings})


def test_every_value_of_the_table_is_that_of_the_result(faults):
    gear = gear_of(faults, "OT-0308")
    (table,) = (b for b in gear_blocks(faults.header, gear, "full") if isinstance(b, Table))
    printed = {}
    symbol = ""
    for row in table.rows:
        symbol = plain(row[0]) or symbol
        printed[symbol, plain(row[1])] = float(plain(row[2]))
    for key, parameter in gear.parameters.items():
        for flank, one in parameter.flanks.items():
            assert printed[PARAMETERS[key].symbol, flank] == pytest.approx(one.value_um, abs=0.005)
    assert printed["Fr", ""] == pytest.approx(gear.parameters["runout"].value_um, abs=0.005)


def test_both_slopes_are_shown_with_a_note_where_the_class_differs(pinions):
    noted = 0
    for gear in pinions.gears:
        *lines, by_angle, left, right = slope_lines(gear, "full")
        assert [by_angle] == helix_angle_lines(gear)
        assert [left, right] == mean_slope_lines(gear)
        assert len(lines) == 2
        for line, key in zip(lines, ("profile_slope", "helix_slope"), strict=True):
            one = gear.parameters[key]
            this, other = re.findall(r"([+-]\d+\.\d+) µm", line)
            assert float(this) == pytest.approx(one.value_um, abs=0.006)
            assert float(other) == pytest.approx(one.slope_other_span_um, abs=0.006)
            assert ("another class" in line) == (one.class_ != one.slope_other_span_class)
            noted += "another class" in line
    assert noted > 0


def test_helix_slopes_are_shown_by_helix_angle(faults):
    # an internal right-hand gear: by helix angle the right flank's sign is turned (ISO 1328-1, from memory)
    gear = gear_of(faults, "OT-0308")
    (line,) = helix_angle_lines(gear)
    found = re.search(r"plus: larger helix angle\): left ([+-]\S+) µm, right ([+-]\S+) µm", line)
    assert found
    flanks = gear.parameters["helix_slope"].flanks
    assert float(found[1]) == pytest.approx(flanks["left"].value_um, abs=0.006)
    assert float(found[2]) == pytest.approx(-flanks["right"].value_um, abs=0.006)
    assert line in " ".join(shown(gear_blocks(faults.header, gear, "full")).split())


def test_helix_slopes_of_a_spur_gear_are_shown_by_hand(pinions):
    # external: material gained away from the datum face is left-hand on the left flank, else right-hand
    for gear in pinions.gears:
        (line,) = helix_angle_lines(gear)
        for flank, one in gear.parameters["helix_slope"].flanks.items():
            hand = "right-hand" if (one.value_um > 0) == (flank == "right") else "left-hand"
            assert re.search(rf"{flank} [0-9.]+ µm {hand}", line)


@pytest.mark.independent
@pytest.mark.parametrize("span", ["full", "evaluation"])
@pytest.mark.parametrize(
    ("kind", "hand"), [("internal", "right"), ("internal", "left"), ("external", "left")]
)
def test_mean_slopes_are_shown_as_angles(kind, hand, span):
    """m_n 1.5, z 80, beta 20, b 30: 5 um are 6.38' of alpha_t, 42.8 um of r_b, 36.2'' of beta (computed).

    Plus is material towards the tip: pressure angle too small, base radius too large, for rings too.
    An external right-hand gear with too large a helix angle gains material away from the datum face
    on its right flank; another hand, flank or a ring turns that sign (ISO 1328-1, from memory).
    """
    drawing = make.part(kind=kind, hand=hand, evaluation={"slope_span": span})
    helix, profile = (trace_spec(drawing, one) for one in ("helix", "profile"))
    assert (f"{helix.length:.1f}", f"{profile.length:.3f}") == ("27.0", "6.954")
    shape = {
        f"{family}_slope_um": 5.0 * (abs(s.full_end - s.full_start) / s.length if span == "full" else 1.0)
        for family, s in (("profile", profile), ("helix", helix))
    }
    gear = make.gear(drawing, shape={"left": shape, "right": shape})
    (result,) = evaluate([gear], drawing)
    left, right = mean_slope_lines(result)
    turn = (1 if kind == "external" else -1) * (1 if hand == "right" else -1)
    for line, flank, f in ((left, "left", -1), (right, "right", 1)):
        sign = "+" if turn * f > 0 else "-"
        assert line == (
            f"Mean slopes {flank} over the evaluation length: fHα +5.00 µm (transverse pressure angle -6.4′, "
            f"base radius +43 µm), fHβ +5.00 µm (helix angle {sign}0.60′)."
        )
        assert line in " ".join(shown(gear_blocks(header_of(drawing), result, span)).split())
        flanks = {key: result.parameters[key].flanks[flank] for key in ("profile_slope", "helix_slope")}
        assert f"{flanks['profile_slope'].pressure_angle_deviation_arcmin:.2f}" == "-6.38"
        assert f"{flanks['profile_slope'].base_radius_deviation_um:.1f}" == "42.8"
        assert f"{flanks['helix_slope'].helix_angle_deviation_arcmin * 60:+.1f}" == f"{sign}36.2"


@pytest.mark.independent
@pytest.mark.parametrize("kind", ["external", "internal"])
def test_the_mean_helix_slope_of_a_spur_gear_is_shown_by_hand(kind):
    """5 um over 27 mm at alpha_t 20 degrees are 0.68' (computed); external, right flank: right-hand."""
    drawing = make.part(kind=kind, beta=0.0, evaluation={"slope_span": "evaluation"})
    gear = make.gear(drawing, shape={"left": {"helix_slope_um": 5.0}, "right": {"helix_slope_um": 5.0}})
    (result,) = evaluate([gear], drawing)
    for line, flank in zip(mean_slope_lines(result), ("left", "right"), strict=True):
        hand = "right-hand" if (flank == "right") == (kind == "external") else "left-hand"
        assert line == (
            f"Mean slopes {flank} over the evaluation length: fHα 0.00 µm (transverse pressure angle 0.0′, "
            f"base radius 0 µm), fHβ +5.00 µm (helix angle 0.68′ {hand})."
        )
        by_hand = result.parameters["helix_slope"].flanks[flank].helix_angle_deviation_arcmin
        assert (by_hand > 0) == (hand == "right-hand")


def test_angles_come_from_the_mean_over_the_traces_and_are_not_graded(pinions):
    for gear in pinions.gears:
        for key, parameter in gear.parameters.items():
            for flank, one in parameter.flanks.items():
                own = [
                    t.slope_evaluation_um for t in gear.traces if (f"{t.kind}_slope", t.flank) == (key, flank)
                ]
                if key == "profile_slope":
                    length = abs(gear.traces[0].end_mm - gear.traces[0].start_mm)
                    # spur, 20 degrees: base radius and pressure angle of one and the same mean slope
                    angle = -sum(own) / len(own) / length / 1000 / math.tan(math.radians(20)) * 60
                    assert one.pressure_angle_deviation_arcmin == pytest.approx(math.degrees(angle))
                    assert one.helix_angle_deviation_arcmin is None
                elif key != "helix_slope":
                    assert one.pressure_angle_deviation_arcmin is None
                    assert one.base_radius_deviation_um is None
                    assert one.helix_angle_deviation_arcmin is None


def test_limits_of_the_drawing_are_shown_instead_of_a_class(pinions):
    text = shown(gear_blocks(pinions.header, pinions.gears[0], "full"))
    assert re.search(r"fHα +left +\S+ +-6 to \+4 +\d+ +limits", text)


def test_the_uncertainty_line(pinions, faults):
    text = shown(gear_blocks(pinions.header, pinions.gears[0], "full"))
    assert "simple acceptance, that is, measurement uncertainty is not taken off the limits" in " ".join(
        text.split()
    )
    near = replace(faults.gears[0], near_limit=3)
    assert "3 values lie within U" in " ".join(shown(gear_blocks(faults.header, near, "full")).split())


def test_cautions_stand_below_every_result(faults):
    for blocks in (
        gear_blocks(faults.header, faults.gears[0], "full"),
        lot_blocks(faults.header, faults.lot, collected(faults), "full"),
    ):
        assert blocks[-1] == Cautions(CAUTIONS)


# --- a lot --------------------------------------------------------------------------------------


def test_the_worst_value_of_a_gear_is_the_one_that_fails(faults):
    worst = {gear.serial: worst_of(gear) for gear in faults.gears}
    assert (worst["OT-0303"].key, worst["OT-0304"].key) == ("runout", "profile_slope")
    assert (worst["OT-0305"].key, worst["OT-0305"].flank) == ("single_pitch", "right")
    for gear in faults.gears:
        one = worst[gear.serial]
        parameter = gear.parameters[one.key]
        value = parameter.flanks[one.flank] if one.flank else parameter
        assert (one.use > 1) == (value.conforms is False)


def test_the_lot_counts_what_the_result_counts(faults):
    said = answers(lot_blocks(faults.header, faults.lot, collected(faults), "full"))
    lot = faults.lot
    word, detail = said["Conformity to the drawing"]
    assert word == "does not conform"
    assert detail.startswith(f"{lot.conforming} of {lot.gears} gears conforms; {lot.not_conforming} not: ")
    assert f"{lot.undecided} not assessed" in detail
    assert said["Master quality of the job"][0] == "not reached"
    assert f"reached by {lot.master_quality} of {lot.gears} gears" in said["Master quality of the job"][1]


def test_long_lots_keep_only_the_worst_rows(faults):
    seen = LotCollector()
    template = gear_of(faults, "OT-0301")
    for i in range(ALL_ROWS_UP_TO + 1):
        seen.add(noted(replace(template, serial=f"G{i}")))
    bad = gear_of(faults, "OT-0304")
    seen.add(noted(bad))
    assert seen.rows == []
    assert len(seen.worst) == WORST_ROWS
    listed = seen.listed()
    assert listed[0].serial == bad.serial
    assert [row.serial for row in listed[1:]] == [f"G{i}" for i in range(WORST_ROWS - 1)]


def test_a_gear_that_fails_by_its_size_is_counted(pinions):
    gear = pinions.gears[0]
    assert not noted(gear).size_fails
    failed = noted(replace(gear, size=tuple(replace(one, conforms=False) for one in gear.size)))
    assert failed.size_fails
    seen = LotCollector()
    seen.add(failed)
    assert seen.sizes_failing == 1


def test_repeated_warnings_are_counted_once(faults):
    seen = collected(faults)
    (bullets,) = (b for b in lot_blocks(faults.header, faults.lot, seen, "full") if isinstance(b, Bullets))
    named = [item for item in map(plain, bullets.items) for code in seen.warnings if f"[{code}]" in item]
    assert len(named) == len(seen.warnings) == 1


# --- layout -------------------------------------------------------------------------------------


@pytest.mark.parametrize("width", [60, 80, 120])
@pytest.mark.parametrize("encoding", ["utf-8", "cp1252", "ascii"])
def test_nothing_is_wider_than_the_console(faults, width, encoding):
    for blocks in (
        lot_blocks(faults.header, faults.lot, collected(faults), "full", wide=width > 110),
        gear_blocks(faults.header, gear_of(faults, "OT-0304"), "full", wide=width > 110),
    ):
        text = shown(blocks, width=width, encoding=encoding)
        assert max(map(len, text.splitlines())) <= width
        assert all(line == line.rstrip() for line in text.splitlines())
        assert "does not conform" in " ".join(text.split())


def test_without_greek_letters_the_symbols_are_written_out(faults):
    text = shown(gear_blocks(faults.header, faults.gears[0], "full"), encoding="ascii")
    assert "fH-alpha" in text
    assert "ff-beta" in text
    assert "+/-7.0" in text
    assert "\\x" not in text


def test_colour_adds_nothing_but_colour(faults):
    blocks = gear_blocks(faults.header, gear_of(faults, "OT-0304"), "full")
    coloured = shown(blocks, colour=True)
    assert "\x1b[" in coloured
    assert [line.rstrip() for line in re.sub(r"\x1b\[[0-9;]*m", "", coloured).splitlines()] == (
        shown(blocks).splitlines()
    )


def test_one_gear_of_a_folder_is_shown_in_full(tmp_path):
    with gearqa.read_folder(pitch_folder(tmp_path / "lot")) as inspection:
        result = gearqa.grade(inspection)
    blocks = lot_blocks(result.header, result.lot, collected(result), "full")
    assert "Conformity to the drawing" in answers(blocks)
    assert "Master quality" in answers(blocks)

"""gearqa size: nominal and limits, from any measure to all others."""

from __future__ import annotations

import json
from pathlib import Path

import jsonschema
import pytest

import gearqa
from gearqa.cli import app
from gearqa.errors import ArgumentError
from gearqa.jobs.json_schemas import json_schema

RING = Path(__file__).parents[2] / "sample_measurements" / "ring_conforming"


def sized(capsys, *words):
    assert app.run(["size", *map(str, words), "--json", "-"]) == 0
    result = json.loads(capsys.readouterr().out)
    jsonschema.validate(result, json_schema("size"), cls=jsonschema.Draft202012Validator)
    return result


@pytest.mark.published
def test_the_handbook_table(capsys):
    """Handbook tables (from memory): m 1, z 20, pin 1.7: 22.2941; span m 3, z 24, x 0.4 over 4: 32.8266."""
    (row,) = sized(capsys, "--teeth", 20, "--module", 1, "--ball", 1.7)["rows"]
    assert f"{row['balls_mm']:.4f}" == "22.2941"
    words = ("--teeth", 24, "--module", 3, "--profile-shift", 0.4, "--teeth-spanned", 4)
    (row,) = sized(capsys, *words)["rows"]
    assert f"{row['span_mm']:.4f}" == "32.8266"


@pytest.mark.independent
def test_limits_of_one_measure_give_those_of_all(capsys):
    """A span changes by the allowance times cos 20 degrees: -80 um of thickness are -75.18 um of span."""
    gear = ("--teeth", 24, "--module", 3, "--ball", 5.25)
    first = sized(capsys, *gear, "--limits-of", "allowance", "--lower", -80, "--upper", -40)
    nominal, thin, thick = first["rows"]
    assert [row["teeth"] for row in first["rows"]] == ["nominal", "thinnest", "thickest"]
    assert round((thin["span_mm"] - nominal["span_mm"]) * 1000, 2) == -75.18
    for measure in ("balls", "span", "thickness"):
        ends = (thin[f"{measure}_mm"], thick[f"{measure}_mm"])
        back = sized(capsys, *gear, "--limits-of", measure, "--lower", ends[0], "--upper", ends[1])["rows"]
        assert [row["allowance_um"] for row in back] == pytest.approx([0, -80, -40], abs=1e-6)


def test_the_drawing_gives_gear_ball_and_limits(capsys):
    result = sized(capsys, "--part", RING)
    nominal, thin, thick = result["rows"]
    assert (result["limits_of"], result["teeth_spanned"]) == ("balls", None)
    assert thin["balls_mm"] == pytest.approx(155.84)
    assert thick["balls_mm"] == pytest.approx(155.78)
    assert thin["allowance_um"] < 0 < thick["allowance_um"]
    assert nominal["span_mm"] is None


def test_the_sign_of_catalogues_is_the_opposite_on_internal_gears_only(capsys):
    def shift(kind, option):
        words = ("--kind", kind, "--teeth", 60, "--module", 2, option, 0.25)
        return sized(capsys, *words)["gear"]["profile_shift_coefficient"]

    assert shift("internal", "--catalogue-shift") == -0.25
    assert shift("internal", "--profile-shift") == shift("external", "--catalogue-shift") == 0.25


@pytest.mark.parametrize(
    ("words", "message"),
    [
        ([], "missing: --teeth, --module"),
        (["--teeth", "20", "--module", "2", "--lower", "1"], "what the limits are of"),
        (["--teeth", "20", "--module", "2", "--limits-of", "span", "--lower", "1"], "both limits"),
        (["--teeth", "20", "--module", "2", "--profile-shift", "1", "--catalogue-shift", "1"], "either"),
        (["--kind", "internal", "--teeth", "60", "--module", "2", "--teeth-spanned", "3"], "no span"),
        (["--teeth", "2", "--module", "2"], "expected 3 to 10000"),
        (
            ["--teeth", "20", "--module", "2", "--limits-of", "thickness", "--lower", "-1", "--upper", "3"],
            "no teeth of this gear have -1 mm",
        ),
        (
            [
                "--teeth",
                "20",
                "--module",
                "2",
                "--ball",
                "3.5",
                "--limits-of",
                "balls",
                "--lower",
                "30",
                "--upper",
                "44",
            ],
            "no teeth of this gear have 30 mm by balls",
        ),
        (["--part", str(RING), "--teeth", "20"], "either --part or"),
    ],
)
def test_what_does_not_go_together_is_told(capsys, words, message):
    assert app.run(["size", *words]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert message in " ".join(err.split())


def test_balls_that_cannot_be_measured_with_are_told(capsys):
    result = sized(capsys, "--part", RING, "--ball", 1.0)
    assert {one["code"] for one in result["cautions"]} == {"size_not_measurable"}
    messages = " ".join(one["message"] for one in result["cautions"])
    assert "do not stand out of the tip" in messages
    assert app.run(["size", "--part", str(RING)]) == 0
    assert "between balls of 3" in capsys.readouterr().out
    assert result["limits_of"] is None, "the limits of the drawing are those of its own ball"
    with pytest.raises(ArgumentError, match=r"0\.0001 to 100000"):
        gearqa.tooth_size(teeth=20, module=1.0, ball=-1.0)


@pytest.mark.parametrize(
    ("words", "missing", "message"),
    [
        (("--teeth", 5, "--module", 2, "--ball", 3.5), None, "undercuts these teeth"),
        (("--teeth", 20, "--module", 2, "--ball", 0.4), "balls_mm", "too small or too large for the space"),
        (("--kind", "internal", "--teeth", 12, "--module", 2, "--ball", 9), "balls_mm", "too large"),
        (("--part", RING, "--ball", 4.0), "balls_mm", "beyond the tip"),
        (("--part", RING, "--ball", 3.9), None, "beyond the tip form diameter of 157 mm"),
    ],
)
def test_what_cannot_be_measured_has_a_message_and_no_figure(capsys, words, missing, message):
    result = sized(capsys, *words)
    if missing:
        assert result["rows"][0][missing] is None
    assert any(message in one["message"] for one in result["cautions"])


@pytest.mark.independent
@pytest.mark.parametrize(("teeth", "shift", "undercut"), [(17, 0, True), (18, 0, False), (12, 0.3, False)])
def test_undercut_begins_where_textbooks_say(capsys, teeth, shift, undercut):
    """Rack of depth 1 m at 20 degrees: least z = 2 (1 - x) / sin^2(20 degrees) = 17.097 (1 - x), by hand."""
    words = ("--teeth", teeth, "--module", 1, "--profile-shift", shift)
    messages = [one["message"] for one in sized(capsys, *words)["cautions"]]
    assert any("undercuts" in message for message in messages) is undercut


@pytest.mark.published
def test_chords_with_a_tip_diameter(capsys):
    """Elements of Metric Gear Technology, table 10-1: 17.8256, 13.6657 (tip 120 + 2 x 13)."""
    words = ("--teeth", 12, "--module", 10, "--profile-shift", 0.3, "--tip-diameter", 146)
    (row,) = sized(capsys, *words)["rows"]
    assert [f"{row[key]:.4f}" for key in ("chord_mm", "chord_height_mm")] == ["17.8256", "13.6657"]
    # handbook formula (from memory): 17.8918 cos^2 20 degrees; 13 less half of it times tan 20 degrees
    assert [f"{row[f'constant_chord{end}']:.3f}" for end in ("_mm", "_height_mm")] == ["15.799", "10.125"]
    ring = ("--kind", "internal", "--teeth", 60, "--module", 2, "--tip-diameter", 116)
    (row,) = sized(capsys, *ring)["rows"]
    assert row["chord_height_mm"] == pytest.approx(2.0, abs=0.05)
    assert "constant_chord_mm" not in row


def test_a_tip_diameter_of_another_gear_is_refused(capsys):
    assert app.run(["size", "--teeth", "20", "--module", "2", "--tip-diameter", "60"]) == 2
    assert "no tip of this gear" in capsys.readouterr().err
    assert app.run(["size", "--part", str(RING), "--tip-diameter", "156.7"]) == 2

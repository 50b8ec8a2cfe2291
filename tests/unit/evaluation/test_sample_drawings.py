"""The ring of the samples by drawings of other systems: limits by hand, each by its own edition."""

from __future__ import annotations

from pathlib import Path

import pytest

import gearqa
from gearqa.model.results import GradeResult

SAMPLES = Path(__file__).parents[3] / "sample_measurements"
RING = SAMPLES / "ring_conforming"


def graded(drawing: str | None) -> GradeResult:
    return gearqa.grade(RING, part=None if drawing is None else SAMPLES / "drawings" / f"{drawing}.toml")


@pytest.mark.independent
@pytest.mark.parametrize(
    ("drawing", "standard", "allowed", "failing"),
    [
        # d = 87 x 1.75 / cos 18 deg = 160.085; fp 0.001 d + 0.4 m + 5 = 5.860, Fp 0.002 d + 0.55 root d
        # + 0.7 m + 12 = 20.504, Fr 0.9 Fp = 18.454, times root 2: 8.29, 29.00, 26.10 (from memory)
        (None, "ISO 1328-1:2013", {"single_pitch": 8.5, "cumulative_pitch": 29, "runout": 26}, []),
        # range means root(125 x 280) = 187.08, root(0.5 x 2) = 1, root(20 x 40) = 28.28: fp 5.94, Fp 24.40,
        # Fr 19.52, fHalpha 4.41, Fbeta 8.92 (from memory), rounded to 0.5, 1, 1, 0.1, 0.5
        (
            "iso_1328_1_1995",
            "ISO 1328-1:1995",
            {"single_pitch": 6, "cumulative_pitch": 24, "runout": 20, "profile_slope": 4.4, "helix_total": 9},
            ["OT-0211"],
        ),
        # printed cells of quality 6: module 1 to 2, face width 20 to 40
        (
            "din_3962_1978",
            "DIN 3962:1978",
            {"profile_total": 8, "profile_form": 6, "profile_slope": 5, "helix_slope": 9, "helix_total": 10},
            [],
        ),
        # W = 160.085^(1/3) + 0.65 x 1.75 = 6.5673; class 3: 1.4 W + 4 and 5.6 W + 16
        ("jis_b_1702_1976", "JIS B 1702:1976", {"single_pitch": 13.19, "cumulative_pitch": 52.78}, []),
        ("limit_curves", "ISO 1328-1:2013", {}, []),
        ("zones", "ISO 1328-1:2013", {"single_pitch": 8.5, "runout": 26}, []),
    ],
)
def test_limits_and_verdicts_by_each_drawing(drawing, standard, allowed, failing):
    result = graded(drawing)
    assert result.header.standard == standard
    assert [gear.serial for gear in result.gears if gear.conforms is not True] == failing
    for gear in result.gears:
        asked = {key: one for key, one in gear.parameters.items() if one.tolerance_um is not None}
        assert {key: asked[key].tolerance_um for key in allowed} == allowed
        if drawing not in (None, "iso_1328_1_1995", "zones"):
            assert asked.keys() == allowed.keys()


def test_zones_of_a_drawing_are_judged_beside_its_class():
    result = graded("zones")
    assert any(one.conforms is False for gear in result.gears for one in gear.zones)  # for information
    for gear in result.gears:
        assert [(one.key, one.flank, one.required) for one in gear.zones] == [
            ("profile_total_zone_1", "left", True), ("profile_form_zone_1", "left", True),
            ("profile_total_zone_1", "right", True), ("profile_form_zone_1", "right", True),
            ("helix_total_zone_2", "left", False),
        ]  # fmt: skip
        assert all(one.conforms for one in gear.required_zones)
        assert gear.conforms is True
        # by hand: no stretch of a trace is wider than the whole, and its own line fits no worse
        for one in gear.zones[:4:2]:
            assert one.value_um < gear.parameters["profile_total"].flanks[one.flank].value_um


def test_a_drawing_by_curves_alone_gives_no_class():
    for gear in graded("limit_curves").gears:
        assert (gear.class_, gear.beyond, gear.governing) == (None, False, ())
        assert all(one.class_ is None for one in gear.parameters.values())
        assert [one.conforms for one in gear.limit_curves] == [True] * 4

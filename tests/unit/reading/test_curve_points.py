"""Points of limit curves and design traces where the gear has no flank, or too little of it."""

from __future__ import annotations

from pathlib import Path

import pytest

from gearqa.errors import PartFileError, Reason
from gearqa.reading.settings.part_file import read_part

PINION = Path(__file__).parents[3] / "sample_measurements" / "pinion" / "part.toml"
OVER_FACE = "[tolerance.curve.helix]\nupper_um = [[0, 2], [{end}, 2]]\nlower_um = [[0, -2], [28, -2]]\n"
OVER_DIAMETER = (
    '[tolerance.curve.profile]\nover = "diameter_mm"\n'
    "upper_um = [[{start}, 2], [{end}, 2]]\nlower_um = [[56, -2], [63, -2]]\n"
)


def read(tmp_path: Path, more: str, old: str = "", new: str = "") -> None:
    path = tmp_path / "part.toml"
    path.write_text(f"{PINION.read_text(encoding='utf-8').replace(old, new)}\n{more}", encoding="utf-8")
    read_part(path)


def test_curves_on_the_flank_are_taken(tmp_path: Path) -> None:
    read(tmp_path, OVER_FACE.format(end=28) + OVER_DIAMETER.format(start=56, end=64))


@pytest.mark.parametrize(
    ("more", "key", "reason"),
    [
        (OVER_FACE.format(end=29), "tolerance.curve.helix.upper_um[2]", Reason.VALUE_OUT_OF_RANGE),
        (OVER_DIAMETER.format(start=50, end=63), "tolerance.curve.profile.upper_um[1]",
         Reason.BELOW_BASE_CIRCLE),
        (OVER_DIAMETER.format(start=56, end=65), "tolerance.curve.profile.upper_um[2]",
         Reason.VALUE_OUT_OF_RANGE),
    ],
)  # fmt: skip
def test_points_off_the_flank_are_named(tmp_path: Path, more: str, key: str, reason: Reason) -> None:
    with pytest.raises(PartFileError) as caught:
        read(tmp_path, more)
    assert [(one.key, one.reason) for one in caught.value.problems] == [(key, reason)]


def test_design_points_cover_what_is_evaluated(tmp_path: Path) -> None:
    points = "[design.helix]\npoints = [[{start}, -3], [14, 0], [28, -3]]\n"
    read(tmp_path, "", "[design.helix]\n", points.format(start=0))
    with pytest.raises(PartFileError) as caught:
        read(tmp_path, "", "[design.helix]\n", points.format(start=5))
    assert [one.key for one in caught.value.problems] == ["design.helix.points"]


ZONE = (
    '[[tolerance.zone]]\nkind = "{kind}"\n{over}from = {start}\nto = {end}\ntotal_um = 3.0\nrequired = true\n'
)


@pytest.mark.parametrize(
    ("zone", "key", "reason"),
    [
        (ZONE.format(kind="helix", over="", start=4, end=29), "to", Reason.VALUE_OUT_OF_RANGE),
        (ZONE.format(kind="profile", over='over = "diameter_mm"\n', start=50, end=63), "from",
         Reason.BELOW_BASE_CIRCLE),
        (ZONE.format(kind="profile", over='over = "diameter_mm"\n', start=58, end=65), "to",
         Reason.VALUE_OUT_OF_RANGE),
    ],
)  # fmt: skip
def test_zones_off_the_flank_are_named(tmp_path: Path, zone: str, key: str, reason: Reason) -> None:
    good = ZONE.format(kind="helix", over="", start=4, end=20)
    read(tmp_path, good)
    with pytest.raises(PartFileError) as caught:
        read(tmp_path, good + zone)
    assert [(one.key, one.reason) for one in caught.value.problems] == [(f"tolerance.zone[2].{key}", reason)]


def test_design_points_cover_the_zones_too(tmp_path: Path) -> None:
    points = "[design.helix]\npoints = [[1.0, -3], [27.0, -3]]\n"
    read(tmp_path, ZONE.format(kind="helix", over="", start=4, end=20), "[design.helix]\n", points)
    with pytest.raises(PartFileError) as caught:
        read(tmp_path, ZONE.format(kind="helix", over="", start=0, end=20), "[design.helix]\n", points)
    assert [one.key for one in caught.value.problems] == ["design.helix.points"]

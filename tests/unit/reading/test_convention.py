"""Tables seen from the other face and counted the other way, against formulas of an eccentric gear.

Every instrument writes what the closed formulas give in its own view (see `instrument_view`); the
expected neutral table comes from the same formulas in the view of the datum face.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest
from instrument_view import ECCENTRICITY_UM, PHI, WAYS, View, part

from gearqa.evaluation.part_geometry import part_geometry
from gearqa.reading.folder.canonical import turn_columns
from gearqa.reading.folder.sources import Convention


def rows(table: dict[str, np.ndarray]) -> list[tuple[object, ...]]:
    cells = [c.tolist() if c.dtype.kind in "iuU" else (np.round(c, 9) + 0.0).tolist() for c in table.values()]
    return sorted(zip(*cells, strict=True))


@pytest.mark.independent
@pytest.mark.parametrize("kind", ["external", "internal"])
@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize("name", ["index", "pitch", "runout", "helix"])
def test_one_gear_read_in_four_ways(kind: str, way: Convention, name: str) -> None:
    drawing = part(kind)
    table = {"index": "pitch"}.get(name, name)
    expected = View(drawing, Convention()).tables()[name]
    found = turn_columns(table, View(drawing, way).tables()[name], way, drawing)  # type: ignore[arg-type]
    assert rows(found) == rows(expected)


@pytest.mark.parametrize("way", WAYS[1:])
@pytest.mark.parametrize(
    "forget",
    [
        lambda t: {**t, "flank": t["flank"][::-1]},
        lambda t: {**t, "index_um": -t["index_um"]},
        lambda t: {**t, "tooth": t["tooth"] % 31 + 1},
    ],
)
def test_the_comparison_sees_a_wrong_turn(
    way: Convention, forget: Callable[..., dict[str, np.ndarray]]
) -> None:
    drawing = part("internal")
    expected = View(drawing, Convention()).tables()["index"]
    found = turn_columns("pitch", View(drawing, way).tables()["index"], way, drawing)
    assert rows(forget(found)) != rows(expected)


@pytest.mark.independent
@pytest.mark.parametrize("kind", ["external", "internal"])
@pytest.mark.parametrize("way", WAYS)
def test_runout_from_turned_pitch_is_twice_the_eccentricity(kind: str, way: Convention) -> None:
    """Which flanks bound a space is only right when flank, tooth and sign turn together."""
    drawing = part(kind)
    gear = part_geometry(drawing)
    table = turn_columns("pitch", View(drawing, way).tables()["index"], way, drawing)
    index = {f: np.full(gear.z, np.nan) for f in ("left", "right")}
    for flank, tooth, value in zip(*table.values(), strict=True):
        index[flank][tooth - 1] = value
    if kind == "external":  # space i: right flank of tooth i, then left flank of tooth i + 1
        widening = np.roll(index["left"], -1) - index["right"]
    else:
        widening = np.roll(index["right"], -1) - index["left"]
    eta = (math.pi / 2 - 2 * gear.x * math.tan(gear.alpha_n)) / gear.z
    shift = -gear.s * widening * math.cos(gear.alpha_t) / (2 * math.sin(gear.alpha_t + gear.s * eta))
    theta = 2 * math.pi * (np.arange(1, gear.z + 1) - 0.5) / gear.z
    # first harmonic: its amplitude is the eccentricity, its phase where it stands
    harmonic = 2 * np.mean(shift * np.exp(1j * theta))
    assert round(abs(harmonic), 9) == ECCENTRICITY_UM
    assert round(math.atan2(harmonic.imag, harmonic.real), 9) == PHI


def test_flank_codes_turn_like_words() -> None:
    way = Convention("opposite_face", "clockwise")
    codes = np.array([0, 1, 1], dtype=np.int8)
    turned = turn_columns("profile", {"flank": codes}, way, part("external"))["flank"]
    assert turned.tolist() == [1, 0, 0]
    assert turned.dtype == np.int8


def test_numbers_outside_the_gear_are_left_for_the_reader() -> None:
    way = Convention("datum_face", "anticlockwise")
    table = {"tooth": np.array([0.0, 1.0, 2.0, 31.0, 32.0])}
    turned = turn_columns("profile", table, way, part("external"))
    assert turned["tooth"].tolist() == [0.0, 1.0, 31.0, 2.0, 32.0]


@pytest.mark.parametrize("kind", ["size", "production", "events"])
def test_tables_without_a_view_stay(kind: str) -> None:
    table = {"flank": np.array(["left"]), "value_mm": np.array([1.0])}
    way = Convention("opposite_face", "anticlockwise")
    assert turn_columns(kind, table, way, part("external"))["flank"].tolist() == ["left"]  # type: ignore[arg-type]


def test_profile_positions_and_signs_stay() -> None:
    way = Convention("opposite_face", "clockwise")
    table = {
        "flank": np.array(["left", "right"]), "tooth": np.array([1, 5]),
        "roll_length_mm": np.array([3.0, 4.0]),
        "deviation_um": np.array([1.0, -2.0]), "face_position_mm": np.array([2.0, 20.0]),
    }  # fmt: skip
    turned = turn_columns("profile", table, way, part("external"))
    assert turned["flank"].tolist() == ["right", "left"]
    assert turned["tooth"].tolist() == [1, 28]
    assert turned["roll_length_mm"].tolist() == [3.0, 4.0]
    assert turned["deviation_um"].tolist() == [1.0, -2.0]
    assert turned["face_position_mm"].tolist() == [22.0, 4.0]

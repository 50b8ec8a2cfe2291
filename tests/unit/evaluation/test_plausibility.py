"""Plausibility warnings: what they must see, and how seldom they may be wrong.

Random gears are made from the closed formulas of an eccentric gear (index of right and left flanks,
derived, common practice, no source) with random tooth-to-tooth errors. Rates are counted over seeded
random gears; the bounds are what the house asks for, not fitted.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest

from gearqa.core.geometry import GearGeometry
from gearqa.core.runout import radial_positions
from gearqa.errors import Notice
from gearqa.evaluation.evaluate import evaluate
from gearqa.evaluation.part_geometry import part_geometry
from gearqa.evaluation.plausibility import (
    plausibility_notices,
    plausible_ranges,
    table_unit_doubts,
    trace_unit_doubts,
)
from gearqa.model.measurement import GearMeasurement, PitchReadings, RunoutReadings, Trace
from gearqa.model.part import Part

GEARS = 300
Rng = np.random.Generator
Index = dict[str, np.ndarray]


def part(kind: str = "internal", teeth: int = 87, shift: float = 0.0) -> Part:
    return Part.model_validate(
        {
            "schema": "gearqa.part/1",
            "part": {"number": "OT-4471"},
            "gear": {
                "kind": kind, "teeth": teeth, "normal_module_mm": 1.75, "normal_pressure_angle_deg": 20.0,
                "helix_angle_deg": 18.0, "helix_hand": "right", "face_width_mm": 32.0,
                "profile_shift_coefficient": shift,
            },
            "tolerance": {"class": 6},
        }
    )  # fmt: skip


def notices_of(gear: GearMeasurement, drawing: Part) -> tuple[Notice, ...]:
    return plausibility_notices(gear, plausible_ranges(drawing))


def codes(gear: GearMeasurement, drawing: Part) -> list[str]:
    return [notice.code for notice in notices_of(gear, drawing)] + ["unit_doubt"] * len(
        units_of(gear, drawing)
    )


def units_of(gear: GearMeasurement, drawing: Part) -> list[str]:
    ranges = plausible_ranges(drawing)
    return [*trace_unit_doubts(gear, ranges).values(), *table_unit_doubts(gear, ranges).values()]


# --- traces --------------------------------------------------------------------------------------------

ROLL = np.linspace(25.0, 35.0, 200)
FACE = np.linspace(0.5, 31.5, 200)


def traces(scale: float = 1.0, roll: np.ndarray = ROLL, face: np.ndarray = FACE) -> GearMeasurement:
    rng = np.random.default_rng(5)
    return GearMeasurement(
        "A",
        tuple(
            Trace(kind, flank, tooth, x, scale * (rng.normal(0, 0.4, len(x)) + np.linspace(0, 4, len(x))))
            for kind, x in (("profile", roll), ("helix", face))
            for flank in ("left", "right")
            for tooth in (1, 30)
        ),
    )


def test_usual_traces_give_no_warning() -> None:
    assert codes(traces(), part()) == []


@pytest.mark.parametrize(("scale", "word"), [(0.001, "millimetres under"), (1000.0, "micrometres under")])
def test_deviations_in_the_other_unit(scale: float, word: str) -> None:
    doubts = units_of(traces(scale), part())
    assert len(doubts) == 4  # both kinds, both flanks
    assert all(word in doubt for doubt in doubts)
    assert "left profile" in doubts[0]


def test_a_perfect_trace_is_no_unit_fault() -> None:
    assert codes(traces(0.0), part()) == []


def test_millimetres_are_seen_behind_chamfers_outside_the_evaluation_range() -> None:
    """Chamfers of half a millimetre span as much as a whole trace in micrometres."""
    thousandth = traces(0.001)
    cut = [
        Trace(t.kind, t.flank, t.tooth, t.position_mm, np.where(x > x[-15], -0.5, t.deviation_um))
        for t in thousandth.traces
        for x in (t.position_mm,)
    ]
    ranges = plausible_ranges(part(), {"profile": (26.0, 34.0), "helix": (1.0, 29.0)})
    assert len(trace_unit_doubts(GearMeasurement("A", tuple(cut)), ranges)) == 4


def test_chamfers_that_fall_away_are_no_unit_fault() -> None:
    gear = traces()
    steep = [np.where(t.position_mm > t.position_mm[-20], -5000.0, t.deviation_um) for t in gear.traces]
    cut = [Trace(t.kind, t.flank, t.tooth, t.position_mm, y) for t, y in zip(gear.traces, steep, strict=True)]
    assert codes(GearMeasurement("A", tuple(cut)), part()) == []


@pytest.mark.parametrize(
    ("roll", "wrong"),
    [
        (np.linspace(156.7, 163.4, 200), True),  # diameters
        (ROLL / 25.4, True),  # inches
        (ROLL * 1000, True),  # micrometres
        (np.linspace(23.5, 36.5, 200), False),  # a little beyond tip and root form
    ],
)
def test_roll_lengths_where_no_tooth_is(roll: np.ndarray, wrong: bool) -> None:
    assert codes(traces(roll=roll), part()) == (["position_doubtful"] if wrong else [])


@pytest.mark.parametrize(
    ("face", "hint"),
    [
        (FACE - 16.0, "offset = 16"),
        (FACE * 1000, "another unit"),
        (FACE / 25.4, "another unit"),
        (FACE - 32.0, "another place"),
        (np.linspace(-2.0, 34.0, 200), None),  # overrun at both ends
        (np.linspace(1.6, 30.4, 200), None),
    ],
)
def test_face_positions_off_the_gear(face: np.ndarray, hint: str | None) -> None:
    notices = notices_of(traces(face=face), part())
    assert [n.code for n in notices] == (["position_doubtful"] if hint else [])
    assert hint is None or hint in notices[0].message


# --- pitch and runout ----------------------------------------------------------------------------------


def random_index(geometry: GearGeometry, rng: Rng, eccentricity_um: float, noise_um: float) -> Index:
    """Index of both flanks of an eccentric gear with errors of its own on every tooth and flank."""
    theta = 2 * math.pi * np.arange(geometry.z) / geometry.z
    half = (math.pi / 2 + 2 * geometry.x * math.tan(geometry.alpha_n)) / geometry.z
    phi = rng.uniform(0, 2 * math.pi)
    common = rng.normal(0, rng.uniform(0, 2), geometry.z)
    index = {}
    for flank, side in (("left", -1), ("right", 1)):
        place = theta + geometry.s * side * half
        run = eccentricity_um * np.sin(phi - place + side * geometry.alpha_t) / math.cos(geometry.alpha_t)
        index[flank] = run + common + rng.normal(0, noise_um, geometry.z)
        index[flank] -= index[flank][0]
    return index


def measured(index: Index, radial: np.ndarray | None = None) -> GearMeasurement:
    pitch = {flank: PitchReadings(flank, values) for flank, values in index.items()}
    return GearMeasurement("A", pitch=pitch, runout=None if radial is None else RunoutReadings(radial))  # type: ignore[arg-type]


def from_single_pitch(pitches: Index) -> GearMeasurement:
    """As the reader makes it: closed, then summed up."""
    return GearMeasurement(
        "A",
        pitch={
            flank: PitchReadings(flank, np.cumsum(p - p.mean()), float(p.sum()))  # type: ignore[arg-type]
            for flank, p in pitches.items()
        },  # type: ignore[arg-type]
    )


def balls(index: Index, geometry: GearGeometry, rng: Rng) -> np.ndarray:
    return radial_positions(index["left"], index["right"], geometry) + rng.normal(0, 0.5, geometry.z)


def swapped(index: Index) -> Index:
    return {"left": index["right"], "right": index["left"]}


def other_way(radial: np.ndarray) -> np.ndarray:
    return np.array([radial[(-space) % len(radial) - 1] for space in range(1, len(radial) + 1)])


def rate(make: Callable[[GearGeometry, Rng, float, float], GearMeasurement], code: str) -> float:
    rng = np.random.default_rng(20)
    hits = 0
    for _ in range(GEARS):
        teeth = int(rng.integers(8, 150))
        drawing = part(str(rng.choice(["external", "internal"])), teeth, 0.2)
        gear = make(part_geometry(drawing), rng, rng.uniform(0.2, 15), rng.uniform(0.2, 3))
        hits += code in codes(gear, drawing)
    return hits / GEARS


def consistent(g: GearGeometry, rng: Rng, e: float, noise: float) -> GearMeasurement:
    index = random_index(g, rng, e, noise)
    return measured(index, balls(index, g, rng))


def noise_only(g: GearGeometry, rng: Rng, e: float, noise: float) -> GearMeasurement:
    return measured(random_index(g, rng, e, noise), rng.normal(0, rng.uniform(0.5, 5), g.z))


def another_clamping(g: GearGeometry, rng: Rng, e: float, noise: float) -> GearMeasurement:
    """Runout taken elsewhere, with an eccentricity of its own."""
    there = random_index(g, rng, rng.uniform(0.2, 15), noise)
    return measured(random_index(g, rng, e, noise), balls(there, g, rng))


def white_index(g: GearGeometry, rng: Rng, e: float, noise: float) -> GearMeasurement:
    index = random_index(g, rng, 0.0, noise)
    return measured({flank: values - values.mean() for flank, values in index.items()})


def relative_pitches(g: GearGeometry, rng: Rng, e: float, noise: float) -> GearMeasurement:
    """Single pitches against the first one, as a comparator with two probes gives them."""
    index = random_index(g, rng, e, noise)
    return from_single_pitch({f: (p := v - np.roll(v, 1)) - p[0] for f, v in index.items()})


@pytest.mark.parametrize("make", [consistent, noise_only, white_index, relative_pitches])
@pytest.mark.parametrize("code", ["flanks_or_numbering_doubtful", "index_or_pitch_doubtful", "unit_doubt"])
def test_no_false_alarm_on_random_gears(make: Callable[..., GearMeasurement], code: str) -> None:
    assert rate(make, code) == 0


def test_runout_from_another_clamping_seldom_alarms() -> None:
    assert rate(another_clamping, "flanks_or_numbering_doubtful") <= 0.01


@pytest.mark.parametrize(
    ("name", "mix"),
    [
        ("swapped", lambda index, radial: measured(swapped(index), radial)),
        ("other way", lambda index, radial: measured(index, other_way(radial))),
        ("both", lambda index, radial: measured(swapped(index), other_way(radial))),
    ],
)
def test_mixed_up_flanks_or_numbering_are_seen(name: str, mix: Callable[..., GearMeasurement]) -> None:
    def make(g: GearGeometry, rng: Rng, e: float, noise: float) -> GearMeasurement:
        index = random_index(g, rng, e, noise)
        return mix(index, balls(index, g, rng))

    assert rate(make, "flanks_or_numbering_doubtful") > 0.9


@pytest.mark.parametrize("kind", ["external", "internal"])
def test_the_warning_names_what_would_fit(kind: str) -> None:
    drawing, rng = part(kind, 40), np.random.default_rng(3)
    geometry = part_geometry(drawing)
    index = random_index(geometry, rng, 8.0, 0.5)
    radial = balls(index, geometry, rng)
    (notice,) = notices_of(measured(swapped(index), radial), drawing)
    assert "left and right swapped in the pitch table" in notice.message
    (notice,) = notices_of(measured(index, other_way(radial)), drawing)
    assert "with the runout table counted the other way round" in notice.message


def test_a_missing_tooth_or_space_is_no_reason_to_guess() -> None:
    drawing, rng = part(), np.random.default_rng(3)
    geometry = part_geometry(drawing)
    index = random_index(geometry, rng, 8.0, 0.5)
    radial = balls(index, geometry, rng)
    index["left"][4] = np.nan
    assert codes(measured(swapped(index), radial), drawing) == []
    radial[7] = np.nan
    assert codes(measured(random_index(geometry, rng, 8.0, 0.5), radial), drawing) == []


@pytest.mark.parametrize(("scale", "word"), [(0.001, "millimetres under"), (1000.0, "micrometres under")])
def test_index_and_runout_in_the_other_unit(scale: float, word: str) -> None:
    drawing, rng = part(), np.random.default_rng(3)
    geometry = part_geometry(drawing)
    index = random_index(geometry, rng, 4.0, 0.5)
    radial = balls(index, geometry, rng)
    doubts = units_of(measured({f: v * scale for f, v in index.items()}, radial * scale), drawing)
    assert len(doubts) == 3
    assert all(word in doubt for doubt in doubts)


def test_every_evaluated_gear_is_checked() -> None:
    drawing = part()
    index = random_index(part_geometry(drawing), np.random.default_rng(3), 4.0, 0.5)
    gears = [measured(index), measured({flank: 0.001 * values for flank, values in index.items()})]
    doubts = [
        [notice.code for notice in result.warnings if notice.code == "unit_doubt"]
        for result in evaluate(gears, drawing)
    ]
    # each flank's pitch, and runout, which comes from both
    assert doubts == [[], ["unit_doubt"] * 4]


def test_index_under_a_pitch_header() -> None:
    drawing, rng = part(), np.random.default_rng(8)
    index = random_index(part_geometry(drawing), rng, 8.0, 0.5)
    notices = notices_of(from_single_pitch(index), drawing)
    assert [n.code for n in notices] == ["index_or_pitch_doubtful"]
    assert "under a header that says pitch" in notices[0].message


def test_pitch_under_an_index_header() -> None:
    drawing, rng = part(), np.random.default_rng(8)
    index = random_index(part_geometry(drawing), rng, 2.0, 1.5)
    notices = notices_of(measured({f: v - np.roll(v, 1) for f, v in index.items()}), drawing)
    assert [n.code for n in notices] == ["index_or_pitch_doubtful"]
    assert "under a header that says index" in notices[0].message


def test_a_gear_without_anything_gives_nothing() -> None:
    assert codes(GearMeasurement("A"), part()) == []

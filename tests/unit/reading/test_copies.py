"""Traces and tables that repeat another one, found while reading, whichever reader reads.

That equal readings do not come about by chance is counted over seeded random folders; there is no published
rule (common practice, no source).
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from inspection_folder import PART_TOML, PITCH, PROFILE, RUNOUT, gears, read
from scipy.integrate import quad
from scipy.stats import norm

from gearqa.model.measurement import GearMeasurement
from gearqa.reading.folder import passes
from gearqa.reading.folder.copies import SCATTER_UM, SUMS, equal_traces, information_again

TEETH = (1, 2, 3)
ROLL = np.linspace(0.8, 5.2, 60)


def trace(rng: np.random.Generator, resolution: float = 0.001) -> list[str]:
    y = rng.normal(0, 0.3, len(ROLL)).cumsum()
    return [f"{np.round(value / resolution) * resolution:.3f}" for value in y]


def lines(serial: str, tooth: int, values: list[str], positions: np.ndarray = ROLL) -> list[str]:
    return [f"{serial},left,{tooth},{x:.4f},{y}\n" for x, y in zip(positions, values, strict=True)]


def copies(folder: Path, text: str, **options: object) -> dict[tuple[str, int], str]:
    found = gears(read(folder, {"profile.csv": PROFILE + text}, **options))
    return {(g.serial, t.tooth): t.copy_of for g in found.values() for t in g.traces if t.copy_of}


@pytest.fixture(params=["careful", "fast", "in small pieces"])
def reader(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> dict[str, int]:
    if request.param != "careful":
        monkeypatch.setattr(passes, "FAST_FROM_BYTES", 0)
    return {"chunk_rows": 7} if request.param == "in small pieces" else {}


def test_a_gear_copied_to_another_serial(tmp_path: Path, reader: dict[str, int]) -> None:
    rng = np.random.default_rng(1)
    own = {(s, t): trace(rng) for s in "ABC" for t in TEETH}
    for t in TEETH:
        own["C", t] = own["A", t]
    text = "".join(line for (s, t), values in own.items() for line in lines(s, t, values))
    found = copies(tmp_path, text, **reader)
    assert set(found) == {(s, t) for s in "AC" for t in TEETH}
    assert found["A", 2] == "the trace of 'C', left flank, tooth 2"
    assert found["C", 2] == "the trace of 'A', left flank, tooth 2"


def test_all_teeth_the_same_whatever_the_order_of_rows(tmp_path: Path, reader: dict[str, int]) -> None:
    rng = np.random.default_rng(2)
    values = trace(rng)
    rows = [line for t in TEETH for line in lines("A", t, values)]
    rows = [rows[k] for k in rng.permutation(len(rows))]
    assert set(copies(tmp_path, "".join(rows), **reader)) == {("A", t) for t in TEETH}


@pytest.mark.parametrize("resolution", [0.001, 0.01])
@pytest.mark.parametrize("offset", [0.5, -12.34, 0.01])
def test_a_copy_moved_by_a_constant(
    tmp_path: Path, reader: dict[str, int], resolution: float, offset: float
) -> None:
    rng = np.random.default_rng(4)
    own = {(s, t): trace(rng, resolution) for s in "AB" for t in TEETH}
    for t in TEETH:
        own["C", t] = [f"{float(y) + offset:.3f}" for y in own["A", t]]
    text = "".join(line for (s, t), values in own.items() for line in lines(s, t, values))
    found = copies(tmp_path, text, **reader)
    assert set(found) == {(s, t) for s in "AC" for t in TEETH}
    assert found["C", 2] == f"the trace of 'A', left flank, tooth 2, moved by {abs(offset)} µm,"


@pytest.mark.parametrize("moved", [0.0, 0.5, -0.0137])
def test_a_copy_rounded_by_one_decimal(tmp_path: Path, reader: dict[str, int], moved: float) -> None:
    rng = np.random.default_rng(5)
    own = {(s, t): trace(rng) for s in "AB" for t in TEETH}
    for t in TEETH:
        own["C", t] = [f"{float(y) + moved:.2f}" for y in own["A", t]]
    text = "".join(line for (s, t), values in own.items() for line in lines(s, t, values))
    found = copies(tmp_path, text, **reader)
    assert set(found) == {(s, t) for s in "AC" for t in TEETH}
    assert found["C", 2] == "the trace of 'A', left flank, tooth 2" + (
        f", moved by {abs(round(moved, 2))} µm and rounded," if moved else ", rounded,"
    )


@pytest.mark.parametrize("plane", ["transverse", "normal"])
def test_a_table_whose_index_begins_elsewhere(tmp_path: Path, plane: str) -> None:
    """The same pitch table with another tooth as its zero; the factors of the drawing leave it one."""
    pitch, _ = tables(np.random.default_rng(6), 0.001, 3)
    moved = "".join(
        f"S9{row[2:].rpartition(',')[0]},{float(row.rpartition(',')[2]) - 1.377:.3f}\n"
        for row in pitch.splitlines(True)
        if row.startswith("S0,")
    )
    toml = (
        PART_TOML
        + f"""[evaluation]
deviation_plane = "{plane}"
[evaluation.pitch]
measuring_diameter_mm = 19.5
"""
    )
    with read(tmp_path, {"pitch.csv": pitch + moved}, toml=toml) as inspection:
        found = {(g.serial, f) for g in inspection for f, p in g.pitch.items() if p.copy_of}
    assert found == {(s, f) for s in ("S0", "S9") for f in ("left", "right")}


@pytest.mark.parametrize("steps", [(0.001, 0.001), (0.01, 0.01), (0.1, 0.1), (0.001, 0.01), (0.01, 0.1)])
def test_like_flanks_of_good_gears_are_no_copies(tmp_path: Path, steps: tuple[float, float]) -> None:
    """Teeth ground alike but for a hundredth of a micrometre, read with one decimal more and less."""
    rng = np.random.default_rng(int(1000 * sum(steps)))
    shape = 2 * np.sin(4 * ROLL) + 0.3 * ROLL
    for spread in (0.02, 0.3):
        text = ""
        for number in range(40):
            y = shape + rng.normal(0, spread) * ROLL + rng.normal(0, spread, len(ROLL))
            step = steps[number % 2]
            text += "".join(lines(f"S{number}", 1, [f"{round(v / step) * step:.3f}" for v in y]))
        assert copies(tmp_path / str(spread), text) == {}


@pytest.mark.parametrize("step", [0.2, 0.5])
def test_a_thousand_like_gears_in_coarse_steps_are_no_copies(tmp_path: Path, step: float) -> None:
    """The shape that all of them have is no chance, however many levels it takes; a copy of a gear that has
    one of its own is still found, beside another one in which a value was changed."""
    rng = np.random.default_rng(12)
    roll = ROLL[::3]
    shape = 2 * np.sin(4 * roll) + 0.3 * roll
    y = shape + rng.normal(0, 0.05, (1500, 1)) * roll + rng.normal(0, 0.05, (1500, len(roll)))
    own = [[f"{v:.1f}" for v in np.round(row / step) * step] for row in y]
    text = "".join(line for k, row in enumerate(own) for line in lines(f"S{k}", 1, row, roll))
    assert len(set(map(tuple, own))) < len(own)
    assert copies(tmp_path / "honest", text) == {}
    odd = [f"{v:.1f}" for v in np.round(np.random.default_rng(13).normal(0, 10, len(roll)), 1)]
    copied = {"A": odd, "B": odd, "C": [*odd[:-1], "77.0"]}
    text += "".join(line for serial, row in copied.items() for line in lines(serial, 1, row, roll))
    assert set(copies(tmp_path / "copied", text)) == {("A", 1), ("B", 1)}


def test_copies_beside_one_in_which_a_value_was_changed(tmp_path: Path) -> None:
    rng = np.random.default_rng(14)
    own = {serial: trace(rng) for serial in "ABC"}
    own["D"], own["E"] = own["A"], [*own["A"][:-1], "77.0"]
    text = "".join(line for serial, row in own.items() for line in lines(serial, 1, row))
    assert set(copies(tmp_path, text)) == {("A", 1), ("D", 1)}


def test_minus_zero_is_zero_and_other_positions_are_another_trace(tmp_path: Path) -> None:
    values = trace(np.random.default_rng(3))
    values[5], other = "0.000", [*values]
    other[5] = "-0.000"
    text = [*lines("A", 1, values), *lines("A", 2, other), *lines("A", 3, values, ROLL + 0.001)]
    assert set(copies(tmp_path, "".join(text))) == {("A", 1), ("A", 2)}


def test_one_value_that_differs_makes_no_copy(tmp_path: Path) -> None:
    values = trace(np.random.default_rng(3))
    other = [*values[:-1], "77.0"]
    assert copies(tmp_path, "".join([*lines("A", 1, values), *lines("A", 2, other)])) == {}


def tables(rng: np.random.Generator, resolution: float, count: int) -> tuple[str, str]:
    pitch = [
        f"S{k},{flank},{tooth},{np.round(rng.normal(0, 2) / resolution) * resolution:.3f}\n"
        for k in range(count)
        for flank in ("left", "right")
        for tooth in range(1, 6)
    ]
    runout = [f"S{k},{space},{rng.normal(0, 3):.3f}\n" for k in range(count) for space in range(1, 6)]
    return PITCH + "".join(pitch), RUNOUT + "".join(runout)


def copied_tables(folder: Path, pitch: str, runout: str) -> list[str]:
    found = gears(read(folder, {"pitch.csv": pitch, "runout.csv": runout})).values()

    def of(gear: GearMeasurement) -> list[str]:
        runout = [gear.runout.copy_of] if gear.runout is not None else []
        return [*(readings.copy_of for readings in gear.pitch.values()), *runout]

    return [name for gear in found for name in of(gear) if name]


def also(serial: str, table: str) -> str:
    """The rows of S0 under another serial."""
    return "".join(f"{serial}{row[2:]}" for row in table.splitlines(True) if row.startswith("S0,"))


def test_tables_of_five_teeth(tmp_path: Path) -> None:
    pitch, runout = tables(np.random.default_rng(4), 0.001, 3)
    assert copied_tables(tmp_path / "honest", pitch, runout) == []
    pitch, runout = (text + also("S9", text) for text in (pitch, runout))
    found = copied_tables(tmp_path / "copied", pitch, runout)
    assert sorted(found) == sorted(
        [f"the {flank} flank of '{serial}'" for flank in ("left", "right") for serial in ("S0", "S9")]
        + ["'S0'", "'S9'"]
    )


def test_coarse_tables_of_few_teeth_may_be_alike_by_chance(tmp_path: Path) -> None:
    """Five teeth to whole micrometres: among 2,000 tables some are equal, and nobody copied them."""
    pitch, runout = tables(np.random.default_rng(5), 1.0, 1000)
    rows = ["".join(line.rpartition(",")[2] for line in pitch.splitlines(True)[k : k + 5])
            for k in range(1, 10_001, 5)]  # fmt: skip
    assert len(set(rows)) < len(rows)
    assert copied_tables(tmp_path, pitch, runout) == []


def test_three_fine_readings_may_be_a_copy(tmp_path: Path) -> None:
    values = ["1.234", "-35.231", "88.017"]
    own = {"A": values, "B": values, "C": ["0.001", "0.002", "0.004"]}
    text = [line for serial, row in own.items() for line in lines(serial, 1, row, ROLL[:3])]
    assert set(copies(tmp_path, "".join(text))) == {("A", 1), ("B", 1)}


@pytest.mark.independent
@pytest.mark.parametrize("step", [0.02, 0.1, 0.5])
def test_how_often_a_second_measurement_reads_the_same(step: float) -> None:
    """Against numerical integration over the difference of two readings that scatter normally."""
    scatter = norm(scale=np.sqrt(2) * SCATTER_UM)
    same, _ = quad(lambda apart: (1 - abs(apart) / step) * scatter.pdf(apart), -step, step, points=[0.0])
    assert information_again(7, step) == pytest.approx(-7 * np.log2(same), rel=1e-9)


def test_traces_of_two_points_are_not_read_to_compare_them() -> None:
    """They hold too little to be a copy, and of a million serials all may be alike."""

    def read(at: int) -> tuple[np.ndarray, np.ndarray]:
        raise AssertionError(at)

    alike = np.zeros((4, SUMS))
    sort, points = np.zeros(4, dtype=np.int64), np.array([1, 1, 2, 2])
    assert equal_traces(alike, sort, points, read, lambda *_: False) == {}


@pytest.mark.parametrize(("step", "twice"), [(1.0, False), (0.5, False), (0.1, True), (0.001, True)])
def test_a_gear_measured_again_may_read_the_same_if_rounded_coarsely(
    tmp_path: Path, step: float, twice: bool
) -> None:
    """A second measurement scatters by less than a coarse step: equal readings show no copy there."""
    value = np.round(np.random.default_rng(6).normal(0, 3, 60).cumsum() / step) * step
    text = [f"A,{k},left,{tooth},{y:.3f}\n" for k in (1, 2) for tooth, y in enumerate(value, 1)]
    table = PITCH.replace("serial", "serial,measurement") + "".join(text)
    part = PART_TOML.replace("teeth = 5", "teeth = 60").replace("28.7", "260.0")
    found = read(tmp_path / "again", {"pitch.csv": table}, toml=part)
    copied = [bool(readings.copy_of) for gear in found for readings in gear.pitch.values()]
    assert copied == [twice] * 2
    other = PITCH + "".join(line.replace("A,1", "A").replace("A,2", "B") for line in text)
    found = read(tmp_path / "two gears", {"pitch.csv": other}, toml=part)
    assert all(readings.copy_of for gear in found for readings in gear.pitch.values())

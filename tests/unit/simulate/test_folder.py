"""Scenario files, tables and folders: what is written, what is refused, and that it reads back."""

from __future__ import annotations

import csv
import shutil
from datetime import timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from unit.simulate import make

import gearqa
from gearqa.errors import PartFileError, Reason, ReportError
from gearqa.reading.folder.passes import read_folder
from gearqa.simulate import load_scenario, simulate_gears, write_folder
from gearqa.simulate.table_rows import fixed_point

SAMPLES = Path(__file__).parents[3] / "sample_measurements"
SCENARIOS = SAMPLES / "scenarios"
SMALL = """
schema = "gearqa.scenario/1"
part = "pinion_part.toml"
seed = 7
[lot]
parts = 3
serial_prefix = "P-"
[shape.left]
profile_slope_um = 2.0
[mounting]
eccentricity_um = 5.0
eccentricity_scatter_um = 1.0
[pitch]
scatter_um = 1.0
[process]
parts_per_dress = 2
[measuring]
profile_points = 31
helix_points = 32
trace_noise_um = 0.2
"""


def _scenario(folder: Path, text: str = SMALL, part: str = "pinion_part.toml") -> Path:
    shutil.copy(SCENARIOS / part, folder / part)
    path = folder / "scenario.toml"
    path.write_text(text, encoding="utf-8")
    return path


def _rows(path: Path) -> list[dict[str, str]]:
    lines = path.read_text(encoding="utf-8").splitlines()
    assert lines[0] == "# gearqa simulated"
    return list(csv.DictReader(lines[1:]))


@given(st.lists(st.floats(-1e5, 1e5, allow_nan=False), min_size=1, max_size=40), st.integers(0, 6))
def test_fixed_point_is_what_python_writes(values: list[float], decimals: int) -> None:
    numbers = np.array(values)
    text = [bytes(row).replace(b"\0", b"").decode() for row in fixed_point(numbers, decimals)]
    # same decimal digits as Python's own formatting of the scaled whole number
    want = [f"{np.rint(v * 10.0**decimals) / 10.0**decimals + 0.0:.{decimals}f}" for v in numbers]
    assert text == want


def test_fixed_point_refuses_what_has_no_digits() -> None:
    with pytest.raises(ValueError, match="cannot write"):
        fixed_point(np.array([1e20]), 3)
    with pytest.raises(ValueError, match="cannot write"):
        fixed_point(np.array([np.nan]), 3)


def test_tables_hold_what_was_simulated(tmp_path: Path) -> None:
    path = _scenario(tmp_path)
    written = write_folder(tmp_path / "out", path)
    names = ["events", "helix", "pitch", "production", "profile", "runout", "size"]
    assert [p.name for p in written] == sorted([f"{n}.csv" for n in names] + ["part.toml"])
    assert (tmp_path / "out" / "part.toml").read_bytes() == (SCENARIOS / "pinion_part.toml").read_bytes()
    scenario, part = load_scenario(path)
    gears = list(simulate_gears(scenario, part))
    for kind, position in (("profile", "roll_length_mm"), ("helix", "face_position_mm")):
        rows = _rows(tmp_path / "out" / f"{kind}.csv")
        assert list(rows[0]) == ["serial", "flank", "tooth", position, "deviation_um"]
        traces = [(g.serial, t) for g in gears for t in g.traces if t.kind == kind]
        flat = [(s, t.flank, str(t.tooth)) for s, t in traces for _ in t.position_mm]
        assert [(r["serial"], r["flank"], r["tooth"]) for r in rows] == flat
        for key, values, decimals in ((position, "position_mm", 4), ("deviation_um", "deviation_um", 3)):
            want = np.concatenate([getattr(t, values) for _, t in traces])
            got = np.array([float(r[key]) for r in rows])
            assert np.max(np.abs(got - want)) <= 0.5 * 10.0**-decimals + 1e-12
    pitch = _rows(tmp_path / "out" / "pitch.csv")
    assert len(pitch) == 3 * 2 * 23
    assert [r["parts_since_dress"] for r in _rows(tmp_path / "out" / "production.csv")] == ["1", "2", "1"]


def test_a_folder_reads_back_as_it_was_simulated(tmp_path: Path) -> None:
    path = _scenario(tmp_path)
    write_folder(tmp_path / "out", path)
    inspection = read_folder(tmp_path / "out")
    assert inspection.simulated
    scenario, part = load_scenario(path)
    for read, made in zip(inspection, simulate_gears(scenario, part), strict=True):
        assert read.serial == made.serial
        assert len(read.traces) == len(made.traces)
        for flank in ("left", "right"):
            assert np.max(np.abs(read.pitch[flank].index_um - made.pitch[flank].index_um)) < 0.00051
        assert read.runout is not None
        assert made.runout is not None
        assert np.max(np.abs(read.runout.radial_um - made.runout.radial_um)) < 0.00051
        assert [s.position for s in read.sizes] == [s.position for s in made.sizes]
        assert read.production is not None
        assert made.production is not None
        assert read.production.dress == made.production.dress


def test_normal_plane_and_measuring_circle_read_back_as_transverse_and_reference(tmp_path: Path) -> None:
    """The part says in which plane and on which circle values stand; the reader undoes it."""
    extra = (
        'deviation_plane = "normal"\n[evaluation.pitch]\nmeasuring_diameter_mm = 158.5\n[evaluation.profile]'
    )
    text = (SCENARIOS / "ring.toml").read_text(encoding="utf-8")
    text = text.replace("[evaluation.profile]", f"[evaluation]\n{extra}")
    (tmp_path / "normal.toml").write_text(text, encoding="utf-8")
    scenario_text = SMALL.replace("pinion_part.toml", "normal.toml")
    path = _scenario(tmp_path, scenario_text)
    write_folder(tmp_path / "out", path)
    scenario, part = load_scenario(path)
    for read, made in zip(read_folder(tmp_path / "out"), simulate_gears(scenario, part), strict=True):
        by_place = {(t.kind, t.flank, t.tooth): t for t in read.traces}
        for trace in made.traces:
            other = by_place[trace.kind, trace.flank, trace.tooth]
            assert np.max(np.abs(other.deviation_um - trace.deviation_um)) < 0.0006
        for flank in ("left", "right"):
            assert np.max(np.abs(read.pitch[flank].index_um - made.pitch[flank].index_um)) < 0.0006


def test_same_seed_same_bytes(tmp_path: Path) -> None:
    path = _scenario(tmp_path)
    for name, seed in (("a", None), ("b", 7), ("c", 8)):
        write_folder(tmp_path / name, path, seed)
    bytes_of = {n: {p.name: p.read_bytes() for p in (tmp_path / n).iterdir()} for n in "abc"}
    assert bytes_of["a"] == bytes_of["b"]
    assert bytes_of["a"]["profile.csv"] != bytes_of["c"]["profile.csv"]
    assert bytes_of["a"]["part.toml"] == bytes_of["c"]["part.toml"]


def test_progress_counts_every_gear(tmp_path: Path) -> None:
    seen: list[tuple[int, int]] = []
    write_folder(
        tmp_path / "out", _scenario(tmp_path), progress=lambda done, total: seen.append((done, total))
    )
    assert seen == [(1, 3), (2, 3), (3, 3)]


def test_a_folder_that_is_not_empty_is_refused_and_left_alone(tmp_path: Path) -> None:
    path = _scenario(tmp_path)
    full = tmp_path / "full"
    full.mkdir()
    (full / "mine.txt").write_text("mine", encoding="utf-8")
    with pytest.raises(ReportError, match="is not empty"):
        write_folder(full, path)
    assert [p.name for p in full.iterdir()] == ["mine.txt"]
    with pytest.raises(ReportError, match="is a file"):
        write_folder(full / "mine.txt", path)
    empty = tmp_path / "empty"
    empty.mkdir()
    assert write_folder(empty, path)


def test_a_failure_leaves_no_trace(tmp_path: Path) -> None:
    path = _scenario(tmp_path)
    before = sorted(p.name for p in tmp_path.iterdir())

    def stop(done: int, total: int) -> None:
        raise OSError("disk full")

    with pytest.raises(ReportError, match="disk full"):
        write_folder(tmp_path / "out", path, progress=stop)
    assert sorted(p.name for p in tmp_path.iterdir()) == before


def _faults(text: str, folder: Path) -> list[tuple[str, str | None]]:
    with pytest.raises(PartFileError) as caught:
        write_folder(folder / "out", _scenario(folder, text))
    assert not (folder / "out").exists()
    return [(p.reason, p.key) for p in caught.value.problems]


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        (SMALL.replace("[pitch]", "[picth]"), Reason.UNKNOWN_KEY),
        (SMALL.replace("parts = 3", "parts = 0"), Reason.VALUE_OUT_OF_RANGE),
        (SMALL.replace("parts = 3", 'parts = "3"'), Reason.WRONG_TYPE),
        (SMALL.replace('part = "pinion_part.toml"', 'part = "gone.toml"'), Reason.FILE_NOT_FOUND),
        (SMALL.replace("parts_per_dress = 2", 'started_at = "yesterday"'), Reason.BAD_TIME),
        (SMALL + "[[process.step]]\nat_cycle = 1\nat_part = 2\n", Reason.CONTRADICTION),
    ],
)
def test_faults_of_a_scenario_file_are_told(text: str, reason: Reason, tmp_path: Path) -> None:
    assert reason in {r for r, _ in _faults(text, tmp_path)}


def test_everything_that_does_not_fit_the_part_is_told_at_once(tmp_path: Path) -> None:
    text = SMALL.replace(
        "profile_points = 31", "profile_points = 31\nteeth = [1, 24]\nprofile_face_positions_mm = [99.0]"
    )
    text = text.replace(
        "helix_points = 32", "helix_points = 32\nhelix_diameters_mm = [50.0]\nrunout_ball_mm = 0.2"
    )
    text += '[[gear]]\nserial = "P-0009"\nmissing_teeth = { left = [30] }\n'
    assert _faults(text, tmp_path) == [
        (Reason.VALUE_OUT_OF_RANGE, "measuring.teeth"),
        (Reason.VALUE_OUT_OF_RANGE, "gear.P-0009.missing_teeth"),
        (Reason.UNKNOWN_SERIAL, "gear.serial"),
        (Reason.VALUE_OUT_OF_RANGE, "measuring.profile_face_positions_mm"),
        (Reason.BELOW_BASE_CIRCLE, "measuring.helix_diameters_mm"),
        (Reason.VALUE_OUT_OF_RANGE, "measuring.runout_ball_mm"),
    ]


def test_span_of_an_internal_gear_is_refused() -> None:
    with pytest.raises(PartFileError, match="span on an internal gear"):
        simulate_gears(make.scenario(measuring={"size_method": "span"}), make.part())


def test_overrides_make_one_gear_different() -> None:
    own: dict[str, Any] = {
        "serial": "0002", "eccentricity_um": 20.0, "missing_teeth": {"right": [3, 80]}, "missing_spaces": [5],
        "tooth_shift": [{"tooth": 7, "flank": "left", "shift_um": 9.0}], "omit": ["helix", "size"],
        "shape": {"left": {"profile_slope_um": 30.0}}, "remark": "dropped",
    }  # fmt: skip
    first, second, third = simulate_gears(make.scenario(lot={"parts": 3}, gear=[own]), make.part())
    assert second.pitch["right"].missing_teeth == (3, 80)
    assert second.pitch["left"].missing_teeth == ()
    assert second.runout is not None
    assert second.runout.missing_spaces == (5,)
    assert {t.kind for t in second.traces} == {"profile"}
    assert second.sizes == ()
    assert second.production is not None
    assert second.production.remark == "dropped"
    step = (
        second.pitch["left"].index_um[6]
        - (second.pitch["left"].index_um[5] + second.pitch["left"].index_um[7]) / 2
    )
    assert step == pytest.approx(9.0, abs=0.1)
    for a, b in zip(first.traces, third.traces, strict=True):
        assert np.array_equal(a.deviation_um, b.deviation_um)
    assert np.ptp(first.pitch["left"].index_um) < 1e-12


def test_labels_are_written_where_asked_for(tmp_path: Path) -> None:
    text = SMALL.replace(
        "[measuring]", "[measuring]\nprofile_face_positions_mm = [4.0, 24.0]\nhelix_diameters_mm = [58.0]"
    )
    write_folder(tmp_path / "out", _scenario(tmp_path, text))
    profile, helix = (_rows(tmp_path / "out" / f"{kind}.csv") for kind in ("profile", "helix"))
    assert {r["face_position_mm"] for r in profile} == {"4.0000", "24.0000"}
    assert {r["diameter_mm"] for r in helix} == {"58.0000"}
    gear = next(iter(read_folder(tmp_path / "out")))
    assert sorted({t.label_mm for t in gear.traces if t.kind == "profile"}) == [4.0, 24.0]


REPEATS = """
[[repeat]]
label = "2"
serials = ["P-0002"]
tables = ["profile", "production"]
delay_min = 90
operator = "Inspector B"
[repeat.shape.left]
profile_slope_um = 40.0
[[repeat]]
label = "after cleaning"
serials = ["P-0001", "P-0002"]
"""


def test_gears_are_measured_again(tmp_path: Path) -> None:
    """Each measurement has its label in every table; what the first one saw stays byte for byte."""
    write_folder(tmp_path / "once", _scenario(tmp_path))
    write_folder(tmp_path / "again", _scenario(tmp_path, SMALL + REPEATS))
    once, again = _rows(tmp_path / "once" / "profile.csv"), _rows(tmp_path / "again" / "profile.csv")
    first = [
        {k: v for k, v in row.items() if k != "measurement"} for row in again if row["measurement"] == "1"
    ]
    assert first == once
    with read_folder(tmp_path / "again") as inspection:
        gears = {(gear.serial, gear.measurement): gear for gear in inspection}
    assert {key for key in gears if key[0] == "P-0002"} == {
        ("P-0002", "1"),
        ("P-0002", "2"),
        ("P-0002", "after cleaning"),
    }
    second, third = gears["P-0002", "2"], gears["P-0002", "after cleaning"]
    assert {trace.kind for trace in second.traces} == {"profile"}
    assert not second.pitch
    assert second.runout is None
    assert len(third.traces) == len(gears["P-0002", "1"].traces)
    made = gears["P-0002", "1"].production
    assert made is not None
    assert second.production is not None
    assert made.measured_at is not None
    assert second.production.measured_at == made.measured_at + timedelta(minutes=90)
    assert third.production is not None
    assert third.production.measured_at == made.measured_at + timedelta(minutes=150)
    assert second.production.operator == "Inspector B"
    result = gearqa.grade(tmp_path / "again")
    slopes = {g.measurement: g.parameters["profile_slope"] for g in result.gears if g.serial == "P-0002"}
    left = {label: found.flanks["left"].value_um for label, found in slopes.items()}
    assert left["2"] == pytest.approx(left["1"] + 40.0, abs=1.0)  # the noise of two measurements
    assert left["after cleaning"] == pytest.approx(left["1"], abs=1.0)


@pytest.mark.parametrize(
    ("old", "new", "reason"),
    [
        ('["P-0002"]', '["P-0099"]', Reason.UNKNOWN_SERIAL),
        ('label = "2"', 'label = "1"', Reason.CONTRADICTION),
        ('label = "2"', 'label = "after cleaning"', Reason.CONTRADICTION),
    ],
)
def test_repeats_that_do_not_fit_are_told(tmp_path: Path, old: str, new: str, reason: Reason) -> None:
    ((found, _),) = _faults(SMALL + REPEATS.replace(old, new, 1), tmp_path)
    assert found == reason

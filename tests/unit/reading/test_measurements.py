"""Column `measurement`: a gear measured again is read as a measurement of its own.

Common practice, no source: a second measurement has its own points, times and instrument; how the gear
was made stays as it was.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from inspection_folder import GOOD_PITCH, HELIX, PITCH, RUNOUT, TEETH, gears, only_problem, part, read

from gearqa.evaluation.evaluate import grade
from gearqa.reading.folder import passes

ROLL = np.linspace(1.0, 5.0, 41)
PROFILE = "serial,measurement,flank,tooth,roll_length_mm,deviation_um\n"


@pytest.fixture(autouse=True, params=["careful", "fast"])
def _reader(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(passes, "FAST_FROM_BYTES", 0 if request.param == "fast" else 1 << 60)


def trace(label: str, shift: float = 0.0, serial: str = "A", scale: float = 1.0) -> str:
    return "".join(f"{serial},{label},left,1,{x + shift:.4f},{scale * np.sin(7 * x):.3f}\n" for x in ROLL)


@pytest.mark.parametrize("chunk_rows", [500_000, 9])
def test_each_measurement_is_a_gear_of_its_own(tmp_path: Path, chunk_rows: int) -> None:
    text = (
        trace("after cleaning", 0.013, scale=0.1) + trace("B7", serial="B") + trace(" ") + trace("01", 0.02)
    )
    with read(tmp_path, {"profile.csv": PROFILE + text}, chunk_rows=chunk_rows) as inspection:
        found = [(gear.serial, gear.measurement) for gear in inspection]
        assert found == [("A", "1"), ("A", "after cleaning"), ("A", "01"), ("B", "B7")]
        assert (inspection.serials, len(inspection)) == (("A", "B"), 4)
        first, cleaned, again, _ = inspection
    assert len(first.traces) == len(cleaned.traces) == 1
    np.testing.assert_allclose(first.traces[0].deviation_um, np.round(np.sin(7 * ROLL), 3))
    np.testing.assert_allclose(cleaned.traces[0].position_mm, np.round(ROLL + 0.013, 4))
    np.testing.assert_allclose(again.traces[0].position_mm, np.round(ROLL + 0.02, 4))


def test_two_passes_of_one_measurement_and_double_teeth_name_the_way_out(tmp_path: Path) -> None:
    problem = only_problem(tmp_path / "a", {"a.csv": PROFILE + trace("1") + trace("2") + trace("2", 0.013)})
    assert (problem.reason, problem.line) == ("second_pass", 84)
    assert "'A' (measurement '2')" in problem.found
    assert "column `measurement`" in problem.hint
    problem = only_problem(tmp_path / "b", {"pitch.csv": GOOD_PITCH + "A,left,3,1.5\n"})
    assert (problem.reason, problem.line) == ("duplicate_tooth", TEETH + 2)
    assert "column `measurement`" in problem.hint


def test_a_table_without_the_column_belongs_to_measurement_1(tmp_path: Path) -> None:
    files = {
        "profile.csv": PROFILE + trace("1") + trace("2", 0.013),
        "pitch.csv": GOOD_PITCH,
        "runout.csv": RUNOUT + "".join(f"A,{space},{space}\n" for space in range(1, TEETH + 1)),
        "production.csv": "serial,grinder,measured_at,instrument\nA,GR-1,2025-03-01T06:00,GM-1\n",
    }
    with read(tmp_path, files) as inspection:
        first, second = inspection
    assert (set(first.pitch), first.runout is None) == ({"left"}, False)
    assert (second.pitch, second.runout) == ({}, None)
    assert [notice.code for notice in second.notices] == ["serial_without_table"]
    assert first.production is not None
    assert first.production.instrument == "GM-1"
    assert second.production is not None
    assert second.production.grinder == "GR-1"
    assert (second.production.measured_at, second.production.instrument) == (None, None)


def test_production_states_times_by_measurement(tmp_path: Path) -> None:
    rows = "A,,GR-1,2025-03-01T06:00\nA,2,,2025-03-02T06:00\n"
    files = {
        "profile.csv": PROFILE + trace("1") + trace("2", 0.013),
        "production.csv": f"serial,measurement,grinder,measured_at\n{rows}",
    }
    with read(tmp_path, files) as inspection:
        made = [gear.production for gear in inspection]
        assert not inspection.production_of_others
    assert [(one.grinder, one.measured_at.day) for one in made if one and one.measured_at] == [
        ("GR-1", 1), ("GR-1", 2),
    ]  # fmt: skip


def test_only_another_measurement_is_graded(tmp_path: Path) -> None:
    files = {"profile.csv": PROFILE + trace("x"), "production.csv": "serial,grinder\nA,GR-1\n"}
    with read(tmp_path, files) as inspection:
        (gear,) = inspection
        assert [one.code for one in inspection.notices if "without" in one.code] == []
    assert (gear.measurement, gear.production and gear.production.grinder) == ("x", "GR-1")


def test_the_job_goes_by_the_first_measurement(tmp_path: Path) -> None:
    def pitch(label: str, size: float) -> str:
        return "".join(
            f"A,{label},{flank},{tooth},{size * (tooth % 2)}\n"
            for flank in ("left", "right")
            for tooth in range(1, TEETH + 1)
        )

    header = "serial,measurement,flank,tooth,index_um\n"
    drawing = part(tolerance={"parameters": ["single_pitch"]})
    for sizes, conforms in (((1.0, 20.0), True), ((20.0, 1.0), False)):
        text = header + pitch("2", sizes[1]) + pitch("1", sizes[0])
        with read(tmp_path, {"pitch.csv": text}, part=drawing) as inspection:
            result = grade(inspection)
        assert [gear.measurement for gear in result.gears] == ["1", "2"]
        assert [gear.conforms for gear in result.gears] == [conforms, not conforms]
        assert (result.lot.gears, result.lot.conforms) == (1, conforms)


def test_a_map_gives_it_by_path_or_constant(tmp_path: Path) -> None:
    (tmp_path / "map.toml").write_text(
        '[pitch]\nfile = "pitch_*.txt"\n[pitch.columns]\nserial = "serial"\nflank = "flank"\n'
        'tooth = "tooth"\nindex_um = "index_um"\nmeasurement = { path = "pitch_(.*)[.]txt" }\n'
    )
    files = {"pitch_1.txt": GOOD_PITCH, "pitch_2.txt": GOOD_PITCH.replace(".125", ".25")}
    with read(tmp_path, files, columns=tmp_path / "map.toml") as inspection:
        assert [gear.measurement for gear in inspection] == ["1", "2"]


def test_names_of_serials_alone_stay_as_they_were(tmp_path: Path) -> None:
    assert list(gears(read(tmp_path, {"pitch.csv": GOOD_PITCH, "h.csv": HELIX + "A,left,1,2,0\n"}))) == ["A"]
    assert PITCH in GOOD_PITCH

"""The sample folders: as their scenarios make them, small enough, with the verdicts they are made for."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest

from gearqa.evaluation.evaluate import grade
from gearqa.model.results import GradeResult
from gearqa.reading.folder.passes import read_folder
from gearqa.simulate import write_folder

SAMPLES = Path(__file__).parents[3] / "sample_measurements"
NAMES = ["drift_history", "pinion", "ring_conforming", "ring_faults", "ring_master"]


def _graded(name: str) -> GradeResult:
    return grade(read_folder(SAMPLES / name))


def _cells(path: Path) -> list[list[str]]:
    return list(csv.reader(path.read_text(encoding="utf-8").splitlines()))


@pytest.mark.parametrize("name", NAMES)
def test_folder_is_what_its_scenario_makes(name: str, tmp_path: Path) -> None:
    """The same text; numbers may part by one last digit where another processor rounds otherwise."""
    fresh = write_folder(tmp_path / name, SAMPLES / "scenarios" / f"{name}.toml")
    assert [p.name for p in fresh] == sorted(p.name for p in (SAMPLES / name).iterdir())
    for path in fresh:
        kept = SAMPLES / name / path.name
        if path.read_bytes() == kept.read_bytes():
            continue
        new, old = _cells(path), _cells(kept)
        assert len(new) == len(old)
        for a, b in zip(new, old, strict=True):
            assert a[:-1] == b[:-1]
            assert a[-1] == b[-1] or float(a[-1]) == pytest.approx(float(b[-1]), abs=0.011)


def test_samples_stay_small() -> None:
    assert sum(p.stat().st_size for p in SAMPLES.rglob("*") if p.is_file()) < 8_000_000


def test_master_ring_lot() -> None:
    result = _graded("ring_master")
    assert result.lot.gears == 12
    assert result.lot.conforms is True
    assert result.lot.reached_master_quality is True
    assert all(g.class_complete for g in result.gears)


def test_conforming_ring_lot() -> None:
    result = _graded("ring_conforming")
    assert (result.lot.gears, result.lot.conforms, result.lot.reached_master_quality) == (12, True, False)
    assert [g.master_quality for g in result.gears] == [False] * 12


def test_pinions() -> None:
    result = _graded("pinion")
    assert (result.lot.gears, result.lot.conforms) == (4, True)
    assert all(size.conforms for g in result.gears for size in g.size)


def test_rings_with_one_fault_each() -> None:
    gears = {g.serial: g for g in _graded("ring_faults").gears}
    verdicts = {serial[-1]: g.conforms for serial, g in gears.items()}
    assert verdicts == {
        "1": True,
        "2": None,
        "3": False,
        "4": False,
        "5": False,
        "6": None,
        "7": False,
        "8": False,
    }
    assert {(n.parameter, n.flank) for n in gears["OT-0302"].not_assessed} == {
        ("single_pitch", "left"),
        ("cumulative_pitch", "left"),
    }
    assert [n.parameter for n in gears["OT-0306"].not_assessed] == ["runout"]
    failing = {
        serial: [key for key, p in g.parameters.items() if p.conforms is False] for serial, g in gears.items()
    }
    assert failing["OT-0303"] == ["cumulative_pitch", "runout"]
    assert failing["OT-0305"][0] == "single_pitch"
    assert "runout" in failing["OT-0307"]
    assert "profile_form" in failing["OT-0308"]
    assert gears["OT-0304"].beyond
    assert gears["OT-0304"].class_ is None
    assert gears["OT-0304"].governing == ("profile_slope",)


def test_drift_history_holds_the_truth_it_names() -> None:
    """Mean of the 40 within-cycle rates: sd about 0.25 / 35 / sqrt(40) + 0.005 / sqrt(40) um per part."""
    result = _graded("drift_history")
    assert (result.lot.gears, result.lot.conforms) == (120, True)
    for flank, wear, level in (("left", -0.1, 2.0), ("right", -0.06, 0.5)):
        mean = np.array([g.parameters["profile_slope"].flanks[flank].mean_um for g in result.gears])
        cycles = mean.reshape(40, 3)
        assert np.mean((cycles[:, 2] - cycles[:, 0]) / 35) == pytest.approx(wear, abs=4 * 0.0016)
        # the first 24 cycles: level and trend of -0.03 per cycle; sd of a level about 0.42
        trend, start = np.polyfit(np.arange(24), cycles[:24, 0], 1)
        assert start == pytest.approx(level, abs=4 * 0.17)
        assert trend == pytest.approx(-0.03, abs=4 * 0.0125)
        step = np.mean(cycles[24:, 0] + 0.03 * np.arange(24, 40)) - np.mean(
            cycles[:24, 0] + 0.03 * np.arange(24)
        )
        assert step == pytest.approx(1.5 if flank == "left" else 0.0, abs=4 * 0.136)
    made = [g.production for g in result.gears]
    assert [p.parts_since_dress for p in made if p is not None][:6] == [1, 19, 36, 1, 19, 36]

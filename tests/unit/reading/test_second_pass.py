"""One trace holds one pass over the flank: pieces go on from each other, or are refused with both places.

Common practice, no source: points of two measurements in one trace give a form deviation of neither.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from inspection_folder import PROFILE, gears, only_problem, read

from gearqa.reading.folder import passes

ROLL = np.linspace(1.0, 5.0, 41)


@pytest.fixture(autouse=True, params=["careful", "fast"])
def _reader(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(passes, "FAST_FROM_BYTES", 0 if request.param == "fast" else 1 << 60)


def rows(positions: np.ndarray, tooth: int = 1, serial: str = "A") -> str:
    return "".join(f"{serial},left,{tooth},{x:.4f},{np.sin(7 * x):.3f}\n" for x in positions)


def notices(folder: Path, text: str) -> list[str]:
    with read(folder, {"profile.csv": PROFILE + text}) as inspection:
        return [notice.code for notice in inspection.notices]


@pytest.mark.parametrize("chunk_rows", [500_000, 9])
@pytest.mark.parametrize(
    ("second", "what"),
    [
        (ROLL + 0.013, "appended"),
        (ROLL[::-1] + 0.013, "on the way back"),
        (ROLL[::8] + 0.013, "coarser"),
        (np.concatenate([ROLL + k * 0.013 for k in range(1, 7)]), "seven passes"),
    ],
)
def test_a_second_pass_is_refused_with_both_places(
    tmp_path: Path, second: np.ndarray, what: str, chunk_rows: int
) -> None:
    text = PROFILE + rows(ROLL) + rows(ROLL, 2) + rows(second)
    problem = only_problem(tmp_path, {"profile.csv": text}, chunk_rows=chunk_rows)
    assert problem.reason == "second_pass"
    assert (problem.file, problem.line) == ("profile.csv", 85 if what == "on the way back" else 84)
    assert "the trace of 'A', left flank, tooth 1, " in problem.found
    assert "(first 1 to 5" in problem.found
    assert " mm from profile.csv:2)" in problem.found
    assert "second measurement" in problem.hint


def test_a_second_pass_in_another_file(tmp_path: Path) -> None:
    files = {"a.csv": PROFILE + rows(ROLL), "b.csv": PROFILE + rows(ROLL + 0.013)}
    problem = only_problem(tmp_path, files)
    assert (problem.reason, problem.file, problem.line) == ("second_pass", "b.csv", 2)
    assert "from a.csv:2" in problem.found


@pytest.mark.parametrize("chunk_rows", [500_000, 9])
@pytest.mark.parametrize(
    "order",
    [
        np.arange(41),
        np.arange(41)[::-1],
        np.concatenate([np.arange(20, 41), np.arange(20)]),  # two halves, the far one first
        np.concatenate([np.arange(20)[::-1], np.arange(20, 41)]),  # from the middle to both ends
    ],
)
def test_pieces_that_go_on_from_each_other_are_one_trace(
    tmp_path: Path, order: np.ndarray, chunk_rows: int
) -> None:
    with read(tmp_path, {"profile.csv": PROFILE + rows(ROLL[order])}, chunk_rows=chunk_rows) as inspection:
        (gear,) = inspection
        assert inspection.notices == ()
    assert gear.traces[0].position_mm == pytest.approx(ROLL)
    assert gear.traces[0].deviation_um == pytest.approx(np.sin(7 * ROLL), abs=6e-4)


def test_pieces_in_two_files_and_rows_of_all_teeth_side_by_side(tmp_path: Path) -> None:
    files = {"a.csv": PROFILE + rows(ROLL[20:]), "b.csv": PROFILE + rows(ROLL[:20])}
    assert len(gears(read(tmp_path / "two", files))["A"].traces[0].position_mm) == 41
    by_position = "".join(rows(np.array([x]), tooth) for x in ROLL for tooth in (1, 2, 3))
    assert notices(tmp_path / "beside", by_position) == []


def test_rows_in_no_order_are_read_and_told(tmp_path: Path) -> None:
    rng = np.random.default_rng(1)
    for case in range(40):  # no order of any of 40 shuffles is taken for two passes
        jumbled = rng.permutation(ROLL)
        assert notices(tmp_path / str(case), rows(jumbled)) == ["row_order"]


def test_positions_that_tremble_are_one_pass(tmp_path: Path) -> None:
    """A dense trace whose scale steps back a little now and then."""
    x = np.linspace(1.0, 5.0, 401)
    for at in range(30, 400, 40):
        x[at], x[at + 1] = x[at + 1], x[at]
    assert notices(tmp_path, rows(x)) == ["row_order"]


@pytest.mark.parametrize("chunk_rows", [500_000, 400])
def test_many_traces_in_no_order_at_all_are_one_pass_each(tmp_path: Path, chunk_rows: int) -> None:
    """Among the rows of 60 shuffled traces some rise by chance, five and more in a row."""
    positions = np.linspace(1.0, 5.0, 160)
    lines = "".join(rows(positions, tooth=1 + k % 5, serial=f"S{k // 5}") for k in range(60)).splitlines(True)
    text = "".join(lines[at] for at in np.random.default_rng(0).permutation(len(lines)))
    with read(tmp_path, {"profile.csv": PROFILE + text}, chunk_rows=chunk_rows) as inspection:
        assert "row_order" in [notice.code for notice in inspection.notices]
        assert {len(trace.position_mm) for gear in inspection for trace in gear.traces} == {160}

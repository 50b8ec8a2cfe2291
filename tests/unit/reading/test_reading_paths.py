"""The fast reader: when it is taken, what it keeps verbatim, how it hands over, and its bounds."""

from __future__ import annotations

import gc
import subprocess
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from inspection_folder import GOOD_PITCH, HELIX, PROFILE, RUNOUT, gears, problems, read, rows, write

from gearqa.errors import Reason
from gearqa.reading.folder import fast_reader
from gearqa.reading.folder import passes as reading
from gearqa.reading.folder.careful_reader import CarefulReader
from gearqa.reading.folder.fast_reader import FastReader
from gearqa.reading.folder.passes import read_folder
from gearqa.reading.folder.spool import Spool


@pytest.fixture
def reads(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Always take the fast path where a table allows it; the list tells which readers worked."""
    monkeypatch.setattr(reading, "FAST_FROM_BYTES", 0)
    done: list[str] = []
    fast, careful, block = FastReader.blocks, CarefulReader.chunks, CarefulReader.block

    def noted(name: str, method: Any) -> Any:
        def run(self: Any, *args: Any) -> Any:
            done.append(name)
            return method(self, *args)

        return run

    monkeypatch.setattr(FastReader, "blocks", noted("fast", fast))
    monkeypatch.setattr(CarefulReader, "chunks", noted("careful", careful))
    monkeypatch.setattr(CarefulReader, "block", noted("block", block))
    return done


@pytest.mark.parametrize(
    "serials",
    [
        ["007", "7", "7.0"],
        ["2e+0", "1"],
        ["True", "False"],
        ["nan", "NA", "None", "null"],
        ["1", "2", "3", "A"],
        ["2025-01-01", "0x1F", "inf"],
        ["ä", "é ß", "µ"],
    ],
)
@pytest.mark.parametrize("chunk_rows", [4, 1000])
def test_serials_stay_as_they_are_written(
    tmp_path: Path, reads: list[str], serials: list[str], chunk_rows: int
) -> None:
    lines = [f"{serial},left,1,{p},0" for serial in serials for p in range(1, 4)]
    with read(tmp_path, {"p.csv": rows(PROFILE, lines)}, chunk_rows=chunk_rows) as inspection:
        assert list(inspection.serials) == serials
        assert [len(gear.traces[0].position_mm) for gear in inspection] == [3] * len(serials)
    assert reads == ["fast"]


def test_serials_that_differ_only_in_blanks_are_one(tmp_path: Path, reads: list[str]) -> None:
    lines = ["A ,left,1,1,0", " A,left,1,2,0", "A,left,1,3,0"]
    with read(tmp_path, {"p.csv": rows(PROFILE, lines)}) as inspection:
        (gear,) = inspection
    assert gear.traces[0].position_mm.tolist() == [1.0, 2.0, 3.0]
    assert reads == ["fast"]


def test_padded_cells_and_blank_lines_stay_with_the_fast_reader(tmp_path: Path, reads: list[str]) -> None:
    lines = ["A  , left ,1 , 1.00 , 0.5 ", "", "A  , left ,1 , 2.00 ,-0.5 ", "   ", "A,left,1,3,0"]
    (gear,) = read(tmp_path, {"p.csv": rows(PROFILE, lines)})
    assert gear.traces[0].position_mm.tolist() == [1.0, 2.0, 3.0]
    assert gear.traces[0].deviation_um.tolist() == [0.5, -0.5, 0.0]
    assert reads == ["fast"]


@pytest.mark.parametrize(
    "odd",
    [
        "# a comment",
        "A,left,1,99.5,inf",
        "A,left,1,99.5",
        "A,left,6,99.5,0",
        "A,top,1,99.5,0",
        "A,left,1,99.5,0,0",
    ],
)
def test_only_the_block_in_doubt_is_read_carefully(tmp_path: Path, reads: list[str], odd: str) -> None:
    lines = [f"A,left,1,{p},0" for p in range(1, 90)]
    files = {"p.csv": rows(PROFILE, [*lines[:40], odd, *lines[40:]])}
    if odd.startswith("#"):
        assert len(gears(read(tmp_path, files, chunk_rows=10))["A"].traces[0].position_mm) == 89
    else:
        (problem,) = problems(tmp_path, files, chunk_rows=10)
        assert (problem.file, problem.line) == ("p.csv", 42)
    assert reads == ["fast", "block"]


@pytest.mark.parametrize("line", ['"A",left,1,99,0', "A,left,1,98,0\rA,left,1,99,0", "A\0,left,1,99,0"])
def test_some_files_are_read_carefully_as_a_whole(tmp_path: Path, reads: list[str], line: str) -> None:
    lines = [f"A,left,1,{p / 8},0" for p in range(5000)]
    files = {"p.csv": rows(PROFILE, [*lines, line.replace(",9", ",99")])}
    if "\0" in line:
        (problem,) = problems(tmp_path, files, chunk_rows=1000)
        assert (problem.reason, problem.line) == (Reason.NOT_TEXT, 5002)
    else:
        gear = gears(read(tmp_path, files, chunk_rows=1000))["A"]
        assert len(gear.traces[0].position_mm) == 5001 + line.count("\r")
    assert reads == ["fast", "careful"]


def test_an_encoding_that_changes_far_down_starts_again(tmp_path: Path, reads: list[str]) -> None:
    lines = [f"A,left,1,{p / 8},0" for p in range(1, 8000)]
    content = rows(PROFILE, [*lines, "Grün,left,1,1,0"]).encode("cp1252")
    with read(tmp_path, {"p.csv": content}, chunk_rows=1000) as inspection:
        assert inspection.serials == ("A", "Grün")
        assert len(next(iter(inspection)).traces[0].position_mm) == 7999
    assert reads == ["fast", "fast"]


def lot(gears_: int, points: int, seed: int = 1) -> dict[str, str]:
    """Tables of clean random numbers, every kind."""
    rng = np.random.default_rng(seed)
    files = {"pitch.csv": "", "runout.csv": ""}
    for name, header, start in (("profile.csv", PROFILE, 20.0), ("helix.csv", HELIX, 0.0)):
        lines = []
        for gear in range(gears_):
            for flank in ("left", "right"):
                for tooth in (1, 4):
                    where = (
                        start + 0.1 * np.arange(points) + (rng.random(points) * 0.01 if gear % 3 == 2 else 0)
                    )
                    what = rng.normal(0, 3, points) * 10.0 ** rng.integers(-3, 3)
                    lines += [
                        f"G{gear},{flank},{tooth},{p!r},{d!r}"
                        for p, d in zip(where.tolist(), what.tolist(), strict=True)
                    ]
        files[name] = rows(header, lines)
    files["pitch.csv"] = GOOD_PITCH.replace("A,", "G0,")
    files["runout.csv"] = rows(RUNOUT, [f"G1,{space},{rng.normal()!r}" for space in range(1, 6)])
    return files


def same(one: Any, other: Any) -> None:
    for mine, theirs in zip(one, other, strict=True):
        assert mine.serial == theirs.serial
        for a, b in zip(mine.traces, theirs.traces, strict=True):
            assert (a.kind, a.flank, a.tooth, a.label_mm) == (b.kind, b.flank, b.tooth, b.label_mm)
            assert a.position_mm.tobytes() == b.position_mm.tobytes()
            assert a.deviation_um.tobytes() == b.deviation_um.tobytes()
        assert {f: p.index_um.tobytes() for f, p in mine.pitch.items()} == {
            f: p.index_um.tobytes() for f, p in theirs.pitch.items()
        }
        assert (mine.runout is None) == (theirs.runout is None)


@pytest.mark.parametrize("chunk_rows", [50, 500_000])
def test_both_readers_give_the_same_bits(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, chunk_rows: int
) -> None:
    folder = write(tmp_path, lot(7, 60))
    with read_folder(folder) as careful:
        monkeypatch.setattr(reading, "FAST_FROM_BYTES", 0)
        with read_folder(folder, chunk_rows=chunk_rows) as fast:
            same(careful, fast)
            assert careful.inputs == fast.inputs
            assert careful.serials == fast.serials


def test_numbers_on_disk_are_the_numbers_in_memory(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    folder = write(tmp_path, lot(5, 50))
    with read_folder(folder) as kept:
        monkeypatch.setattr(reading, "Spool", lambda: Spool(memory_bytes=1000))
        with read_folder(folder, chunk_rows=37) as spooled:
            assert not kept.on_disk
            assert spooled.on_disk
            same(kept, spooled)
            same(kept, spooled)


@pytest.mark.parametrize("memory_bytes", [0, 100, 1 << 20])
def test_the_spool_gives_back_what_was_put_aside(memory_bytes: int) -> None:
    spool = Spool(memory_bytes)
    starts = []
    for number in range(5):
        starts.append(spool.append(np.arange(number * 10, number * 10 + number, dtype=np.float64)))
        assert spool.read(starts[-1], number).tolist() == list(range(number * 10, number * 11))
        assert spool.read(0, min(number, 1)).tolist() == [10][:number]
    assert starts == [0, 0, 1, 3, 6]
    assert len(spool) == 10
    assert spool.read(1, 8).tolist() == [20, 21, 30, 31, 32, 40, 41, 42]
    spool.close()
    with pytest.raises(ValueError, match="closed"):
        spool.read(0, 1)


def test_an_inspection_that_is_not_closed_leaves_nothing_behind(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    spools = [Spool(memory_bytes=100)]
    monkeypatch.setattr(reading, "Spool", spools.pop)
    inspection = read_folder(write(tmp_path, lot(2, 50)))
    file = inspection._store._spool._file
    assert file is not None
    del inspection
    gc.collect()
    assert file.closed


def test_traces_of_shuffled_rows_share_their_positions(tmp_path: Path) -> None:
    lines = [f"{s},left,{t},{p / 4},0" for p in range(4, 60) for s in "AB" for t in (1, 2)]
    with read(tmp_path, {"p.csv": rows(PROFILE, lines)}, chunk_rows=30) as inspection:
        arrays = [trace.position_mm for gear in inspection for trace in gear.traces]
    assert len(arrays) == 4
    assert all(array is arrays[0] for array in arrays)


def test_a_small_folder_does_not_load_the_fast_parser(tmp_path: Path) -> None:
    folder = write(tmp_path, {"pitch.csv": GOOD_PITCH})
    code = (
        "import sys; from gearqa.reading.folder.passes import read_folder; "
        f"print(len(read_folder({str(folder)!r})), 'polars' in sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.split() == ["1", "False"]


def test_a_large_folder_of_plain_decimals_does_not_load_the_general_parser(tmp_path: Path) -> None:
    lines = [f"A,left,{tooth},{p / 4:.2f},{p % 7 - 3}" for tooth in (1, 3) for p in range(4, 60)]
    folder = write(tmp_path, {"profile.csv": rows(PROFILE, lines)})
    code = (
        "import sys; from gearqa.reading.folder import passes; passes.FAST_FROM_BYTES = 0; "
        f"print(len(passes.read_folder({str(folder)!r})), 'polars' in sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.split() == ["1", "False"]


def test_below_the_size_that_is_worth_the_general_parser_other_cells_are_read_carefully(
    tmp_path: Path, reads: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    table = rows(PROFILE, [f"A,left,1,{p},{p}e-1" for p in range(1, 50)])
    monkeypatch.setattr(reading, "FAST_FROM_BYTES", len(table) // 2)
    (gear,) = read(tmp_path, {"p.csv": table})
    assert gear.traces[0].deviation_um.tolist() == [p / 10 for p in range(1, 50)]
    assert reads == ["fast", "block"]


def test_a_file_of_unusual_cells_is_read_on_by_the_general_parser(
    tmp_path: Path, reads: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    tried: list[int] = []
    plain = fast_reader.plain_columns

    def counted(data: bytes, *more: Any) -> Any:
        tried.append(len(data))
        return plain(data, *more)

    monkeypatch.setattr(fast_reader, "plain_columns", counted)
    table = rows(PROFILE, [f"A,left,1,{p},{p}e-1" for p in range(1, 500)])
    (gear,) = read(tmp_path, {"p.csv": table}, chunk_rows=50)
    assert gear.traces[0].deviation_um.tolist() == [p / 10 for p in range(1, 500)]
    assert reads == ["fast"]
    assert 4 <= len(tried) < 12 < len(table) // 200


@pytest.mark.parametrize("odd", ["  # a remark", "left", "x"])
def test_a_line_without_separators_is_no_blank_line_where_the_serial_is_not_first(
    tmp_path: Path, reads: list[str], odd: str
) -> None:
    header = "flank,tooth,roll_length_mm,deviation_um,serial\n"
    table = rows(header, [f"left,1,{p},0,A" for p in range(1, 50)])
    lines = table.splitlines(keepends=True)
    (problem,) = problems(tmp_path, {"p.csv": "".join([*lines[:20], f"{odd}\n", *lines[20:]])})
    assert (problem.reason, problem.line) == (Reason.RAGGED_ROW, 21)
    assert reads == ["fast", "block"]

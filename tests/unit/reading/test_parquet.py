"""Parquet tables beside CSV: the same gears with the same bits, the same faults at the same rows, and what
only a Parquet file can have wrong."""

from __future__ import annotations

import random
import re
import shutil
import subprocess
import sys
from datetime import UTC, date, datetime
from decimal import Decimal
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl
import pytest
from inspection_folder import (
    GOOD_PITCH,
    HELIX,
    PART_TOML,
    PITCH,
    PROFILE,
    RUNOUT,
    gears,
    only_problem,
    problems,
    read,
    rows,
    write,
)

import gearqa
from gearqa.errors import InputError, Reason, ReportError
from gearqa.frames import parameters_frame, write_parquet
from gearqa.history.folder_scan import ends_within_a_line
from gearqa.model.measurement import GearMeasurement
from gearqa.reading.folder.passes import read_folder
from gearqa.reading.rows.parquet_rows import ParquetTable, ends_whole
from gearqa.reading.values.reported import read_reported

SAMPLES = Path("sample_measurements")
TRACE = ["A,left,1,1.0,0.5", "A,left,1,2.0,-0.25", "A,left,1,3.0,1.5"]


def as_parquet(source: Path, target: Path) -> Path:
    """A folder with every table as Parquet, its first line of comment kept as the mark of the file."""
    target.mkdir()
    for path in source.iterdir():
        if path.suffix != ".csv":
            if path.is_file():
                shutil.copy(path, target)
            continue
        first = path.read_text(encoding="utf-8").partition("\n")[0]
        frame = pl.read_csv(path, comment_prefix="#", infer_schema_length=None)
        mark = {"gearqa": first} if first.startswith("#") else None
        frame.write_parquet(target / f"{path.stem}.parquet", metadata=mark)
    return target


def text_table(folder: Path, name: str, table: str) -> None:
    """A table with every cell as the text that the CSV has."""
    header, *lines = table.removesuffix("\n").split("\n")
    names = header.split(",")
    cells = [line.split(",") for line in lines]
    pl.DataFrame(cells, schema=dict.fromkeys(names, pl.String), orient="row").write_parquet(folder / name)


def frame_folder(folder: Path, toml: str = PART_TOML, **frames: Any) -> Path:
    write(folder, {}, toml)
    for name, columns in frames.items():
        pl.DataFrame(columns).write_parquet(folder / f"{name}.parquet")
    return folder


def pitch(**columns: Any) -> dict[str, Any]:
    whole = {
        "serial": ["A"] * 5,
        "flank": ["left"] * 5,
        "tooth": [1, 2, 3, 4, 5],
        "index_um": [0.125 * n for n in range(5)],
    }
    return {**whole, **columns}


def found_in(folder: Path) -> tuple[Any, ...]:
    with pytest.raises(InputError) as caught, read_folder(folder):
        pass
    return caught.value.problems


def bits(gear: GearMeasurement) -> Any:
    readings: list[Any] = [
        (t.kind, t.flank, t.tooth, t.position_mm.tobytes(), t.deviation_um.tobytes(), t.label_mm)
        for t in gear.traces
    ]
    readings += [(flank, one.index_um.tobytes()) for flank, one in gear.pitch.items()]
    if gear.runout is not None:
        readings.append(gear.runout.radial_um.tobytes())
    return readings, gear.sizes, gear.production


# --- the same bits -------------------------------------------------------------------------------------


@pytest.mark.parametrize("sample", ["ring_master", "ring_faults", "pinion", "drift_history"])
def test_a_sample_as_parquet_gives_the_same_bits(tmp_path: Path, sample: str) -> None:
    """Independent: another library reads the CSV and writes the Parquet."""
    folder = as_parquet(SAMPLES / sample, tmp_path / sample)
    with read_folder(SAMPLES / sample) as text, read_folder(folder) as parquet:
        assert text.gears == parquet.gears
        assert list(map(bits, text)) == list(map(bits, parquet))
        assert text.events == parquet.events
        assert parquet.simulated


def test_numbers_of_any_size_give_the_same_bits_column_by_column_and_row_by_row(tmp_path: Path) -> None:
    rng = np.random.default_rng(7)
    values = rng.normal(size=400) * 10.0 ** rng.integers(-12, 5, 400)
    positions = np.sort(rng.uniform(0.1, 20, 400))
    serials = [f"G{n // 80}" for n in range(400)]
    table = {"serial": serials, "flank": ["left"] * 400, "tooth": [1] * 400}
    table |= {"face_position_mm": positions, "deviation_um": values}
    typed = frame_folder(tmp_path / "typed", helix=table)
    lines = [
        f"{s},left,1,{p!r},{v!r}"
        for s, p, v in zip(serials, positions.tolist(), values.tolist(), strict=True)
    ]
    expected = gears(read(tmp_path / "csv", {"h.csv": rows(HELIX, lines)}))
    assert {s: bits(g) for s, g in gears(read_folder(typed, chunk_rows=70)).items()} == {
        s: bits(g) for s, g in expected.items()
    }
    table_file = ParquetTable.of(typed / "helix.parquet")
    texts = [
        row[4]
        for start, frame in table_file.frames(70)
        for _, batch in table_file.text_rows(start, frame)
        for row in batch
    ]
    assert np.array(list(map(float, texts))).tobytes() == values.tobytes()


def test_narrow_floats_are_what_they_are_and_not_what_they_would_be_as_text(tmp_path: Path) -> None:
    """0.1 as a 32-bit float is 0.100000001490116..., whichever way it is read (IEEE 754)."""
    narrow = pl.Series("index_um", [0.1, 0.2, 0.3, 0.4, 0.5], dtype=pl.Float32)
    (plain,) = gears(read_folder(frame_folder(tmp_path / "a", pitch=pitch(index_um=narrow)))).values()
    spelled = pitch(index_um=narrow, flank=[" left", "LEFT", "left", "left", "left"])
    (again,) = gears(read_folder(frame_folder(tmp_path / "b", pitch=spelled))).values()
    wanted = np.array([0.1, 0.2, 0.3, 0.4, 0.5], dtype=np.float32).astype(np.float64)
    assert (
        plain.pitch["left"].index_um.tobytes() == again.pitch["left"].index_um.tobytes() == wanted.tobytes()
    )


@pytest.mark.parametrize(
    "columns",
    [
        {"serial": pl.Series(["A"] * 5, dtype=pl.Categorical)},
        {"flank": pl.Series(["left"] * 5, dtype=pl.Enum(["left", "right"]))},
        {"tooth": pl.Series([1, 2, 3, 4, 5], dtype=pl.UInt8)},
        {"tooth": ["1", "2", "3", "4", "5"]},
        {"tooth": [1.0, 2.0, 3.0, 4.0, 5.0]},
        {"index_um": ["0", "0.125", "0.25", "0.375", "0.5"]},
        {"index_um": [Decimal(n) / 8 for n in range(5)]},
        {"note": [["a", "list"]] * 5},
        {"measurement": [None] * 5},
    ],
)
def test_types_that_hold_the_same(tmp_path: Path, columns: dict[str, Any]) -> None:
    (gear,) = gears(read_folder(frame_folder(tmp_path, pitch=pitch(**columns)))).values()
    (wanted,) = gears(read_folder(frame_folder(tmp_path / "plain", pitch=pitch()))).values()
    assert bits(gear) == bits(wanted)


def test_rows_group_by_group_in_bounded_memory(tmp_path: Path) -> None:
    """One row group of three million rows: read in slices it must not be held as a whole (about 110 MB as
    numbers and texts); a table of a tenth of it shows what the program takes anyway."""
    code = (
        "import resource, sys\nfrom pathlib import Path\n"
        "from gearqa.reading.rows.parquet_rows import ParquetTable\n"
        "rows = sum(len(frame) for _, frame in ParquetTable.of(Path(sys.argv[1])).frames(100_000))\n"
        "print(rows, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024)"
    )
    rng = np.random.default_rng(1)

    def peak(count: int) -> float:
        path = tmp_path / f"{count}.parquet"
        table = pl.DataFrame(
            {
                "serial": np.repeat([f"G{n}" for n in range(100)], count // 100),
                "x": rng.normal(size=count),
                "y": rng.normal(size=count),
                "z": rng.normal(size=count),
            }
        )
        table.write_parquet(path, row_group_size=count, compression="uncompressed")
        done = subprocess.run(
            [sys.executable, "-c", code, str(path)], capture_output=True, text=True, check=True
        )
        read_rows, memory = done.stdout.split()
        assert int(read_rows) == count
        return float(memory)

    # the file is mapped, and its pages count: 73 MB; the columns of all rows would come on top of that
    assert peak(3_000_000) - peak(300_000) < 73 + 60


# --- the same faults ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "table",
    [
        PITCH + "A,left,1,n/a\n" + GOOD_PITCH.removeprefix(PITCH),
        GOOD_PITCH + "A,left,2,0.5\n",
        GOOD_PITCH + "A,top,2,0.5\n",
        GOOD_PITCH + ",left,2,0.5\n",
        GOOD_PITCH + "B,left,0,0.5\n",
        GOOD_PITCH + "B,left,6,0.5\n",
        GOOD_PITCH + "B,left,1.5,0.5\n",
        GOOD_PITCH + "B,left,1,1e400\n",
        GOOD_PITCH + "B,left,1,nan\n",
        GOOD_PITCH + "B,left,1,2e9\n",
        GOOD_PITCH + "B,left,1,12 um\n",
        rows(PROFILE, [*TRACE, "A,left,1,2.0,0.1"]),
        rows(PROFILE, [*TRACE, "A,left,1,-2.0,0.1"]),
        rows(HELIX, [*TRACE, *TRACE]),
        rows(RUNOUT, ["A,1,0.5", "A,1,0.5", "A,2,0.5"]),
        "serial,flank,tooth,deviation\nA,left,1,2\n",
        "serial,flank,tooth,index_um,index_mm\nA,left,1,2,2\n",
        "serial,method,pin_diameter_mm,value_mm\nA,pins,3,40\n",
        "serial,finished_at\nA,yesterday\n",
        "serial,grinder\nA,GR-1\nA,GR-2\n",
        "at,grinder,event\n2025-13-01,GR-1,dress\n",
        "what,is,this\n1,2,3\n",
    ],
)
def test_a_fault_has_the_same_words_and_place(tmp_path: Path, table: str) -> None:
    """A table of texts as Parquet: line n of the CSV is row n - 1."""
    own = "index" in table or table.startswith(("serial,flank", "serial,space"))
    good = {} if own else {"i.csv": GOOD_PITCH}
    wanted = problems(tmp_path / "csv", {**good, "t.csv": table})
    write(tmp_path / "parquet", good)
    text_table(tmp_path / "parquet", "t.parquet", table)
    found = found_in(tmp_path / "parquet")

    def told(text: str) -> str:
        return re.sub(r"t\.csv:(\d+)", lambda at: f"t.parquet row {int(at[1]) - 1}", text)

    assert [(p.reason, p.column, p.line) for p in found] == [
        (p.reason, p.column, None if p.line is None else p.line - 1) for p in wanted
    ]
    assert [(p.found, p.expected) for p in found] == [(told(p.found), told(p.expected)) for p in wanted]


def test_a_message_names_the_row(tmp_path: Path) -> None:
    folder = frame_folder(tmp_path, pitch=pitch(index_um=[0.0, 0.1, None, 0.3, 0.4]))
    (problem,) = found_in(folder)
    assert problem.reason is Reason.EMPTY_CELL
    assert str(problem).startswith("pitch.parquet row 3: column 'index_um': found an empty cell")


# --- what only Parquet has ------------------------------------------------------------------------------


def test_nested_columns_are_told_once(tmp_path: Path) -> None:
    folder = frame_folder(tmp_path, pitch=pitch(index_um=[[0.0, 1.0]] * 5))
    (problem,) = found_in(folder)
    assert (problem.reason, problem.column, problem.line) == (Reason.WRONG_TYPE, "index_um", 0)
    assert "List" in problem.found


def test_answers_are_no_numbers(tmp_path: Path) -> None:
    folder = frame_folder(tmp_path, pitch=pitch(tooth=[True, False, True, False, True]))
    assert {problem.reason for problem in found_in(folder)} == {Reason.NOT_A_NUMBER}


def test_a_nul_in_a_text(tmp_path: Path) -> None:
    folder = frame_folder(tmp_path, pitch=pitch(serial=["A", "A", "A\0", "A", "A"]))
    (problem,) = found_in(folder)
    assert (problem.reason, problem.line) == (Reason.UNREADABLE_PARQUET, 3)


def test_a_table_without_rows(tmp_path: Path) -> None:
    folder = frame_folder(tmp_path, pitch=pl.DataFrame(pitch()).clear().to_dict())
    assert {problem.reason for problem in found_in(folder)} == {Reason.EMPTY_TABLE}


def test_times_of_every_type(tmp_path: Path) -> None:
    made = datetime(2025, 3, 14, 6, 30, tzinfo=UTC)
    production = {"serial": ["A"], "finished_at": [made], "calibration_due": [date(2026, 1, 1)]}
    folder = frame_folder(tmp_path, pitch=pitch(), production=production)
    (gear,) = gears(read_folder(folder)).values()
    assert gear.production is not None
    assert gear.production.finished_at == made
    assert gear.production.calibration_due is not None
    assert gear.production.calibration_due.date() == date(2026, 1, 1)


@pytest.mark.parametrize("content", [b"", b"PAR1", b"serial,flank\n", b"PAR1" + b"\0" * 40 + b"PAR1"])
def test_a_file_that_is_none(tmp_path: Path, content: bytes) -> None:
    problem = only_problem(tmp_path, {"i.csv": GOOD_PITCH, "t.parquet": content})
    assert (problem.reason, problem.file) == (Reason.UNREADABLE_PARQUET, "t.parquet")
    assert 'ignore = ["t.parquet"]' in problem.hint


def test_damage_ends_in_a_message_or_changes_nothing_but_values(tmp_path: Path) -> None:
    """Bytes exchanged anywhere, and cut files: a message, never a fault of the program."""
    folder = frame_folder(tmp_path / "good", pitch=pitch())
    whole = (folder / "pitch.parquet").read_bytes()
    pick = random.Random(3)
    refused = 0
    for number in range(150):
        data = bytearray(whole)
        if number % 3 == 0:
            data = data[: pick.randrange(len(data))]
        for _ in range(pick.randint(1, 3)):
            if data:
                data[pick.randrange(len(data))] = pick.randrange(256)
        (folder / "pitch.parquet").write_bytes(bytes(data))
        try:
            with read_folder(folder) as inspection:
                list(inspection)
        except InputError:
            refused += 1
    assert refused > 75


def test_an_unfinished_file_is_waited_for(tmp_path: Path) -> None:
    folder = frame_folder(tmp_path, pitch=pitch())
    path = folder / "pitch.parquet"
    signature = (("pitch.parquet", path.stat().st_size, 0),)
    assert ends_whole(path)
    assert not ends_within_a_line(folder, signature)
    path.write_bytes(path.read_bytes()[:-3])
    assert ends_within_a_line(folder, signature)


# --- column maps, values, what gearqa writes --------------------------------------------------------------

MAP = """
schema = "gearqa.columns/1"
[pitch]
file = "*.parquet"
decimal = ","
[pitch.columns]
serial = "Part"
flank = { column = "Side", values = { L = "left", R = "right" } }
tooth = "No"
index_um = { column = "Dev", factor = 1000.0 }
"""


def test_a_column_map(tmp_path: Path) -> None:
    table = {"Part": [7] * 5, "Side": ["L"] * 5, "No": range(1, 6), "Dev": [0.001 * n for n in range(5)]}
    folder = frame_folder(tmp_path, pitch=table)
    (folder / "map.toml").write_text(MAP, encoding="utf-8")
    (gear,) = gears(read_folder(folder, columns=folder / "map.toml")).values()
    assert gear.serial == "7"
    assert gear.pitch["left"].index_um.tolist() == [0.001 * n * 1000.0 for n in range(5)]


def test_a_wide_column_map(tmp_path: Path) -> None:
    table = {"Part": ["A"] * 3, "x": [1.0, 2.0, 3.0], "L1": [0.1, 0.2, 0.3], "R1": [0.3, 0.2, 0.1]}
    folder = frame_folder(tmp_path, helix=table)
    (folder / "map.toml").write_text(
        'schema = "gearqa.columns/1"\n[helix]\nfile = "helix.parquet"\n[helix.columns]\nserial = "Part"\n'
        'face_position_mm = "x"\n[[helix.wide]]\nheader = "^(?P<flank>[LR])(?P<tooth>\\\\d+)$"\n'
        'value = "deviation_um"\nvalues = { L = "left", R = "right" }\n',
        encoding="utf-8",
    )
    (gear,) = gears(read_folder(folder, columns=folder / "map.toml")).values()
    found = {(t.flank, t.tooth): t.deviation_um.tolist() for t in gear.traces}
    assert found == {("left", 1): [0.1, 0.2, 0.3], ("right", 1): [0.3, 0.2, 0.1]}


def test_reported_values(tmp_path: Path) -> None:
    report = SAMPLES / "supplier_report" / "report.csv"
    pl.read_csv(report, comment_prefix="#", infer_schema=False).write_parquet(
        tmp_path / "report.parquet", metadata={"gearqa": "# gearqa simulated"}
    )
    text, parquet = read_reported(report), read_reported(tmp_path / "report.parquet")
    assert [v.value_um for v in text.values] == [v.value_um for v in parquet.values]
    assert [v.class_ for v in text.values] == [v.class_ for v in parquet.values]
    assert parquet.simulated


def test_an_export_holds_what_the_csv_holds_and_is_never_read_as_a_measurement(tmp_path: Path) -> None:
    store = tmp_path / "gears.sqlite"
    gearqa.add_to_history(SAMPLES / "ring_master", store=store)
    with (tmp_path / "e.csv").open("wb") as csv, (tmp_path / "e.parquet").open("wb") as parquet:
        assert gearqa.export_history(csv=csv, parquet=parquet, store=store) == 12
    text = pl.read_csv(tmp_path / "e.csv", comment_prefix="#", infer_schema=False)
    table = pl.read_parquet(tmp_path / "e.parquet")
    assert table.columns == text.columns
    assert table.schema["value_um"] == pl.Float64
    assert table.schema["conforms"] == pl.Boolean
    for name in table.columns:
        assert (
            table[name].to_list()
            == text[name]
            .cast(pl.String)
            .str.replace("'", "")
            .to_frame()
            .select(_typed(name, table.schema[name]))
            .to_series()
            .to_list()
        )
    folder = write(tmp_path / "folder", {"i.csv": GOOD_PITCH})
    shutil.copy(tmp_path / "e.parquet", folder)
    with read_folder(folder) as inspection:
        assert [one.file for one in inspection.inputs] == ["part.toml", "i.csv"]


def _typed(name: str, kind: Any) -> Any:
    column = pl.col(name)
    return column == "true" if kind == pl.Boolean else column.cast(kind)


def test_a_measurement_as_parquet_is_not_overwritten(tmp_path: Path) -> None:
    folder = frame_folder(tmp_path, pitch=pitch())
    result = gearqa.grade(folder)
    frame = parameters_frame(result)
    with pytest.raises(ReportError, match="is not overwritten"):
        write_parquet(frame, folder / "pitch.parquet", simulated=False)
    for _ in range(2):
        write_parquet(frame, tmp_path / "result.parquet", simulated=False)
    table = pl.read_parquet(tmp_path / "result.parquet")
    assert table["value_um"].to_list() == frame["value_um"].tolist()
    assert table.columns == list(frame.columns)

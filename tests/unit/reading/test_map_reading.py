"""Tables as instruments and spreadsheets write them, read through column maps to the very same gear."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
from instrument_view import WAYS, View, part

import gearqa
from gearqa.errors import InputError, Reason
from gearqa.model.measurement import GearMeasurement
from gearqa.reading.folder.inspection import Inspection
from gearqa.reading.folder.passes import read_folder
from gearqa.reading.folder.sources import Convention
from gearqa.symbols import FLANKS

TEETH, WIDTH = 31, 24.0
PART = """\
schema = "gearqa.part/1"
[part]
number = "OT-7"
[gear]
kind = "{kind}"
teeth = 31
normal_module_mm = 2.0
normal_pressure_angle_deg = 20.0
helix_angle_deg = 15.0
helix_hand = "left"
face_width_mm = 24.0
profile_shift_coefficient = 0.3
[evaluation.profile]
start_roll_length_mm = {start}
end_roll_length_mm = {end}
[tolerance]
class = 8
"""
ROLLS = {"external": (8.0, 15.0), "internal": (15.0, 8.0)}


def write_part(folder: Path, kind: str = "external") -> None:
    start, end = ROLLS[kind]
    (folder / "part.toml").write_text(PART.format(kind=kind, start=start, end=end))


@dataclass(frozen=True)
class Point:
    flank: str
    tooth: int
    x: float
    y: float


def points(low: float, high: float, seed: int, teeth: Sequence[int] = (1, 11, 21)) -> list[Point]:
    """Points of traces, rounded so that every format can hold them exactly."""
    rng = np.random.default_rng(seed)
    x = np.round(np.linspace(low, high, 60), 3)
    return [
        Point(flank, tooth, float(a), float(b))
        for flank in FLANKS
        for tooth in teeth
        for a, b in zip(x, np.round(rng.normal(0, 1.5, len(x)).cumsum() / 5, 3), strict=True)
    ]


PROFILE = points(7.5, 15.5, 1)
HELIX = points(0.5, 23.5, 2)


def read(folder: Path, columns_map: str | None = None) -> Inspection:
    path = None
    if columns_map is not None:
        path = folder / "map.toml"
        path.write_text(columns_map, encoding="utf-8")
    return read_folder(folder, columns=path)


def content(gear: GearMeasurement) -> dict[object, list[float]]:
    """Everything measured on a gear, for comparing two readings of it."""
    found: dict[object, list[float]] = {}
    for trace in gear.traces:
        label = None if trace.label_mm is None else round(trace.label_mm, 9)
        key = (trace.kind, trace.flank, trace.tooth, label)
        found[key] = [*np.round(trace.position_mm, 9), *(np.round(trace.deviation_um, 9) + 0.0)]
    for flank, readings in gear.pitch.items():
        found[flank] = list(np.round(readings.index_um - readings.index_um[0], 9) + 0.0)
    if gear.runout is not None:
        found["runout"] = list(np.round(gear.runout.radial_um, 9))
    return found


def neutral(folder: Path, kind: str, traces: Sequence[Point]) -> GearMeasurement:
    """The gear read from a table in the neutral format."""
    folder.mkdir()
    write_part(folder)
    column = "roll_length_mm" if kind == "profile" else "face_position_mm"
    rows = [f"OT1,{p.flank},{p.tooth},{p.x},{p.y}" for p in traces]
    (folder / "t.csv").write_text("\n".join([f"serial,flank,tooth,{column},deviation_um", *rows]))
    with read(folder) as inspection:
        (gear,) = inspection
        return gear


def only(inspection: Inspection) -> GearMeasurement:
    with inspection:
        (gear,) = inspection
        return gear


# --- one gear, four ways -------------------------------------------------------------------------------


def view_tables(kind: str, way: Convention) -> Iterator[tuple[str, str, str]]:
    """Neutral headers over what an instrument sees that looks and counts its own way."""
    for name, table in View(part(kind), way).tables().items():
        if name == "pitch":
            continue  # the same as index, in another form
        cells = [column.tolist() for column in table.values()]
        lines = [",".join(["serial", *table])]
        lines += [",".join(["OT1", *map(str, row)]) for row in zip(*cells, strict=True)]
        yield ("pitch" if name == "index" else name), f"{name}.csv", "\n".join(lines)


def four_ways(folder: Path, kind: str, way: Convention, *, mapped: bool) -> Inspection:
    folder.mkdir()
    write_part(folder, kind)
    lines = ["[convention]", f'seen_from = "{way.seen_from}"', f'numbering = "{way.numbering}"']
    for table, name, text in view_tables(kind, way):
        (folder / name).write_text(text)
        if mapped:
            header = text.partition("\n")[0].split(",")
            lines += [f"[{table}]", f'file = "{name}"', f"[{table}.columns]"]
            lines += [f'{column} = "{column}"' for column in header]
    return read(folder, "\n".join(lines))


@pytest.mark.independent
@pytest.mark.parametrize("kind", ["external", "internal"])
@pytest.mark.parametrize("mapped", [False, True])
def test_one_gear_read_in_four_ways_is_one_gear(tmp_path: Path, kind: str, mapped: bool) -> None:
    grades, contents = [], []
    for number, way in enumerate(WAYS):
        with four_ways(tmp_path / str(number), kind, way, mapped=mapped) as inspection:
            contents.append(content(next(iter(inspection))))
            result = gearqa.grade(inspection)
        (gear,) = result.gears
        grades.append(
            [
                (key, p.flank, p.tooth, p.class_, None if p.value_um is None else round(p.value_um, 6))
                for key, p in gear.parameters.items()
            ]
        )
    assert contents[0] == contents[1] == contents[2] == contents[3]
    assert grades[0] == grades[1] == grades[2] == grades[3]
    # closed form of a gear that is only eccentric: F_p = 2 e / cos(alpha_t), sampled at 31 teeth
    cumulative = next(g for g in grades[0] if g[0] == "cumulative_pitch")[4]
    alpha_t = math.atan(math.tan(math.radians(20)) / math.cos(math.radians(15)))
    assert cumulative is not None
    assert 0.99 * 18 / math.cos(alpha_t) < cumulative <= 18 / math.cos(alpha_t)


def test_without_the_convention_the_gear_is_another_one(tmp_path: Path) -> None:
    """The comparison above would see a reader that ignores the map."""
    with four_ways(tmp_path / "a", "internal", WAYS[0], mapped=False) as first:
        expected = content(next(iter(first)))
    for number, way in enumerate(WAYS[1:]):
        folder = tmp_path / str(number)
        four_ways(folder, "internal", way, mapped=False).close()
        with read(folder) as inspection:
            assert content(next(iter(inspection))) != expected


# --- tables of instruments and spreadsheets ------------------------------------------------------------


def comma(value: float) -> str:
    return f"{value}".replace(".", ",")


def test_preamble_units_row_footer_decimal_comma_and_teeth_from_zero(tmp_path: Path) -> None:
    folder = tmp_path / "f"
    folder.mkdir()
    write_part(folder)
    rows = [
        f"OT1;{p.flank[0].upper()};{p.tooth - 1};{comma(p.x)};{comma(round(p.y / 1000, 6))}" for p in PROFILE
    ]
    head = ["Prüfbericht;;;;", "Datum 03.02.2025", "", "Teil;Seite;Zahn;Wälzweg;Abweichung", ";;;mm;mm"]
    text = "\r\n".join([*head, *rows, "Ende;;;;", "geprüft;ja;;;"])
    (folder / "bericht.txt").write_bytes(text.encode("cp1252"))
    gear = only(
        read(
            folder,
            """
            [profile]
            file = "*.txt"
            separator = ";"
            decimal = ","
            encoding = "cp1252"
            skip_rows = 3
            skip_after_header = 1
            skip_last_rows = 2
            [profile.columns]
            serial = "Teil"
            flank = { column = "seite", values = { l = "left", R = "right" } }
            tooth = { column = "Zahn", offset = 1 }
            roll_length_mm = "Wälzweg"
            deviation_um = { column = "Abweichung", factor = 1000.0 }
            """,
        )
    )
    assert content(gear) == content(neutral(tmp_path / "n", "profile", PROFILE))


def test_one_file_per_trace_with_the_serial_in_the_name_and_positions_from_mid_face(tmp_path: Path) -> None:
    folder = tmp_path / "f"
    (folder / "week 6").mkdir(parents=True)
    write_part(folder)
    for flank in FLANKS:
        for tooth in (1, 11, 21):
            trace = [p for p in HELIX if (p.flank, p.tooth) == (flank, tooth)]
            rows = [f"{round(p.x - 12, 3)}\t{p.y}" for p in trace]
            name = f"HX-OT1-{flank[0].upper()}-{tooth:03}.asc"
            (folder / "week 6" / name).write_text("\n".join(["z\terr", *rows]), encoding="utf-16")
    gear = only(
        read(
            folder,
            r"""
            [helix]
            file = "**/HX-*.asc"
            [helix.columns]
            serial = { path = 'HX-([^-]+)-' }
            flank = { path = '-([LR])-\d+\.', values = { L = "left", R = "right" } }
            tooth = { path = '-(\d+)\.asc$' }
            face_position_mm = { column = "z", offset = 12.0 }
            deviation_um = "err"
            """,
        )
    )
    assert content(gear) == content(neutral(tmp_path / "n", "helix", HELIX))


@pytest.mark.parametrize("offset", [0, 1])
def test_wide_table(tmp_path: Path, offset: int) -> None:
    folder = tmp_path / "f"
    folder.mkdir()
    write_part(folder)
    traces = [(flank, tooth) for flank in FLANKS for tooth in (1, 11, 21)]
    words = {"left": "Li", "right": "Re"}
    header = (
        ["Nr", "pos"] + [f"{words[flank]} Z{tooth - offset} [µm]" for flank, tooth in traces] + ["remark"]
    )
    by_place: dict[float, dict[tuple[str, int], float]] = {}
    for p in HELIX:
        by_place.setdefault(p.x, {})[p.flank, p.tooth] = p.y
    rows = [
        ";".join(["OT1", comma(x), *(comma(cells[t]) for t in traces), ""]) for x, cells in by_place.items()
    ]
    (folder / "wide.csv").write_text("\n".join([";".join(header), *rows]), encoding="utf-8-sig")
    gear = only(
        read(
            folder,
            rf"""
            [helix]
            file = "wide.csv"
            [helix.columns]
            serial = "Nr"
            face_position_mm = "pos"
            [[helix.wide]]
            header = '^(?P<flank>Li|Re) Z(?P<tooth>\d+)'
            values = {{ Li = "left", Re = "right" }}
            tooth_offset = {offset}
            """,
        )
    )
    assert content(gear) == content(neutral(tmp_path / "n", "helix", HELIX))


def wide_problem(folder: Path, header: str, pattern: str) -> list[tuple[Reason, str | None, str]]:
    write_part(folder)
    rows = [f"OT1,{x},{x / 2},{x / 4}" for x in range(1, 30)]
    (folder / "w.csv").write_text("\n".join([f"sn,s,{header}", *rows]))
    text = f"""
        [profile]
        file = "w.csv"
        columns = {{ serial = "sn", roll_length_mm = "s" }}
        wide = {{ header = '{pattern}', values = {{ L = "left" }} }}
        """
    with pytest.raises(InputError) as caught:
        read(folder, text)
    return [(p.reason, p.column, p.found) for p in caught.value.problems]


def test_a_pattern_that_cuts_a_tooth_number(tmp_path: Path) -> None:
    (told,) = wide_problem(tmp_path, "L1,L12", r"(?P<flank>L)(?P<tooth>[2-9]|\d)")[:1]
    assert told[:2] == (Reason.NOT_A_WHOLE_NUMBER, "L12")
    assert told[2].startswith("tooth 1 by ")


def test_a_flank_word_of_a_header_is_told_once(tmp_path: Path) -> None:
    told = wide_problem(tmp_path, "L1,R12", r"(?P<flank>[LR])(?P<tooth>\d+)")
    assert told == [(Reason.UNKNOWN_WORD, "R12", "the flank 'R'")]


def test_two_headers_of_one_trace_are_told_once(tmp_path: Path) -> None:
    told = wide_problem(tmp_path, "L5 a,L05 b", r"(?P<flank>L)(?P<tooth>\d+)")
    assert [(reason, column) for reason, column, _ in told] == [(Reason.DUPLICATE_COLUMN, "L05 b")]
    assert "as in column 'L5 a'" in told[0][2]


def test_a_header_that_begins_with_a_comment_mark(tmp_path: Path) -> None:
    write_part(tmp_path)
    rows = [f"OT1;left;1;{x};{x / 2}" for x in range(1, 11)]
    (tmp_path / "p.csv").write_text("\n".join(["# made by hand", "#sn;fl;t;s;e", *rows]))
    text = """
        [profile]
        file = "p.csv"
        comment = ""
        skip_rows = 1
        columns = { serial = "#sn", flank = "fl", tooth = "t", roll_length_mm = "s", deviation_um = "e" }
        """
    (trace,) = only(read(tmp_path, text)).traces
    assert len(trace.position_mm) == 10


def test_wide_traces_of_unequal_length_drop_their_blank_cells(tmp_path: Path) -> None:
    write_part(tmp_path)
    rows = [f"OT1,{x},{x * 2},{'' if x > 6 else x * 3}" for x in range(1, 11)]
    (tmp_path / "w.csv").write_text("\n".join(["sn,s,L1,L2", *rows]))
    with read(
        tmp_path,
        r"""
        [profile]
        file = "w.csv"
        blank = "drop"
        [profile.columns]
        serial = "sn"
        roll_length_mm = "s"
        [[profile.wide]]
        header = 'L(?P<tooth>\d+)'
        columns = { flank = { constant = "left" } }
        """,
    ) as inspection:
        (gear,) = inspection
        assert [(t.tooth, len(t.position_mm)) for t in gear.traces] == [(1, 10), (2, 6)]
        assert "4 rows with blank cells" in " ".join(n.message for n in inspection.notices)


def test_wide_pitch_and_runout_with_one_gear_per_row(tmp_path: Path) -> None:
    write_part(tmp_path)
    rng = np.random.default_rng(4)
    index = np.round(rng.normal(0, 3, (2, 2, TEETH)), 2)
    balls = np.round(rng.normal(0, 3, (2, TEETH)), 2)
    head = ",".join(["sn", "fl", *(f"T{t}" for t in range(TEETH))])
    rows = [
        ",".join([f"OT{g}", fl, *map(str, index[g, f])]) for g in (0, 1) for f, fl in enumerate(["li", "re"])
    ]
    (tmp_path / "p.csv").write_text("\n".join([head, *rows]))
    head = ",".join(["sn", *(f"B{t}" for t in range(TEETH))])
    rows = [",".join([f"OT{g}", *map(str, balls[g])]) for g in (0, 1)]
    (tmp_path / "r.csv").write_text("\n".join([head, *rows]))
    with read(
        tmp_path,
        r"""
        [pitch]
        file = "p.csv"
        columns = { serial = "sn", flank = { column = "fl", values = { li = "left", re = "right" } } }
        wide = { header = '^T(?P<tooth>\d+)$', value = "index_um", tooth_offset = 1 }
        [runout]
        file = "r.csv"
        columns = { serial = "sn" }
        wide = { header = '^B(?P<space>\d+)$', value = "radial_um", tooth_offset = 1 }
        """,
    ) as inspection:
        for number, gear in enumerate(inspection):
            assert gear.serial == f"OT{number}"
            assert gear.pitch["left"].index_um.tolist() == index[number, 0].tolist()
            assert gear.pitch["right"].index_um.tolist() == index[number, 1].tolist()
            assert gear.runout is not None
            assert gear.runout.radial_um.tolist() == balls[number].tolist()


def test_rows_are_picked_and_one_file_serves_two_tables(tmp_path: Path) -> None:
    folder = tmp_path / "f"
    folder.mkdir()
    write_part(folder)
    rows = ["kind;part;sn;side;z;pos;val"]
    for word, traces in (("P", PROFILE), ("H", HELIX)):
        rows += [f"{word};OT-7;OT1;{p.flank};{p.tooth};{p.x};{p.y}" for p in traces]
        rows += [f"{word};OT-8;OT1;{p.flank};{p.tooth};{p.x};99" for p in traces]
    (folder / "all.csv").write_text("\n".join(rows))
    table = """
    [{kind}]
    file = "all.csv"
    where = {{ kind = "{word}", part = "OT-7" }}
    [{kind}.columns]
    serial = "sn"
    flank = "side"
    tooth = "z"
    {position} = "pos"
    deviation_um = "val"
    """
    gear = only(
        read(
            folder,
            table.format(kind="profile", word="P", position="roll_length_mm")
            + table.format(kind="helix", word="H", position="face_position_mm"),
        )
    )
    expected = content(neutral(tmp_path / "p", "profile", PROFILE))
    expected |= content(neutral(tmp_path / "h", "helix", HELIX))
    assert content(gear) == expected


def test_a_map_may_exchange_the_names_of_the_flanks(tmp_path: Path) -> None:
    folder = tmp_path / "f"
    folder.mkdir()
    write_part(folder)
    other = {"left": "right", "right": "left"}
    rows = [f"OT1;{other[p.flank]};{p.tooth};{p.x};{p.y}" for p in PROFILE]
    (folder / "p.txt").write_text("\n".join(["sn;side;z;roll;dev", *rows]))
    gear = only(
        read(
            folder,
            """
            [profile]
            file = "p.txt"
            [profile.columns]
            serial = "sn"
            flank = { column = "side", values = { left = "right", right = "left" } }
            tooth = "z"
            roll_length_mm = "roll"
            deviation_um = "dev"
            """,
        )
    )
    assert content(gear) == content(neutral(tmp_path / "n", "profile", PROFILE))


def test_times_from_two_columns_with_a_zone(tmp_path: Path) -> None:
    write_part(tmp_path)
    traces = [f"OT1,{p.flank},{p.tooth},{p.x},{p.y}" for p in PROFILE]
    (tmp_path / "t.csv").write_text("\n".join(["serial,flank,tooth,roll_length_mm,deviation_um", *traces]))
    (tmp_path / "log.txt").write_text("sn;day;clock;cell\nOT1;14.03.2025;06:30;A\n")
    gear = only(
        read(
            tmp_path,
            """
            [production]
            file = "log.txt"
            [production.columns]
            serial = "sn"
            grinder = { constant = "G2" }
            cell = "cell"
            [production.columns.finished_at]
            columns = ["day", "clock"]
            format = "%d.%m.%Y %H:%M"
            timezone = "Europe/Vienna"
            """,
        )
    )
    assert gear.production is not None
    assert gear.production.finished_at is not None
    assert gear.production.finished_at.isoformat() == "2025-03-14T06:30:00+01:00"
    assert gear.production.grinder == "G2"
    assert gear.production.labels == {"cell": "A"}


def test_mapped_files_are_read_by_the_map_alone_and_the_rest_as_ever(tmp_path: Path) -> None:
    write_part(tmp_path)
    traces = [f"OT1,{p.flank},{p.tooth},{p.x},{p.y}" for p in PROFILE]
    header = "serial,flank,tooth,roll_length_mm,deviation_um"
    (tmp_path / "a.csv").write_text("\n".join([header, *traces]))
    (tmp_path / "b.csv").write_text("\n".join([header, *traces]))
    columns_map = """
    [profile]
    file = "b.csv"
    [profile.columns]
    serial = { constant = "OT2" }
    flank = "flank"
    tooth = "tooth"
    roll_length_mm = "roll_length_mm"
    deviation_um = { column = "deviation_um", factor = -1.0 }
    """
    with read(tmp_path, columns_map) as inspection:
        first, second = inspection
    assert (first.serial, second.serial) == ("OT1", "OT2")
    for one, other in zip(first.traces, second.traces, strict=True):
        assert (one.deviation_um == -other.deviation_um).all()


def test_faults_of_a_mapped_table_name_the_foreign_column(tmp_path: Path) -> None:
    write_part(tmp_path)
    (tmp_path / "x.txt").write_text("SN;Side;Z;s;v\nOT1;L;0;1,0;n/a\nOT1;X;1;2,0;3\n")
    with pytest.raises(InputError) as caught:
        read(
            tmp_path,
            """
            [profile]
            file = "x.txt"
            [profile.columns]
            serial = "SN"
            flank = { column = "Side", values = { L = "left" } }
            tooth = "Z"
            roll_length_mm = "s"
            deviation_um = "v"
            """,
        )
    told = {(p.reason, p.column, p.line) for p in caught.value.problems}
    assert told >= {
        (Reason.OUT_OF_RANGE, "Z", 2),
        (Reason.NOT_A_NUMBER, "v", 2),
        (Reason.UNKNOWN_WORD, "Side", 3),
    }


def test_a_header_that_the_map_names_wrongly(tmp_path: Path) -> None:
    write_part(tmp_path)
    (tmp_path / "x.txt").write_text("SN;z\nOT1;1\n")
    with pytest.raises(InputError) as caught:
        read(
            tmp_path,
            """
            [runout]
            file = "x.txt"
            [runout.columns]
            serial = "SN"
            space = "z"
            radial_um = "ball"
            """,
        )
    assert [(p.reason, p.column) for p in caught.value.problems] == [(Reason.MISSING_COLUMN, "ball")]


def test_faults_of_map_and_part_file_come_together(tmp_path: Path) -> None:
    write_part(tmp_path)
    path = tmp_path / "part.toml"
    path.write_text(path.read_text().replace("class = 8", "class = 12"))
    (tmp_path / "t.csv").write_text("serial,space,radial_um\nOT1,1,x\n")
    with pytest.raises(InputError) as caught:
        read(tmp_path, '[profile]\nfile = "a.txt"\nblank = "no"\n')
    assert {p.file for p in caught.value.problems} == {"part.toml", "map.toml", "t.csv"}


HEAD = """
[profile]
file = "*.txt"
skip_rows = {skip}
[profile.columns]
serial = {{ head = {serial} }}
flank = {{ head = "Flank", values = {{ L = "left", R = "right" }} }}
tooth = {{ head = "Tooth no." }}
roll_length_mm = "roll"
deviation_um = "dev"
[production]
file = "*.txt"
skip_rows = {skip}
[production.columns]
serial = {{ head = {serial} }}
measured_at = {{ head = "Date", format = "%d.%m.%Y %H:%M" }}
"""


@pytest.mark.parametrize(
    ("first", "serial"),
    [
        ("Serial; OT1; Flank; {f}", '"Serial"'),
        ("Part no.: X   Serial:  OT1    Flank = {f}", '"serial"'),
        ("# gear: OT1\n# flank: {f}", '"gear"'),
        ("# gear OT1 (ground)\nFlank\t{f}", "'gear (\\w+)'"),
        ('"Serial","OT1","Flank","{f}"', '"Serial"'),
    ],
)
def test_serial_flank_and_time_from_the_lines_above_the_header(
    tmp_path: Path, first: str, serial: str
) -> None:
    """What a report prints above its table is read by its label, or by a pattern."""
    folder = tmp_path / "f"
    folder.mkdir()
    write_part(folder)
    skip = 0
    for flank, word in (("left", "L"), ("right", "R")):
        for tooth in (1, 11, 21):
            head = [*first.format(f=word).split("\n"), f"Tooth no.: {tooth}", "Date:  03.02.2025 10:15"]
            skip = len(head)
            rows = [f"{p.x};{p.y}" for p in PROFILE if (p.flank, p.tooth) == (flank, tooth)]
            (folder / f"{flank}{tooth}.txt").write_text("\n".join((*head, "roll;dev", *rows)))
    inspection = read(folder, HEAD.format(skip=skip, serial=serial))
    gear = only(inspection)
    assert gear.serial == "OT1"
    assert content(gear) == content(neutral(tmp_path / "p", "profile", PROFILE))
    assert gear.production is not None
    assert str(gear.production.measured_at) == "2025-02-03 10:15:00"


@pytest.mark.parametrize(
    ("lines", "found"),
    [
        ("Serial: OT1\nSerial: OT2", "'OT1' and 'OT2' for 'Serial' above the header"),
        ("Serial number: OT1", "no 'Serial' with a value above the header"),
        ("Serial:", "no 'Serial' with a value above the header"),
    ],
)
def test_a_head_without_one_value(tmp_path: Path, lines: str, found: str) -> None:
    write_part(tmp_path)
    head = [*lines.split("\n"), "Flank: L", "Tooth no.: 1", "Date: 03.02.2025 10:15"]
    (tmp_path / "a.txt").write_text("\n".join((*head, "roll;dev", "8;1", "9;2")))
    with pytest.raises(InputError) as caught:
        read(tmp_path, HEAD.format(skip=len(head), serial='"Serial"'))
    assert {problem.found for problem in caught.value.problems} == {found}


def pitch_rows(flank: str) -> list[str]:
    return [f"{tooth};{index}" for tooth, index in enumerate(PITCH[flank], 1)]


PITCH = {
    "left": [round(math.sin(k), 2) for k in range(31)],
    "right": [round(math.cos(k), 2) for k in range(31)],
}


def pitch_of(gear: GearMeasurement) -> dict[str, list[float]]:
    return {p.flank: [round(float(v), 6) for v in p.index_um] for p in gear.pitch.values()}


def test_two_pitch_tables_one_a_flank(tmp_path: Path) -> None:
    """By the file name, by a line of the head, as constant; side by side, and one below the other."""
    ways = {
        "name": '[pitch]\nfile = "pitch_*.csv"\n[pitch.columns]\nserial = { constant = "OT1" }\n'
        "flank = { path = 'pitch_(\\w+)' }\n",
        "head": '[pitch]\nfile = "pitch_*.csv"\nskip_rows = 1\n[pitch.columns]\n'
        'serial = { constant = "OT1" }\n'
        'flank = { head = "Flank" }\n',
        "constant": '[[pitch]]\nfile = "pitch_left.csv"\n[pitch.columns]\nserial = { constant = "OT1" }\n'
        'flank = { constant = "left" }\ntooth = "no"\nindex_um = "F"\n'
        '[[pitch]]\nfile = "pitch_right.csv"\n[pitch.columns]\nserial = { constant = "OT1" }\n'
        'flank = { constant = "right" }\n',
    }
    for way, text in ways.items():
        folder = tmp_path / way
        folder.mkdir()
        write_part(folder)
        for flank in FLANKS:
            first = [f"Flank: {flank}"] if way == "head" else []
            (folder / f"pitch_{flank}.csv").write_text("\n".join((*first, "no;F", *pitch_rows(flank))))
        gear = only(read(folder, text + 'tooth = "no"\nindex_um = "F"\n'))
        assert pitch_of(gear) == PITCH, way


def test_two_pitch_tables_in_one_file(tmp_path: Path) -> None:
    one = """
    [[pitch]]
    file = "pitch.csv"
    skip_rows = {skip}
    skip_last_rows = {last}
    [pitch.columns]
    serial = {{ constant = "OT1" }}
    flank = {{ constant = "{flank}" }}
    tooth = "no"
    index_um = "{value}"
    """
    beside, below = tmp_path / "beside", tmp_path / "below"
    for folder in (beside, below):
        folder.mkdir()
        write_part(folder)
    rows = [f"{k};{a};{b}" for k, (a, b) in enumerate(zip(*PITCH.values(), strict=True), 1)]
    (beside / "pitch.csv").write_text("\n".join(("no;L;R", *rows)))
    text = "".join(one.format(skip=0, last=0, flank=f, value=f[0].upper()) for f in FLANKS)
    assert pitch_of(only(read(beside, text))) == PITCH
    blocks = [(f"{flank} flank", "no;F", *pitch_rows(flank)) for flank in FLANKS]
    (below / "pitch.csv").write_text("\n".join(line for block in blocks for line in block))
    text = one.format(skip=1, last=33, flank="left", value="F")
    text += one.format(skip=34, last=0, flank="right", value="F")
    assert pitch_of(only(read(below, text))) == PITCH

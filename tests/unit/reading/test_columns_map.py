"""Column maps: every key checked, and the plans that come of them."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import get_args

import jsonschema
import pytest

from gearqa.errors import MeasurementFileError, PartFileError, Problem, Reason
from gearqa.reading.folder.listing import matches_any
from gearqa.reading.folder.sources import ColumnSource, Convention, TableKind, TableSource
from gearqa.reading.maps.columns_map import columns_json_schema, read_columns_map
from gearqa.reading.maps.map_model import ColumnsMap
from gearqa.reading.maps.map_sources import sources_of, unmapped_convention

PROFILE = """\
[profile]
file = "PROF_*.csv"
separator = ";"
decimal = ","
encoding = "cp1252"
skip_rows = 3
[profile.columns]
serial = "Part ID"
flank = { column = "Side", values = { L = "left", R = "right" } }
tooth = "Tooth no."
roll_length_mm = "Roll [mm]"
deviation_um = { column = "Dev [mm]", factor = 1000.0 }
"""

TABLE = "a\nb\nc\nPart ID;Side;Tooth no.;Roll [mm];Dev [mm]\nOT1;L;1;25,0;0,001\n"


def read(tmp_path: Path, text: str) -> ColumnsMap:
    path = tmp_path / "map.toml"
    path.write_text(text, encoding="utf-8")
    return read_columns_map(path)


def problems(tmp_path: Path, text: str) -> tuple[Problem, ...]:
    with pytest.raises(PartFileError) as caught:
        read(tmp_path, text)
    return caught.value.problems


def sources(tmp_path: Path, text: str, **files: str) -> tuple[TableSource, ...]:
    for name, content in files.items():
        path = tmp_path / name.replace("__", "/").replace("_dot_", ".")
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(content, encoding="utf-8")
    return sources_of(read(tmp_path, text), tmp_path)


def source_problems(tmp_path: Path, text: str, **files: str) -> tuple[Problem, ...]:
    with pytest.raises(MeasurementFileError) as caught:
        sources(tmp_path, text, **files)
    return caught.value.problems


def test_the_published_example_becomes_a_plan(tmp_path: Path) -> None:
    (plan,) = sources(tmp_path, PROFILE, PROF_1_dot_CSV=TABLE)
    assert (plan.kind, plan.name) == ("profile", "PROF_1.CSV")
    dialect = plan.dialect
    assert (dialect.encoding, dialect.separator, dialect.decimal, dialect.skip_rows) == (
        "cp1252",
        ";",
        ",",
        3,
    )
    assert plan.columns["serial"] == ColumnSource("Part ID")
    assert plan.columns["flank"].words == {"L": "left", "R": "right"}
    assert plan.columns["deviation_um"] == ColumnSource("Dev [mm]", factor=1000.0)
    assert plan.convention == Convention()


def test_the_unit_of_a_key_counts(tmp_path: Path) -> None:
    text = PROFILE.replace(
        'deviation_um = { column = "Dev [mm]", factor = 1000.0 }',
        'deviation_mm = { column = "Dev [mm]", factor = -1.0, offset = 0.5 }',
    )
    (plan,) = sources(tmp_path, text, PROF_1_dot_csv=TABLE)
    assert plan.columns["deviation_um"] == ColumnSource("Dev [mm]", factor=-1000.0, offset=500.0)
    assert "deviation_mm" not in plan.columns


def test_separator_decimal_and_encoding_are_found_out_where_absent(tmp_path: Path) -> None:
    text = PROFILE.replace('separator = ";"\ndecimal = ","\nencoding = "cp1252"\n', "")
    (tmp_path / "PROF_1.csv").write_bytes(TABLE.replace("OT1", "Räd1").encode("cp1252"))
    (plan,) = sources_of(read(tmp_path, text), tmp_path)
    assert (plan.dialect.encoding, plan.dialect.separator, plan.dialect.decimal) == ("cp1252", ";", ",")


def test_a_given_separator_wins_over_the_guess(tmp_path: Path) -> None:
    text = PROFILE.replace('separator = ";"\ndecimal = ","\n', 'separator = "|"\n')
    (plan,) = sources(tmp_path, text, PROF_1_dot_csv=TABLE.replace(";", "|"))
    assert (plan.dialect.separator, plan.dialect.decimal) == ("|", ",")


FAMILY = """\
[[helix]]
file = "**/*.dat"
[helix.columns]
serial = { path = 'S([^_]+)_' }
tooth = { path = '_Z(\\d+)', offset = 1 }
flank = { path = '_([LR])_', values = { L = "left", R = "right" } }
face_position_mm = { column = "pos", offset = 16 }
deviation_um = "dev"
"""


def test_values_from_the_path(tmp_path: Path) -> None:
    content = "pos;dev\n-16.0;1.5\n"
    plans = sources(
        tmp_path, FAMILY, **{"day1__S12a_L_Z0_dot_dat": content, "day2__deep__S7_R_Z29_dot_DAT": content}
    )
    found = [(p.name, *(p.columns[c].constant for c in ("serial", "flank", "tooth")), p.kind) for p in plans]
    assert found == [
        ("day1/S12a_L_Z0.dat", "12a", "left", "1", "helix"),
        ("day2/deep/S7_R_Z29.DAT", "7", "right", "30", "helix"),
    ]
    assert plans[0].columns["face_position_mm"] == ColumnSource("pos", offset=16.0)


@pytest.mark.parametrize(
    ("name", "reason", "found"),
    [
        ("X12_L_Z0.dat", Reason.MAP_WITHOUT_FILE, "no match of"),
        ("S12_L_.dat", Reason.MAP_WITHOUT_FILE, "no match of"),
    ],
)
def test_a_path_without_the_value(tmp_path: Path, name: str, reason: Reason, found: str) -> None:
    (tmp_path / name).write_text("pos;dev\n1;2\n")
    with pytest.raises(MeasurementFileError) as caught:
        sources_of(read(tmp_path, FAMILY), tmp_path)
    (problem,) = caught.value.problems
    assert (problem.reason, problem.file) == (reason, name)
    assert found in problem.found


def test_a_path_word_that_means_nothing(tmp_path: Path) -> None:
    text = FAMILY.replace("_([LR])_", "_([LRX])_")
    (problem,) = source_problems(tmp_path, text, S1_X_Z1_dot_dat="pos;dev\n1;2\n")
    assert problem.reason is Reason.UNKNOWN_WORD
    assert "'X'" in problem.found


def test_a_path_number_with_offset_must_be_a_number(tmp_path: Path) -> None:
    text = FAMILY.replace(r"_Z(\\d+)", r"_Z(\\w+)").replace(r"_Z(\d+)", r"_Z(\w+)")
    (problem,) = source_problems(tmp_path, text, S1_L_Zinf1_dot_dat="pos;dev\n1;2\n")
    assert problem.reason is Reason.NOT_A_NUMBER


def test_constants_where_blank_and_skips(tmp_path: Path) -> None:
    text = """
    [pitch]
    file = ["a.csv", "b.txt"]
    skip_after_header = 1
    skip_last_rows = 2
    blank = "drop"
    where = { "Part no" = "OT-4471", Op = 20 }
    [pitch.columns]
    serial = "SN"
    flank = { constant = "left" }
    tooth = { column = "Z", offset = 1 }
    index_um = "F"
    """
    plans = sources(tmp_path, text, a_dot_csv="SN,Z,F\n", b_dot_txt="SN,Z,F\n")
    assert [p.name for p in plans] == ["a.csv", "b.txt"]
    for plan in plans:
        assert plan.columns["flank"] == ColumnSource(constant="left")
        assert plan.columns["tooth"].offset == 1.0
        assert plan.where == {"Part no": "OT-4471", "Op": "20"}
        assert (plan.dialect.skip_after_header, plan.dialect.skip_last_rows) == (1, 2)
        assert plan.dialect.drop_blank


def test_wide_tables_give_one_plan_per_pattern(tmp_path: Path) -> None:
    text = r"""
    [profile]
    file = "w.csv"
    [profile.columns]
    serial = "SN"
    [[profile.wide]]
    header = 'L(?P<tooth>\d+)'
    value = "deviation_mm"
    tooth_offset = 1
    columns = { flank = { constant = "left" }, roll_length_mm = "s left" }
    [[profile.wide]]
    header = '(?P<flank>R)(?P<tooth>\d+)'
    values = { R = "right" }
    factor = -1.0
    columns = { roll_length_mm = "s right" }
    """
    left, right = sources(tmp_path, text, w_dot_csv="SN,s left,L0,s right,R0\n")
    assert left.wide is not None
    assert (left.wide.value, left.wide.factor, left.wide.tooth_offset) == ("deviation_um", 1000.0, 1)
    assert left.columns["flank"].constant == "left"
    assert left.columns["roll_length_mm"].column == "s left"
    assert right.wide is not None
    assert (right.wide.factor, right.wide.words) == (-1.0, {"R": "right"})
    assert "flank" not in right.columns
    assert right.columns["serial"].column == "SN"


def test_times_from_two_columns(tmp_path: Path) -> None:
    text = """
    [production]
    file = "log.csv"
    [production.columns]
    serial = "SN"
    finished_at = { columns = ["Date", "Time"], format = "%d.%m.%Y %H:%M", timezone = "Europe/Vienna" }
    shift = "Shift"
    """
    (plan,) = sources(tmp_path, text, log_dot_csv="SN;Date;Time;Shift\n")
    at = plan.columns["finished_at"]
    assert (at.columns, at.time_format, at.timezone) == (("Date", "Time"), "%d.%m.%Y %H:%M", "Europe/Vienna")
    assert plan.columns["shift"].column == "Shift"  # a label


def test_convention_of_the_map_and_of_one_table(tmp_path: Path) -> None:
    text = '[convention]\nseen_from = "opposite_face"\nnumbering = "anticlockwise"\n' + PROFILE
    (plan,) = sources(tmp_path, text, PROF_1_dot_csv=TABLE)
    assert plan.convention == Convention("opposite_face", "anticlockwise")
    assert unmapped_convention(read(tmp_path, text)) == Convention()  # its files only
    text += '[profile.convention]\nnumbering = "anticlockwise"\n'
    (plan,) = sources_of(read(tmp_path, text), tmp_path)
    assert plan.convention == Convention("datum_face", "anticlockwise")


def test_convention_alone_holds_for_all_tables(tmp_path: Path) -> None:
    columns_map = read(tmp_path, '[convention]\nseen_from = "opposite_face"\n')
    assert unmapped_convention(columns_map) == Convention("opposite_face", "clockwise")
    assert sources_of(columns_map, tmp_path) == ()


def test_simulated_tables_say_so(tmp_path: Path) -> None:
    (plan,) = sources(tmp_path, PROFILE, PROF_1_dot_csv="# gearqa simulated\n" + TABLE)
    assert plan.simulated


# --- files -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "pattern", "fits"),
    [
        ("PROF_1.csv", "prof_*.CSV", True),
        ("a/PROF_1.csv", "PROF_*.csv", False),
        ("a/PROF_1.csv", "*/PROF_*.csv", True),
        ("a/PROF_1.csv", "a\\PROF_*.csv", True),
        ("a/b/c.txt", "**/*.txt", True),
        ("c.txt", "**/*.txt", True),
        ("a/b/c.txt", "a/**/c.txt", True),
        ("a/b/c.txt", "**/*", True),
        ("x[1].csv", "x[[]1].csv", True),
        ("t1.csv", "t[0-9].csv", True),
        ("ta.csv", "t?.csv", True),
        ("t/a.csv", "t?a.csv", False),
        ("t1.csv", "t[!2].csv", True),
        ("t1.csv", "t[z-a].csv", False),
        ("t2.csv", "t[!2].csv", False),
        ("a+b(1).csv", "a+b(1).csv", True),
        ("notes.csv.bak", "notes*.csv", False),
    ],
)
def test_patterns(name: str, pattern: str, fits: bool) -> None:
    assert matches_any(name, [pattern]) is fits


def test_a_pattern_without_a_file_names_the_nearest(tmp_path: Path) -> None:
    (problem,) = source_problems(tmp_path, PROFILE.replace("PROF_*.csv", "PROF-1.csv"), PROF_1_dot_csv=TABLE)
    assert problem.reason is Reason.MAP_WITHOUT_FILE
    assert "PROF_1.csv" in problem.hint


def test_ignored_files_are_not_read_by_the_map_either(tmp_path: Path) -> None:
    text = 'ignore = ["prof_old*"]\n' + PROFILE
    plans = sources(tmp_path, text, PROF_1_dot_csv=TABLE, PROF_old_dot_csv=TABLE)
    assert [p.name for p in plans] == ["PROF_1.csv"]


def test_one_file_in_two_tables_of_a_kind_needs_where(tmp_path: Path) -> None:
    table = PROFILE.replace("[profile]", "[[profile]]")
    both = table + table.replace("PROF_*", "PROF_1")
    (problem,) = source_problems(tmp_path, both, PROF_1_dot_csv=TABLE)
    assert problem.reason is Reason.CONTRADICTION
    split = table.replace("skip_rows", 'where = { Op = "10" }\nskip_rows') + table.replace(
        "skip_rows", 'where = { Op = "20" }\nskip_rows'
    )
    assert len(sources_of(read(tmp_path, split), tmp_path)) == 2


def test_a_file_that_is_no_text(tmp_path: Path) -> None:
    (tmp_path / "PROF_1.csv").write_bytes(b"PK\x03\x04\x00\x00")
    with pytest.raises(MeasurementFileError) as caught:
        sources_of(read(tmp_path, PROFILE), tmp_path)
    assert [p.reason for p in caught.value.problems] == [Reason.NOT_TEXT]


# --- faults ----------------------------------------------------------------------------------------------

CONTRADICTION, RANGE, TYPE = Reason.CONTRADICTION, Reason.VALUE_OUT_OF_RANGE, Reason.WRONG_TYPE
UNKNOWN, WORD, MISSING = Reason.UNKNOWN_KEY, Reason.UNKNOWN_WORD, Reason.MISSING_KEY

FAULTS = [
    ("", "", MISSING, None),
    ('file = "PROF_*.csv"', "", MISSING, "profile.file"),
    ('file = "PROF_*.csv"', "file = 3", TYPE, "profile.file"),
    ('file = "PROF_*.csv"', 'file = ["a", ""]', RANGE, "profile.file[2]"),
    ('file = "PROF_*.csv"', 'file = "../other/*.csv"', RANGE, "profile.file[1]"),
    ('file = "PROF_*.csv"', 'file = "/etc/passwd"', RANGE, "profile.file[1]"),
    ('file = "PROF_*.csv"', "file = 'C:\\data\\a.csv'", RANGE, "profile.file[1]"),
    ('separator = ";"', 'separatr = ";"', UNKNOWN, "profile.separatr"),
    ('separator = ";"', 'separator = ";;"', RANGE, "profile.separator"),
    ('separator = ";"', 'separator = ","', CONTRADICTION, "profile.decimal"),
    ('separator = ";"', "separator = '\"'", RANGE, "profile.separator"),
    ('decimal = ","', 'decimal = "comma"', WORD, "profile.decimal"),
    ('encoding = "cp1252"', 'encoding = "cp9999"', WORD, "profile.encoding"),
    ('encoding = "cp1252"', 'encoding = "base64"', WORD, "profile.encoding"),
    ("skip_rows = 3", "skip_rows = -1", RANGE, "profile.skip_rows"),
    ("skip_rows = 3", "skip_rows = 1.5", TYPE, "profile.skip_rows"),
    ("skip_rows = 3", "skip_after_header = -1", RANGE, "profile.skip_after_header"),
    ("skip_rows = 3", "skip_last_rows = true", TYPE, "profile.skip_last_rows"),
    ("skip_rows = 3", 'blank = "skip"', WORD, "profile.blank"),
    ("skip_rows = 3", "where = { Op = true }", TYPE, "profile.where.Op"),
    ("skip_rows = 3", 'convention = { seen_from = "behind" }', WORD, "profile.convention.seen_from"),
    ("skip_rows = 3", 'convention = { numbering = "left" }', WORD, "profile.convention.numbering"),
    ('serial = "Part ID"\n', "", MISSING, "profile.columns"),
    ('serial = "Part ID"', "serial = 3", TYPE, "profile.columns.serial"),
    ('serial = "Part ID"', 'serial = ""', RANGE, "profile.columns.serial"),
    ('serial = "Part ID"', "serial = {}", CONTRADICTION, "profile.columns.serial"),
    ('serial = "Part ID"', 'serial = { colum = "A" }', UNKNOWN, "profile.columns.serial.colum"),
    ('serial = "Part ID"', 'serial = { column = "A", constant = "B" }', CONTRADICTION,
     "profile.columns.serial"),
    ('serial = "Part ID"', "serial = { path = 'S(' }", RANGE, "profile.columns.serial.path"),
    ('serial = "Part ID"', "serial = { path = 'S' }", RANGE, "profile.columns.serial.path"),
    ('serial = "Part ID"', "serial = { path = '(S)(T)' }", RANGE, "profile.columns.serial.path"),
    ('serial = "Part ID"', "serial = { columns = [] }", RANGE, "profile.columns.serial.columns"),
    ('serial = "Part ID"', 'serial = { column = "A", format = "%d.%m" }', CONTRADICTION,
     "profile.columns.serial.format"),
    ('R = "right"', 'R = "rihgt"', WORD, "profile.columns.flank.values.R"),
    ("factor = 1000.0", "factor = 0.0", RANGE, "profile.columns.deviation_um.factor"),
    ("factor = 1000.0", "factor = nan", Reason.NOT_FINITE, "profile.columns.deviation_um.factor"),
    ("factor = 1000.0", 'offset = "1"', TYPE, "profile.columns.deviation_um.offset"),
    ('roll_length_mm = "Roll [mm]"', 'roll_lenght_mm = "Roll [mm]"', UNKNOWN,
     "profile.columns.roll_lenght_mm"),
    ('tooth = "Tooth no."', 'tooth = "T"\ndeviation_mm = "D"', CONTRADICTION, "profile.columns.deviation_um"),
    ("[profile.columns]", "[profile.colums]", UNKNOWN, "profile.colums"),
]  # fmt: skip


@pytest.mark.parametrize(("old", "new", "reason", "key"), FAULTS)
def test_faults_of_a_map(tmp_path: Path, old: str, new: str, reason: Reason, key: str | None) -> None:
    assert old in PROFILE
    told = problems(tmp_path, PROFILE.replace(old, new, 1) if old else "")
    assert (reason, key) in {(p.reason, p.key) for p in told}
    expected_alone = not key or "roll_lenght" not in key
    assert len(told) == 1 or not expected_alone or key == "profile.colums"


WIDE_FAULTS = [
    ("header = 'T(?P<tooth>\\d+)'", "header = 'T(\\d+)'", WORD, "pitch.wide[1].header"),
    ("header = 'T(?P<tooth>\\d+)'", "header = 'T(?P<zahn>\\d+)'", WORD, "pitch.wide[1].header"),
    ("header = 'T(?P<tooth>\\d+)'", "header = 'T(?P<tooth>'", RANGE, "pitch.wide[1].header"),
    ("header = 'T(?P<tooth>\\d+)'", "", MISSING, "pitch.wide[1].header"),
    ('value = "index_um"', 'value = "index_cm"', UNKNOWN, "pitch.wide[1].value"),
    ('value = "index_um"', 'value = "index_um"\nvalues = { a = "lefft" }', WORD, "pitch.wide[1].values.a"),
    ('value = "index_um"', 'value = "index_um"\nfactor = 0.0', RANGE, "pitch.wide[1].factor"),
    ('value = "index_um"', 'value = "index_um"\ntooth_offset = 0.5', TYPE, "pitch.wide[1].tooth_offset"),
    ('flank = "F"', "", MISSING, "pitch.columns"),
]


@pytest.mark.parametrize(("old", "new", "reason", "key"), WIDE_FAULTS)
def test_faults_of_a_wide_table(tmp_path: Path, old: str, new: str, reason: Reason, key: str) -> None:
    text = """\
[pitch]
file = "p.csv"
[pitch.columns]
serial = "S"
flank = "F"
[[pitch.wide]]
header = 'T(?P<tooth>\\d+)'
value = "index_um"
"""
    read(tmp_path, text)
    assert old in text
    assert [(p.reason, p.key) for p in problems(tmp_path, text.replace(old, new))] == [(reason, key)]


@pytest.mark.parametrize(
    ("spec", "reason", "key"),
    [
        ('{ column = "D", format = "day first" }', RANGE, "production.columns.measured_at.format"),
        ('{ column = "D", format = "%d.%Q" }', RANGE, "production.columns.measured_at.format"),
        ('{ column = "D", timezone = "Europe/Wien" }', WORD, "production.columns.measured_at.timezone"),
        ('{ column = "D", timezone = "../etc" }', WORD, "production.columns.measured_at.timezone"),
    ],
)
def test_faults_of_times(tmp_path: Path, spec: str, reason: Reason, key: str) -> None:
    text = f'[production]\nfile = "p.csv"\n[production.columns]\nserial = "S"\nmeasured_at = {spec}\n'
    assert [(p.reason, p.key) for p in problems(tmp_path, text)] == [(reason, key)]


def test_faults_of_all_tables_come_at_once(tmp_path: Path) -> None:
    text = PROFILE.replace("skip_rows = 3", "skip_rows = -3") + (
        '[[helix]]\nfile = "h.csv"\ncolumns = { serial = "s" }\n'
        '[[helix]]\nfile = "i.csv"\nblank = 1\n[pich]\n'
    )
    told = [(p.reason, p.key) for p in problems(tmp_path, text)]
    assert told[0] == (RANGE, "profile.skip_rows")
    assert told.count((MISSING, "helix[1].columns")) == 4
    assert (TYPE, "helix[2].blank") in told or (WORD, "helix[2].blank") in told
    assert (UNKNOWN, "pich") in told


# --- JSON Schema -------------------------------------------------------------------------------------------


def test_the_schema_covers_all_kinds_and_accepts_maps() -> None:
    schema = columns_json_schema()
    jsonschema.Draft202012Validator.check_schema(schema)
    assert set(get_args(TableKind)) <= set(schema["properties"])
    for text in (PROFILE, FAMILY, PROFILE.replace("[profile]", "[[profile]]")):
        jsonschema.validate(tomllib.loads(text), schema)


@pytest.mark.parametrize(
    ("old", "new"),
    [('separator = ";"', 'separatr = ";"'), ("skip_rows = 3", "skip_rows = -1"), ('"Part ID"', "3")],
)
def test_the_schema_refuses_faulty_maps(old: str, new: str) -> None:
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(tomllib.loads(PROFILE.replace(old, new)), columns_json_schema())


def test_a_unit_left_open_in_a_draft_does_not_read(tmp_path: Path) -> None:
    text = """[profile]
file = "*.csv"
[profile.columns]
serial = "Part"
flank = "Side"
tooth = "Tooth"
roll_length_mm = "Roll"
deviation_um = "Dev"  # TODO: the file does not say the unit; from mm: { column = "Dev", factor = 1000.0 }
"""
    (problem,) = problems(tmp_path, text)
    assert (problem.reason, problem.line, problem.key) == (Reason.MISSING_KEY, 8, "deviation_um")
    assert read(tmp_path, text.partition("  # TODO")[0] + "\n").profile

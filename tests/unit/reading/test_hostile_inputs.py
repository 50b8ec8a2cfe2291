"""Inputs that nobody writes by accident end with a message, soon and in little memory."""

from __future__ import annotations

import base64
import json
from itertools import repeat

import pytest
from made_folders import pitch_folder

from gearqa.errors import InputError, NoticeCode, Reason, RecordError
from gearqa.model.part import Part
from gearqa.reading.folder.dialect import first_decimal_mark
from gearqa.reading.folder.passes import read_folder
from gearqa.reading.rows import csv_rows
from gearqa.reading.rows.patterns import Pattern, PatternError
from gearqa.reading.values.reported import read_reported
from gearqa.signoff.key_files import load_private_key, load_public_key, make_keys
from gearqa.signoff.record import load_record


def reasons(folder, **options):
    try:
        read_folder(folder, **options).close()
    except InputError as error:
        return {problem.reason for problem in error.problems}
    return set()


def table(tmp_path, header, *rows, extra=""):
    folder = pitch_folder(tmp_path / "lot", extra=extra)
    (folder / "pitch.csv").write_text("\n".join([header, *rows]) + "\n", encoding="utf-8")
    return folder


HEADER = "serial,flank,tooth,index_um"
FULL = [f"A,{flank},{tooth},1.5" for flank in ("left", "right") for tooth in range(1, 9)]


# --- numbers that mean nothing ---------------------------------------------------------------------------


@pytest.mark.parametrize("cell", ["1e308", "-1e308", "1e10", "-1000000001"])
def test_a_reading_beyond_its_range(tmp_path, cell):
    folder = table(tmp_path, HEADER, *FULL[:-1], f"A,right,8,{cell}")
    assert reasons(folder) == {Reason.OUT_OF_RANGE}


def test_the_largest_reading_is_read(tmp_path):
    assert reasons(table(tmp_path, HEADER, *FULL[:-1], "A,right,8,-1e9")) == set()


@pytest.mark.parametrize("cutoff", ["1e-300", "1e300", "5e-324", "0.00009", "100001.0"])
def test_a_cutoff_beyond_its_range(tmp_path, cutoff):
    extra = f"[evaluation.filter]\nprofile_cutoff_mm = {cutoff}\n"
    assert reasons(table(tmp_path, HEADER, *FULL, extra=extra)) == {Reason.VALUE_OUT_OF_RANGE}


def test_every_number_of_a_part_file_has_a_range_in_the_schema():
    def numbers(node, path=""):
        if isinstance(node, dict):
            if node.get("type") in ("number", "integer"):
                yield path, node
            for key, value in node.items():
                yield from numbers(value, f"{path}/{key}")
        elif isinstance(node, list):
            for one in node:
                yield from numbers(one, path)

    found = list(numbers(Part.model_json_schema()))
    assert len(found) > 40
    for path, node in found:
        assert {"maximum", "exclusiveMaximum"} & set(node), path
        assert {"minimum", "exclusiveMinimum"} & set(node), path


@pytest.mark.parametrize("year", ["0001-01-01", "1899-12-31", "2201-01-01", "9999-12-31T23:59:59"])
def test_a_year_that_no_gear_was_made_in(tmp_path, year):
    folder = table(tmp_path, HEADER, *FULL)
    (folder / "production.csv").write_text(f"serial,finished_at\nA,{year}\n")
    assert reasons(folder) == {Reason.BAD_TIME}


def test_the_only_row_of_a_gear_is_at_fault(tmp_path):
    folder = table(tmp_path, HEADER, *FULL)
    (folder / "production.csv").write_text("serial,finished_at\nB,yesterday\n")
    assert reasons(folder) == {Reason.BAD_TIME}
    assert reasons(folder, serials=["B"]) == {Reason.BAD_TIME}


@pytest.mark.parametrize(
    "name", ['number = "T\\u0000"', 'number = "T"\n"a\\u0000" = 1', 'number = "\\U00000000"']
)
def test_a_nul_character_in_a_part_file(tmp_path, name):
    folder = table(tmp_path, HEADER, *FULL)
    part = folder / "part.toml"
    part.write_text(part.read_text().replace('number = "T-8"', name))
    with pytest.raises(InputError, match="NUL character"):
        read_folder(folder)


def test_a_key_of_an_unknown_kind(tmp_path):
    make_keys(tmp_path / "a.key", tmp_path / "a.pub")
    for name, load in {"a.key": load_private_key, "a.pub": load_public_key}.items():
        path = tmp_path / name
        head, body, *rest = path.read_text().splitlines()
        other = base64.b64encode(base64.b64decode(body).replace(b"\x2b\x65\x70", b"\x2b\x45\x70")).decode()
        path.write_text("\n".join([head, other, *rest, ""]))
        with pytest.raises(RecordError, match="that can be read"):
            load(path)


# --- TOML and records ------------------------------------------------------------------------------------

TOML = {
    "nested lists": "a = " + "[" * 5000 + "]" * 5000,
    "nested tables": "a = " + "{a=" * 5000 + "1" + "}" * 5000,
    "a dotted key": ".".join("a" * 20_000) + " = 1",
    "a dotted table": "[" + ".".join("a" * 20_000) + "]",
    "a long integer": "[gear]\nteeth = " + "9" * 5000,
    "a long hexadecimal": "[gear]\nteeth = 0x" + "f" * 5000,
    "400 digits": "[gear]\nteeth = " + "9" * 400,
    "a large file": "# " + "x" * (1 << 20),
}


@pytest.mark.parametrize("text", TOML.values(), ids=TOML)
def test_a_part_file(tmp_path, text):
    folder = table(tmp_path, HEADER, *FULL)
    (folder / "part.toml").write_text(text)
    assert reasons(folder)


@pytest.mark.parametrize(
    "text",
    [
        "[" * 100_000,
        '{"a":' * 100_000,
        '{"a": 1e400}',
        '{"a": ' + "9" * 5000 + "}",
        '{"a": "\\ud800"}',
        "\0",
        "[" * 60 + "]" * 60,
    ],
)
def test_a_record(tmp_path, text):
    path = tmp_path / "a.rec"
    path.write_text(text)
    with pytest.raises(RecordError, match="no JSON document"):
        load_record(path)
    assert json.loads('{"a": 1}') == {"a": 1}


# --- tables ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("quote", ["", '"'])
def test_a_header_cell_beyond_what_the_library_takes(tmp_path, quote):
    folder = table(tmp_path, f"{HEADER},{quote}{'x' * 140_000}{quote}", *(f"{row}," for row in FULL))
    assert reasons(folder) == {Reason.UNREADABLE_CSV}


def test_a_line_without_end(tmp_path):
    assert reasons(table(tmp_path, HEADER, *FULL, "x" * 3_000_000)) == {Reason.UNREADABLE_CSV}
    assert reasons(table(tmp_path, "x" * 5_000_000)) == {Reason.NOT_TEXT}


def test_blank_lines_without_end(tmp_path, monkeypatch):
    assert reasons(table(tmp_path, "\n" * 5_000_000)) == {Reason.NOT_TEXT}
    monkeypatch.setattr(csv_rows, "MOST_SKIPPED", 5000)
    assert reasons(table(tmp_path, HEADER, "\n" * 20_000, *FULL)) == {Reason.UNREADABLE_CSV}
    assert reasons(table(tmp_path, HEADER, "\n" * 2000, *FULL)) == set()


def test_a_pattern_takes_no_longer_than_its_text(tmp_path):
    assert Pattern("^(s+)+(?P<tooth>x)$").search("s" * 50_000) is None
    for text in ("(", "(?=a)", r"(a)\1"):
        with pytest.raises(PatternError):
            Pattern(text)


# --- a decimal comma between commas ------------------------------------------------------------------------


@pytest.mark.parametrize(
    "header",
    [f"{HEADER},", f"{HEADER},note", f"{HEADER},,", "serial,flank,tooth,,index_um,x"],
)
def test_decimals_in_the_next_column_are_refused(tmp_path, header):
    spare = header.count(",") - HEADER.count(",") - 1
    rows = [row.replace("1.5", "-30,750") + "," * spare for row in FULL]
    if ",," in header[:25]:
        rows = [row.replace("-30,750,", ",-30,750") for row in rows]
    assert reasons(table(tmp_path, header, *rows)) == {Reason.RAGGED_ROW}


@pytest.mark.parametrize(
    ("header", "change"),
    [
        (f"{HEADER},", ("1.5", "1.5,")),
        (f"{HEADER},note", ("1.5", "1.5,750")),
        (f"{HEADER},note", ("1.5", "2,ok")),
        ("point," + HEADER, ("A,", "7,A,")),
    ],
)
def test_columns_that_are_no_decimals_are_ignored_as_before(tmp_path, header, change):
    rows = [row.replace(*change) for row in FULL]
    with read_folder(table(tmp_path, header, *rows)) as inspection:
        assert NoticeCode.UNKNOWN_COLUMN in {notice.code for notice in inspection.notices}


@pytest.mark.parametrize("beside", ["", "ok"])
def test_decimals_in_the_next_column_of_a_late_row_are_refused(tmp_path, beside):
    early = [f"A,left,{k},2,{beside}" for k in range(1, 3000)]
    assert reasons(table(tmp_path, f"{HEADER},note", *early, "A,left,3000,-30,750")) == {Reason.RAGGED_ROW}


def test_decimals_are_no_measurements(tmp_path):
    rows = [row.replace("1.5", f"-30,{75 + k}") for k, row in enumerate(FULL)]
    assert reasons(table(tmp_path, f"{HEADER},measurement", *rows)) == {Reason.RAGGED_ROW}
    rows = [row.replace("1.5", f"-30,{k % 2 + 1}") for k, row in enumerate(FULL)]
    with read_folder(table(tmp_path, f"{HEADER},measurement", *rows)) as inspection:
        assert len(list(inspection)) == 2


@pytest.mark.parametrize(("digits", "fault"), [("05", True), ("0", False), ("5", False), ("12", False)])
def test_leading_zeros_are_of_decimals_and_of_no_measurement(tmp_path, digits, fault):
    rows = [row.replace("1.5", f"-30,{digits}") for row in FULL]
    folder = table(tmp_path, f"{HEADER},measurement", *rows)
    assert reasons(folder) == ({Reason.RAGGED_ROW} if fault else set())


@pytest.mark.parametrize(("first", "fault"), [("-30", True), ("30", False), ("", False), ("-30.5", False)])
def test_a_sign_is_of_a_number_whose_decimals_stand_in_the_column_of_readings(tmp_path, first, fault):
    rows = [row.replace("1.5", "-30,750") for row in FULL]
    rows[0] = rows[0].replace("-30", first)
    if first == "30":
        rows = [row.replace("-30", "30") for row in rows]
    found = reasons(table(tmp_path, HEADER.replace("index_um", "note,index_um"), *rows))
    assert found == ({Reason.RAGGED_ROW} if fault else set())


@pytest.mark.parametrize("of_row", [True, False])
def test_another_serial_in_every_row_is_decimals(tmp_path, of_row):
    full = [row.split(",") for row in FULL]
    rows = [
        f"{flank},{tooth},-30,{k % 10 if of_row else '01'}" for k, (_, flank, tooth, _) in enumerate(full)
    ]
    found = reasons(table(tmp_path, "flank,tooth,index_um,serial", *rows))
    assert (Reason.RAGGED_ROW in found) == of_row


@pytest.mark.parametrize("decimal", ["", 'decimal = "."\n'])
def test_decimals_in_the_next_column_of_a_mapped_table_are_refused(tmp_path, decimal):
    rows = [row.replace("1.5", "-30,750") for row in FULL]
    folder = table(tmp_path, f"{HEADER},note", *rows)
    (name,) = (path.name for path in folder.glob("*.csv"))
    columns = "".join(f'{column} = "{column}"\n' for column in HEADER.split(","))
    (tmp_path / "map.toml").write_text(f'[pitch]\nfile = "{name}"\n{decimal}[pitch.columns]\n{columns}')
    assert reasons(folder, columns=tmp_path / "map.toml") == (set() if decimal else {Reason.RAGGED_ROW})


def test_columns_that_another_table_of_the_map_reads_are_no_decimals(tmp_path):
    rows = [f"A,{tooth},{tooth},{9 - tooth}" for tooth in range(1, 9)]
    folder = table(tmp_path, "serial,tooth,left,right", *rows)
    one = "[[pitch]]\nfile = 'pitch.csv'\n[pitch.columns]\nserial = 'serial'\ntooth = 'tooth'\n"
    flanks = ("left", "right")
    tables = [f"{one}index_um = '{flank}'\nflank = {{ constant = '{flank}' }}\n" for flank in flanks]
    (tmp_path / "map.toml").write_text("\n".join(tables))
    assert reasons(folder, columns=tmp_path / "map.toml") == set()


@pytest.mark.parametrize(("number", "fault"), [("3,1", True), ("3.1,", False), ("3,", False)])
def test_decimals_beside_reported_values_are_refused(tmp_path, number, fault):
    path = tmp_path / "report.csv"
    path.write_text(f"serial,parameter,flank,value_um,note\nA,single_pitch,left,{number}\n")
    if not fault:
        assert len(read_reported(path).values) == 1
        return
    with pytest.raises(InputError) as error:
        read_reported(path)
    assert [problem.reason for problem in error.value.problems] == [Reason.RAGGED_ROW]


EVENTS = "at,grinder,event,parameter,flank,unit,correction,remark"
MADE = "2025-03-01,G,correction,helix_slope,left,um"


@pytest.mark.parametrize(
    ("rows", "fault"),
    [
        ([f"{MADE},-3,5"], True),
        ([f"{MADE},-3,75", f"{MADE},2,"], True),
        ([f"{MADE},-3,4471"], False),
        ([f"{MADE},-3.5,2"], False),
        ([f"{MADE},-3,wheel 2"], False),
    ],
)
def test_decimals_of_a_correction_are_no_remark(tmp_path, rows, fault):
    folder = table(tmp_path, HEADER, *FULL)
    (folder / "events.csv").write_text("\n".join([EVENTS, *rows]) + "\n")
    assert reasons(folder) == ({Reason.RAGGED_ROW} if fault else set())


@pytest.mark.parametrize(
    ("cells", "told"), [("21,5", True), ("21.5,5", False), ("21,P-5", False), ("21,", False)]
)
def test_decimals_of_a_temperature_may_be_a_label(tmp_path, cells, told):
    folder = table(tmp_path, HEADER, *FULL)
    (folder / "production.csv").write_text(f"serial,temperature_degC,pallet\nA,{cells}\n")
    with read_folder(folder) as inspection:
        assert (NoticeCode.DECIMALS_BESIDE in {notice.code for notice in inspection.notices}) == told


@pytest.mark.parametrize(
    ("header", "rows", "told"),
    [
        ("value_um,class", ["3,1", "4,2"], True),
        ("value_um,class", ["3,1", "4.5,2"], False),
        ("value_um,class", ["3,1", "4,"], False),
        ("value_um,uncertainty_um", ["3,1", "12,1"], True),
        ("class,value_um", ["1,3", "2,4"], False),
    ],
)
def test_reported_values_that_can_be_read_both_ways_say_so(tmp_path, header, rows, told):
    path = tmp_path / "report.csv"
    lines = [f"{serial},single_pitch,left,{row}" for serial, row in zip("AB", rows, strict=True)]
    path.write_text("\n".join([f"serial,parameter,flank,{header}", *lines]) + "\n")
    assert (NoticeCode.DECIMALS_BESIDE in {notice.code for notice in read_reported(path).notices}) == told


def test_whole_positions_beside_decimals_are_no_shift(tmp_path):
    header = "serial,flank,tooth,face_position_mm,deviation_um,point"
    rows = [f"A,{flank},1,{k},{k}.5,{k}" for flank in ("left", "right") for k in range(21)]
    with read_folder(table(tmp_path, header, *rows)) as inspection:
        assert len(next(iter(inspection)).traces) == 2


@pytest.mark.parametrize("word", ["True", "TRUE", "true", "False"])
@pytest.mark.parametrize("fast_from", [0, 1 << 60])
def test_a_truth_value_is_no_tooth(tmp_path, monkeypatch, word, fast_from):
    monkeypatch.setattr("gearqa.reading.folder.passes.FAST_FROM_BYTES", fast_from)
    rows = [f"{serial},{flank},{word},1.5" for serial in "AB" for flank in ("left", "right")]
    assert reasons(table(tmp_path, HEADER, *rows)) == {Reason.NOT_A_NUMBER}


@pytest.mark.parametrize("line", [";;\n", "\n", "A;left;\n"])
def test_decimals_are_not_looked_for_in_blank_rows_without_end(line):
    left = repeat(line, csv_rows.MOST_SKIPPED + 5)
    assert first_decimal_mark(left, ";", (2,)) is None
    assert len(list(left)) == 4

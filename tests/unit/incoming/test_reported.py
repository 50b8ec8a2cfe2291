"""Reading of reported values: every problem at once, dialects, spellings, decimals, column maps."""

from __future__ import annotations

import pytest

from gearqa.errors import MeasurementFileError, PartFileError, Reason
from gearqa.reading.values.parameter_names import parameter_key
from gearqa.reading.values.reported import read_reported, typed_decimals
from gearqa.symbols import PARAMETERS


def table(tmp_path, text, name="report.csv", encoding="utf-8"):
    path = tmp_path / name
    path.write_bytes(text.encode(encoding))
    return path


def problems(path, **options):
    with pytest.raises(MeasurementFileError) as caught:
        read_reported(path, **options)
    return caught.value.problems


def test_a_whole_row(tmp_path):
    text = (
        "serial,parameter,value_um,flank,tooth,basis,class,standard,uncertainty_um,our_serial\n"
        "A-1,fHβ,-3.20,Left,7,mean,5,ISO 1328-1:2013,0.8,B-1\n"
    )
    (value,) = read_reported(table(tmp_path, text), teeth=20).values
    assert (value.serial, value.parameter, value.value_um, value.flank, value.tooth) == (
        "A-1", "helix_slope", -3.2, "left", 7,
    )  # fmt: skip
    assert (value.basis, value.class_, value.class_text) == ("mean", 5, "5")
    assert value.standard == "ISO 1328-1:2013"
    assert (value.uncertainty_um, value.our_serial, value.decimals, value.line) == (0.8, "B-1", 2, 2)


@pytest.mark.parametrize(
    ("text", "encoding"),
    [
        ("serial;parameter;value_um\nA;Fp;12,5\n", "utf-8-sig"),
        ("serial\tparameter\tvalue_um\nA\tFp\t12,5\n", "utf-16"),
        ("Serial , PARAMETER, Value_UM\n\n# note\nA,Fp,12.5\r\n", "cp1252"),
        ("serial,parameter,value_mm\nA,Fp,0.0125\n", "utf-8"),
        ("serial,parameter,value_um\nA,Teilungsgesamtabweichung,12.5\n", "cp1252"),
    ],
)
def test_dialects(tmp_path, text, encoding):
    (value,) = read_reported(table(tmp_path, text, encoding=encoding)).values
    assert (value.parameter, value.value_um, value.decimals) == ("cumulative_pitch", 12.5, 1)


def test_every_problem_is_told_at_once(tmp_path):
    text = (
        "serial,parameter,value_um,flank,tooth,basis,class,uncertainty_um\n"
        ",Fp,1.0,,,,,\n"
        "A,FP,1.0,,,,,\n"
        "A,width,1.0,,,,,\n"
        "A,Fα,nan,,,,,\n"
        "A,Fα,-1.0,left,,,,\n"
        "A,Fα,1.0,top,99,median,15,0\n"
        "A,,1.0,,,,,\n"
        "A,Fβ,,left,,,,\n"
        "A,fp,1.0,left,,,,\n"
        "A,fp,1.2,left,,,,\n"
        "A,fp,1.0\n"
    )
    with pytest.raises(MeasurementFileError) as caught:
        read_reported(table(tmp_path, text), teeth=30)
    assert [p.reason for p in caught.value.problems] == [Reason.RAGGED_ROW]
    found = problems(table(tmp_path, text.rpartition("A,fp,1.0\n")[0], "b.csv"), teeth=30)
    told = {(p.line, p.reason) for p in found}
    assert {
        (2, Reason.EMPTY_SERIAL), (3, Reason.UNKNOWN_WORD), (4, Reason.UNKNOWN_WORD), (5, Reason.NOT_FINITE),
        (6, Reason.OUT_OF_RANGE), (7, Reason.UNKNOWN_WORD), (7, Reason.OUT_OF_RANGE), (8, Reason.EMPTY_CELL),
        (9, Reason.EMPTY_CELL), (11, Reason.DUPLICATE_ROW),
    } <= told  # fmt: skip
    ambiguous = next(p for p in found if p.line == 3)
    assert "'single_pitch' (fp) or 'cumulative_pitch' (Fp)" in ambiguous.expected
    assert {p.column for p in found if p.line == 7} == {"flank", "tooth", "basis", "class", "uncertainty_um"}


@pytest.mark.parametrize(
    ("text", "reason", "words"),
    [
        ("serial,value_um\nA,1\n", Reason.MISSING_COLUMN, "without column 'parameter'"),
        ("serial,parameter,value\nA,Fp,1\n", Reason.MISSING_COLUMN, "the end of a column name is its unit"),
        ("serial,parameter,value_um,value_mm\nA,Fp,1,1\n", Reason.CONTRADICTING_COLUMNS, "one of the two"),
        ("serial,parameter,value_um,serial\nA,Fp,1,B\n", Reason.DUPLICATE_COLUMN, "each column once"),
        ("", Reason.EMPTY_TABLE, "with a header and rows"),
        ("serial,parameter,value_um\n", Reason.EMPTY_TABLE, "rows"),
        ("# gearqa result\nserial,parameter,value_um\nA,Fp,1\n", Reason.UNRECOGNISED_TABLE, "result written"),
    ],
)
def test_faults_of_the_table(tmp_path, text, reason, words):
    (problem,) = problems(table(tmp_path, text))
    assert problem.reason == reason
    assert words in str(problem)


def test_no_file_and_a_folder(tmp_path):
    assert problems(tmp_path / "none.csv")[0].reason == Reason.FILE_NOT_FOUND
    assert "a folder" in str(problems(tmp_path)[0])
    binary = tmp_path / "x.csv"
    binary.write_bytes(b"PK\x03\x04" + bytes(200))
    assert problems(binary)[0].reason == Reason.NOT_TEXT


def test_simulated_and_unknown_columns_are_told(tmp_path):
    text = "# gearqa simulated\nserial,parameter,value_um,colour\nA,Fp,1,red\n"
    read = read_reported(table(tmp_path, text))
    assert read.simulated
    assert {notice.code for notice in read.notices} == {"simulated", "unknown_column"}


def test_a_flank_of_what_has_none_is_dropped_and_told(tmp_path):
    read = read_reported(table(tmp_path, "serial,parameter,value_um,flank\nA,Fr,9,left\n"))
    assert read.values[0].flank is None
    assert [notice.code for notice in read.notices] == ["flank_not_used"]


def test_one_serial_of_ours_for_one_of_theirs(tmp_path):
    text = "serial,parameter,value_um,our_serial\nA,Fp,1,X\nB,Fp,1,X\n"
    (problem,) = problems(table(tmp_path, text))
    assert problem.reason == Reason.CONTRADICTION


@pytest.mark.parametrize(
    ("word", "number"),
    [
        ("5", 5), ("class 6", 6), ("5.0", 5), ("Grade 8", 8),
        ("A4", None), ("Q 7", None), ("Q13", None), ("AGMA A5", None), ("5/6", None),
    ],
)  # fmt: skip
def test_words_of_classes(tmp_path, word, number):
    text = f"serial,parameter,value_um,class\nA,Fp,1,{word}\n"
    (value,) = read_reported(table(tmp_path, text)).values
    assert (value.class_, value.class_text) == (number, word)


@pytest.mark.parametrize(("word", "number"), [("A4", 4), ("Q 7", 7), ("class 6", 6)])
def test_a_letter_before_a_class_needs_a_standard_to_be_a_number(tmp_path, word, number):
    """Other systems write A5 and Q7, and Q counts the other way round (common practice, no source)."""
    text = f"serial,parameter,value_um,class,standard\nA,Fp,1,{word},ISO 1328-1:2013\n"
    (value,) = read_reported(table(tmp_path, text)).values
    assert (value.class_, value.class_text) == (number, word)


def test_column_map(tmp_path):
    path = table(tmp_path, "Part;Char;Wert [mm];Seite;UID\nA;Profile slope;-0,0032;L;7\n", "supplier.csv")
    columns = tmp_path / "map.toml"
    columns.write_text(
        '[reported]\nfile = "supplier*.csv"\n[reported.columns]\nserial = "Part"\nparameter = "Char"\n'
        'value_mm = "Wert [mm]"\nflank = { column = "Seite", values = { L = "left", R = "right" } }\n',
        encoding="utf-8",
    )
    (value,) = read_reported(path, columns=columns).values
    assert (value.parameter, value.flank, value.decimals) == ("profile_slope", "left", 1)
    assert value.value_um == pytest.approx(-3.2, abs=1e-12)


def test_a_map_that_is_wrong_names_the_key(tmp_path):
    columns = tmp_path / "map.toml"
    columns.write_text(
        '[reported]\nfile = "*.csv"\n[reported.columns]\nserial = "S"\nvalu_um = "V"\n', encoding="utf-8"
    )
    path = table(tmp_path, "S;V\nA;1\n")
    with pytest.raises(PartFileError) as caught:
        read_reported(path, columns=columns)
    told = {(p.reason, p.key) for p in caught.value.problems}
    assert (Reason.UNKNOWN_KEY, "reported.columns.valu_um") in told
    assert (Reason.MISSING_KEY, "reported.columns") in told


def test_the_case_of_pitch_symbols_counts():
    assert (parameter_key("fp"), parameter_key("Fp")) == ("single_pitch", "cumulative_pitch")
    assert parameter_key("FP") == ("single_pitch", "cumulative_pitch")


@pytest.mark.parametrize("key", PARAMETERS)
def test_keys_symbols_and_names_are_understood(key):
    parameter = PARAMETERS[key]
    assert parameter_key(key) == key
    assert parameter_key(key.upper()) == key
    assert parameter_key(parameter.symbol) == key
    assert parameter_key(parameter.ascii_symbol) == key
    assert parameter_key(parameter.name) == key
    assert parameter_key(parameter.name.title()) == key


@pytest.mark.parametrize(
    ("word", "key"),
    [
        ("F_alpha", "profile_total"), ("fHα", "profile_slope"), ("f_Hß", "helix_slope"),
        ("ffb", "helix_form"),
        ("FHA", "profile_slope"), ("F beta", "helix_total"), ("fβf", "helix_form"), ("Run-out", "runout"),
        ("Lead form", "helix_form"), ("Profilwinkelabweichung", "profile_slope"), ("fpt", "single_pitch"),
        ("Rundlaufabweichung", "runout"), ("total pitch deviation", "cumulative_pitch"),
    ],
)  # fmt: skip
def test_spellings(word, key):
    assert parameter_key(word) == key


@pytest.mark.parametrize("word", ["", "width", "ff", "deviation", "α"])
def test_what_is_no_parameter(word):
    assert parameter_key(word) == ()


@pytest.mark.parametrize(
    ("text", "decimals"), [("4", 0), ("4.", 0), ("4.20", 2), ("-.5", 1), ("1e2", -2), ("1.25e1", 1)]
)
def test_decimals_as_typed(text, decimals):
    assert typed_decimals(text) == decimals

"""Tables of reported values as they come: wide, with short words, pasted; and the drafts of their maps."""

from __future__ import annotations

import pytest

from gearqa.errors import MeasurementFileError, PartFileError, Reason
from gearqa.reading.maps.columns_draft import draft_columns
from gearqa.reading.maps.columns_map import read_columns_map
from gearqa.reading.values.reported import read_reported

WIDE = """Report 17;;;;;;
Part no;Date;Fa L [µm];Fa R [µm];ffa L [µm];fHb R [µm];Fr [µm]
A1;2025-01-02;4,2;3,9;2,0;-1,1;12
A2;2025-01-02;4,0;;2,1;1,1;11
"""
LONG = """Part no;Characteristic;Side;Value [mm];Grade
A1;Profile total;L;0,0042;6
A1;fHβ;R;-0,0015;
A2;Fp;R;0,0150;6
"""
MAP = """
[reported]
file = "report.csv"
{more}
[reported.columns]
serial = "Gear"
[[reported.wide]]
header = '{header}'
"""


def written(tmp_path, text, name="report.csv"):
    path = tmp_path / name
    path.write_text(text, encoding="utf-8")
    return path


def values_of(table):
    return [(v.serial, v.parameter, v.flank, v.value_um) for v in table.values]


@pytest.mark.parametrize(("text", "number", "gaps"), [(WIDE, 9, 0), (LONG, 3, 0)])
def test_the_draft_of_a_reported_table_reads_it(tmp_path, text, number, gaps):
    path = written(tmp_path, text)
    draft = draft_columns(path)
    assert ([table.kind for table in draft.tables], draft.gaps) == (["reported"], gaps)
    table = read_reported(path, columns=written(tmp_path, draft.toml, "map.toml"))
    assert len(table.values) == number
    found = {(serial, key, flank): um for serial, key, flank, um in values_of(table)}
    if text is WIDE:
        assert found["A1", "helix_slope", "right"] == -1.1
        assert found["A2", "runout", None] == 11.0
        assert ("A2", "profile_total", "right") not in found
        assert "1 value left empty" in table.notices[0].message
        assert {v.decimals for v in table.values if v.parameter != "runout"} == {1}
    else:
        assert found == {
            ("A1", "profile_total", "left"): pytest.approx(4.2),
            ("A1", "helix_slope", "right"): pytest.approx(-1.5),
            ("A2", "cumulative_pitch", "right"): pytest.approx(15.0),
        }
        assert [v.class_ for v in table.values] == [6, None, 6]


def test_traces_are_not_taken_for_reported_values(tmp_path):
    path = written(tmp_path, "Gear;Flank;Tooth;Face [mm];Dev [um]\nA1;L;1;0.5;0.2\nA1;L;1;1.0;0.3\n")
    assert [table.kind for table in draft_columns(path).tables] == ["helix"]


def test_an_unknown_unit_is_a_gap(tmp_path):
    path = written(tmp_path, "Gear,Fa L,Fa R\nA1,4.2,3.9\n")
    assert draft_columns(path).gaps == 1


def test_blank_drop_drops_only_rows_without_a_value(tmp_path):
    path = written(tmp_path, "Gear,What,Side,Um,Class\nA,Fr,,12,\nA,Fp,L,,6\nA,fp,R,4,6\n")
    text = """
    [reported]
    file = "report.csv"
    blank = "drop"
    [reported.columns]
    serial = "Gear"
    parameter = "What"
    flank = "Side"
    value_um = "Um"
    class = "Class"
    """
    table = read_reported(path, columns=written(tmp_path, text, "map.toml"))
    assert values_of(table) == [("A", "runout", None, 12.0), ("A", "single_pitch", "right", 4.0)]


@pytest.mark.parametrize(
    ("word", "flank"),
    [("L", "left"), ("r", "right"), ("LF", "left"), ("rechts", "right"), ("Left", "left"), ("", None)],
)
def test_short_words_for_flanks_need_no_map(tmp_path, word, flank):
    path = written(tmp_path, f"serial,parameter,flank,value [µm]\nA,Fp,{word},4.2\n")
    assert values_of(read_reported(path)) == [("A", "cumulative_pitch", flank, 4.2)]


def test_a_word_that_is_no_flank_is_still_a_fault(tmp_path):
    path = written(tmp_path, "serial,parameter,flank,value_um\nA,Fp,drive,4.2\n")
    with pytest.raises(MeasurementFileError, match="'drive'"):
        read_reported(path)


def test_faults_of_a_pasted_table_name_the_cell(tmp_path):
    text = "serial;parameter;value_um\nA;Fa;4,2 µm\nA;Fb;OK\nA;Fp;1.234,5\nA;fp;3,1\n"
    with pytest.raises(MeasurementFileError) as caught:
        read_reported(written(tmp_path, text))
    problems = caught.value.problems
    assert [(p.line, p.column, p.found) for p in problems] == [
        (2, "value_um", "'4,2 µm'"),
        (3, "value_um", "'OK'"),
        (4, "value_um", "'1.234,5'"),
    ]
    assert "unit belongs into the name of the column" in problems[0].hint
    assert "thousands" in problems[2].hint


def test_faults_of_a_wide_table_name_the_header_above_the_cell(tmp_path):
    path = written(tmp_path, "Gear,Fa L,Fa R,Remark\nA1,4.2,OK,4\n")
    columns = written(tmp_path, MAP.format(more="", header="^(?P<parameter>Fa) (?P<flank>L|R)"), "map.toml")
    with pytest.raises(MeasurementFileError) as caught:
        read_reported(path, columns=columns)
    assert [(p.line, p.column, p.found) for p in caught.value.problems] == [(2, "Fa R", "'OK'")]


def test_a_header_that_is_no_parameter_is_named_once(tmp_path):
    path = written(tmp_path, "Gear,Fa L,Width L\nA1,4.2,30\nA2,4.2,30\n")
    columns = written(tmp_path, MAP.format(more="", header=r"^(?P<parameter>\w+) (?P<flank>L|R)"), "map.toml")
    with pytest.raises(MeasurementFileError) as caught:
        read_reported(path, columns=columns)
    assert [(p.column, p.reason) for p in caught.value.problems] == [("Width L", Reason.UNKNOWN_WORD)]


def test_a_parameter_in_the_header_belongs_to_tables_of_values_only(tmp_path):
    text = "[profile]\nfile = 'x.csv'\n[profile.columns]\nserial = 'G'\nroll_length_mm = 'R'\nflank = 'F'\n"
    text += "[[profile.wide]]\nheader = '(?P<parameter>F)(?P<tooth>[0-9])'\n"
    with pytest.raises(PartFileError, match="parameter"):
        read_columns_map(written(tmp_path, text, "map.toml"))


def test_two_patterns_of_a_table_of_values_are_refused(tmp_path):
    text = (
        MAP.format(more="", header="^(?P<parameter>Fa)")
        + "[[reported.wide]]\nheader = '^(?P<parameter>Fb)'\n"
    )
    with pytest.raises(PartFileError, match="one pattern"):
        read_columns_map(written(tmp_path, text, "map.toml"))

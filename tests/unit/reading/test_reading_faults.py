"""Everything that makes an input unusable: its reason code, file, line and column, and the way out."""

from __future__ import annotations

from pathlib import Path

import pytest
from inspection_folder import (
    GOOD_PITCH,
    HELIX,
    PART_TOML,
    PITCH,
    PROFILE,
    RUNOUT,
    only_problem,
    problems,
    read,
    rows,
    write,
)

from gearqa.errors import MeasurementFileError, PartFileError, Problem, Reason, problem_lines
from gearqa.reading.folder import folder_checks
from gearqa.reading.folder import passes as reading
from gearqa.reading.folder.passes import read_folder
from gearqa.reading.rows import problem_log
from gearqa.reading.rows.problem_log import KEPT_PER_FILE_AND_REASON, ProblemLog

TRACE = ["A,left,1,1.0,0.5", "A,left,1,2.0,-0.25", "A,left,1,3.0,1.5"]


@pytest.fixture(params=["careful", "fast"], autouse=True)
def path_of_reading(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> None:
    """Both readers must find every fault."""
    monkeypatch.setattr(reading, "FAST_FROM_BYTES", 0 if request.param == "fast" else 1 << 60)


def place(problem: Problem) -> tuple[Reason, str, int | None, str | None]:
    return problem.reason, problem.file, problem.line, problem.column


# --- cells ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("cell", "reason", "hint"),
    [
        ("n/a", Reason.NOT_A_NUMBER, "leave the row out"),
        ("", Reason.EMPTY_CELL, "leave the row out"),
        ("  ", Reason.EMPTY_CELL, "leave the row out"),
        ("NaN", Reason.NOT_FINITE, "leave the row out"),
        ("-inf", Reason.NOT_FINITE, "leave the row out"),
        ("Infinity", Reason.NOT_FINITE, "leave the row out"),
        ("1e400", Reason.NOT_FINITE, ""),
        ("1_000", Reason.NOT_A_NUMBER, "no thousands separators"),
        ("1.000.5", Reason.NOT_A_NUMBER, "no thousands separators"),
        ("1.5.25", Reason.NOT_A_NUMBER, "leave the row out"),
        ("0x10", Reason.NOT_A_NUMBER, ""),
        ("１.5", Reason.NOT_A_NUMBER, ""),
        ("٣", Reason.NOT_A_NUMBER, ""),
        ("1e", Reason.NOT_A_NUMBER, ""),
        ("--1", Reason.NOT_A_NUMBER, ""),
        ("True", Reason.NOT_A_NUMBER, ""),
        (".", Reason.NOT_A_NUMBER, ""),
        ("1 2", Reason.NOT_A_NUMBER, ""),
        ("1\u00a0000", Reason.NOT_A_NUMBER, ""),
        ("5um", Reason.NOT_A_NUMBER, ""),
    ],
)
def test_a_cell_that_is_no_number(tmp_path: Path, cell: str, reason: Reason, hint: str) -> None:
    problem = only_problem(tmp_path, {"p.csv": rows(PROFILE, [*TRACE, f"A,left,1,4.0,{cell}"])})
    assert place(problem) == (reason, "p.csv", 5, "deviation_um")
    assert hint in problem.hint
    assert problem.found == (repr(cell.strip()) if cell.strip() else "an empty cell")


def test_the_column_is_called_as_in_the_file(tmp_path: Path) -> None:
    header = "Serial; FLANK ;tooth;roll_length_mm;Deviation_mm\n"
    problem = only_problem(tmp_path, {"p.csv": rows(header, ["A;left;1;1,0;0,1", "A;left;1;2,0;0.2"])})
    assert place(problem) == (Reason.NOT_A_NUMBER, "p.csv", 3, "Deviation_mm")
    assert problem.hint == "the decimal mark of this file is the comma"


def test_a_decimal_comma_in_a_file_with_decimal_points(tmp_path: Path) -> None:
    header = PROFILE.replace(",", ";")
    problem = only_problem(tmp_path, {"p.csv": rows(header, ["A;left;1;1.0;0.1", "A;left;1;2.0;0,2"])})
    assert problem.hint == "the decimal mark of this file is the point"


def test_a_quoted_decimal_comma_between_commas(tmp_path: Path) -> None:
    problem = only_problem(tmp_path, {"p.csv": rows(PROFILE, ['A,left,1,1.0,"0,5"'])})
    assert place(problem) == (Reason.NOT_A_NUMBER, "p.csv", 2, "deviation_um")
    assert "decimal comma needs semicolon or tab" in problem.hint


@pytest.mark.parametrize(
    ("cell", "reason"),
    [
        ("0", Reason.OUT_OF_RANGE),
        ("6", Reason.OUT_OF_RANGE),
        ("-1", Reason.OUT_OF_RANGE),
        ("1e30", Reason.OUT_OF_RANGE),
        ("1.5", Reason.NOT_A_WHOLE_NUMBER),
        ("", Reason.EMPTY_CELL),
        ("one", Reason.NOT_A_NUMBER),
    ],
)
@pytest.mark.parametrize("kind", ["profile", "helix", "pitch", "runout"])
def test_tooth_and_space_are_whole_numbers_from_1_to_z(
    tmp_path: Path, kind: str, cell: str, reason: Reason
) -> None:
    table = {
        "profile": rows(PROFILE, ["A,left,1,1,0", f"A,left,{cell},2,0"]),
        "helix": rows(HELIX, ["A,left,1,1,0", f"A,left,{cell},2,0"]),
        "pitch": rows(PITCH, ["A,left,1,0", f"A,left,{cell},0"]),
        "runout": rows(RUNOUT, ["A,1,0", f"A,{cell},0"]),
    }[kind]
    problem = only_problem(tmp_path, {"t.csv": table})
    assert place(problem) == (reason, "t.csv", 3, "space" if kind == "runout" else "tooth")
    if reason is Reason.OUT_OF_RANGE:
        assert problem.expected == "1 to 5"
        assert problem.hint == ("a column map can add an offset" if cell == "0" else "")


@pytest.mark.parametrize("cell", ["07", "7.0", " 3 ", "+3", "3e0"])
def test_other_ways_to_write_a_whole_number(tmp_path: Path, cell: str) -> None:
    tooth = cell.replace("7", "4")
    with read(tmp_path, {"p.csv": rows(PROFILE, [f"A,left,{tooth},1,0"])}) as inspection:
        (gear,) = inspection
    assert gear.traces[0].tooth == int(float(tooth))


@pytest.mark.parametrize("cell", ["L", "links", "LeftRight", "1"])
def test_unknown_flank_words(tmp_path: Path, cell: str) -> None:
    problem = only_problem(tmp_path, {"p.csv": rows(PROFILE, [*TRACE, f"A,{cell},1,9,0"])})
    assert place(problem) == (Reason.UNKNOWN_WORD, "p.csv", 5, "flank")
    assert problem.expected == "'left' or 'right'"
    assert "gearqa explain flanks" in problem.hint
    assert "column map" in problem.hint


def test_flank_ignores_case_and_blanks(tmp_path: Path) -> None:
    with read(tmp_path, {"p.csv": rows(PROFILE, ["A, LEFT ,1,1,0", "A,Right,1,1,0"])}) as inspection:
        (gear,) = inspection
    assert [trace.flank for trace in gear.traces] == ["left", "right"]


@pytest.mark.parametrize("cell", ["", "   ", "\u00a0"])
def test_an_empty_serial(tmp_path: Path, cell: str) -> None:
    problem = only_problem(tmp_path, {"p.csv": rows(PROFILE, [*TRACE, f"{cell},left,1,1,0"])})
    assert place(problem) == (Reason.EMPTY_SERIAL, "p.csv", 5, "serial")


@pytest.mark.parametrize(
    ("line", "found", "hint"),
    [
        ("A,left,1,4.0", "4 cells", ""),
        ("A,left,1,4.0,1,2", "6 cells", "a decimal comma needs semicolon"),
        ("A,left,1,4.0,1,", "6 cells", "delete the separators at the end"),
        ("A;left;1;4.0;1", "1 cells", "another separator"),
    ],
)
@pytest.mark.parametrize("at", [0, 2])
def test_a_ragged_row(tmp_path: Path, line: str, found: str, hint: str, at: int) -> None:
    lines = [*TRACE[:at], line, *TRACE[at:]]
    problem = only_problem(tmp_path, {"p.csv": rows(PROFILE, lines)})
    assert place(problem) == (Reason.RAGGED_ROW, "p.csv", at + 2, None)
    assert problem.found == found
    assert problem.expected == "5 as in the header"
    assert hint in problem.hint


def test_every_row_longer_than_the_header(tmp_path: Path) -> None:
    found = problems(tmp_path, {"p.csv": rows(PROFILE, [f"{line},9" for line in TRACE])})
    assert [place(p) for p in found] == [(Reason.RAGGED_ROW, "p.csv", n, None) for n in (2, 3, 4)]


def test_ragged_rows_that_make_up_for_each_other(tmp_path: Path) -> None:
    header = "note,serial,flank,tooth,roll_length_mm,deviation_um,more\n"
    lines = ["n,A,left,1,1,0", "n,A,left,1,2,0,m,m", "n,A,left,1,3,0,m"]
    found = problems(tmp_path, {"p.csv": rows(header, lines)})
    assert [place(p) for p in found] == [(Reason.RAGGED_ROW, "p.csv", n, None) for n in (2, 3)]


# --- points, teeth, spaces twice ---------------------------------------------------------------------


@pytest.mark.parametrize("position", ["2.0", "2.0000009", "1.9999991"])
def test_a_point_twice(tmp_path: Path, position: str) -> None:
    problem = only_problem(tmp_path, {"p.csv": rows(PROFILE, [*TRACE, f"A,left,1,{position},7"])})
    assert place(problem) == (Reason.DUPLICATE_POINT, "p.csv", 5, "roll_length_mm")
    assert "the trace of 'A', left flank, tooth 1 again (first in p.csv:3)" in problem.found
    assert problem.hint.startswith("a second measurement gets a label of its own in a column `measurement`")


def test_points_a_little_further_apart_are_two(tmp_path: Path) -> None:
    with read(tmp_path, {"p.csv": rows(PROFILE, [*TRACE, "A,left,1,2.0000011,7"])}) as inspection:
        (gear,) = inspection
    assert len(gear.traces[0].position_mm) == 4


def test_a_trace_twice_in_two_files(tmp_path: Path) -> None:
    lines = [f"A,left,1,{p},0" for p in range(10)]
    problem = only_problem(tmp_path, {"a.csv": rows(HELIX, lines), "b.csv": rows(HELIX, lines)})
    assert place(problem) == (Reason.DUPLICATE_POINT, "b.csv", 2, "face_position_mm")
    assert problem.found.endswith("(first in a.csv:2), and 9 more that occur twice")


def test_a_tooth_twice(tmp_path: Path) -> None:
    problem = only_problem(tmp_path, {"i.csv": GOOD_PITCH + "A,left,2,1\n"})
    assert place(problem) == (Reason.DUPLICATE_TOOTH, "i.csv", 7, "tooth")
    assert "tooth 2 of the left flank of 'A' again (first in i.csv:3)" in problem.found


def test_a_space_twice(tmp_path: Path) -> None:
    problem = only_problem(tmp_path, {"r.csv": rows(RUNOUT, ["A,1,0", "A,2,0", "A,1,3"])})
    assert place(problem) == (Reason.DUPLICATE_SPACE, "r.csv", 4, "space")


def test_more_double_traces_than_are_told_one_by_one(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(folder_checks, "LOCATED_SERIES", 2)
    lines = [f"A,left,{tooth},1,0" for tooth in (1, 2, 3, 4, 5)] * 2
    found = problems(tmp_path, {"p.csv": rows(PROFILE, lines)})
    assert [p.reason for p in found] == [Reason.DUPLICATE_POINT] * 3
    assert found[-1].found == "3 more traces with points that occur twice"


# --- columns -------------------------------------------------------------------------------------------


def test_a_diameter_below_the_base_circle(tmp_path: Path) -> None:
    header = "serial,flank,tooth,diameter_mm,deviation_um\n"
    problem = only_problem(tmp_path, {"p.csv": rows(header, ["A,left,1,21,0", "A,left,1,19.3,0"])})
    assert place(problem) == (Reason.BELOW_BASE_CIRCLE, "p.csv", 3, "diameter_mm")
    # by hand: 20/0.9659258 / sqrt(1 + (0.3639702/0.9659258)^2) = 19.3756
    assert problem.expected.startswith("at least the base diameter 19.3756 mm")


def test_a_negative_roll_length(tmp_path: Path) -> None:
    problem = only_problem(tmp_path, {"p.csv": rows(PROFILE, ["A,left,1,-0.5,0"])})
    assert place(problem) == (Reason.BELOW_BASE_CIRCLE, "p.csv", 2, "roll_length_mm")


def test_index_and_pitch_in_one_table(tmp_path: Path) -> None:
    header = "serial,flank,tooth,index_um,pitch_um\n"
    problem = only_problem(tmp_path, {"i.csv": rows(header, ["A,left,1,0,0"])})
    assert place(problem) == (Reason.CONTRADICTING_COLUMNS, "i.csv", 1, None)


def test_index_and_pitch_of_one_flank_in_two_tables(tmp_path: Path) -> None:
    single = "serial,flank,tooth,pitch_um\n"
    files = {"a.csv": GOOD_PITCH, "b.csv": rows(single, ["A,left,1,0", "A,right,1,0", "B,left,1,0"])}
    problem = only_problem(tmp_path, files)
    assert problem.reason is Reason.CONTRADICTING_COLUMNS
    assert problem.file == "a.csv"
    assert problem.found == "index and single pitch of the left flank of 'A' (see b.csv too)"


def test_one_quantity_in_two_units(tmp_path: Path) -> None:
    header = "serial,flank,tooth,roll_length_mm,deviation_um,deviation_mm\n"
    problem = only_problem(tmp_path, {"p.csv": rows(header, ["A,left,1,1,0,0"])})
    assert place(problem) == (Reason.CONTRADICTING_COLUMNS, "p.csv", 1, None)
    assert problem.found == "'deviation_um' and 'deviation_mm'"


def test_a_column_twice(tmp_path: Path) -> None:
    header = "serial,flank,tooth,roll_length_mm,deviation_um,FLANK\n"
    problem = only_problem(tmp_path, {"p.csv": rows(header, ["A,left,1,1,0,left"])})
    assert place(problem) == (Reason.DUPLICATE_COLUMN, "p.csv", 1, "flank")


def test_a_required_column_missing(tmp_path: Path) -> None:
    header = "serial,Zahnflanke,tooth,roll_length_mm,deviation_um\n"
    problem = only_problem(tmp_path, {"p.csv": rows(header, ["A,left,1,1,0"])})
    assert (problem.reason, problem.line) == (Reason.MISSING_COLUMN, 1)
    assert problem.found == "a profile table without column 'flank'"


def test_a_missing_column_names_the_one_that_looks_like_it(tmp_path: Path) -> None:
    header = "serial,flank,tooth_no,face_position_mm,deviation_um\n"
    problem = only_problem(tmp_path, {"p.csv": rows(header, ["A,left,1,1,0"])})
    assert "column 'tooth_no' looks like it" in problem.hint


def test_a_column_without_its_unit(tmp_path: Path) -> None:
    header = "serial,flank,tooth,roll_length_mm,deviation\n"
    problem = only_problem(tmp_path, {"p.csv": rows(header, ["A,left,1,1,0"])})
    assert place(problem) == (Reason.MISSING_COLUMN, "p.csv", 1, "deviation")
    assert problem.expected == "'deviation_um' or 'deviation_mm'"
    assert problem.hint == "the end of a column name is its unit"


def test_a_helix_table_with_a_diameter_that_follows_the_trace(tmp_path: Path) -> None:
    header = "serial,flank,tooth,face_position_mm,diameter_mm,deviation_um\n"
    for step in (0.03, 0.5):
        lines = [f"A,left,1,{p},{21 + step * p:.2f},0" for p in range(1, 9)]
        problem = only_problem(tmp_path / str(step), {"h.csv": rows(header, lines)})
        assert (problem.reason, problem.file, problem.column) == (
            Reason.LABEL_NOT_CONSTANT, "h.csv", "diameter_mm"
        )  # fmt: skip
        assert "column map" in problem.hint


# --- files -----------------------------------------------------------------------------------------------


def test_an_unrecognised_table_names_the_nearest_and_the_way_out(tmp_path: Path) -> None:
    header = "serial,side,tooth,roll_lenght_mm,deviation_um\n"
    problem = only_problem(tmp_path, {"x.csv": rows(header, ["A,left,1,1,0"])})
    assert place(problem) == (Reason.UNRECOGNISED_TABLE, "x.csv", 1, None)
    assert "nearest is a profile table" in problem.hint
    assert "'roll_lenght_mm' may be 'roll_length_mm'" in problem.hint
    assert 'ignore = ["x.csv"]' in problem.hint


def test_a_header_behind_a_comment_mark_is_pointed_at(tmp_path: Path) -> None:
    table = "# of March\n# " + rows(PROFILE, TRACE)
    problem = only_problem(tmp_path, {"p.csv": table})
    assert place(problem) == (Reason.UNRECOGNISED_TABLE, "p.csv", 3, None)
    assert "line 2 begins with # and is skipped: if it is the header, delete the #" in problem.hint


@pytest.mark.parametrize(
    ("content", "reason", "found"),
    [
        (b"", Reason.EMPTY_TABLE, "an empty file"),
        (b"\xef\xbb\xbf", Reason.EMPTY_TABLE, "an empty file"),
        (b"\n\n  \n", Reason.EMPTY_TABLE, "an empty file"),
        (b"# only\n# comments\n", Reason.EMPTY_TABLE, "no header, only blank lines and comments"),
        (PROFILE.encode(), Reason.EMPTY_TABLE, "a header without rows"),
        (PROFILE.rstrip("\n").encode(), Reason.EMPTY_TABLE, "a header without rows"),
        (PROFILE.encode() + b"\n# nothing\n", Reason.EMPTY_TABLE, "a header without rows"),
        (b"\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR", Reason.NOT_TEXT, "a NUL character"),
        (b"\x81\x8d\x90 scribble", Reason.NOT_TEXT, "byte 0x81 that is no text in cp1252"),
        (PROFILE.encode("utf-16-le"), Reason.NOT_TEXT, "UTF-16 without a byte order mark"),
    ],
)
def test_a_file_that_is_no_table(tmp_path: Path, content: bytes, reason: Reason, found: str) -> None:
    problem = only_problem(tmp_path, {"i.csv": GOOD_PITCH, "x.csv": content})
    assert (problem.reason, problem.file, problem.found) == (reason, "x.csv", found)
    assert "ignore" in problem.hint


def test_a_nul_character_in_the_body(tmp_path: Path) -> None:
    files = {"p.csv": rows(PROFILE, [*TRACE, "A\0,left,1,9,0", "A,left,1,8,0"])}
    problem = only_problem(tmp_path, files)
    assert (problem.reason, problem.file, problem.line) == (Reason.NOT_TEXT, "p.csv", 5)


def test_an_open_quote(tmp_path: Path) -> None:
    problem = only_problem(tmp_path, {"p.csv": rows(PROFILE, [*TRACE, '"A,left,1,4,0', "A,left,1,5,0"])})
    assert place(problem) == (Reason.UNREADABLE_CSV, "p.csv", 5, None)
    assert problem.hint == "a quote that opens must close"


def test_text_behind_a_closing_quote(tmp_path: Path) -> None:
    problem = only_problem(tmp_path, {"p.csv": rows(PROFILE, [*TRACE, '"A"b,left,1,4,0'])})
    assert place(problem) == (Reason.UNREADABLE_CSV, "p.csv", 5, None)


@pytest.mark.parametrize(
    ("files", "found"),
    [
        ({}, "no table at all"),
        ({"m.csv": "serial,grinder\nA,GR-1\n"}, "only tables of production, which cannot be graded"),
        (
            {
                "m.csv": "serial,grinder\nA,GR-1\n",
                "s.csv": "serial,method,teeth_spanned,value_mm\nA,span,2,9\n",
            },
            "only tables of production and size, which cannot be graded",
        ),
    ],
)
def test_nothing_to_grade(tmp_path: Path, files: dict[str, str], found: str) -> None:
    problem = only_problem(tmp_path / "lot", files)
    assert (problem.reason, problem.file, problem.found) == (Reason.NOTHING_TO_GRADE, "lot", found)


def test_a_link_that_leads_nowhere_is_no_missing_table(tmp_path: Path) -> None:
    folder = write(tmp_path, {"i.csv": GOOD_PITCH})
    (folder / "profile.csv").symlink_to(folder / "gone.csv")
    with pytest.raises(MeasurementFileError) as caught:
        read_folder(folder)
    assert [place(p) for p in caught.value.problems] == [(Reason.FILE_NOT_FOUND, "profile.csv", None, None)]


def test_no_such_folder_and_a_file_instead(tmp_path: Path) -> None:
    with pytest.raises(MeasurementFileError, match="no such folder"):
        read_folder(tmp_path / "nowhere")
    table = write(tmp_path, {"p.csv": GOOD_PITCH}) / "p.csv"
    with pytest.raises(MeasurementFileError, match="name the folder it lies in"):
        read_folder(table)


# --- serials -----------------------------------------------------------------------------------------------


def test_an_unknown_serial_beside_a_single_one(tmp_path: Path) -> None:
    problem = only_problem(tmp_path, {"p.csv": rows(PROFILE, TRACE)}, serials=["B9"])
    assert problem.expected == "the only serial 'A'"


@pytest.mark.parametrize(
    ("wanted", "hint"),
    [
        ("OT-0031", "the nearest is 'OT-0003'"),
        ("12", "there is '0012' (differs by leading zeros)"),
        ("ot-0003", "there is 'OT-0003' (differs by case or blanks)"),
    ],
)
def test_an_unknown_serial_names_the_nearest(tmp_path: Path, wanted: str, hint: str) -> None:
    lines = ["OT-0003,left,1,1,0", "0012,left,1,1,0"]
    problem = only_problem(tmp_path, {"p.csv": rows(PROFILE, lines)}, serials=[wanted])
    assert problem.reason is Reason.UNKNOWN_SERIAL
    assert problem.found == f"serial '{wanted}'"
    assert problem.hint == hint


def test_a_serial_that_is_known_only_from_production_cannot_be_asked_for(tmp_path: Path) -> None:
    files = {"p.csv": rows(PROFILE, TRACE), "m.csv": "serial,grinder\nB,GR-1\n"}
    problem = only_problem(tmp_path, files, serials=["B"])
    assert problem.reason is Reason.UNKNOWN_SERIAL
    assert problem.found == "serial 'B' only in the production table"


# --- size, production, events ----------------------------------------------------------------------------

SIZE = "serial,method,pin_diameter_mm,value_mm\n"


@pytest.mark.parametrize(
    ("name", "table", "expected"),
    [
        ("m", "serial,finished_at\nA,yesterday\n", (Reason.BAD_TIME, 2, "finished_at")),
        ("m", "serial,finished_at\nA,04.03.2025\n", (Reason.BAD_TIME, 2, "finished_at")),
        ("m", "serial,parts_since_dress\nA,0\n", (Reason.OUT_OF_RANGE, 2, "parts_since_dress")),
        ("m", "serial,parts_since_dress\nA,1.5\n", (Reason.NOT_A_WHOLE_NUMBER, 2, "parts_since_dress")),
        ("m", "serial,parts_since_dress\nA,1e23\n", (Reason.OUT_OF_RANGE, 2, "parts_since_dress")),
        ("m", "serial,temperature_degC\nA,warm\n", (Reason.NOT_A_NUMBER, 2, "temperature_degC")),
        ("m", "serial,grinder\n,GR-1\n", (Reason.EMPTY_SERIAL, 2, "serial")),
        ("m", "serial,grinder\nA,GR-1\nA,GR-2\n", (Reason.DUPLICATE_ROW, 3, "grinder")),
        ("e", "at,grinder,event\n,GR-1,dress\n", (Reason.EMPTY_CELL, 2, "at")),
        ("e", "at,grinder,event\n2025-13-01,GR-1,dress\n", (Reason.BAD_TIME, 2, "at")),
        ("e", "at,grinder,event\n2025-03-01,,dress\n", (Reason.EMPTY_CELL, 2, "grinder")),
        ("e", "at,grinder,event\n2025-03-01,GR-1,\n", (Reason.EMPTY_CELL, 2, "event")),
        ("e", "at,grinder,event,flank\n2025-03-01,GR-1,x,top\n", (Reason.UNKNOWN_WORD, 2, "flank")),
        ("e", "at,grinder,event,correction\n2025-03-01,GR-1,x,big\n", (Reason.NOT_A_NUMBER, 2, "correction")),
        ("s", SIZE + "A,pins,3,40\n", (Reason.UNKNOWN_WORD, 2, "method")),
        ("s", SIZE + "A,balls,,40\n", (Reason.EMPTY_CELL, 2, "pin_diameter_mm")),
        ("s", SIZE + "A,balls,0,40\n", (Reason.OUT_OF_RANGE, 2, "pin_diameter_mm")),
        ("s", SIZE + "A,span,,40\n", (Reason.EMPTY_CELL, 2, "teeth_spanned")),
        ("s", SIZE + "A,balls,3,\n", (Reason.EMPTY_CELL, 2, "value_mm")),
        ("s", "serial,method,teeth_spanned,value_mm\nA,span,2,1e999\n", (Reason.NOT_FINITE, 2, "value_mm")),
    ],
)  # fmt: skip
def test_faults_of_text_tables(
    tmp_path: Path, name: str, table: str, expected: tuple[Reason, int, str]
) -> None:
    problem = only_problem(tmp_path, {"i.csv": GOOD_PITCH, f"{name}.csv": table})
    assert problem.file == f"{name}.csv"
    assert (problem.reason, problem.line, problem.column) == expected


# --- part file ---------------------------------------------------------------------------------------------

NO_LIMITS = PART_TOML.replace("start_roll_length_mm = 1.0\nend_roll_length_mm = 5.0\n", "")


def test_profile_without_limits_tells_the_measured_range_and_the_keys(tmp_path: Path) -> None:
    """Diameters by hand: sqrt(19.3756^2 + 4 L^2) for L = 1 and 3."""
    problem = only_problem(tmp_path, {"p.csv": rows(PROFILE, TRACE)}, toml=NO_LIMITS)
    assert (problem.reason, problem.file) == (Reason.NO_EVALUATION_LIMITS, "p.csv")
    assert "from roll length 1.0000 mm (diameter 19.4786 mm) on the root side" in problem.found
    assert "to 3.0000 mm (diameter 20.2834 mm) on the tip side" in problem.found
    assert problem.expected.startswith(
        "control_diameter_mm (root-side limit) and tip_form_diameter_mm (tip-side limit) under "
        "[evaluation.profile]"
    )


def test_on_an_internal_gear_the_root_has_the_longer_roll_length(tmp_path: Path) -> None:
    toml = NO_LIMITS.replace('"external"', '"internal"').replace("tip_diameter_mm = 28.7\n", "")
    toml = toml.replace("[evaluation.profile]\n", "[evaluation.profile]\ncontrol_diameter_mm = 21.0\n")
    problem = only_problem(tmp_path, {"p.csv": rows(PROFILE, TRACE)}, toml=toml)
    assert "from roll length 3.0000 mm (diameter 20.2834 mm) on the root side to 1.0000 mm" in problem.found
    assert problem.expected.startswith("tip_form_diameter_mm (tip-side limit) under")


def test_a_relief_does_not_hide_the_measured_range(tmp_path: Path) -> None:
    relief = "[design.profile]\ntip_relief_um = 3.0\ntip_relief_start_roll_length_mm = 2.5\n"
    toml = PART_TOML.replace("start_roll_length_mm = 1.0\nend_roll_length_mm = 5.0\n", relief)
    problem = only_problem(tmp_path, {"p.csv": rows(PROFILE, TRACE)}, toml=toml)
    assert (problem.reason, problem.file) == (Reason.NO_EVALUATION_LIMITS, "p.csv")
    assert "roll length 1.0000 mm" in problem.found


def test_without_profile_tables_no_limits_are_needed(tmp_path: Path) -> None:
    with read(tmp_path, {"i.csv": GOOD_PITCH}, toml=NO_LIMITS) as inspection:
        assert len(inspection) == 1


def test_faults_of_the_part_file_come_with_those_of_the_tables(tmp_path: Path) -> None:
    toml = PART_TOML.replace("teeth = 5", "teeht = 5")
    with pytest.raises(MeasurementFileError) as caught:
        read(tmp_path, {"p.csv": rows(PROFILE, [*TRACE, "A,left,1,4.0,n/a", "A,left,99,1,0"])}, toml=toml)
    assert {(p.file, p.reason) for p in caught.value.problems} >= {
        ("part.toml", Reason.UNKNOWN_KEY),
        ("p.csv", Reason.NOT_A_NUMBER),
    }
    assert not any(p.reason is Reason.OUT_OF_RANGE for p in caught.value.problems)


def test_faults_of_the_part_file_alone(tmp_path: Path) -> None:
    with pytest.raises(PartFileError):
        read(tmp_path, {"i.csv": GOOD_PITCH}, toml=PART_TOML.replace("teeth = 5", "teeth = -5"))
    with pytest.raises(PartFileError) as caught:
        read(tmp_path / "none", {"i.csv": GOOD_PITCH}, toml=None)
    assert caught.value.problems[0].reason is Reason.FILE_NOT_FOUND
    assert caught.value.problems[0].file == "part.toml"


def test_ignore_holds_even_where_the_part_file_is_at_fault(tmp_path: Path) -> None:
    toml = 'ignore = ["x.csv"]\n' + PART_TOML.replace("teeth = 5", "teeht = 5")
    with pytest.raises(PartFileError):
        read(tmp_path, {"i.csv": GOOD_PITCH, "x.csv": "nonsense"}, toml=toml)


# --- all at once -----------------------------------------------------------------------------------------


def test_five_faults_give_five_problems(tmp_path: Path) -> None:
    found = problems(
        tmp_path,
        {
            "a.csv": rows(PROFILE, [*TRACE, "A,left,1,4.0,n/a", "A,top,1,5.0,1"]),
            "b.csv": rows(HELIX, ["A,left,1,1,0", "A,left,1,1,0"]),
            "c.csv": rows(PITCH, ["A,left,1,0", "A,left,6,0"]),
            "d.csv": b"",
        },
    )
    assert sorted((p.file, p.reason) for p in found) == sorted(
        [
            ("a.csv", Reason.NOT_A_NUMBER),
            ("a.csv", Reason.UNKNOWN_WORD),
            ("b.csv", Reason.DUPLICATE_POINT),
            ("c.csv", Reason.OUT_OF_RANGE),
            ("d.csv", Reason.EMPTY_TABLE),
        ]
    )


def test_several_faults_of_one_row_are_all_told(tmp_path: Path) -> None:
    found = problems(tmp_path, {"p.csv": rows(PROFILE, [*TRACE, ",up,x,,nan"])})
    assert {(p.line, p.column, p.reason) for p in found} == {
        (5, "serial", Reason.EMPTY_SERIAL),
        (5, "flank", Reason.UNKNOWN_WORD),
        (5, "tooth", Reason.NOT_A_NUMBER),
        (5, "roll_length_mm", Reason.EMPTY_CELL),
        (5, "deviation_um", Reason.NOT_FINITE),
    }


def test_many_faults_are_capped_in_print_and_bounded_in_the_list(tmp_path: Path) -> None:
    count = KEPT_PER_FILE_AND_REASON + 234
    lines = [f"A,left,1,{i},x{i}" for i in range(count)]
    with pytest.raises(MeasurementFileError) as caught:
        read(tmp_path, {"p.csv": rows(PROFILE, lines)})
    found = caught.value.problems
    assert len(found) == KEPT_PER_FILE_AND_REASON + 1
    assert found[0].line == 2
    assert found[KEPT_PER_FILE_AND_REASON - 1].line == KEPT_PER_FILE_AND_REASON + 1
    assert found[-1].found == "234 more of these"
    printed = str(caught.value).splitlines()
    assert len(printed) == 52
    assert printed[-1] == f"p.csv: and {KEPT_PER_FILE_AND_REASON + 1 - 50} more [not_a_number]"


@pytest.mark.parametrize("line", [",,,,", ",,,,,,", "A,left,1,2.0,x"])
def test_a_file_with_nothing_but_faults_is_not_read_to_its_end(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, line: str
) -> None:
    monkeypatch.setattr(problem_log, "MOST_FAULTS", 3000)
    monkeypatch.setattr(problem_log, "KEPT_PER_FILE_AND_REASON", 100)
    files = {"p.csv": rows(PROFILE, [line] * 20_000), "q.csv": rows(PITCH, ["A,left,1,x"])}
    found = problems(tmp_path, files)
    assert found[0].found == "3000 faults or more; the file was not read to its end"
    more = [int(p.found.split()[0]) for p in found if "more of these" in p.found]
    assert 2900 - 4 * 100 <= sum(more) < 3000 + 5 * 2048
    assert [p.line for p in found if p.file == "q.csv"] == [2]  # a file without such faults is read


def test_a_file_that_is_read_again_leaves_the_count_of_another_one() -> None:
    log = ProblemLog()
    for line in range(KEPT_PER_FILE_AND_REASON + 7):
        log.add(Problem(Reason.NOT_A_NUMBER, "a.csv", "x", "a number", line))
    mark = log.mark()
    log.add(Problem(Reason.NOT_A_NUMBER, "b.csv", "x", "a number", 2))
    log.reset(mark)
    assert log.problems[-1].found == "7 more of these"
    assert {p.file for p in log.problems} == {"a.csv"}


def test_what_may_be_unknown_may_be_left_empty(tmp_path: Path) -> None:
    files = {"p.csv": rows(PROFILE, TRACE), "m.csv": "serial,parts_since_dress\nA,many\n"}
    assert only_problem(tmp_path, files).hint == "leave the cell empty if it is not known"


@pytest.mark.parametrize(
    ("teeth", "expected"),
    [("5", "1 to 5"), ("true", "1 to the number of teeth"), ("-5", "1 to the number of teeth")],
)
def test_a_faulty_part_file_still_says_how_many_teeth_there_are(
    tmp_path: Path, teeth: str, expected: str
) -> None:
    toml = PART_TOML.replace("teeth = 5", f"teeth = {teeth}").replace("helix_angle_deg", "helix_angel_deg")
    with pytest.raises(MeasurementFileError) as caught:
        read(tmp_path, {"r.csv": rows(RUNOUT, ["A,1,0", "A,99999,0"])}, toml=toml)
    assert Reason.UNKNOWN_KEY in {problem.reason for problem in caught.value.problems}
    (told,) = (problem for problem in caught.value.problems if problem.file == "r.csv")
    assert (told.reason, told.line, told.expected) == (Reason.OUT_OF_RANGE, 3, expected)


def test_every_problem_at_once_with_a_faulty_part_file(tmp_path: Path) -> None:
    toml = PART_TOML.replace("face_width_mm", "face_with_mm")
    with pytest.raises(MeasurementFileError) as caught:
        read(tmp_path, {"r.csv": rows(RUNOUT, ["A,1,0", "A,99,0"])}, toml=toml)
    found = [(problem.file, problem.reason) for problem in caught.value.problems]
    assert found == [("part.toml", Reason.UNKNOWN_KEY), ("r.csv", Reason.OUT_OF_RANGE)]


def test_the_same_fault_of_many_files_is_one_line(tmp_path: Path) -> None:
    foreign = {f"{k:02}.csv": "Part;Side;Dev\nA;L;1\n" for k in range(32)}
    found = problems(tmp_path, {**foreign, "good.csv": GOOD_PITCH})
    assert len(found) == 32
    (line,) = problem_lines(found)
    assert line.startswith("00.csv:1: found the header 'Part', 'Side', 'Dev'")
    assert line.endswith("(and the same in 31 more files: 01.csv, 02.csv, 03.csv ...)")
    assert len(problem_lines(found[:3])) == 3


def test_the_same_fault_of_many_lines_is_one_line(tmp_path: Path) -> None:
    """Two words for the flanks in five files of a hundred rows are two lines, with their true counts."""
    lines = [f"A{{}},{'XY'[i % 2]},1,{i},0.1" for i in range(100)]
    tables = {f"{k}.csv": rows(PROFILE, [line.format(k) for line in lines]) for k in range(5)}
    found = problems(tmp_path, tables)
    assert len(found) == 500
    printed = problem_lines(found)
    assert [line[:7] for line in printed] == ["0.csv:2", "0.csv:3"]
    for line, places in zip(printed, ("4, 6, 8", "5, 7, 9"), strict=True):
        assert line.endswith(
            f"(and the same in 49 more lines: {places} ... "
            "and in 4 more files, 200 lines: 1.csv, 2.csv, 3.csv ...)"
        )
    few = [p for p in found if p.file == "0.csv" and p.line and p.line < 20]
    assert len(problem_lines(few)) == len(few) == 18


def test_a_table_without_a_last_line_end_may_have_been_cut_off(tmp_path: Path) -> None:
    for name, text in {"cut": GOOD_PITCH[:-2], "whole": GOOD_PITCH}.items():
        with read(tmp_path / name, {"pitch.csv": text}) as inspection:
            codes = [notice.code for notice in inspection.notices]
        assert codes == (["no_line_end"] if name == "cut" else [])
    utf16 = GOOD_PITCH.encode("utf-16")
    with read(tmp_path / "utf16", {"pitch.csv": utf16}) as inspection:
        assert inspection.notices == ()

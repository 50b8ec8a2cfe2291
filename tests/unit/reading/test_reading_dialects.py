"""The texts that tables come in: encodings, separators, decimal marks, line ends, comments, quotes."""

from __future__ import annotations

from pathlib import Path

import pytest
from inspection_folder import GOOD_PITCH, PROFILE, gears, only_problem, problems, read, rows

from gearqa.errors import Reason
from gearqa.reading.folder import passes as reading

LINES = ["Grün 7µ,left,1,1.0,0.5", "Grün 7µ,left,1,2.0,-0.25", "Grün 7µ,left,1,3.0,1.5e-1"]
TEXT = rows(PROFILE, LINES)
SEMICOLON = TEXT.replace(",", ";").replace(".", ",")


@pytest.fixture(params=["careful", "fast"], autouse=True)
def path_of_reading(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> None:
    """Both readers understand every dialect."""
    monkeypatch.setattr(reading, "FAST_FROM_BYTES", 0 if request.param == "fast" else 1 << 60)


def check(tmp_path: Path, content: bytes) -> None:
    ((serial, gear),) = gears(read(tmp_path, {"p.csv": content})).items()
    assert serial == "Grün 7µ"
    assert gear.traces[0].position_mm.tolist() == [1.0, 2.0, 3.0]
    assert gear.traces[0].deviation_um.tolist() == [0.5, -0.25, 0.15]


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
@pytest.mark.parametrize("newline", ["\n", "\r\n", "\r"])
@pytest.mark.parametrize("text", [TEXT, SEMICOLON, TEXT.replace(",", "\t"), SEMICOLON.replace(";", "\t")])
def test_encodings_newlines_separators(tmp_path: Path, encoding: str, newline: str, text: str) -> None:
    check(tmp_path, text.replace("\n", newline).encode(encoding))


@pytest.mark.parametrize("encoding", ["utf-16-le", "utf-16-be"])
def test_utf_16_without_a_mark_is_named(tmp_path: Path, encoding: str) -> None:
    problem = only_problem(tmp_path, {"p.csv": TEXT.replace("\u00fc", "u").encode(encoding)})
    assert (problem.reason, problem.found) == (Reason.NOT_TEXT, "UTF-16 without a byte order mark")


def test_utf_16_big_endian(tmp_path: Path) -> None:
    check(tmp_path, b"\xfe\xff" + TEXT.encode("utf-16-be"))


def test_blank_lines_comments_and_no_newline_at_the_end(tmp_path: Path) -> None:
    header, *lines = TEXT.splitlines()
    text = "\n".join(["# made up", "", "  ", header, "", "# between, with, five, whole, cells", lines[0],
                      " \t ", lines[1], "#", "", lines[2]])  # fmt: skip
    check(tmp_path, text.encode())


def test_a_row_that_is_commented_out(tmp_path: Path) -> None:
    header, *lines = TEXT.splitlines()
    check(tmp_path, "\n".join([header, lines[0], "#" + lines[1], *lines[1:]]).encode())
    check(tmp_path, "\n".join([header, "#" + lines[0], *lines]).encode())


@pytest.mark.parametrize("blank", ["", " ", "\t \t"])
def test_blank_lines_alone(tmp_path: Path, blank: str) -> None:
    header, *lines = TEXT.splitlines()
    check(tmp_path, "\n".join([header, blank, *lines, blank, ""]).encode())
    check(tmp_path, "\n".join([header, blank, *lines, blank, ""]).replace(",", "\t").encode())


def test_columns_in_any_order_and_names_without_case_and_blanks(tmp_path: Path) -> None:
    header = " Deviation_UM , TOOTH,Serial ,roll_length_mm, Flank\n"
    body = [f"{d},1,Grün 7µ,{p},left" for p, d in ((1, 0.5), (2, -0.25), (3, 0.15))]
    check(tmp_path, rows(header, body).encode())


def test_a_number_sign_within_a_row_is_no_comment(tmp_path: Path) -> None:
    with read(tmp_path, {"p.csv": rows(PROFILE, ["No. #7,left,1,1,0", '"#8",left,1,1,0'])}) as inspection:
        assert inspection.serials == ("No. #7", "#8")


def test_quoted_cells_with_separators_quotes_and_newlines(tmp_path: Path) -> None:
    header = '"serial","flank","tooth","roll_length_mm","deviation_um","note"\n'
    body = ['"A,1 ""x""","left","1","1.5","0.5","first\n# no comment\nlast"', '"B","left",1,2.5,1,""']
    with read(tmp_path, {"p.csv": rows(header, [*body, "B,left,1,bad,1,"][:2])}) as inspection:
        assert inspection.serials == ('A,1 "x"', "B")
        assert [gear.traces[0].position_mm.tolist() for gear in inspection] == [[1.5], [2.5]]
    problem = only_problem(tmp_path, {"p.csv": rows(header, [*body, "B,left,1,bad,1,"])})
    assert problem.line == 6


@pytest.mark.parametrize("cell", [".5", "0.5", "+0.5", "5e-1", "5E-1", "50.e-2", " 0.5 ", "00.500", "0.5e+0"])
def test_ways_to_write_a_number(tmp_path: Path, cell: str) -> None:
    check(tmp_path, TEXT.replace("1.0,0.5", f"1.0,{cell}").encode())
    check(tmp_path, SEMICOLON.replace("1,0;0,5", f"1,0;{cell.replace('.', ',')}").encode())


def test_serials_do_not_decide_the_decimal_mark(tmp_path: Path) -> None:
    header = PROFILE.replace(",", ";")
    with read(tmp_path, {"p.csv": rows(header, ["7.0;left;1;1;0", "7.0;left;1;2,5;0,5"])}) as inspection:
        (gear,) = inspection
    assert gear.traces[0].position_mm.tolist() == [1.0, 2.5]


def test_the_first_decimal_mark_may_stand_far_down(tmp_path: Path) -> None:
    header = PROFILE.replace(",", ";")
    body = [f"A;left;1;{i};0" for i in range(8000)]
    with read(tmp_path, {"p.csv": rows(header, [*body, "A;left;1;8000;0,5"])}) as inspection:
        (gear,) = inspection
    assert gear.traces[0].deviation_um[-1] == 0.5


def test_a_cp1252_character_far_down(tmp_path: Path) -> None:
    body = [f"A,left,1,{i},0" for i in range(8000)]
    content = rows(PROFILE, [*body, "Grün,left,1,1,0"]).encode("cp1252")
    with read(tmp_path, {"p.csv": content}) as inspection:
        assert inspection.serials == ("A", "Grün")


def test_bytes_that_are_no_text_far_down(tmp_path: Path) -> None:
    body = [f"A,left,1,{i},0" for i in range(8000)]
    content = rows(PROFILE, body).encode() + b"\x81\x8d,left,1,1,0\n"
    problem = only_problem(tmp_path, {"p.csv": content})
    assert (problem.reason, problem.file) == (Reason.NOT_TEXT, "p.csv")


def test_lines_that_end_in_several_ways(tmp_path: Path) -> None:
    content = f"# c\r{PROFILE.strip()}\r\n{LINES[0]}\r{LINES[1]}\n{LINES[2]}\r\nX,left,1,bad,0\n"
    problem = only_problem(tmp_path, {"p.csv": content})
    assert problem.line == 6


def test_lines_are_counted_through_comments_and_blank_lines(tmp_path: Path) -> None:
    body = []
    for i in range(300):
        body += [f"A,left,1,{i},0", "# comment", ""]
    body[600] = "A,left,1,x,0"
    found = problems(
        tmp_path, {"p.csv": "\n# head\n" + rows(PROFILE, body), "i.csv": GOOD_PITCH}, chunk_rows=20
    )
    assert [(p.line, p.found) for p in found] == [(600 + 4, "'x'")]

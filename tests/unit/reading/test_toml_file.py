"""TOML files: every fault at once, by line and dotted key, and the scanner that finds the lines."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Self

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import Field

from gearqa.errors import PartFileError, Problem, Reason
from gearqa.model.table import TomlTable, fault, model_validator
from gearqa.reading.settings.toml_file import load_toml, read_toml
from gearqa.reading.settings.toml_lines import scan_toml


class Inner(TomlTable):
    width_mm: float = Field(gt=0, le=10)
    names: tuple[str, ...] = Field(default=(), strict=False)


class Sheet(TomlTable):
    title: str
    count: int = 1
    on: bool = False
    inner: Inner = Inner(width_mm=1.0)
    many: tuple[Inner, ...] = Field(default=(), strict=False)
    class_: int = Field(default=3, alias="class", ge=1, le=11)


def problems(tmp_path: Path, text: str | bytes) -> tuple[Problem, ...]:
    path = tmp_path / "sheet.toml"
    path.write_bytes(text.encode() if isinstance(text, str) else text)
    with pytest.raises(PartFileError) as caught:
        load_toml(path, Sheet)
    return caught.value.problems


def test_a_good_file_becomes_the_model(tmp_path: Path) -> None:
    path = tmp_path / "sheet.toml"
    path.write_bytes(b'\xef\xbb\xbftitle = "A"\r\nclass = 5\r\n[inner]\r\nwidth_mm = 2\r\n')
    sheet = load_toml(path, Sheet)
    assert (sheet.title, sheet.class_, sheet.inner.width_mm) == ("A", 5, 2.0)


ONE_FAULT = [
    ("title = 3\n", Reason.WRONG_TYPE, "title", 1, "put it in quotes"),
    ('title = "a"\ncount = "7"\n', Reason.WRONG_TYPE, "count", 2, "write 7 without quotes"),
    ('title = "a"\ncount = 7.0\n', Reason.WRONG_TYPE, "count", 2, "write 7"),
    ('title = "a"\ncount = true\n', Reason.WRONG_TYPE, "count", 2, ""),
    ('title = "a"\non = 1\n', Reason.WRONG_TYPE, "on", 2, ""),
    ('title = "a"\non = "yes"\n', Reason.WRONG_TYPE, "on", 2, "without quotes"),
    ('title = "a"\ncuont = 2\n', Reason.UNKNOWN_KEY, "cuont", 2, "did you mean that key?"),
    ('title = "a"\nclass_ = 2\n', Reason.UNKNOWN_KEY, "class_", 2, "did you mean that key?"),
    ('title = "a"\nwidth_mm = 2\n', Reason.UNKNOWN_KEY, "width_mm", 2, "'width_mm' belongs under [inner]"),
    ("count = 2\n", Reason.MISSING_KEY, "title", None, ""),
    ('title = "a"\n[inner]\n', Reason.MISSING_KEY, "inner.width_mm", 2, ""),
    ('title = "a"\n[inner]\n\nwidth_mm = 0\n', Reason.VALUE_OUT_OF_RANGE, "inner.width_mm", 4, ""),
    ('title = "a"\ninner.width_mm = 11\n', Reason.VALUE_OUT_OF_RANGE, "inner.width_mm", 2, ""),
    ('title = "a"\ninner = { width_mm = nan }\n', Reason.NOT_FINITE, "inner.width_mm", 2, ""),
    ('title = "a"\n[inner]\nwidth_mm = inf\n', Reason.NOT_FINITE, "inner.width_mm", 3, ""),
    ('title = "a"\nclass = 12\n', Reason.VALUE_OUT_OF_RANGE, "class", 2, ""),
    (
        'title = "a"\n[[many]]\nwidth_mm = 1\n[[many]]\nwidth_mm = -1\n',
        Reason.VALUE_OUT_OF_RANGE, "many[2].width_mm", 5, "",
    ),
    (
        'title = "a"\n[inner]\nwidth_mm = 1\nnames = [\n  "a",\n  3,\n]\n',
        Reason.WRONG_TYPE, "inner.names[2]", 6, "put it in quotes",
    ),
    ('title = "a"\ninner = 5\n', Reason.WRONG_TYPE, "inner", 2, ""),
    ('title = "a"\n"odd key" = 5\n', Reason.UNKNOWN_KEY, '"odd key"', 2, ""),
    ('title = """\na\nb"""\ncount = -1.5\n', Reason.WRONG_TYPE, "count", 4, ""),
    ('title = "a"\ncount = 2\ncount = 3\n', Reason.TOML_SYNTAX, "count", 3, "delete one"),
    ('title = "a"\n[inner]\nwidth_mm = 1\n[inner]\n', Reason.TOML_SYNTAX, "inner", 4, "delete one"),
    ('title = "a"\n[inner]\nwidth_mm = 1,5\n', Reason.TOML_SYNTAX, "inner.width_mm", 3, "decimal point"),
    ("title = some text\n", Reason.TOML_SYNTAX, "title", 1, "put text in quotes"),
    ('title = "C:\\new"\ncount = x\n', Reason.TOML_SYNTAX, "count", 2, "put text in quotes"),
    ('title = "C:\\data"\n', Reason.TOML_SYNTAX, "title", 1, "single quotes"),
    ('title = "a"\non = True\n', Reason.TOML_SYNTAX, "on", 2, "true or false"),
    ('title = "a"\njust words\n', Reason.TOML_SYNTAX, "just", 2, "every line is"),
    ('title = "a\n', Reason.TOML_SYNTAX, "title", 1, ""),
    ('title = """a\n', Reason.TOML_SYNTAX, "title", 1, ""),
    ('title = "a"\n[inner\nwidth_mm = 1\n', Reason.TOML_SYNTAX, "inner", 2, ""),
]  # fmt: skip


@pytest.mark.parametrize(("text", "reason", "key", "line", "hint"), ONE_FAULT)
def test_one_fault(tmp_path: Path, text: str, reason: Reason, key: str, line: int | None, hint: str) -> None:
    (problem,) = problems(tmp_path, text)
    assert (problem.reason, problem.key, problem.line) == (reason, key, line)
    assert hint in problem.hint


def test_range_is_told_with_key_and_value(tmp_path: Path) -> None:
    (problem,) = problems(tmp_path, 'title = "a"\n[inner]\nwidth_mm = 11.5\n')
    assert str(problem) == (
        "sheet.toml:3: key 'inner.width_mm': found 11.5, expected a number above 0 and of at most 10 "
        "[value_out_of_range]"
    )


def test_all_faults_at_once_in_line_order(tmp_path: Path) -> None:
    text = 'titel = "a"\ncount = 1,5\non = 3\nclass = 0\n[inner]\nwidth_mm = nan\nwidht_mm = 2\n'
    found = [(p.line, p.reason) for p in problems(tmp_path, text)]
    assert found == [
        (1, Reason.UNKNOWN_KEY),
        (2, Reason.TOML_SYNTAX),
        (3, Reason.WRONG_TYPE),
        (4, Reason.VALUE_OUT_OF_RANGE),
        (6, Reason.NOT_FINITE),
        (7, Reason.UNKNOWN_KEY),
    ]


def test_a_misspelt_key_is_not_told_as_missing_too(tmp_path: Path) -> None:
    (problem,) = problems(tmp_path, 'titel = "a"\n')
    assert problem.reason is Reason.UNKNOWN_KEY
    assert problem.expected == "'title'"


def test_of_a_duplicate_the_first_value_is_still_checked(tmp_path: Path) -> None:
    found = problems(tmp_path, 'title = "a"\nclass = 99\nclass = 5\n')
    assert [(p.line, p.reason) for p in found] == [(2, Reason.VALUE_OUT_OF_RANGE), (3, Reason.TOML_SYNTAX)]


class Pair(TomlTable):
    low: float
    high: float

    @model_validator(mode="after")
    def _apart(self) -> Self:
        if self.low >= self.high:
            raise fault("low", f"{self.low:g}", f"less than {self.high:g}")
        return self


class Holder(TomlTable):
    pair: Pair


def test_tables_own_checks_speak_beside_unknown_keys(tmp_path: Path) -> None:
    path = tmp_path / "p.toml"
    path.write_text("[pair]\nlow = 5.0\nhigh = 4.0\nmiddle = 1\n")
    result = read_toml(path, Holder)
    assert [(p.line, p.key, p.reason) for p in result.problems] == [
        (2, "pair.low", Reason.CONTRADICTION),
        (4, "pair.middle", Reason.UNKNOWN_KEY),
    ]


@pytest.mark.parametrize(
    ("data", "reason", "line"),
    [
        ('title = "Größe"\n'.encode("cp1252"), Reason.NOT_TEXT, 1),
        (b'title = "a"\n# \xff\n', Reason.NOT_TEXT, 2),
        ('title = "a"\n'.encode("utf-16"), Reason.NOT_TEXT, 1),
        (b'title = "\x00"\n', Reason.TOML_SYNTAX, 1),
        (b"title = " + b"[" * 5000, Reason.TOML_SYNTAX, None),
        (b"a." * 3000 + b"a = 1", Reason.TOML_SYNTAX, 1),
    ],
)
def test_hostile_bytes(tmp_path: Path, data: bytes, reason: Reason, line: int | None) -> None:
    problem = problems(tmp_path, data)[0]
    assert problem.reason is reason
    assert line is None or problem.line == line


def test_missing_file_names_the_neighbours(tmp_path: Path) -> None:
    (tmp_path / "parts.toml").write_text("")
    with pytest.raises(PartFileError) as caught:
        load_toml(tmp_path / "part.toml", Sheet)
    (problem,) = caught.value.problems
    assert problem.reason is Reason.FILE_NOT_FOUND
    assert "parts.toml" in problem.hint


def test_a_folder_is_no_file(tmp_path: Path) -> None:
    with pytest.raises(PartFileError, match="a folder"):
        load_toml(tmp_path, Sheet)


# --- the scanner -----------------------------------------------------------------------------------------

ODD = (
    '''
a.b."c d" = 1 # comment [x]
text = """
[not.a.table]
k = 2
"""
raw = \'\'\'
'''
    + "x = 'y'\n"
    + "'''"
    + """
list = [ # first
  { x = 1, y = [2,
    3] },
  "]",
]
[t."q.r"]
"\\u0041" = 'b'
[[many]]
k = 1
[many.sub]
z = 2
[[many]]
k = 3
[many.sub]
z = 4
"""
)


def test_lines_of_odd_but_valid_toml() -> None:
    tomllib.loads(ODD)  # the standard library agrees that it is valid
    scan = scan_toml(ODD)
    lines = ODD.split("\n")
    for path, part in [
        (("a", "b", "c d"), "a.b."),
        (("text",), "text ="),
        (("raw",), "raw ="),
        (("list", 0, "y", 1), "3] }"),
        (("list", 1), '"]"'),
        (("t", "q.r", "A"), "u0041"),
    ]:
        line = scan.line_of(path)
        assert line is not None
        assert part in lines[line - 1]
    assert scan.line_of(("many", 1, "sub", "z")) == lines.index("z = 4") + 1
    assert scan.line_of(("many", 0, "sub", "z")) == lines.index("z = 2") + 1
    assert scan.line_of(("many", 1, "missing")) == len(lines) - 4
    assert scan.line_of(("nowhere",)) is None


@given(st.text(alphabet=st.sampled_from("ab=.[]{}\"'#,\\ \n1"), max_size=60))
def test_the_scanner_never_fails(text: str) -> None:
    scan = scan_toml(text)
    assert all(1 <= s.line <= s.end_line <= text.count("\n") + 1 for s in scan.statements)


@given(
    st.dictionaries(
        st.text(alphabet="abcdef_-", min_size=1, max_size=5),
        st.integers() | st.booleans(),
        min_size=1,
        max_size=8,
    )
)
def test_the_scanner_finds_every_key(table: dict[str, int | bool]) -> None:
    rows = [f"{key} = {str(value).lower()}" for key, value in table.items()]
    scan = scan_toml("\n".join(rows))
    assert [scan.line_of((key,)) for key in table] == list(range(1, len(rows) + 1))

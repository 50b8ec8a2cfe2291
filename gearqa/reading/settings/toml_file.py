"""Read a TOML file into a pydantic model, or say everything that is wrong with it at once.

Serves part files, column maps, plans and scenarios. Every fault of the syntax is found, not just the
first. A fault names file, line and dotted key, what was found, what is allowed, and the nearest known key
where one is unknown.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any, Generic, TypeVar

from gearqa.errors import PartFileError, Problem, Reason
from gearqa.late_dataclass import dataclass
from gearqa.model.table import TomlTable
from gearqa.reading.settings.toml_faults import validated
from gearqa.reading.settings.toml_lines import KeyPath, Statement, TomlLines, scan_toml
from gearqa.reading.settings.toml_text import dotted, shortened
from gearqa.wording.nearest import nearest

M = TypeVar("M", bound=TomlTable)


@dataclass(frozen=True, slots=True)
class TomlFile(Generic[M]):
    """What came of reading a TOML file: the model where it is valid, and every problem found."""

    name: str
    model: M | None
    document: Mapping[str, Any]
    lines: TomlLines
    problems: tuple[Problem, ...]

    def problem(
        self, key: str, found: str, expected: str, *, reason: Reason = Reason.CONTRADICTION, hint: str = ""
    ) -> Problem:
        """A further problem of this file, at the line of a dotted key."""
        steps = tuple(int(step) if step.isdecimal() else step for step in key.split("."))
        line = self.lines.line_of(steps)
        return Problem(reason, self.name, found, expected, line, key=dotted(steps), hint=hint)

    def checked(self, further: Iterable[Problem] = ()) -> M:
        """The model, unless the file has problems of its own or of further checks.

        Raises
        ------
        PartFileError
            With all problems, in order of lines.
        """
        problems = _by_line((*self.problems, *further))
        if problems or self.model is None:
            raise PartFileError(problems)
        return self.model


def load_toml(path: Path | str, model: type[M]) -> M:
    """Read a TOML file into `model`.

    Raises
    ------
    PartFileError
        With all problems of the file.
    """
    return read_toml(path, model).checked()


def read_toml(path: Path | str, model: type[M], *, name: str | None = None) -> TomlFile[M]:
    """Read a TOML file as far as it goes: for callers that add checks of their own."""
    path = Path(path)
    shown = name or path.name
    text = _text(path, shown)
    lines = scan_toml(text)
    if lines.too_deep is not None:
        what, expected = "tables or lists within each other without end", "a few levels at most"
        problem = Problem(Reason.TOML_SYNTAX, shown, what, expected, lines.too_deep)
        return TomlFile(shown, None, {}, lines, (problem,))
    document, lost, problems = parse_toml(text, shown, lines)
    if document is None:
        return TomlFile(shown, None, {}, lines, tuple(problems))
    problems += _nul_problems(document, shown, lines)
    instance, found = validated(document, model, shown, lines, lost)
    problems = _by_line((*problems, *found))
    return TomlFile(shown, None if problems else instance, document, lines, tuple(problems))


def _nul_problems(value: Any, shown: str, lines: TomlLines, path: KeyPath = ()) -> Iterator[Problem]:
    """Texts with a NUL character, which TOML can write and neither a database nor a file name can hold."""
    if isinstance(value, dict):
        for key, inner in value.items():
            if "\0" not in key:
                yield from _nul_problems(inner, shown, lines, (*path, key))
                continue
            line = lines.line_of(path)
            yield Problem(Reason.VALUE_OUT_OF_RANGE, shown, "a key with a NUL character", "text", line)
    elif isinstance(value, list):
        for place, inner in enumerate(value):
            yield from _nul_problems(inner, shown, lines, (*path, place))
    elif isinstance(value, str) and "\0" in value:
        line = lines.line_of(path)
        found = "a NUL character"
        yield Problem(Reason.VALUE_OUT_OF_RANGE, shown, found, "text", line, key=dotted(path))


def known_document(path: Path) -> dict[str, Any]:
    """What a file at fault elsewhere holds, where it can be parsed at all; else nothing."""
    try:
        text = _text(path, path.name)
        return {} if scan_toml(text).too_deep is not None else tomllib.loads(text)
    except (PartFileError, ValueError, RecursionError):
        return {}


def _by_line(problems: Iterable[Problem]) -> list[Problem]:
    return sorted(problems, key=lambda p: (p.line is None, p.line or 0))


def _text(path: Path, shown: str) -> str:
    try:
        with path.open("rb") as file:
            data = file.read(_LARGEST_FILE + 1)
    except (FileNotFoundError, NotADirectoryError):
        problem = Problem(Reason.FILE_NOT_FOUND, shown, "no such file", "a TOML file", hint=_neighbours(path))
        raise PartFileError([problem]) from None
    except IsADirectoryError:
        named = path.name if shown == "." else shown
        problem = Problem(Reason.FILE_NOT_FOUND, named, "a folder", "a TOML file")
        raise PartFileError([problem]) from None
    except OSError as error:
        problem = Problem(Reason.FILE_NOT_FOUND, shown, error.strerror or "unreadable", "a readable file")
        raise PartFileError([problem]) from None
    if len(data) > _LARGEST_FILE:
        found, expected = "more than 1 MB", "a file that somebody wrote"
        raise PartFileError([Problem(Reason.VALUE_OUT_OF_RANGE, shown, found, expected)])
    try:
        return data.decode("utf-8-sig").replace("\r\n", "\n")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        found = f"byte 0x{data[error.start]:02X}, which is no UTF-8"
        hint = "save the file as UTF-8 in the text editor"
        raise PartFileError([Problem(Reason.NOT_TEXT, shown, found, "UTF-8 text", line, hint=hint)]) from None


def _neighbours(path: Path) -> str:
    folder = path.parent
    if not folder.is_dir():
        return f"there is no folder {folder.name or folder}"
    names = sorted(p.name for p in folder.iterdir() if p.suffix.lower() == ".toml")
    near = nearest(path.name, names)
    if near:
        return f"did you mean {near}?"
    if names:
        return f"the folder holds {', '.join(names[:5])}"
    return "`gearqa new` writes one" if path.name == "part.toml" else ""


_MAX_SYNTAX_FAULTS = 25
_LARGEST_FILE = 1 << 20
_LONG_NUMBER = r"(?<![\w.])[+-]?[0-9][0-9_]{100,}(?![\w.])"
_DECIMAL_COMMA = r"=\s*[+-]?\d+,\d+\s*(#.*)?$"
_BARE_WORD = r"=\s*[A-Za-z_][^\"'=\[\]{}]*$"


def parse_toml(
    text: str, shown: str, lines: TomlLines
) -> tuple[dict[str, Any] | None, set[KeyPath], list[Problem]]:
    """Parse; a statement at fault is reported, blanked and the rest parsed again.

    Returns the document, the paths of statements that were lost, and the problems.
    """
    rows = text.split("\n")
    problems: list[Problem] = []
    lost: set[KeyPath] = set()
    for _ in range(_MAX_SYNTAX_FAULTS):
        try:
            return tomllib.loads("\n".join(rows)), lost, problems
        except tomllib.TOMLDecodeError as error:
            statement, problem = _syntax_problem(str(error), rows, shown, lines)
            problems.append(problem)
            if statement is None or statement.header:
                break
            if not problem.found.startswith("the key"):  # of a duplicate, the first stays
                lost.add(statement.path)
            for row in range(statement.line - 1, statement.end_line):
                rows[row] = ""
        except ValueError:  # an integer that is longer than Python takes
            changed = [number for number, line in enumerate(rows, 1) if re.search(_LONG_NUMBER, line)]
            for number in changed:
                found, expected = "a number of more than 100 digits", "a number that means something"
                rows[number - 1] = re.sub(_LONG_NUMBER, "0", rows[number - 1])
                problems.append(Problem(Reason.VALUE_OUT_OF_RANGE, shown, found, expected, number))
                if (statement := lines.statement_at(number)) is not None:
                    lost.add(statement.path)
            if not changed:
                raise
    return None, lost, problems


def _syntax_problem(
    message: str, rows: Sequence[str], shown: str, lines: TomlLines
) -> tuple[Statement | None, Problem]:
    at = re.search(r"\(at line (\d+), column (\d+)\)", message)
    line = int(at.group(1)) if at else _last_line(rows)
    what = re.sub(r"\s*\(at .*\)$", "", message)
    statement = lines.statement_at(line)
    key = _key(statement)
    if statement is not None and statement.end_line > statement.line:
        # an open string or list swallows what follows: its first line is where to look
        line = statement.line
        statement = statement if _alone_at_fault(rows, statement) else None
    row = rows[line - 1].strip() if line <= len(rows) else ""
    if re.match(r"Cannot overwrite|Cannot declare|Duplicate inline|Cannot mutate|Cannot define", what):
        return statement, _duplicate_problem(what, statement, line, row, shown, lines)
    found, hint = f"{shortened(row)!r} ({what[:1].lower()}{what[1:]})", _syntax_hint(row, what)
    return statement, Problem(Reason.TOML_SYNTAX, shown, found, "valid TOML", line, hint=hint, key=key)


def _last_line(rows: Sequence[str]) -> int:
    filled = [number for number, row in enumerate(rows, 1) if row.strip()]
    return filled[-1] if filled else 1


def _alone_at_fault(rows: Sequence[str], statement: Statement) -> bool:
    """Whether the fault stays inside the statement, so that the rest can still be checked."""
    return statement.end_line < len(rows) and statement.text[-1:] in {"]", "}", '"', "'"}


def _duplicate_problem(
    what: str, statement: Statement | None, line: int, row: str, shown: str, lines: TomlLines
) -> Problem:
    if what.startswith("Duplicate inline"):
        found = f"a key twice in {shortened(row)!r}"
        return Problem(Reason.TOML_SYNTAX, shown, found, "each key once", line, key=_key(statement))
    key = _key(statement) or row
    path = statement.path if statement else ()
    first = next((s.line for s in lines.statements if s.path == path and s.line < line), None)
    first = first or lines.line_of(path)
    before = f", first in line {first}" if first and first != line else ""
    word = "table" if statement and statement.header else "key"
    hint = "delete one of the two"
    return Problem(
        Reason.TOML_SYNTAX, shown, f"the {word} '{key}' again{before}", f"each {word} once", line,
        key=key, hint=hint,
    )  # fmt: skip


def _syntax_hint(row: str, what: str) -> str:
    if re.search(_DECIMAL_COMMA, row):
        return "TOML wants a decimal point, such as 18.5"
    if "Unescaped '\\'" in what or ("\\" in row and '"' in row):
        return "put a text with backslashes in single quotes"
    if re.search(r"=\s*(True|False|TRUE|FALSE|yes|no)\b", row):
        return "write true or false"
    if re.search(_BARE_WORD, row):
        return "put text in quotes"
    if "=" not in row and not row.startswith("["):
        return "every line is `key = value`, a [table] or a # comment"
    return ""


def _key(statement: Statement | None) -> str | None:
    return dotted(statement.path) if statement and statement.path else None

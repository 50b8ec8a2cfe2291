"""Parse TOML and report every syntax fault, not just the first one."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Sequence
from typing import Any

from gearqa.errors import Problem, Reason
from gearqa.reading.settings.toml_lines import KeyPath, Statement, TomlLines
from gearqa.reading.settings.toml_text import dotted, shortened

_MAX_SYNTAX_FAULTS = 25
_DECIMAL_COMMA = re.compile(r"=\s*[+-]?\d+,\d+\s*(#.*)?$")
_BARE_WORD = re.compile(r"=\s*[A-Za-z_][^\"'=\[\]{}]*$")


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
        except RecursionError:
            found, expected = "tables or lists within each other without end", "a few levels at most"
            return None, lost, [*problems, Problem(Reason.TOML_SYNTAX, shown, found, expected)]
        except tomllib.TOMLDecodeError as error:
            statement, problem = _syntax_problem(str(error), rows, shown, lines)
            problems.append(problem)
            if statement is None or statement.header:
                break
            if not problem.found.startswith("the key"):  # of a duplicate, the first stays
                lost.add(statement.path)
            for row in range(statement.line - 1, statement.end_line):
                rows[row] = ""
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
    if _DECIMAL_COMMA.search(row):
        return "TOML wants a decimal point, such as 18.5"
    if "Unescaped '\\'" in what or ("\\" in row and '"' in row):
        return "put a text with backslashes in single quotes"
    if re.search(r"=\s*(True|False|TRUE|FALSE|yes|no)\b", row):
        return "write true or false"
    if _BARE_WORD.search(row):
        return "put text in quotes"
    if "=" not in row and not row.startswith("["):
        return "every line is `key = value`, a [table] or a # comment"
    return ""


def _key(statement: Statement | None) -> str | None:
    return dotted(statement.path) if statement and statement.path else None

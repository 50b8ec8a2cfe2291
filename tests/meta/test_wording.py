"""Numbers for people, notice codes and verdict words are made in one place."""

from __future__ import annotations

import ast
import re
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parents[2] / "gearqa"
FORMATS_A_NUMBER = re.compile(r"\.\d+[fge%]|[fge%]$|,|^\+")
FOR_MACHINES = ("report/draw/svg.py", "simulate/table_rows.py")
"""Numbers of drawings and of written tables: nobody reads them as text."""


def sources():
    for path in sorted(PACKAGE.rglob("*.py")):
        place = path.relative_to(PACKAGE)
        if place.parts[0] != "wording":
            yield str(place), ast.parse(path.read_text(encoding="utf-8"))


def spec_of(node):
    """Format specification of a formatted value, what is computed in it as 0."""
    if isinstance(node, ast.FormattedValue) and isinstance(node.format_spec, ast.JoinedStr):
        return "".join(
            part.value if isinstance(part, ast.Constant) else "0" for part in node.format_spec.values
        )
    if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "format":
        return node.args[1].value if len(node.args) > 1 and isinstance(node.args[1], ast.Constant) else ""
    return ""


def test_only_wording_formats_numbers_for_people():
    wrong = [
        f"{place}:{node.lineno}: {ast.unparse(node)}"
        for place, tree in sources()
        if not place.startswith(FOR_MACHINES)
        for node in ast.walk(tree)
        if FORMATS_A_NUMBER.search(spec_of(node))
    ]
    assert not wrong, "\n".join(wrong)


def test_the_check_of_formats_finds_them():
    tree = ast.parse("f'{a:.2f}{b:+.{n}g}{c:>5}{d}{e:g}'; format(f, '.3%')")
    found = {spec for node in ast.walk(tree) if FORMATS_A_NUMBER.search(spec := spec_of(node))}
    assert found == {".2f", "+.0g", "g", ".3%"}


@pytest.mark.parametrize("name", ["Notice", "notice"])
def test_codes_of_notices_come_from_the_list(name):
    wrong = [
        f"{place}:{node.lineno}: {node.args[0].value}"
        for place, tree in sources()
        for node in ast.walk(tree)
        if isinstance(node, ast.Call)
        and ast.unparse(node.func).split(".")[-1] == name
        and node.args
        and isinstance(node.args[0], ast.Constant)
    ]
    assert not wrong, "\n".join(wrong)

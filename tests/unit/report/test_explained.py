"""Notices explained where a page shows them."""

from __future__ import annotations

from gearqa.report.blocks.document import Table
from gearqa.report.blocks.explained import explained
from gearqa.wording.codes import code_named


def test_each_code_once_with_what_to_do() -> None:
    (section,) = explained(["wear", "few_gears", "wear", "of no known kind"])
    (table,) = section.blocks
    assert isinstance(table, Table)
    assert [row[0] for row in table.rows] == ["wear", "few_gears"]
    assert table.rows[0][1:] == code_named("wear")


def test_nothing_to_explain_has_no_heading() -> None:
    assert explained([]) == explained(["of no known kind"]) == []

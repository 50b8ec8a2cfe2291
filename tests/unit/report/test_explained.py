"""Notices explained where a page shows them."""

from __future__ import annotations

from gearqa.report.blocks.document import Table, plain, spans
from gearqa.report.blocks.explained import ANCHOR, explained, with_code
from gearqa.wording.codes import code_named


def test_each_code_once_with_what_to_do() -> None:
    (section,) = explained(["wear", "few_gears", "wear", "of no known kind"])
    (table,) = section.blocks
    assert isinstance(table, Table)
    assert [row[0] for row in table.rows] == ["wear", "few_gears"]
    assert table.rows[0][1:] == code_named("wear")


def test_nothing_to_explain_has_no_heading() -> None:
    assert explained([]) == explained(["of no known kind"]) == []


def test_a_notice_leads_to_what_its_code_means() -> None:
    told = with_code("A remark", "wear")
    assert plain(told) == "A remark [wear]"
    assert [span.text for span in spans(told) if span.target == ANCHOR] == ["wear"]
    assert with_code("A remark", "of no known kind") == "A remark"

"""`gearqa explain CODE`: codes of problems, notices, gaps and rows of the decision table."""

from __future__ import annotations

from typing import get_args

from gearqa.model.decision_table import TABLE
from gearqa.model.lot import LotDecision
from gearqa.model.results import State
from gearqa.report.blocks.document import Block, Column, Facts, Table
from gearqa.wording.codes import GROUPS
from gearqa.wording.verdicts import MASTER_QUALITY, RULES

EXPLAINED_IN: dict[str, str] = {
    **dict.fromkeys((*get_args(State), *MASTER_QUALITY.values(), *RULES), "verdicts"),
    **dict.fromkeys(get_args(LotDecision), "lot"),
}
"""Word of a verdict or rule -> the topic that explains it."""


def codes() -> list[str]:
    """All codes that have a page."""
    return list(
        dict.fromkeys([*(code for group in GROUPS.values() for code in group), *(r.code for r in TABLE)])
    )


def code_blocks(code: str) -> list[Block]:
    """The page of one code; empty of an unknown one."""
    blocks: list[Block] = [
        Facts((("Code", code), ("Comes up in", group), ("Means", one[code][0]), ("What to do", one[code][1])))
        for group, one in GROUPS.items()
        if code in one
    ]
    blocks += [
        Facts(
            (
                ("Code", code),
                ("Comes up in", f"Row {row.number} of the decision table of a lot: gearqa explain lot"),
                ("Means", row.rule),
                ("Outcome", row.outcome),
            )
        )
        for row in TABLE
        if row.code == code
    ]
    return blocks


def code_list() -> list[Block]:
    """All codes of problems and notices, a table where they come up."""
    columns = (
        Column("code", "left"),
        Column("means", "left", weight=1),
        Column("what to do", "left", weight=1),
    )
    return [
        Table(name, columns, tuple((code, *texts) for code, texts in group.items()))
        for name, group in GROUPS.items()
    ]

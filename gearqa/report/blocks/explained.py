"""What the notices of a report mean and what to do: a table from the entries of `gearqa explain`."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from gearqa.report.blocks.document import Column, Section, Table
from gearqa.wording.codes import code_named

ANCHOR: Final = "notices"
"""Id of the section, for links to it."""
COLUMNS: Final = (
    Column("code", "left"),
    Column("means", "left", weight=1),
    Column("what to do", "left", weight=1),
)


def explained(codes: Iterable[str]) -> list[Section]:
    """A section with each code once, in this order; none without a code that has an entry."""
    rows = tuple((code, *texts) for code in dict.fromkeys(codes) if (texts := code_named(code)))
    if not rows:
        return []
    return [Section("What the notices mean", (Table("", COLUMNS, rows, dense=True),), id=ANCHOR)]

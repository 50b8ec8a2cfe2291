"""What the notices of a report mean and what to do: a table from the entries of `gearqa explain`."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from gearqa.report.blocks.document import Column, Section, Span, Table, Text, join

ANCHOR: Final = "notices"
"""Id of the section, for links to it."""
ASK: Final = "What a code in brackets means and what to do: gearqa explain CODE."
COLUMNS: Final = (
    Column("code", "left"),
    Column("means", "left", weight=1),
    Column("what to do", "left", weight=1),
)


def with_code(message: Text, code: str) -> Text:
    """A notice followed by its code, which leads to what it means; as it is where nothing more is known."""
    from gearqa.wording.codes import code_named

    if code_named(code) is None:
        return message
    return join(message, " [", (Span(code, target=ANCHOR),), "]")


def explained(codes: Iterable[str]) -> list[Section]:
    """A section with each code once, in this order; none without a code that has an entry."""
    from gearqa.wording.codes import code_named

    rows = tuple((code, *texts) for code in dict.fromkeys(codes) if (texts := code_named(code)))
    if not rows:
        return []
    return [Section("What the notices mean", (Table("", COLUMNS, rows, dense=True),), id=ANCHOR)]

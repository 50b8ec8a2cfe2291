"""An incoming comparison on the terminal."""

from __future__ import annotations

from gearqa.model.incoming import IncomingResult
from gearqa.report.blocks import document as doc
from gearqa.report.incoming.plausible import questions_blocks
from gearqa.report.incoming.tables import agreement_table, explanations_table, open_table
from gearqa.report.incoming.words import notes, open_rows, subject, title, verdict
from gearqa.wording.safety import CAUTIONS

OPEN_ROWS = 15
"""Values to take up that a terminal lists."""


def incoming_blocks(result: IncomingResult, *, wide: bool) -> list[doc.Block]:
    """What the terminal shows."""
    blocks = doc.banner(result.simulated)
    blocks += [doc.Paragraph(title(result), "lead"), doc.Paragraph(subject(result)), verdict(result)]
    rows = open_rows(result)
    if rows:
        more = f", {OPEN_ROWS} of {len(rows)}" if len(rows) > OPEN_ROWS else ""
        caption = f"To take up with the supplier{more}"
        explained = wide and bool(result.agreement_explained)
        blocks.append(open_table(caption, rows[:OPEN_ROWS], explained=explained))
    blocks += questions_blocks(result)
    tables = (explanations_table(result), agreement_table(result, wide=wide))
    blocks += [table for table in tables if table is not None]
    if remarks := notes(result):
        blocks.append(doc.Bullets(remarks))
    return [*blocks, doc.Cautions(CAUTIONS)]

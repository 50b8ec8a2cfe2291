"""A lot sign-off on a terminal: the decision first, then what it rests on."""

from __future__ import annotations

from gearqa.model.lot import LotResult
from gearqa.report.blocks import document as doc
from gearqa.report.lot import words
from gearqa.wording.safety import CAUTIONS, SIMULATED_BANNER
from gearqa.wording.visible import clip

MOST_GEARS = 20
"""Gears listed on a terminal."""


def lot_blocks(result: LotResult, *, wide: bool = False) -> list[doc.Block]:
    """The sign-off as blocks for a terminal.

    Parameters
    ----------
    result : LotResult
        What came of the sign-off.
    wide : bool
        Whether the console has room for more columns.

    Returns
    -------
    list of Block
        Decision with its reasons, lot, sampling, gears, statistics, master quality, cautions, disposition.
    """
    blocks: list[doc.Block] = []
    if result.simulated:
        blocks.append(doc.Paragraph(SIMULATED_BANNER, "lead"))
    blocks += [
        words.verdict(result),
        doc.Bullets(words.reason_lines(result)),
        doc.Facts(_facts(result)),
        words.sampling_facts(result),
        doc.Bullets(words.risk_lines(result.sampling)),
    ]
    out = words.segregation_lines(result)
    if out:
        blocks.append(doc.Bullets(out))
    blocks += [
        words.gear_table(result, MOST_GEARS, caption="Gears of the sample"),
        _statistics(result, wide=wide),
    ]
    free, cautions = words.free_statement(result), words.caution_lines(result)
    if free is not None:
        blocks.append(doc.Paragraph(free))
    blocks += [
        doc.Paragraph("Master quality", "lead"),
        doc.Bullets(words.master_lines(result.master_quality)),
    ]
    if cautions:
        blocks += [doc.Paragraph(doc.CAUTIONS_TITLE, "lead"), doc.Bullets(cautions)]
    blocks += [
        doc.Paragraph("How this was decided", "lead"),
        doc.Bullets(words.note_lines(result)),
        doc.Facts((("Recommendation", words.marked(result.decision, result)),
                   ("Disposition", words.disposition_text(result)))),
        doc.Cautions(CAUTIONS),
    ]  # fmt: skip
    return blocks


def _statistics(result: LotResult, *, wide: bool) -> doc.Table:
    table = words.statistics_table(result, wide=wide)
    return doc.Table("Statistics over the gears of the sample", table.columns, table.rows, table.notes)


def _facts(result: LotResult) -> tuple[tuple[doc.Text, doc.Text], ...]:
    part, options = result.part, result.options
    revision = f", revision {clip(part['revision'])}" if part.get("revision") else ""
    items = (
        ("Part", f"{clip(part.get('number', ''))}{revision}"),
        ("Lot", clip(result.lot_id or "")),
        ("Lot size", words.lot_size_text(result)),
        ("Sample", str(result.sample_size)),
        ("Order", clip(options.order, 400)),
        ("Customer", clip(options.customer, 400)),
        ("Inspector", clip(options.inspector)),
        ("Date", options.date),
        ("Remark", clip(options.remark, 400)),
    )
    return tuple((name, value) for name, value in items if value)

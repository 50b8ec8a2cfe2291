"""An incoming comparison as page and PDF."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from gearqa.model.incoming import ComparedValue, IncomingResult
from gearqa.report.blocks import document as doc
from gearqa.report.blocks.explained import explained as code_sections
from gearqa.report.blocks.inputs import inputs_table
from gearqa.report.incoming.figures import incoming_figures, overlay_figures
from gearqa.report.incoming.plausible import questions_blocks
from gearqa.report.incoming.tables import (
    agreement_table,
    alignments_table,
    all_table,
    explanations_table,
    open_table,
)
from gearqa.report.incoming.words import (
    NOT_MEASURED,
    bias_text,
    notes,
    open_rows,
    subject,
    title,
    unproven_rows,
    verdict,
)
from gearqa.version import __version__
from gearqa.wording.numbers import DASH, count_text
from gearqa.wording.safety import CAUTIONS
from gearqa.wording.sentences import sentence
from gearqa.wording.visible import clip

MOST_ROWS = 2000
"""Values that a printed report lists."""
MORE_CAUTIONS = ("Agreement of two measurements proves neither: both may be wrong in the same way.",)


def incoming_document(result: IncomingResult) -> doc.Document:
    """The printed report."""
    facts = doc.Facts(tuple(_facts(result)))
    first: list[doc.Block] = [doc.Paragraph(subject(result), "lead"), verdict(result), facts]
    explained = bool(result.agreement_explained)
    rows = open_rows(result)
    if rows:
        first.append(open_table("To take up with the supplier", rows[:MOST_ROWS], explained=explained))
    sections = [doc.Section("", tuple(first), id="result")]
    if questions := questions_blocks(result):
        sections.append(doc.Section("Can the figures be true", tuple(questions), id="plausible"))
    table = explanations_table(result)
    explanation: list[doc.Block] = [*([] if table is None else [table])]
    if result.biases:
        explanation.append(doc.Bullets(tuple(sentence(bias_text(one)) for one in result.biases)))
    explanation += incoming_figures(result)
    if explanation:
        sections.append(doc.Section("Where the difference comes from", tuple(explanation), id="explanation"))
    agreement = agreement_table(result, full=True)
    if agreement is not None:
        sections.append(doc.Section("Agreement of both sides", (agreement,), id="agreement"))
    overlays = overlay_figures(result.curves)
    if overlays:
        raw: tuple[doc.Block, ...] = (alignments_table(result), *overlays)
        sections.append(doc.Section("Raw data laid over each other", raw, id="raw"))
    if remarks := notes(result, codes=True):
        sections.append(doc.Section("Notes", (doc.Bullets(remarks),)))
    some = f"The first {MOST_ROWS} of {len(result.rows)} values; the rest is in the result file"
    caption = some if len(result.rows) > MOST_ROWS else ""
    unproven = unproven_rows(result)
    values = all_table(caption, result.rows[:MOST_ROWS], explained=explained)
    sections.append(doc.Section("All values", (values,), id="values", new_page=True))
    sections += code_sections(one.code for one in result.cautions)
    cautions = doc.Cautions((*CAUTIONS, *MORE_CAUTIONS))
    signature = doc.Signature(("Compared by", "Decided by"))
    sections.append(doc.Section("", (inputs_table(result.inputs), cautions, signature)))
    head = title(result) + ("" if result.measured else f", {NOT_MEASURED}")
    sheets = [doc.Sheet(title(result), tuple(sections), id="incoming")]
    if unproven:
        sheets.append(_unproven_sheet(unproven, explained=explained))
    words = ("incoming inspection", result.part["number"])
    foot = f"gearqa {__version__}"
    return doc.Document(title(result), head, foot, tuple(sheets), simulated=result.simulated, keywords=words)


def _unproven_sheet(rows: Sequence[ComparedValue], *, explained: bool) -> doc.Sheet:
    """Claims near their class limit, folded away: nothing has to be done about them."""
    head = f"{count_text(len(rows), 'claim')} not proven"
    words = "Our uncertainty leaves these claims open; neither side is in the wrong."
    table = open_table("", rows[:MOST_ROWS], explained=explained)
    section = doc.Section("", (doc.Paragraph(words), table))
    return doc.Sheet(head, (section,), id="unproven", head=head, summary=words, folded=True)


def _facts(result: IncomingResult) -> Iterator[tuple[doc.Text, doc.Text]]:
    yield "Part", " ".join(filter(None, (result.part["number"], result.part["name"])))
    yield "Revision", result.part["revision"] or DASH
    if result.supplier:
        yield "Supplier", clip(result.supplier)
    yield "Standard of the drawing", result.standard
    comparison = next(r.sentence for r in result.reasons if r.code.startswith("comparison_"))
    yield "Comparison", sentence(comparison)

"""A lot sign-off on a terminal, the decision first, and the check of its record in lines."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace

from gearqa.model.lot import LotResult
from gearqa.model.record import Subject, Verification
from gearqa.report.blocks import document as doc
from gearqa.report.lot import words
from gearqa.wording.numbers import count_text
from gearqa.wording.safety import CAUTIONS
from gearqa.wording.visible import clip, visible

MOST_GEARS = 20
"""Gears listed on a terminal."""
MOST_DIFFERENCES = 50
"""Lines of one subject that are printed; the JSON result holds all."""


def lot_blocks(result: LotResult, *, wide: bool = False) -> list[doc.Block]:
    """The sign-off as blocks for a terminal; `wide` where the console has room for more columns."""
    free, out = words.free_statement(result), words.segregation_lines(result)
    table, cautions = words.statistics_table(result, wide=wide), words.caution_lines(result)
    codes = dict.fromkeys(notice.code for notice in (*result.cautions, *result.warnings))
    warned: list[doc.Block] = [doc.Paragraph(doc.CAUTIONS_TITLE, "lead"), doc.Bullets(cautions)]
    return [
        *doc.banner(result.simulated),
        words.verdict(result),
        doc.Bullets(words.reason_lines(result)),
        doc.Facts(_facts(result)),
        words.sampling_facts(result),
        doc.Bullets(words.risk_lines(result)),
        *([doc.Bullets(out)] if out else []),
        words.gear_table(result, MOST_GEARS, caption="Gears of the sample"),
        *([replace(table, caption="Statistics over the gears of the sample")] if table.rows else []),
        *([doc.Paragraph(free)] if free is not None else []),
        doc.Paragraph("Master quality", "lead"),
        doc.Bullets(words.master_lines(result)),
        *(warned if cautions else []),
        *([doc.Paragraph(f"gearqa explain CODE says what these mean: {', '.join(codes)}.")] if codes else []),
        doc.Paragraph("How this was decided", "lead"),
        doc.Bullets(words.note_lines(result)),
        doc.Facts((("Recommendation", words.marked(result.decision, result)),
                   ("Disposition", words.disposition_text(result)))),
        doc.Cautions(CAUTIONS),
    ]  # fmt: skip


def _facts(result: LotResult) -> tuple[tuple[doc.Text, doc.Text], ...]:
    part, options = result.part, result.options
    revision = f", revision {clip(part['revision'])}" if part.get("revision") else ""
    items = (
        ("Part", f"{clip(part.get('number', ''))}{revision}"),
        ("Standard", result.standard),
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


def verification_lines(verification: Verification) -> list[str]:
    """The check of a record: one line a finding, and one for the whole.

    >>> from gearqa.model.record import SUBJECTS, RecordFinding
    >>> findings = [RecordFinding(name, "not checked", "", "no folder was given") for name in SUBJECTS[1:]]
    >>> changed = RecordFinding("files", "differs", "", "a.csv: changed")
    >>> first, *_, last = verification_lines(Verification("L-7", "0", (changed, *findings)))
    >>> first
    'files: differs: a.csv: changed'
    >>> last
    'lot L-7: 1 difference; not checked: record, chain, signature, recomputed values'
    """
    lines: list[str] = []
    differences: Counter[Subject] = Counter()
    for one in verification.findings:
        differences[one.subject] += one.status == "differs"
        if one.status != "differs" or differences[one.subject] <= MOST_DIFFERENCES:
            lines.append(f"{_named(one.subject)}: {one.status}: {visible(one.sentence)}")
    lines += [
        f"{_named(subject)}: {count_text(count - MOST_DIFFERENCES, 'more difference')}"
        for subject, count in differences.items()
        if count > MOST_DIFFERENCES
    ]
    count = differences.total()
    outcome = count_text(count, "difference") if count else "nothing that was checked differs"
    left = [_named(subject) for subject, status in verification.subjects.items() if status == "not checked"]
    left_out = ", ".join(left) or "nothing"
    return [*lines, f"lot {visible(verification.lot_id)}: {outcome}; not checked: {left_out}"]


def _named(subject: Subject) -> str:
    return "recomputed values" if subject == "values" else subject

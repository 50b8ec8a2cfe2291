"""Stored gears in full, and the JSON of what `history check` and `history regrade` found."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from gearqa.history.queries import Selection
    from gearqa.history.store import HistoryStore
    from gearqa.model.history import CheckReport, RegradeReport, StoredGear
    from gearqa.report.blocks.document import Block


def shown_blocks(history: HistoryStore, which: Selection, *, wide: bool) -> list[Block]:
    """Every gear that counts in full, then its former results."""
    from gearqa.evaluation.evaluate import grade_header
    from gearqa.history.queries import input_files, part_of, result_of, select_results
    from gearqa.report.blocks.document import Paragraph
    from gearqa.report.grading.words import gear_blocks
    from gearqa.report.history.words import former_lines, time_text

    blocks: list[Block] = []
    former: list[StoredGear] = []
    with history.reading() as connection:
        found = list(select_results(connection, which))
        for stored, document, _ in found:
            if stored.state != "current":
                former.append(stored)
                continue
            part = part_of(connection, stored.id)
            header = grade_header(part, input_files(connection, stored.intake), stored.simulated)
            blocks.append(Paragraph(f"added {time_text(stored.added_at)}, intake {stored.intake}", "note"))
            blocks += gear_blocks(header, result_of(document), part.evaluation.slope_span, wide=wide)
    if former:
        blocks.append(former_lines(former))
    return blocks


def check_document(history: HistoryStore, report: CheckReport) -> bytes:
    """JSON of a store looked through."""
    from gearqa.model.store_reports import CheckedStore, StorePlace
    from gearqa.results.history_json import HISTORY

    return HISTORY.json(CheckedStore(StorePlace(history.shown), report))


def regrade_document(history: HistoryStore, report: RegradeReport) -> bytes:
    """JSON of gears graded anew."""
    from gearqa.model.store_reports import RegradedStore, StorePlace
    from gearqa.results.history_json import HISTORY

    return HISTORY.json(RegradedStore(StorePlace(history.shown), report))


def write_document(target: str | None, document: bytes) -> None:
    """Write a document where an output was asked for."""
    from gearqa.results.outputs import write_whole

    if target is not None:
        write_whole(target, document)

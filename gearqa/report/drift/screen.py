"""An analysed history on the terminal: the four answers, what they rest on, the series."""

from __future__ import annotations

from gearqa.model.drift import DriftHeader, DriftResult
from gearqa.report.blocks import document as doc
from gearqa.report.drift import words
from gearqa.report.drift.answers import DRESS_TITLE, answers, topic_lists
from gearqa.report.drift.economics import choices_table
from gearqa.report.drift.grinder import grinder_sections
from gearqa.wording.safety import CAUTIONS, SETTER


def drift_blocks(result: DriftResult, header: DriftHeader, *, wide: bool = False) -> list[doc.Block]:
    """What `gearqa drift` prints."""
    blocks = doc.banner(result.simulated)
    for where, verdict in answers(result):
        blocks += [*([doc.Paragraph(where, "lead")] if where else []), verdict]
    for title, bullets in topic_lists(result):
        blocks += [doc.Paragraph(title, "lead"), bullets]
        if title == DRESS_TITLE:
            tables = [choices_table(one) for one in result.dress_intervals]
            blocks += [one for one in tables if one is not None]
    for title, section in grinder_sections(result):
        blocks += [doc.Paragraph(title, "lead"), *section]
    for (part, grinder), members in words.groups(result.ranked()).items():
        active, quiet = words.split(members)
        most = max(members, key=lambda one: one.gears)
        caption = f"Part {part} on grinder {grinder}: {words.cycles_text(most)}"
        if active:
            blocks.append(words.series_table(active, caption, wide=wide))
        if quiet:
            note = words.quiet_note(quiet)
            blocks.append(doc.Paragraph(note if active else doc.join(f"{caption}. ", note)))
    if systems := words.systems_text(header):
        blocks.append(doc.Paragraph(systems, "note"))
    if warnings := words.remarks(result):
        blocks += [doc.Paragraph("Notes", "lead"), doc.Bullets(warnings, "note")]
    blocks.append(doc.Cautions((SETTER, words.IN_SHORT, words.false_alarms(result), *CAUTIONS)))
    return blocks

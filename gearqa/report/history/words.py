"""What a history store holds, as tables and sentences."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from datetime import datetime

from gearqa.model.history import (
    CheckReport,
    FrozenReference,
    IntakeReport,
    RegradeReport,
    StoredEvent,
    StoredGear,
)
from gearqa.report.blocks.document import Block, Bullets, Cautions, Cell, Column, Paragraph, Table
from gearqa.report.blocks.verdicts import conformity_cell, master_quality_cell
from gearqa.wording.numbers import DASH, class_text, count_text
from gearqa.wording.safety import CAUTIONS, SIMULATED_BANNER
from gearqa.wording.verdicts import CONFORMITY

ROWS_SHOWN = 40
CHANGES_SHOWN = 20


def time_text(moment: datetime | None) -> str:
    """A time as people read it, with its own offset.

    >>> time_text(datetime.fromisoformat("2025-04-07T06:05:35+02:00")), time_text(None)
    ('2025-04-07 06:05 +02:00', '–')
    """
    if moment is None:
        return DASH
    return f"{moment:%Y-%m-%d %H:%M} {moment.isoformat()[-6:]}"


def gears_table(gears: Sequence[StoredGear], total: int, *, wide: bool = False) -> Table:
    """Gears, one a row; the last ones made where there are many."""
    many_parts = len({gear.part_number for gear in gears}) > 1
    many_states = len({gear.state for gear in gears}) > 1
    columns = [
        Column("gear", "left"),
        *([Column("part", "left")] if many_parts or wide else []),
        Column("made", "left"),
        *([Column("grinder", "left"), Column("dress", "left"), Column("part of dress")] if wide else []),
        Column("class"),
        Column("drawing", "left"),
        Column("master quality", "left"),
        *([Column("state", "left")] if many_states else []),
    ]
    rows: list[tuple[Cell | str, ...]] = [
        (
            gear.serial,
            *([f"{gear.part_number} {gear.revision}".strip()] if many_parts or wide else []),
            time_text(gear.finished_at),
            *([gear.grinder or DASH, gear.dress or DASH, _number(gear.parts_since_dress)] if wide else []),
            class_text(gear.class_, gear.beyond, complete=gear.class_complete),
            conformity_cell(gear.conforms),
            master_quality_cell(gear.master_quality),
            *([gear.state] if many_states else []),
        )
        for gear in gears
    ]
    notes = []
    if len(gears) < total:
        notes.append(f"The last {len(gears)} of {total} gears; all of them: --all, --json or history export.")
    if any(not gear.class_complete for gear in gears):
        notes.append("* class of an incomplete set: something graded was not assessed.")
    return Table("", tuple(columns), tuple(rows), notes=tuple(notes))


def gear_list_blocks(
    gears: Sequence[StoredGear],
    total: int,
    events: Sequence[StoredEvent] | None,
    references: Sequence[FrozenReference],
    *,
    wide: bool = False,
) -> list[Block]:
    """What `history list` shows."""
    blocks: list[Block] = []
    if any(gear.simulated for gear in gears):
        blocks.append(Paragraph(SIMULATED_BANNER, "lead"))
    blocks.append(gears_table(gears, total, wide=wide) if gears else Paragraph("no gears"))
    if events is not None:
        blocks.append(events_table(events) if events else Paragraph("no events"))
    if references:
        blocks.append(references_table(references))
    if gears:
        blocks.append(Cautions(CAUTIONS))
    return blocks


def events_table(events: Sequence[StoredEvent]) -> Table:
    """What was done to the grinders."""
    columns = (
        Column("no."), Column("at", "left"), Column("grinder", "left"), Column("event", "left"),
        Column("on", "left"), Column("correction"), Column("remark", "left"),
    )  # fmt: skip
    rows = tuple(
        (
            str(event.id),
            time_text(event.at),
            event.grinder,
            event.event,
            " ".join(filter(None, (event.wheel, event.parameter, event.flank))) or DASH,
            DASH if event.correction is None else f"{event.correction:+g} {event.unit or ''}".strip(),
            event.remark or DASH,
        )
        for event in events
    )
    return Table("Events", columns, rows)


def references_table(references: Sequence[FrozenReference]) -> Table:
    """Periods that control limits come from."""
    titles = ("part", "grinder", "from", "to", "frozen", "remark")
    columns = tuple(Column(title, "left") for title in titles)
    rows = tuple(
        (
            one.part_number, one.grinder, time_text(one.from_at), time_text(one.to_at),
            time_text(one.frozen_at), one.remark or DASH,
        )
        for one in references
    )  # fmt: skip
    return Table("Frozen references of control limits", columns, rows)


def intake_sentence(report: IntakeReport) -> str:
    """What adding a folder did."""
    what = [
        f"{report.added} added",
        *([f"{report.replaced} superseding the stored ones"] if report.replaced else []),
        *([f"{report.unchanged} stored already"] if report.unchanged else []),
    ]
    verdicts = [
        *([f"{report.not_conforming} {CONFORMITY[False] if report.not_conforming == 1 else 'do not conform'}"]
          if report.not_conforming else []),
        *([f"{report.undecided} not assessed"] if report.undecided else []),
    ]  # fmt: skip
    parts = [
        f"{report.folder}: part {f'{report.part_number} {report.revision}'.strip()}, "
        f"{count_text(report.gears, 'gear')}: {', '.join(what)}",
        ", ".join(verdicts) if verdicts else "all conform",
        f"{count_text(report.events, 'new event')}",
        *(["SIMULATED"] if report.simulated else []),
    ]
    return "; ".join(parts)


def regrade_blocks(report: RegradeReport) -> list[Block]:
    """What grading anew came to."""
    words = Counter(f"{CONFORMITY[g.conforms_before]} → {CONFORMITY[g.conforms_after]}" for g in report.gears)
    sources = Counter(gear.source for gear in report.gears)
    changed = [
        gear
        for gear in report.gears
        if (gear.class_before, gear.conforms_before, gear.master_quality_before)
        != (gear.class_after, gear.conforms_after, gear.master_quality_after)
    ]
    lines = [
        f"{count_text(len(report.gears), 'gear')} graded anew"
        + "".join(f", {number} from {source}" for source, number in sources.items()),
        *(f"{number}: {text}" for text, number in words.items()),
    ]
    if report.unchanged:
        lines.append(
            f"{count_text(report.unchanged, 'gear')} left: their part data asks for just that already"
        )
    blocks: list[Block] = [Paragraph(SIMULATED_BANNER, "lead")] if report.simulated else []
    blocks.append(Bullets(tuple(lines)))
    if changed:
        columns = (
            Column("gear", "left"), Column("class was"), Column("is"), Column("drawing was", "left"),
            Column("is", "left"), Column("master quality is", "left"),
        )  # fmt: skip
        rows = tuple(
            (
                gear.serial, _number(gear.class_before), _number(gear.class_after),
                CONFORMITY[gear.conforms_before],
                conformity_cell(gear.conforms_after),
                master_quality_cell(gear.master_quality_after),
            )
            for gear in changed[:CHANGES_SHOWN]
        )  # fmt: skip
        rest = len(changed) - len(rows)
        notes = (f"and {count_text(rest, 'more gear')}: --json",) if rest else ()
        blocks.append(Table("Gears that come out otherwise", columns, rows, notes=notes))
    kept = (
        "The former results are kept as superseded." if report.written else "Nothing was written (dry run)."
    )
    blocks += [Paragraph(kept, "note"), Cautions(CAUTIONS)]
    return blocks


def check_blocks(report: CheckReport) -> list[Block]:
    """What looking a store through came to."""
    counted = (
        f"{count_text(report.gears, 'gear')}, {report.superseded} superseded, {report.removed} removed, "
        f"{count_text(report.events, 'event')}, {count_text(report.intakes, 'intake')}"
    )
    if report.files_checked:
        counted += f", {count_text(report.files_checked, 'raw file')} compared"
    if not report.findings:
        return [Paragraph(f"nothing wrong: {counted}")]
    listed = Bullets(tuple(finding.sentence for finding in report.findings))
    return [Paragraph(f"{count_text(len(report.findings), 'finding')}; {counted}", "lead"), listed]


def former_lines(gears: Iterable[StoredGear]) -> Bullets:
    """Results of a gear that no longer count."""
    return Bullets(
        tuple(
            f"{gear.state} result of {time_text(gear.added_at)}: class "
            f"{class_text(gear.class_, gear.beyond, complete=gear.class_complete)}, "
            f"{CONFORMITY[gear.conforms]}"
            for gear in gears
        )
    )


def _number(value: int | None) -> str:
    return DASH if value is None else str(value)

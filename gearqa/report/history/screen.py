"""A history store on the terminal."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from gearqa.model.history import (
    Acknowledgement,
    CheckReport,
    FrozenReference,
    GradedAs,
    HistoryList,
    RegradeReport,
    StoredEvent,
    StoredGear,
    StoredResult,
)
from gearqa.model.measurement import measured_name
from gearqa.report.blocks.document import (
    Block,
    Bullets,
    Cautions,
    Cell,
    Column,
    Paragraph,
    Table,
    banner,
)
from gearqa.report.blocks.verdicts import conformity_cell, master_quality_cell
from gearqa.report.grading.words import gear_blocks
from gearqa.report.history.words import part_text, series_text
from gearqa.symbols import symbol_of
from gearqa.wording.numbers import DASH, class_text, count_text, short_text
from gearqa.wording.safety import CAUTIONS
from gearqa.wording.sentences import first_lines
from gearqa.wording.times import time_text
from gearqa.wording.verdicts import CONFORMITY

ROWS_SHOWN = 40
CHANGES_SHOWN = 20
FINDINGS_SHOWN = 50


def _gears_table(found: HistoryList, *, wide: bool) -> Table:
    """Gears, one a row; the last ones made where there are many."""
    gears = found.gears
    many_parts = len({gear.part_number for gear in gears}) > 1
    many_systems = len({found.standards.get(gear.id) for gear in gears}) > 1
    many_states = len({gear.state for gear in gears}) > 1
    columns = [
        Column("gear", "left"),
        *([Column("part", "left")] if many_parts or wide else []),
        Column("made", "left"),
        *([Column("grinder", "left"), Column("dress", "left"), Column("part of dress")] if wide else []),
        Column("class"),
        *([Column("class by", "left")] if many_systems else []),
        Column("drawing", "left"),
        Column("master quality", "left"),
        *([Column("state", "left")] if many_states else []),
    ]
    rows: list[tuple[Cell | str, ...]] = [
        (
            _name(gear, found.graded.get(gear.id)),
            *([part_text(gear.part_number, gear.revision)] if many_parts or wide else []),
            time_text(gear.finished_at),
            *([gear.grinder or DASH, gear.dress or DASH, _number(gear.parts_since_dress)] if wide else []),
            class_text(gear.class_, gear.beyond, complete=gear.class_complete),
            *([found.standards.get(gear.id, DASH)] if many_systems else []),
            conformity_cell(gear.conforms, _state(found.graded.get(gear.id))),
            master_quality_cell(gear.master_quality),
            *([gear.state] if many_states else []),
        )
        for gear in gears
    ]
    notes = []
    if len(gears) < found.total:
        shown = f"The last {len(gears)} of {found.total} gears"
        notes.append(f"{shown}; all of them: --all, --json or history export.")
    if any(not gear.class_complete for gear in gears):
        notes.append("* class of an incomplete set: something graded was not assessed.")
    return Table("", tuple(columns), tuple(rows), notes=tuple(notes))


def _name(gear: StoredGear, graded: GradedAs | None) -> str:
    return gear.serial if graded is None else measured_name(gear.serial, graded.measurement)


def _state(graded: GradedAs | None) -> str | None:
    return None if graded is None else graded.state


def gear_list_blocks(found: HistoryList, *, events: bool = False, wide: bool = False) -> list[Block]:
    """What `history list` prints."""
    blocks = banner(any(gear.simulated for gear in found.gears))
    blocks.append(_gears_table(found, wide=wide) if found.gears else Paragraph("no gears"))
    if events:
        blocks.append(_events_table(found.events) if found.events else Paragraph("no events"))
    if events and found.acknowledgements:
        blocks.append(_acknowledgements_table(found.acknowledgements))
    if found.references:
        blocks.append(_references_table(found.references))
    if found.gears:
        blocks.append(Cautions(CAUTIONS))
    return blocks


def result_blocks(results: Sequence[StoredResult], *, wide: bool = False) -> list[Block]:
    """What `history show` prints: every gear that counts in full, then what no longer counts."""
    blocks: list[Block] = []
    for one in results:
        if one.gear.state == "current":
            note = f"added {time_text(one.gear.added_at)}, intake {one.gear.intake}"
            blocks.append(Paragraph(note, "note"))
            blocks += gear_blocks(one.header, one.result, one.slope_span, wide=wide)
    former = [one.gear for one in results if one.gear.state != "current"]
    return [*blocks, *([_former_results(former)] if former else [])]


def _events_table(events: Sequence[StoredEvent]) -> Table:
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
            _concerned(event),
            _correction(event),
            event.remark or DASH,
        )
        for event in events
    )
    return Table("Events", columns, rows)


def _concerned(event: StoredEvent) -> str:
    """Wheel, parameter and flank of an event."""
    symbol = None if event.parameter is None else symbol_of(event.parameter)
    return " ".join(filter(None, (event.wheel, symbol, event.flank))) or DASH


def _correction(event: StoredEvent) -> str:
    if event.correction is None:
        return DASH
    unit = "µm" if event.unit == "um" else event.unit or ""
    return f"{short_text(event.correction, signed=True)} {unit}".strip()


def _acknowledgements_table(seen: Sequence[Acknowledgement]) -> Table:
    """Signals that somebody has seen."""
    titles = ("no.", "at", "signal of", "seen by", "cause", "action")
    columns = tuple(Column(title, "left") for title in titles)
    rows = tuple(
        (
            str(one.id), time_text(one.at), series_text(one), one.seen_by, one.cause,
            one.action,
        )
        for one in seen
    )  # fmt: skip
    return Table("Signals seen", columns, rows)


def _references_table(references: Sequence[FrozenReference]) -> Table:
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


def regrade_blocks(report: RegradeReport) -> list[Block]:
    """What `history regrade` prints."""
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
            f"{count_text(report.unchanged, 'gear')} left as graded: the part data asks for the same already"
        )
    blocks = [*banner(report.simulated), Bullets(tuple(lines))]
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
        notes = [f"and {count_text(rest, 'more gear')}: --json"] if rest else []
        systems = dict.fromkeys((one.standard_before, one.standard_after) for one in changed)
        notes += [
            f"Classes: by {was}." if was == is_ else f"Classes: were by {was}, are by {is_}; not converted."
            for was, is_ in systems
        ]
        blocks.append(Table("Gears with another result", columns, rows, notes=tuple(notes)))
    kept = (
        "The former results are kept as superseded." if report.written else "Nothing was written (dry run)."
    )
    blocks += [Paragraph(kept, "note"), Cautions(CAUTIONS)]
    return blocks


def check_blocks(report: CheckReport) -> list[Block]:
    """What `history check` prints."""
    counted = (
        f"{count_text(report.gears, 'gear')}, {report.superseded} superseded, {report.removed} removed, "
        f"{count_text(report.events, 'event')}, {count_text(report.intakes, 'intake')}"
    )
    if report.deliveries:
        counted += f", {count_text(report.deliveries, 'delivery', 'deliveries')}"
    if report.files_checked:
        counted += f", {count_text(report.files_checked, 'raw file')} compared"
    entries = count_text(report.chain.entries, "entry", "entries")
    end = Paragraph(f"head of the chain ({entries}): {report.chain.head or DASH}")
    if not report.findings:
        return [Paragraph(f"nothing wrong: {counted}"), end]
    listed = Bullets(tuple(first_lines([one.sentence for one in report.findings], FINDINGS_SHOWN)))
    return [Paragraph(f"{count_text(len(report.findings), 'finding')}; {counted}", "lead"), listed, end]


def _former_results(gears: Sequence[StoredGear]) -> Bullets:
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

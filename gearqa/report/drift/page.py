"""The drift report: what matters first, what to do, all series, their charts, what it rests on."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import datetime

from gearqa.model.drift import DriftHeader, DriftResult, DriftSeries, LevelChange
from gearqa.report.blocks import document as doc
from gearqa.report.blocks.explained import explained, with_code
from gearqa.report.blocks.inputs import input_files
from gearqa.report.drift import words
from gearqa.report.drift.answers import DRESS_TITLE, GRINDER_TITLE, HOLD_TITLE, answers, topic_lists
from gearqa.report.drift.economics import choices_table, risk_figure
from gearqa.report.drift.figures import saw_tooth_figure, series_figures
from gearqa.report.drift.grinder import grinder_sections
from gearqa.version import __version__
from gearqa.wording.numbers import (
    DASH,
    chance_text,
    count_text,
    large_text,
    share_text,
    short_text,
    signed_text,
    um_text,
)
from gearqa.wording.safety import CAUTIONS, SETTER
from gearqa.wording.sentences import sentence
from gearqa.wording.visible import clip

SHORT = 48
"""Characters of a part number or grinder in titles and page heads."""
RANGES_SHOWN = 40
ROLES = ("Process engineer", "Setter")


def build_drift_document(result: DriftResult, header: DriftHeader) -> doc.Document:
    """The whole report, for page and paper."""
    by_group = words.groups(result.ranked())
    places = [(clip(part, SHORT), clip(grinder, SHORT)) for part, grinder in by_group]
    if len(places) == 1:
        ((part, grinder),) = places
        title, head = f"Drift of {part} on {grinder}", f"Part {part}, grinder {grinder}"
    else:
        parts, grinders = (len(set(names)) for names in zip(*by_group, strict=True))
        title, head = "Drift report", f"{count_text(parts, 'part')}, {count_text(grinders, 'grinder')}"
    sheets = [_first_sheet(title, result, header, by_group)]
    for number, ((part, grinder), members) in enumerate(zip(places, by_group.values(), strict=True), 1):
        sheets += _group_sheets(number, f"{part} on {grinder}", members)
    sheets.append(_last_sheet(result, header))
    return doc.Document(
        title=title,
        head=head,
        foot=" · ".join((f"gearqa {__version__}", "drift report", *header.standards)),
        sheets=tuple(sheets),
        simulated=result.simulated,
        keywords=("drift", *dict.fromkeys(part for part, _ in places)),
    )


# --- first sheet --------------------------------------------------------------------------------


def _first_sheet(
    title: str, result: DriftResult, header: DriftHeader, by_group: dict[tuple[str, str], list[DriftSeries]]
) -> doc.Sheet:
    sections = [doc.Section(where, (verdict,)) for where, verdict in answers(result)]
    held = _hold_table(result)
    for name, bullets in topic_lists(result):
        blocks: list[doc.Block] = [bullets]
        if name == HOLD_TITLE and held is not None:
            blocks.append(held)
        if name == GRINDER_TITLE:
            blocks.append(doc.Paragraph((doc.Span(SETTER, "strong"),)))
        if name == DRESS_TITLE:
            blocks += _choices(result, by_group)
        sections.append(doc.Section(name, tuple(blocks)))
    sections += [doc.Section(name, section) for name, section in grinder_sections(result)]
    tables: list[doc.Block] = []
    for (part, grinder), members in by_group.items():
        active, quiet = words.split(members)
        caption = f"{part} on {grinder}" if len(by_group) > 1 else ""
        if active:
            tables.append(words.series_table(active, caption, wide=True))
        if quiet:
            tables.append(doc.Paragraph(words.quiet_note(quiet), "note"))
    sections.append(doc.Section("Series", tuple(tables)))
    if warnings := words.remarks(result, codes=True):
        sections.append(doc.Section("Notes", (doc.Bullets(warnings),)))
    sections.append(doc.Section("History", (doc.Facts(tuple(_facts(result, header))),)))
    return doc.Sheet(title=title, sections=tuple(sections), id="drift", head="Summary")


def _choices(result: DriftResult, by_group: dict[tuple[str, str], list[DriftSeries]]) -> Iterator[doc.Block]:
    """What other risks would allow, of each part and grinder."""
    for decision in result.dress_intervals:
        members = by_group[decision.part, decision.grinder]
        if len(by_group) > 1:
            yield doc.Paragraph(f"{clip(decision.part, SHORT)} on {clip(decision.grinder, SHORT)}")
        figure = risk_figure(members, decision, result.settings.risk)
        table = choices_table(decision)
        yield from (block for block in (figure, table) if block is not None)


def _facts(result: DriftResult, header: DriftHeader) -> Iterator[tuple[str, str]]:
    by_group = words.groups(result.series)
    if len(by_group) == 1:
        (part, grinder), members = next(iter(by_group.items()))
        most = max(members, key=lambda one: one.gears)
        yield "Part", clip(part)
        revision = f"revision {clip(most.limit_revision)}" if most.limit_revision else DASH
        yield "Limits from part data", revision
        yield "Grinder", clip(grinder)
        yield "History", words.cycles_text(most)
        if most.cycles:
            label = f" ({clip(most.current_dress, SHORT)})" if most.current_dress else ""
            yield "Current dress cycle", f"{most.current_cycle}{label}"
    each = dict.fromkeys(one.charts.finished_at for one in result.series)  # those of the same gears once
    times = [at for own in each for at in own if at is not None]
    if times:
        for name, end in (("Made from", min), ("Made until", max)):
            yield name, end(times, key=datetime.timestamp).isoformat(sep=" ", timespec="minutes")
    yield "Source", clip(header.source)


def _hold_table(result: DriftResult) -> doc.Table | None:
    """Ranges of parts to hold, over all series."""
    hold = result.hold
    if not hold.ranges:
        return None
    several = len(words.groups(result.series)) > 1
    rows = []
    for one in hold.ranges[-RANGES_SHOWN:]:
        where = f"{one.cycle}" + (f" ({clip(one.dress, SHORT)})" if one.dress else "")
        ends = dict.fromkeys(clip(s, SHORT) for s in (one.from_serial, one.to_serial) if s is not None)
        rows.append((
            *((f"{clip(one.part, SHORT)} on {clip(one.grinder, SHORT)}",) if several else ()),
            where, f"{one.from_part} to {one.to_part}", str(one.parts), " to ".join(ends) or DASH,
            chance_text(one.largest_p), str(one.measure_first),
        ))  # fmt: skip
    columns = (
        *((doc.Column("part", "left"),) if several else ()),
        doc.Column("cycle", "left"), doc.Column("parts\nsince dress", "left"), doc.Column("not\nmeasured"),
        doc.Column("serials", "left", weight=1), doc.Column("largest chance\nbeyond a limit"),
        doc.Column("measure\nfirst: part"),
    )  # fmt: skip
    more = len(hold.ranges) - RANGES_SHOWN
    notes = (
        "Held is every part with more than 1 % chance to lie beyond a limit that was made since the last "
        "level change and not measured; measured parts between them are free, or named as beyond a limit."
        + (f" {more} ranges before these: see --json." if more > 0 else ""),
    )
    return doc.Table("", columns, tuple(rows), notes=notes)


# --- sheets of the series -----------------------------------------------------------------------


def _group_sheets(number: int, where: str, members: Sequence[DriftSeries]) -> Iterator[doc.Sheet]:
    active, quiet = (
        tuple(_series_section(one, first=k == 0) for k, one in enumerate(some))
        for some in words.split(members)
    )
    if active:
        yield doc.Sheet(f"Charts: {where}", active, id=f"charts-{number}", head=where)
    if quiet:
        note = words.quiet_note(words.split(members)[1])
        yield doc.Sheet(
            f"Quiet series: {where}", quiet, id=f"quiet-{number}", head=where, summary=note, folded=True
        )


def _series_section(series: DriftSeries, *, first: bool) -> doc.Section:
    saw = saw_tooth_figure(series)
    parts = series.parts_to_limit
    near = (
        ("Signals", words.signals_cell(series).text),
        ("Limit of this cycle", DASH if parts is None else words.parts_text(series)),
        ("Dress every", f"{words.interval_text(series)} parts" if series.dress_interval_parts else DASH),
    )
    blocks: list[doc.Block] = [
        doc.Paragraph(series.sentence),
        doc.Facts(near, dense=True),
        *series_figures(series),
        *(() if saw is None else (saw,)),
        doc.Facts(tuple(_series_facts(series))),
    ]
    lines = [
        *map(_level_change, series.steps),
        *map(sentence, words.signal_lines(series.signals)),
        *(reason.sentence for reason in series.reasons if reason.code == "few_cycles"),
        *(with_code(sentence(notice.message), notice.code) for notice in series.warnings),
    ]
    if lines:
        blocks.append(doc.Bullets(tuple(lines), "note"))
    name = doc.join(words.short_name(series), f" · {words.long_name(series)}")
    return doc.Section(name, tuple(blocks), new_page=not first and not series.quiet)


def _level_change(step: LevelChange) -> str:
    size, p = um_text(step.size_um, signed=True), short_text(step.p, 1)
    cause = step.event or "no event is recorded near it"
    place = f"cycle {step.cycle}"
    if step.cycle_low < step.cycle_high:
        place += f" ({step.cycle_low} to {step.cycle_high})"
    return sentence(f"level change of {size} at {place}, p {p}: {cause}")


def _series_facts(series: DriftSeries) -> Iterator[tuple[str, str]]:
    percent = share_text(series.wear_confidence)
    wear, _, interval = words.wear_texts(series)
    if wear != DASH:
        mark = " (parts estimated from times)" if series.wear_estimated else ""
        yield f"Wear, µm per part, with {percent} interval", f"{wear} ({interval}){mark}"
    if series.wear_robust_um_per_part is not None:
        yield "Robust wear, µm per part", signed_text(series.wear_robust_um_per_part, 4)
    trend = series.trend_interval
    if series.level_trend_um_per_cycle is not None and trend is not None:
        rate, low, high = (signed_text(v, 3) for v in (series.level_trend_um_per_cycle, *trend))
        yield f"Trend of the level, µm per cycle, with {percent} interval", f"{rate} ({low} to {high})"
    if series.sd_part_um is not None:
        where = "inside a cycle" if series.cycles else "of the values"
        yield f"Standard deviation {where}, µm", words.sd_text(series.sd_part_um)
    if series.sd_cycle_um is not None:
        yield "Standard deviation of the level, µm", words.sd_text(series.sd_cycle_um)
    if series.limit_kind != "none":
        kind = series.limit_kind.capitalize()
        revision = f" (revision {clip(series.limit_revision, 16)})" if series.limit_revision else ""
        yield f"{kind}s, µm", f"{words.limits_text(series)}{revision}"
    parts = series.parts_to_limit
    if parts is not None:
        yield "Parts of this cycle to the limit", f"{parts.expected} ({parts.low} to {parts.high})"
    if series.current_dress_interval_parts is not None:
        yield "Usual dress interval", count_text(series.current_dress_interval_parts, "part")
    if series.dress_interval_parts is not None:
        yield f"Interval for a risk of {share_text(series.risk)}", f"{words.interval_text(series)} parts"
    offset, centred = series.centring_offset_um, series.dress_interval_centred_parts
    if offset is not None and centred is not None:
        moved = f"{um_text(offset, 1, signed=True)}, then {count_text(centred, 'part')}"
        yield "Level moved to centre the cycle", moved
    reference = series.reference
    if reference is not None:
        frozen = "chosen, frozen" if reference.frozen else "the first that fit, not frozen"
        yield "Control limits from cycles", f"{reference.from_} to {reference.to} ({frozen})"
        length = series.false_alarm.in_control_run_length_parts
        if length is not None:
            yield "Parts between two false alarms", f"about {large_text(length)}"


# --- last sheet ---------------------------------------------------------------------------------


def _last_sheet(result: DriftResult, header: DriftHeader) -> doc.Sheet:
    said = (*filter(None, (words.systems_text(header),)), *_assumptions(result))
    sections = [doc.Section("", (doc.Bullets(said),))]
    if header.warnings:
        texts = tuple(with_code(sentence(one.message), one.code) for one in header.warnings)
        sections.append(doc.Section("About the inputs", (doc.Bullets(texts),)))
    told = [notice.code for notice in (*header.warnings, *result.warnings)]
    sections += explained([*told, *(notice.code for one in result.series for notice in one.warnings)])
    sections += input_files(header.inputs)
    cautions = (words.CONTROL_LIMITS_ARE_NO_TOLERANCE, *CAUTIONS, SETTER)
    sections.append(doc.Section("", (doc.Cautions(cautions), doc.Signature(ROLES))))
    return doc.Sheet(title="What this rests on", sections=tuple(sections), id="basis", head="Basis")


def _assumptions(result: DriftResult) -> Iterator[str]:
    settings, family = result.settings, result.family
    yield (
        "Model: value = level after the dress of its cycle + wear at its part + scatter. The wear goes in "
        "straight chords from one measured part since dress to the next, so it may bend; the wear per part "
        "is the slope of the straight line. Charted is the mean over the traces of a flank."
    )
    yield (
        f"Wear interval ({share_text(settings.confidence)}): every cycle left out once, so that a wear rate "
        "that differs from cycle to cycle widens it. Wear, movement of the level and labels are claimed so "
        f"that chance alone makes a false claim in {share_text(family.wear)}, {share_text(family.level)} and "
        f"{share_text(family.labels)} of reports, all series together (Holm)."
    )
    yield (
        "Forecast, dress interval and the gears to hold use the worst traces at both limits, because "
        "conformity goes by them. Wear and scatter come from all cycles, the level from those since the last "
        "level change or recorded correction."
    )
    yield (
        f"Dress interval: the last part before a dress lies beyond the limit with a risk of "
        f"{share_text(settings.risk)} (an average over histories like this one); scatter of the levels and "
        "uncertainty of the wear are inside. Never more than the parts that were measured after a dress: "
        "then ≥, and to lengthen, raise in steps and measure. The grinder has an interval only if every "
        "series with a limit has one."
    )
    yield (
        "Acceptance limits are those of the drawing or class less the guard of 1.645 times half the expanded "
        "uncertainty; without a known uncertainty the tolerance limits themselves."
    )
    yield (
        "Level changes are searched from 8 dress cycles on, with a trend and with levels that follow each "
        "other in the model. Recorded corrections with a size stand in it at their place. Other events, and "
        "labels that change there, are only named as possible causes."
    )
    yield (
        "Control limits: levels and their changes from the t distribution for as few cycles as there are, "
        f"smoothed residuals with weight {short_text(settings.ewma_weight)}. {words.false_alarms(result)}"
    )
    if any(one.wear_estimated for one in result.series):
        yield "Parts since dress were estimated from times where they were not recorded."

"""The sheet of one gear: head, verdict, classes at a glance, values, charts, cautions, signatures."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from datetime import datetime
from itertools import zip_longest

from gearqa.errors import Notice
from gearqa.model.curves import GearCurves
from gearqa.model.measurement import FIRST_MEASUREMENT, measured_name
from gearqa.model.part import Part
from gearqa.model.results import FlankResult, GearResult, GradeHeader
from gearqa.report.blocks import document as doc
from gearqa.report.blocks.explained import explained, with_code
from gearqa.report.blocks.inputs import input_files
from gearqa.report.blocks.verdicts import STATUS
from gearqa.report.diagnosis.on_sheet import what_keeps
from gearqa.report.grading import gear_figures
from gearqa.report.grading.drawing_words import evaluation_words, gear_words
from gearqa.report.grading.notes import (
    decision_line,
    further_lines,
    guarded_otherwise,
    not_proven,
    parabola_lines,
)
from gearqa.report.grading.value_table import value_table
from gearqa.report.grading.values import Value, gear_class, has_class, place_of, shown_value, values_of
from gearqa.report.grading.words import criterion_text, failures, gear_verdict, notices_of
from gearqa.symbols import FLANKS, PARAMETERS
from gearqa.version import __version__
from gearqa.wording.numbers import DASH, count_text, fixed_text, value_text
from gearqa.wording.safety import CAUTIONS, SETTER
from gearqa.wording.sentences import place_text, symbols_text
from gearqa.wording.verdicts import MASTER_QUALITY, conformity_text
from gearqa.wording.visible import clip

ROLES = ("Inspected by", "Approved by")
MOST_ROWS = 4
"""Teeth traced on a flank up to which a sheet is one page, with its details on a second."""
EXPLAINED = "What a parameter is, how it is computed and what makes it large: gearqa explain SYMBOL."
TRACE_ROOM = 226.0
"""Height of all rows of traces on that page, in units of a drawing."""
HIGHEST_ROW, LOWEST_ROW = 96.0, 44.0
USUAL_ROWS = 9
ROW_OF_VALUES = 14.0
"""What a further row of values takes from the traces."""
MOST_REMARKS = 3
MOST_VALUES = 2
"""Values that the verdict names."""
REMARK = 13.0
"""What a line of remarks takes from the traces."""
LONGEST_REMARK = 240
"""Characters of a remark on the first page."""
SHORT = 48
"""Characters of a serial in titles, page heads, tables and file names."""
RUNOUT_ANNEX = "Fr is graded by an informative annex of the standard: agree on it before it decides."

LATER_MEASUREMENT = (
    "Where the gear was measured before, that first measurement counts, not this one, unless the plan of the "
    "lot names this one."
)
"""On its own sheet a better measurement hides the one that counts."""


def document_of(header: GradeHeader, title: str, sheets: tuple[doc.Sheet, ...]) -> doc.Document:
    """A document about the part of an inspection."""
    return doc.Document(
        title=title,
        head=part_line(header),
        foot=f"gearqa {__version__} · {header.standard}",
        sheets=sheets,
        simulated=header.simulated,
        keywords=(clip(header.part.get("number", ""), SHORT), header.standard),
    )


def part_line(header: GradeHeader) -> str:
    """Part number and revision, short enough for a page head."""
    revision = header.part.get("revision")
    number = f"Part {clip(header.part.get('number', DASH), SHORT)}"
    return f"{number}, revision {clip(revision, 16)}" if revision else number


def gear_sheet(
    header: GradeHeader,
    part: Part,
    result: GearResult,
    curves: GearCurves,
    number: int,
    *,
    title: str,
    alone: bool,
) -> doc.Sheet:
    """One gear in full; `alone` if it is the whole document."""
    master = header.master_quality.class_
    rows = gear_figures.rows_of_traces(curves.traces)
    on_one_page = rows <= MOST_ROWS
    remarks = notices_of(result)
    if result.measurement != FIRST_MEASUREMENT:
        remarks.insert(0, LATER_MEASUREMENT)
    few = [one for one in remarks if len(doc.plain(one)) <= LONGEST_REMARK][:MOST_REMARKS]
    rest = [one for one in remarks if one not in few]
    rule = decision_line(header, result.near_limit, guarded_otherwise(result))
    table = value_table(result, part, master)
    first: list[doc.Block] = [
        sheet_facts(header, part, result, curves), _verdict(header, result),
        doc.Paragraph(rule, "note"), table,
    ]  # fmt: skip
    if remarks:
        last = [f"{count_text(len(rest), 'more remark' if few else 'remark')}: see Details."] if rest else []
        first.append(doc.Bullets((*few, *last), "note"))
    height = (
        TRACE_ROOM - ROW_OF_VALUES * max(len(table.rows) - USUAL_ROWS, 0) - REMARK * sum(map(_lines_of, few))
    )
    if not on_one_page:
        height = gear_figures.LOW_ROW * gear_figures.ROWS_PER_FIGURE
        rows = min(rows, gear_figures.ROWS_PER_FIGURE)
    height = max(min(height / max(rows, 1), HIGHEST_ROW), LOWEST_ROW)
    traces = _trace_blocks(result, curves, part, height)
    around = gear_figures.round_figures(curves.pitch, curves.runout, result)
    overview = gear_figures.overview_figure(result, part, master)
    glance = () if overview is None else (overview,)
    charts = [doc.Section("", (*(traces if on_one_page else ()), *around, *(() if on_one_page else glance)))]
    signed = doc.Section("", (cautions(result.parameters), doc.Signature(ROLES)))
    sections = [doc.Section("", tuple(first)), *charts, signed]
    if traces and not on_one_page:
        sections.append(doc.Section("Traces", (*traces,), new_page=True))
    facts = doc.Facts((("Evaluation", evaluation_words(part, curves)),))
    further = (
        *further_lines(result, part.slope_span), *mean_lines(result), *_ungraded(result),
        *parabola_lines(result),
    )  # fmt: skip
    reading = gear_figures.reading_lines(curves.traces, curves.runout)
    details: list[doc.Block] = [facts, *(glance if on_one_page else ())]
    if curves.diagnosed is not None:
        details = [*what_keeps(curves.diagnosed(), result.serial), *details]
    if further:
        details.append(doc.Bullets(further, "note"))
    details.append(doc.Bullets((*reading, EXPLAINED), "note"))
    sections.append(doc.Section("Details", tuple(details), new_page=True))
    if rest:
        sections.append(doc.Section("Not assessed, and warnings", (doc.Bullets(tuple(rest)),)))
    if alone:
        told = (notice.code for notice in (*result.warnings, *header.warnings))
        files = [one for one in header.inputs if curves.files is None or one.file in curves.files]
        sections += [*input_files(files), *folder_warnings(header.warnings), *explained(told)]
    return doc.Sheet(
        title=title,
        sections=tuple(sections),
        id=gear_id(number),
        head=f"Serial {clip(measured_name(result.serial, result.measurement), SHORT)}",
        summary=f"{conformity_text(result.conforms, result.state)}, class {gear_class(result)}, "
        f"master quality {MASTER_QUALITY[result.master_quality]}",
        status=STATUS[result.conforms],
        folded=not alone,
    )


def _verdict(header: GradeHeader, gear: GearResult) -> doc.Verdict:
    """The verdict in few words: long lists by symbol only, reasons and values come further down."""
    conformity, grade, master = gear_verdict(header, gear).answers
    if gear.conforms is None and gear.not_assessed:
        keys = dict.fromkeys(one.parameter for one in gear.not_assessed)
        conformity = replace(conformity, detail=f"not assessed: {symbols_text(keys)}; why: see below")
    elif not gear.conforms:
        values = not_proven(gear) if gear.conforms is None else failures(gear)
        if len(values) > MOST_VALUES:
            more = f"{len(values) - MOST_VALUES} more, see the table"
            conformity = replace(conformity, detail="; ".join([*values[:MOST_VALUES], more]))
    if len(gear.master_deciding) > MOST_VALUES:
        verb = "decided by" if gear.master_quality is False else "left open by"
        decided = f"{verb} {symbols_text(gear.master_deciding)}; criterion: {criterion_text(header)}"
        master = replace(master, detail=decided)
    return doc.Verdict((conformity, grade, master))


def _lines_of(remark: doc.Text) -> int:
    """Lines that a remark takes on paper."""
    return 1 + len(doc.plain(remark)) // 130


def gear_id(number: int) -> str:
    """Anchor of the sheet of the gear that came as this number."""
    return f"gear-{number}"


def cautions(graded: Iterable[str]) -> doc.Cautions:
    """What nobody may read out of a sheet."""
    annex = (RUNOUT_ANNEX,) if "runout" in graded else ()
    return doc.Cautions((*CAUTIONS, *annex, SETTER), dense=True)


def sheet_facts(
    header: GradeHeader, part: Part, gear: GearResult | None = None, curves: GearCurves | None = None
) -> doc.Facts:
    """The head: what, made on what, measured with what, evaluated how."""
    made = gear.production if gear is not None else None
    number, name = header.part.get("number", ""), header.part.get("name", "")
    revision = header.part.get("revision", "")
    items: list[tuple[str, str | None]] = [
        ("Part", " ".join(filter(None, (clip(number), f"revision {clip(revision)}" if revision else "")))),
        ("Name", clip(name)),
        ("Serial", None if gear is None else clip(gear.serial)),
        ("Measurement", None if gear is None or gear.measurement == FIRST_MEASUREMENT else gear.measurement),
    ]
    if made is not None:
        since, degrees = made.parts_since_dress, made.temperature_degC
        items += [
            ("Finished", _time(made.finished_at)),
            ("Grinder", made.grinder),
            ("Wheel", made.wheel),
            ("Dress", made.dress),
            ("Parts since dress", None if since is None else str(since)),
            ("Fixture", made.fixture),
            ("Measured", _time(made.measured_at)),
            ("Instrument", made.instrument),
            ("Operator", made.operator),
            ("Temperature", None if degrees is None else f"{fixed_text(degrees, 1)} °C"),
            ("Calibration", made.calibration_ref),
            ("Calibration due", made.calibration_due.date().isoformat() if made.calibration_due else None),
            *((clip(label, SHORT), value) for label, value in made.labels.items()),
            ("Remark", made.remark),
        ]
    items.append(("Standard", header.standard))
    if curves is not None:
        items.append(("Teeth traced", traced_words(curves)))
    items.append(("Gear", gear_words(part)))
    if gear is None:
        items.append(("Evaluation", evaluation_words(part, curves)))
    return doc.Facts(
        tuple((label, clip(value, 400)) for label, value in items if value), dense=gear is not None
    )


def traced_words(curves: GearCurves) -> str:
    """How many teeth were traced on each flank: once where it is the same everywhere."""
    counts = {
        (kind, flank): len({one.tooth for one in curves.traces if (one.kind, one.flank) == (kind, flank)})
        for kind in ("profile", "helix")
        for flank in FLANKS
    }
    if len({*counts.values()}) == 1:
        return f"{next(iter(counts.values()))} a flank"
    return ", ".join(f"{kind} {flank} {n}" for (kind, flank), n in counts.items())


def _time(value: object) -> str | None:
    """A time as ISO 8601, one without zone marked as local."""
    if not isinstance(value, datetime):
        return None
    text = value.isoformat(sep=" ", timespec="minutes")
    return text if value.tzinfo is not None else f"{text} (local time)"


def mean_lines(gear: GearResult) -> Iterator[str]:
    """Mean and spread over the traces of each flank, a line a family."""
    for family in ("profile", "helix"):
        texts = []
        for key, flank, _, one in values_of(gear):
            mean, spread = _mean_and_spread(key, one)
            if mean and has_class(one) and PARAMETERS[key].family == family:
                texts.append(f"{place_text(key, flank)} {mean} ({spread})")
        if texts:
            yield f"Mean (spread) over the traces of a flank, µm: {', '.join(texts)}."


def _ungraded(gear: GearResult) -> Iterator[doc.Text]:
    """Parameters that the drawing does not grade, a line each."""
    lines: dict[str, list[str]] = {}
    for key, flank, _, one in values_of(gear):
        if has_class(one):
            continue
        mean, spread = _mean_and_spread(key, one)
        about = [f"mean {mean}", f"spread {spread}"] if mean else []
        text = f"{flank} " if flank else ""
        text += f"{shown_value(key, one)} µm ({', '.join(filter(None, [*about, place_of(None, one)]))})"
        lines.setdefault(key, []).append(text)
    for key, texts in lines.items():
        yield doc.join(doc.symbol(key), f", {PARAMETERS[key].name}, not graded: " + "; ".join(texts) + ".")


def _mean_and_spread(key: str, one: Value) -> tuple[str, str]:
    """Over the traces of a flank; empty for pitch, which has one value only."""
    if not isinstance(one, FlankResult) or PARAMETERS[key].family not in ("profile", "helix"):
        return "", ""
    return value_text(one.mean_um, signed=PARAMETERS[key].signed), value_text(one.spread_um)


def _trace_blocks(result: GearResult, curves: GearCurves, part: Part, height: float) -> list[doc.Figure]:
    """Profile and helix traces side by side."""
    of_kind = [
        gear_figures.trace_figures(
            [one for one in curves.traces if one.kind == kind], result, part, curves.roll_axis, height
        )
        for kind in ("profile", "helix")
    ]
    return [figure for pair in zip_longest(*of_kind) for figure in pair if figure is not None]


def folder_warnings(notices: Sequence[Notice]) -> list[doc.Section]:
    """What the reader noticed about the folder as a whole."""
    if not notices:
        return []
    return [
        doc.Section("About the folder", (doc.Bullets(tuple(with_code(n.message, n.code) for n in notices)),))
    ]

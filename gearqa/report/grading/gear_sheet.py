"""The sheet of one gear: head, verdict, classes at a glance, values, charts, cautions, signatures."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import datetime
from math import inf

from gearqa.errors import Notice
from gearqa.model.curves import GearCurves
from gearqa.model.part import Part
from gearqa.model.results import FlankResult, GearResult, GradeHeader
from gearqa.report.blocks import document as doc
from gearqa.report.blocks.verdicts import STATUS, conformity_cell
from gearqa.report.grading import gear_figures
from gearqa.report.grading.notes import decision_line, further_lines, guarded_otherwise, value_notes
from gearqa.report.grading.values import (
    Value,
    allowed,
    gear_class,
    has_class,
    is_required,
    limits_of,
    place_of,
    shown_value,
    values_of,
)
from gearqa.report.grading.words import gear_verdict
from gearqa.symbols import PARAMETERS, Flank
from gearqa.version import __version__
from gearqa.wording.numbers import DASH, Limits, allowed_text, class_text, fixed_text, number_text, value_text
from gearqa.wording.safety import CAUTIONS, SETTER
from gearqa.wording.sentences import symbols_text
from gearqa.wording.verdicts import MASTER_QUALITY, conformity_text
from gearqa.wording.visible import clip

ROLES = ("Inspected by", "Approved by")
SHORT = 48
"""Characters of a serial in titles, page heads, tables and file names."""
NO_BREAK = "\u00a0"
"""A blank at which no line ends: between a symbol and its value."""
RUNOUT_ANNEX = "Fr is graded by an informative annex of the standard: agree on it before it decides."


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
    sections = [
        doc.Section(
            "",
            (
                sheet_facts(header, part, result, curves),
                _verdict(header, result),
                doc.Paragraph(decision_line(header, result.near_limit, guarded_otherwise(result)), "note"),
            ),
        )
    ]
    overview = gear_figures.overview_figure(result, part, master)
    if overview is not None:
        sections.append(doc.Section("Classes at a glance", (overview,)))
    sections.append(doc.Section("Values", (value_table(result, master),)))
    if remarks := _remarks(result):
        sections.append(doc.Section("Not assessed, and warnings", (doc.Bullets(tuple(remarks)),)))
    sections += _chart_sections(result, curves, part)
    if further := (*further_lines(result, part.evaluation.slope_span), *_ungraded(result)):
        sections.append(doc.Section("Further values", (doc.Bullets(further, "note"),)))
    if alone:
        sections += [*input_files(header), *folder_warnings(header.warnings)]
    sections.append(doc.Section("", (cautions(result.parameters), doc.Signature(ROLES))))
    return doc.Sheet(
        title=title,
        sections=tuple(sections),
        id=gear_id(number),
        head=f"Serial {clip(result.serial, SHORT)}",
        summary=f"{conformity_text(result.conforms, result.state)}, class {gear_class(result)}, "
        f"master quality {MASTER_QUALITY[result.master_quality]}",
        status=STATUS[result.conforms],
        folded=not alone,
    )


def _verdict(header: GradeHeader, gear: GearResult) -> doc.Verdict:
    """The verdict; what was not assessed by symbol only, the reasons come further down."""
    verdict = gear_verdict(header, gear)
    if gear.conforms is not None or not gear.not_assessed:
        return verdict
    keys = dict.fromkeys(one.parameter for one in gear.not_assessed)
    short = replace(verdict.answers[0], detail=f"not assessed: {symbols_text(keys)}; why: see below")
    return doc.Verdict((short, *verdict.answers[1:]))


def _remarks(gear: GearResult) -> list[str]:
    """What was not assessed, parameters with the same reason together, and the warnings."""
    by_reason: dict[tuple[str, str], list[str]] = {}
    for one in gear.not_assessed:
        by_reason.setdefault((one.flank or "", one.reason), []).append(one.parameter)
    given = {reason for _, reason in by_reason}
    return [
        *(
            f"{symbols_text(keys)}{f' {flank}' if flank else ''}: {reason}"
            for (flank, reason), keys in by_reason.items()
        ),
        *(notice.message for notice in gear.warnings if notice.message not in given),
    ]


def gear_id(number: int) -> str:
    """Anchor of the sheet of the gear that came as this number."""
    return f"gear-{number}"


def cautions(graded: Iterable[str]) -> doc.Cautions:
    """What nobody may read out of a sheet."""
    annex = (RUNOUT_ANNEX,) if "runout" in graded else ()
    return doc.Cautions((*CAUTIONS, *annex, SETTER))


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
            ("Calibration due", _time(made.calibration_due)),
            *((clip(label, SHORT), value) for label, value in made.labels.items()),
            ("Remark", made.remark),
        ]
    items += [("Standard", header.standard), ("Gear", gear_words(part))]
    items.append(("Evaluation", evaluation_words(part, curves)))
    return doc.Facts(tuple((label, clip(value, 400)) for label, value in items if value))


def _time(value: object) -> str | None:
    """A time as ISO 8601, one without zone marked as local."""
    if not isinstance(value, datetime):
        return None
    text = value.isoformat(sep=" ", timespec="seconds" if value.second else "minutes")
    return text if value.tzinfo is not None else f"{text} (local time)"


def gear_words(part: Part) -> str:
    """The gear's data in one line."""
    gear = part.gear
    angle = gear.helix_angle_deg
    helix = f"β {number_text(angle)}° {gear.helix_hand}" if angle else "spur"
    shift = gear.profile_shift_coefficient
    words = [
        gear.kind, f"z {gear.teeth}", f"mn {number_text(gear.module_mm)} mm",
        f"αn {number_text(gear.normal_pressure_angle_deg)}°", helix,
        f"b {number_text(gear.face_width_mm)} mm", f"x {number_text(shift, signed=True)}" if shift else "",
    ]  # fmt: skip
    return ", ".join(word.replace(" ", NO_BREAK) for word in words if word)


def evaluation_words(part: Part, curves: GearCurves | None) -> str:
    """How traces and pitch were evaluated: ranges, filter, slopes, plane, design."""
    settings = part.evaluation
    words = []
    traces = {one.kind: one for one in reversed(curves.traces)} if curves is not None else {}
    if "profile" in traces:
        words.append(f"profile {gear_figures.profile_range(traces['profile'], part)}")
    if "helix" in traces:
        words.append(f"helix {gear_figures.helix_range(traces['helix'])}")
    if settings.filter.enabled:
        cutoffs = (
            ("profile", settings.filter.profile_cutoff_mm), ("helix", settings.filter.helix_cutoff_mm),
        )  # fmt: skip
        given = [f"{kind} {number_text(value)} mm" for kind, value in cutoffs if value is not None]
        default = "1/30 of the evaluation length, at least 0.05 mm"
        cutoff = ", ".join(given) + (f", else {default}" if len(given) == 1 else "") if given else default
        words.append(f"Gaussian filter, cutoff {cutoff}")
    else:
        words.append("no filter")
    full = settings.slope_span == "full"
    span = "control to tip diameter and whole face width" if full else "the evaluation length"
    words.append(f"slopes over {span}")
    words.append(f"deviations as given in the {settings.deviation_plane} plane")
    if settings.pitch.measuring_diameter_mm is not None:
        words.append(f"pitch measured at diameter {number_text(settings.pitch.measuring_diameter_mm)} mm")
    design = [
        *_design_words("profile", part.design.profile.model_dump()),
        *_design_words("helix", part.design.helix.model_dump()),
    ]
    words.append(f"design: {', '.join(design)}" if design else "design: unmodified flanks")
    return "; ".join(words)


def _design_words(kind: str, values: Mapping[str, float]) -> list[str]:
    names = {
        "crowning_um": "crowning", "slope_um": "slope", "tip_relief_um": "tip relief",
        "root_relief_um": "root relief",
    }  # fmt: skip
    return [f"{kind} {names[key]} {number_text(values[key])} µm" for key in names if values.get(key)]


def value_table(gear: GearResult, master_class: int) -> doc.Table:
    """Graded parameters per flank: value, tolerance, margin, class, mean and spread, place, verdict."""
    graded = [row for row in values_of(gear) if has_class(row[3])]
    required = {one.required_class for *_, one in graded}
    one_class = next(iter(required)) if len(required) == 1 else None
    columns = [
        doc.Column("", "left"), doc.Column("value\nµm"),
        doc.Column("allowed\nµm" if one_class is None else f"class {one_class}\nallows µm"),
        doc.Column("margin\nµm"), doc.Column("class"), doc.Column("class\nrequired"),
        doc.Column(f"class {master_class}\nallows µm"), doc.Column("mean\nµm"), doc.Column("spread\nµm"),
        doc.Column("place", "left"), doc.Column("drawing", "left", weight=1),
    ]  # fmt: skip
    rows: list[list[doc.Cell | doc.Text]] = []
    for key, flank, parameter, one in graded:
        mean, spread = _mean_and_spread(key, one)
        rows.append(
            [
                _named(key, flank), shown_value(key, one, parameter.master_tolerance_um),
                allowed(key, one), _margin(key, one), class_text(one.class_, one.beyond),
                "limits" if one.limits_um is not None else str(one.required_class or DASH),
                allowed_text(key, parameter.master_tolerance_um, None), mean or DASH, spread or DASH,
                place_of(None, one),
                conformity_cell(one.conforms, one.state) if is_required(one) else DASH,
            ]
        )  # fmt: skip
    rows += [
        [_named(gap.parameter, gap.flank), *(DASH,) * 9, conformity_cell(None)] for gap in gear.not_assessed
    ]
    if one_class is not None:
        del columns[_REQUIRED]
        for row in rows:
            del row[_REQUIRED]
    notes = ("margin: what is left up to the limit; mean and spread over the traces of a flank.",)
    return doc.Table("", tuple(columns), tuple(map(tuple, rows)), notes=(*notes, *value_notes(gear)))


_REQUIRED = 5
"""Place of the column of required classes, left out where all are the same."""


def _named(key: str, flank: Flank | None) -> tuple[doc.Span, ...]:
    """Symbol of a parameter with the flank."""
    return (*doc.symbol(key), doc.Span(f" {flank}", "muted")) if flank else doc.symbol(key)


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


def _margin(key: str, one: Value) -> str:
    """What is left up to the nearest limit; negative beyond it."""
    limits = limits_of(key, one)
    if limits is None:
        return DASH
    margin = limits[1] - one.value_um
    if PARAMETERS[key].signed:
        margin = min(limits[1] - one.max_um, one.min_um - limits[0])
    return value_text(margin, signed=True, limits=[NO_LIMIT_ABOVE])


NO_LIMIT_ABOVE: Limits = (0.0, inf)


def _chart_sections(result: GearResult, curves: GearCurves, part: Part) -> list[doc.Section]:
    sections: list[doc.Section] = []
    for kind in ("profile", "helix"):
        own = [one for one in curves.traces if one.kind == kind]
        if figures := gear_figures.trace_figures(own, result, part, curves.roll_axis):
            sections.append(doc.Section("" if sections else "Traces", (*figures,)))
    pitch = gear_figures.pitch_figures(curves.pitch, result)
    runout = gear_figures.runout_figure(curves.runout, result)
    if round_gear := (*pitch, *([runout] if runout is not None else [])):
        sections.append(doc.Section("Pitch and runout", round_gear))
    return sections


def input_files(header: GradeHeader) -> list[doc.Section]:
    """Files that were read, with their digests, and files left out."""
    if not header.inputs:
        return []
    rows = tuple(
        (clip(one.file), one.sha256 if one.sha256 is not None else f"left out: {clip(one.left_out or '')}")
        for one in header.inputs
    )
    columns = (doc.Column("file", "left"), doc.Column("SHA-256", "left", weight=1))
    return [doc.Section("Input files", (doc.Table("", columns, rows, dense=True),))]


def folder_warnings(notices: Sequence[Notice]) -> list[doc.Section]:
    """What the reader noticed about the folder as a whole."""
    if not notices:
        return []
    return [doc.Section("About the folder", (doc.Bullets(tuple(n.message for n in notices)),))]

"""The sheet of one gear: head, verdict, classes at a glance, values, charts, cautions, signatures."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import datetime
from math import inf

from gearqa.errors import Notice
from gearqa.model.measurement import GearMeasurement, Production
from gearqa.model.part import Part
from gearqa.model.results import (
    FlankResult,
    GearResult,
    GradeHeader,
    ParameterResult,
    TraceCurves,
)
from gearqa.report.blocks import document as doc
from gearqa.report.grading import gear_figures
from gearqa.report.grading.sheet_job import GearInput, SheetAids, SheetJob
from gearqa.report.grading.words import (
    STATUS,
    decision_line,
    gear_verdict,
    pitch_lines,
    place_text,
    shown_value,
    size_line,
    slope_lines,
)
from gearqa.symbols import PARAMETERS, Flank
from gearqa.version import __version__
from gearqa.wording.numbers import DASH, allowed_text, class_text, number_text, tolerance_limits, value_text
from gearqa.wording.safety import CAUTIONS, SETTER
from gearqa.wording.sentences import symbols_text
from gearqa.wording.verdicts import CONFORMITY, MASTER_QUALITY
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


def gear_sheet(job: SheetJob, gear: GearInput, number: int, *, title: str, alone: bool) -> doc.Sheet:
    """One gear in full; `alone` if it is the whole document."""
    header, part, aids = job.header, job.part, job.aids
    measurement, result, curves = gear
    master = header.master_quality.class_
    first: list[doc.Block] = [
        head_facts(job, result.serial, result.production, curves),
        _verdict(header, result),
        doc.Paragraph(decision_line(header, result.near_limit), "note"),
    ]
    overview = gear_figures.overview_figure(result, part, master)
    notes = [
        *slope_lines(result, part.evaluation.slope_span),
        *pitch_lines(result),
        *map(size_line, result.size),
    ]
    remarks = _remarks(result)
    sections = [doc.Section("", tuple(first))]
    if overview is not None:
        sections.append(doc.Section("Classes at a glance", (overview,)))
    sections.append(doc.Section("Values", (value_table(result, master),)))
    if remarks:
        sections.append(doc.Section("Not assessed, and warnings", (doc.Bullets(tuple(remarks)),)))
    sections += _chart_sections(measurement, result, curves, part, aids)
    beside = (*notes, *_ungraded(result))
    if beside:
        sections.append(doc.Section("Beside the graded values", (doc.Bullets(beside, "note"),)))
    if alone:
        sections.append(input_files(header))
        sections += folder_warnings(header.warnings)
    sections.append(doc.Section("", (cautions(result.parameters), doc.Signature(ROLES))))
    grade = class_text(result.class_, result.beyond, complete=result.class_complete)
    return doc.Sheet(
        title=title,
        sections=tuple(sections),
        id=gear_id(number),
        head=f"Serial {clip(result.serial, SHORT)}",
        summary=f"{CONFORMITY[result.conforms]}, class {grade}, "
        f"master quality {MASTER_QUALITY[result.master_quality]}",
        status=STATUS[result.conforms],
        folded=not alone,
    )


def _verdict(header: GradeHeader, gear: GearResult) -> doc.Verdict:
    """The verdict; what was not assessed by symbol only, its reasons stand further down."""
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
    said = {reason for _, reason in by_reason}
    return [
        *(
            f"{symbols_text(keys)}{f' {flank}' if flank else ''}: {reason}"
            for (flank, reason), keys in by_reason.items()
        ),
        *(notice.message for notice in gear.warnings if notice.message not in said),
    ]


def gear_id(number: int) -> str:
    """Anchor of the sheet of the gear that came as this number."""
    return f"gear-{number}"


def cautions(graded: Iterable[str]) -> doc.Cautions:
    """What nobody may read out of a sheet."""
    annex = (RUNOUT_ANNEX,) if "runout" in graded else ()
    return doc.Cautions((*CAUTIONS, *annex, SETTER))


def head_facts(
    job: SheetJob, serial: str | None, made: Production | None, curves: Sequence[TraceCurves]
) -> doc.Facts:
    """The head: what, made on what, measured with what, evaluated how."""
    header, part, aids = job.header, job.part, job.aids
    number, name = header.part.get("number", ""), header.part.get("name", "")
    revision = header.part.get("revision", "")
    items: list[tuple[str, str | None]] = [
        ("Part", " ".join(filter(None, (clip(number), f"revision {clip(revision)}" if revision else "")))),
        ("Name", clip(name)),
        ("Serial", None if serial is None else clip(serial)),
    ]
    if made is not None:
        since = made.parts_since_dress
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
            ("Temperature", None if made.temperature_degC is None else f"{made.temperature_degC:.1f} °C"),
            ("Calibration", made.calibration_ref),
            ("Calibration due", _time(made.calibration_due)),
            *((clip(label, SHORT), value) for label, value in made.labels.items()),
            ("Remark", made.remark),
        ]
    items += [("Standard", header.standard), ("Gear", gear_words(part))]
    items.append(("Evaluation", evaluation_words(part, curves, aids)))
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
    helix = "spur"
    if gear.helix_angle_deg:
        helix = f"β {number_text(gear.helix_angle_deg)}° {gear.helix_hand}"
    shift = gear.profile_shift_coefficient
    words = [
        gear.kind, f"z {gear.teeth}", f"mn {number_text(gear.module_mm)} mm",
        f"αn {number_text(gear.normal_pressure_angle_deg)}°", helix,
        f"b {number_text(gear.face_width_mm)} mm", f"x {number_text(shift, signed=True)}" if shift else "",
    ]  # fmt: skip
    return ", ".join(word.replace(" ", NO_BREAK) for word in words if word)


def evaluation_words(part: Part, curves: Sequence[TraceCurves], aids: SheetAids) -> str:
    """How traces and pitch were evaluated: ranges, filter, slopes, plane, design."""
    settings = part.evaluation
    words = []
    profile = next((c for c in curves if c.kind == "profile"), None)
    if profile is not None:
        words.append(f"profile {gear_figures.profile_range(profile, part, aids.diameter_at_roll)}")
    helix = next((c for c in curves if c.kind == "helix"), None)
    if helix is not None:
        words.append(f"helix {gear_figures.helix_range(helix)}")
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
    words.append(
        "slopes over control to tip diameter and whole face width"
        if full
        else "slopes over the evaluation length"
    )
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
    graded = [row for row in _each(gear) if _graded(row[3])]
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
        signed = PARAMETERS[key].signed
        pair = one.limits_um if one.limits_um is not None else tolerance_limits(key, one.tolerance_um)
        margin = DASH
        if pair is not None:
            margin = value_text(_margin(one, pair, signed), signed=True, limits=[(0.0, inf)])
        mean, spread = _mean_and_spread(key, one)
        rows.append(
            [
                _named(key, flank), shown_value(key, one, parameter.master_tolerance_um),
                allowed_text(key, one.tolerance_um, one.limits_um), margin,
                class_text(one.class_, one.beyond),
                "limits" if one.limits_um is not None else str(one.required_class or DASH),
                allowed_text(key, parameter.master_tolerance_um, None), mean or DASH, spread or DASH,
                place_text(key, None, one),
                DASH if one.conforms is None and pair is None else _verdict_cell(one.conforms),
            ]
        )  # fmt: skip
    for missing in gear.not_assessed:
        rows += [[_named(missing.parameter, missing.flank), *(DASH,) * 9, _verdict_cell(None)]]
    if one_class is not None:
        del columns[_REQUIRED]
        for row in rows:
            del row[_REQUIRED]
    return doc.Table("", tuple(columns), tuple(map(tuple, rows)), notes=tuple(_table_notes(gear)))


_REQUIRED = 5
"""Place of the column of required classes, left out where all are the same."""


def _verdict_cell(conforms: bool | None) -> doc.Cell:
    return doc.Cell(CONFORMITY[conforms], STATUS[conforms])


def _named(key: str, flank: Flank | None) -> tuple[doc.Span, ...]:
    """Symbol of a parameter with the flank."""
    return (*doc.symbol(key), doc.Span(f" {flank}", "muted")) if flank else doc.symbol(key)


def _ungraded(gear: GearResult) -> Iterator[doc.Text]:
    """Parameters that the drawing does not grade, a line each."""
    lines: dict[str, list[str]] = {}
    for key, flank, _, one in _each(gear):
        if _graded(one):
            continue
        mean, spread = _mean_and_spread(key, one)
        about = [f"mean {mean}", f"spread {spread}"] if mean else []
        place = place_text(key, None, one)
        text = f"{flank} " if flank else ""
        text += f"{shown_value(key, one)} µm ({', '.join(filter(None, [*about, place]))})"
        lines.setdefault(key, []).append(text)
    for key, texts in lines.items():
        name = f", {PARAMETERS[key].name}, not graded: "
        yield doc.join(doc.symbol(key), name + "; ".join(texts) + ".")


def _each(
    gear: GearResult,
) -> Iterator[tuple[str, Flank | None, ParameterResult, ParameterResult | FlankResult]]:
    """Every parameter on every flank it has."""
    for key, parameter in gear.parameters.items():
        sides: list[tuple[Flank | None, ParameterResult | FlankResult]] = [*parameter.flanks.items()]
        for flank, one in sides or [(None, parameter)]:
            yield key, flank, parameter, one


def _graded(one: ParameterResult | FlankResult) -> bool:
    """Whether a value gets a class or a verdict."""
    return one.class_ is not None or bool(one.beyond) or one.conforms is not None


def _mean_and_spread(key: str, one: ParameterResult | FlankResult) -> tuple[str, str]:
    """Over the traces of a flank; empty for pitch, which has one value only."""
    if not isinstance(one, FlankResult) or PARAMETERS[key].family not in ("profile", "helix"):
        return "", ""
    return value_text(one.mean_um, signed=PARAMETERS[key].signed), value_text(one.spread_um)


def _margin(one: ParameterResult | FlankResult, limits: tuple[float, float], signed: bool) -> float:
    """What is left up to the nearest limit; negative beyond it."""
    if not signed:
        return limits[1] - one.value_um
    return min(limits[1] - one.max_um, one.min_um - limits[0])


def _table_notes(gear: GearResult) -> Iterator[doc.Text]:
    yield "margin: what is left up to the limit; mean and spread over the traces of a flank."
    runout = gear.parameters.get("runout")
    if runout is not None:
        sources = {"readings": "from the radial readings", "pitch": "computed from the pitch of both flanks"}
        yield doc.join(doc.symbol("runout"), f": {sources.get(runout.method or '', '')}.")
    if any(one.tooth_to is not None or one.space_to is not None for one in gear.parameters.values()):
        yield "Two teeth or spaces: where the maximum and the minimum lie."
    if any(trace.tip_zone_counted for trace in gear.traces):
        yield "Material in the tip zone counted in at least one profile trace."


def _chart_sections(
    measurement: GearMeasurement,
    result: GearResult,
    curves: Sequence[TraceCurves],
    part: Part,
    aids: SheetAids,
) -> list[doc.Section]:
    sections: list[doc.Section] = []
    for kind in ("profile", "helix"):
        own = [c for c in curves if c.kind == kind]
        figures = gear_figures.trace_figures(own, result, part, aids.diameter_at_roll, aids.class_of)
        if figures:
            title = "" if sections else "Traces"
            sections.append(doc.Section(title, (*figures,)))
    pitch = gear_figures.pitch_figures(measurement, result, aids.single_pitches)
    runout = gear_figures.runout_figure(aids.runout(measurement), result, part)
    round_gear = [*pitch, *([runout] if runout is not None else [])]
    if round_gear:
        sections.append(doc.Section("Pitch and runout", (*round_gear,)))
    return sections


def input_files(header: GradeHeader) -> doc.Section:
    """Files that were read, with their digests, and files left out."""
    rows = tuple(
        (clip(one.file), one.sha256 if one.sha256 is not None else f"left out: {clip(one.left_out or '')}")
        for one in header.inputs
    )
    columns = (doc.Column("file", "left"), doc.Column("SHA-256", "left", weight=1))
    return (
        doc.Section("Input files", (doc.Table("", columns, rows, dense=True),))
        if rows
        else doc.Section("", ())
    )


def folder_warnings(notices: Sequence[Notice]) -> list[doc.Section]:
    """What the reader noticed about the folder as a whole."""
    if not notices:
        return []
    return [doc.Section("About the folder", (doc.Bullets(tuple(n.message for n in notices)),))]

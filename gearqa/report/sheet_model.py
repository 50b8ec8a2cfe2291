"""Inspection sheets: grading results -> a document with charts, for one gear or a lot.

Words and digits that the terminal prints too come from `gearqa.report.model`; here they are set
beside charts, in the order in which an inspector reads a sheet.
"""

from __future__ import annotations

import heapq
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from gearqa.errors import Notice
from gearqa.model.measurement import GearMeasurement, Production
from gearqa.model.part import Part
from gearqa.model.results import (
    FlankResult,
    GearResult,
    GradeHeader,
    LotSummary,
    ParameterResult,
    TraceCurves,
)
from gearqa.report import document as doc
from gearqa.report import gear_figures, lot_figures
from gearqa.report.model import (
    CAUTIONS,
    CONFORMITY,
    MASTER_QUALITY,
    STATUS,
    GearRow,
    LotCollector,
    decision_line,
    gear_verdict,
    lot_verdict,
    pitch_lines,
    place_text,
    shown_value,
    size_line,
    slope_lines,
    unassessed,
    worst_of,
)
from gearqa.report.numbers import DASH, allowed_text, class_text, number_text, tolerance_limits, value_text
from gearqa.report.texts import clip
from gearqa.symbols import PARAMETERS, Flank
from gearqa.version import __version__

Array = NDArray[np.float64]
SheetChoice = Literal["all", "worst", "none"]
GearInput = tuple[GearMeasurement, GearResult, tuple[TraceCurves, ...]]
Progress = Callable[[int], None]
"""Called with the number of gears done."""

WORST_SHEETS = 10
"""Gears that get their charts with `sheets="worst"`."""
MOST_ROWS = 1000
"""Gears that the table of a lot lists."""
ROLES = ("Inspected by", "Approved by")
SHORT = 48
"""Characters of a serial in page heads, tables and file names."""
LOT_ID = "lot"
RUNOUT_ANNEX = "Fr is graded by an informative annex of the standard: agree on it before it decides."
MORE_CAUTIONS = (
    "Correct a grinder only after a qualified setter has checked the correction.",
)


@dataclass(frozen=True, slots=True)
class SheetAids:
    """Numeric helpers that results do not carry; the caller takes them from core and standards."""

    diameter_at_roll: Callable[[Array], Array]
    """Length of roll -> diameter. [mm]"""
    single_pitches: Callable[[Array], Array]
    """Index deviations -> single pitch deviations. [um]"""
    class_of: Callable[[str, float], int | None]
    """Parameter key and value of one trace -> flank tolerance class, None beyond the last."""
    runout: Callable[[GearMeasurement], gear_figures.RunoutCurve | None]
    """Radial positions with their first harmonic, from readings or from pitch; None without either."""


def gear_document(
    header: GradeHeader,
    gear: GearInput,
    *,
    part: Part,
    aids: SheetAids,
) -> doc.Document:
    """The inspection sheet of one gear.

    Parameters
    ----------
    header : GradeHeader
        What is true of the whole inspection.
    gear : tuple of GearMeasurement, GearResult and TraceCurves
        One gear: measured, graded, its traces ready to draw.
    part : Part
        The drawing.
    aids : SheetAids
        Numeric helpers.

    Returns
    -------
    Document
        For `write_html` and `write_pdf`.
    """
    serial = clip(gear[1].serial)
    title = f"Inspection sheet, gear {serial}"
    sheet = _gear_sheet(header, gear, part, aids, 1, title=title, alone=True)
    return _document(header, title, (sheet,))


def build_sheets(
    header: GradeHeader,
    gears: Iterable[GearInput],
    lot: LotSummary | Callable[[], LotSummary],
    *,
    part: Part,
    aids: SheetAids,
    sheets: SheetChoice = "all",
    worst: int = WORST_SHEETS,
    progress: Progress | None = None,
) -> doc.Document:
    """The report of an inspection folder: one gear's sheet, or a lot page and the gears' sheets.

    Gears are taken one at a time; what stays of each is its row, its values and, where it gets
    charts, its finished sheet.

    Parameters
    ----------
    header : GradeHeader
        What is true of the whole inspection.
    gears : iterable of (GearMeasurement, GearResult, tuple of TraceCurves)
        Consumed once, in the order of the input.
    lot : LotSummary or callable
        The summary, or a function that gives it once all gears are consumed.
    part : Part
        The drawing.
    aids : SheetAids
        Numeric helpers.
    sheets : {"all", "worst", "none"}
        Which gears of a lot get a sheet with charts. One gear alone always gets it, but for "none".
    worst : int
        Number of gears with `sheets="worst"`.
    progress : callable, optional
        Called with the number of gears done.

    Returns
    -------
    Document
        For `write_html` and `write_pdf`.
    """
    stream = iter(gears)
    first = next(stream, None)
    second = next(stream, None)
    if first is not None and second is None and sheets != "none":
        document = gear_document(header, first, part=part, aids=aids)
        if progress is not None:
            progress(1)
        return document
    seen = _Lot()
    waiting = (gear for gear in (first, second) if gear is not None)
    for number, gear in enumerate((*waiting,), 1):
        seen.add(number, gear, header, part, aids, sheets, worst)
        if progress is not None:
            progress(number)
    for number, gear in enumerate(stream, 3):
        seen.add(number, gear, header, part, aids, sheets, worst)
        if progress is not None:
            progress(number)
    summary = lot() if callable(lot) else lot
    return seen.document(header, summary, part, aids)


def sheet_documents(
    header: GradeHeader, gears: Iterable[GearInput], *, part: Part, aids: SheetAids
) -> Iterator[tuple[str, doc.Document]]:
    """One document per gear with a file name (without ending) made from its serial, for a folder."""
    used: set[str] = set()
    for number, gear in enumerate(gears, 1):
        name = file_name(gear[1].serial, number)
        while name.lower() in used:
            name = f"{name}-{number}"
        used.add(name.lower())
        yield name, gear_document(header, gear, part=part, aids=aids)


def file_name(serial: str, number: int) -> str:
    """A name that every file system takes, made from a serial.

    >>> file_name("OT-0007", 3), file_name("../a:b", 4), file_name("日本", 5), file_name("CON", 6)
    ('OT-0007', 'a_b', 'gear-5', 'gear-6-CON')
    """
    kept = "".join(c if (c.isascii() and c.isalnum()) or c in "-_." else "_" for c in serial[:SHORT])
    kept = kept.strip("._-")
    stem = kept.split(".", maxsplit=1)[0].upper()
    reserved = stem in {"CON", "PRN", "AUX", "NUL"} or (len(stem) == 4 and stem[:3] in {"COM", "LPT"})
    if not kept:
        return f"gear-{number}"
    return f"gear-{number}-{kept}" if reserved else kept


# --- one gear -----------------------------------------------------------------------------------


def _document(header: GradeHeader, title: str, sheets: tuple[doc.Sheet, ...]) -> doc.Document:
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


def _gear_sheet(
    header: GradeHeader,
    gear: GearInput,
    part: Part,
    aids: SheetAids,
    number: int,
    *,
    title: str,
    alone: bool,
) -> doc.Sheet:
    measurement, result, curves = gear
    master = header.master_quality.class_
    first: list[doc.Block] = [
        _facts(header, part, result.serial, result.production, curves, aids),
        gear_verdict(header, result),
        doc.Paragraph(decision_line(header, result.near_limit), "note"),
    ]
    overview = gear_figures.overview_figure(result, part, master)
    notes = [
        *slope_lines(result, part.evaluation.slope_span),
        *pitch_lines(result),
        *map(size_line, result.size),
    ]
    remarks = [*unassessed(result), *(f"{notice.message}" for notice in result.warnings)]
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
        sections.append(_inputs(header))
        sections += _folder_warnings(header.warnings)
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


def gear_id(number: int) -> str:
    """Anchor of the sheet of the gear that came as this number."""
    return f"gear-{number}"


def cautions(graded: Iterable[str]) -> doc.Cautions:
    """What nobody may read out of a sheet."""
    annex = (RUNOUT_ANNEX,) if "runout" in graded else ()
    return doc.Cautions((*CAUTIONS, *annex, *MORE_CAUTIONS))


def _facts(
    header: GradeHeader,
    part: Part,
    serial: str | None,
    made: Production | None,
    curves: Sequence[TraceCurves],
    aids: SheetAids,
) -> doc.Facts:
    """The head: what, made on what, measured with what, evaluated how."""
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
    from datetime import datetime  # noqa: PLC0415

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
    return ", ".join(filter(None, words))


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
        "slopes over control to tip diameter and whole face width" if full else "slopes over the evaluation length"
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
            margin = value_text(_margin(one, pair, signed), signed=True)
        mean, spread = _mean_and_spread(key, one)
        rows.append(
            [
                _named(key, flank), shown_value(key, one, parameter.master_tolerance_um),
                allowed_text(key, one.tolerance_um, one.limits_um), margin,
                class_text(one.class_, one.beyond),
                "limits" if one.limits_um is not None else str(one.required_class or DASH),
                allowed_text(key, parameter.master_tolerance_um, None), mean or DASH, spread or DASH,
                place_text(key, None, one),
                DASH if one.conforms is None and pair is None else doc.Cell(CONFORMITY[one.conforms], STATUS[one.conforms]),
            ]
        )  # fmt: skip
    for missing in gear.not_assessed:
        rows.append(
            [_named(missing.parameter, missing.flank), *(DASH,) * 9, doc.Cell(CONFORMITY[None], "open")]
        )
    if one_class is not None:
        del columns[_REQUIRED]
        for row in rows:
            del row[_REQUIRED]
    return doc.Table("", tuple(columns), tuple(map(tuple, rows)), notes=tuple(_table_notes(gear)))


_REQUIRED = 5
"""Place of the column of required classes, left out where all are the same."""


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
    sections = []
    for kind in ("profile", "helix"):
        own = [c for c in curves if c.kind == kind]
        figures = gear_figures.trace_figures(own, result, part, aids.diameter_at_roll, aids.class_of)
        if figures:
            title = "" if sections else "Traces"
            sections.append(doc.Section(title, (*figures,), new_page=not sections))
    pitch = gear_figures.pitch_figures(measurement, result, aids.single_pitches)
    runout = gear_figures.runout_figure(aids.runout(measurement), result, part)
    round_gear = [*pitch, *([runout] if runout is not None else [])]
    if round_gear:
        sections.append(doc.Section("Pitch and runout", (*round_gear,), new_page=True))
    return sections


def _inputs(header: GradeHeader) -> doc.Section:
    """Files that were read, with their digests, and files left out."""
    rows = tuple(
        (clip(one.file), one.sha256 if one.sha256 is not None else f"left out: {clip(one.left_out or '')}")
        for one in header.inputs
    )
    columns = (doc.Column("file", "left"), doc.Column("SHA-256", "left", weight=1))
    return doc.Section("Input files", (doc.Table("", columns, rows, dense=True),)) if rows else doc.Section("", ())


def _folder_warnings(notices: Sequence[Notice]) -> list[doc.Section]:
    if not notices:
        return []
    return [doc.Section("About the folder", (doc.Bullets(tuple(n.message for n in notices)),))]


# --- a lot --------------------------------------------------------------------------------------


@dataclass(slots=True)
class _Lot:
    """What stays of the gears while they stream by."""

    words: LotCollector = field(default_factory=LotCollector)
    rows: list[GearRow] = field(default_factory=list)
    values: list[dict[str, tuple[str, bool]]] = field(default_factory=list)
    """Per gear: key -> printed value, fails."""
    spread: lot_figures.Spread = field(default_factory=lot_figures.Spread)
    sheets: dict[int, doc.Sheet] = field(default_factory=dict)
    heap: list[tuple[tuple[int, float, int], int, GearInput]] = field(default_factory=list)
    """The worst gears so far, the least bad first."""
    choice: SheetChoice = "all"

    def add(
        self,
        number: int,
        gear: GearInput,
        header: GradeHeader,
        part: Part,
        aids: SheetAids,
        choice: SheetChoice,
        worst: int,
    ) -> None:
        """Take in one gear."""
        self.choice = choice
        result = gear[1]
        self.words.add(result)
        grade = class_text(result.class_, result.beyond, complete=result.class_complete)
        row = GearRow(number, result.serial, grade, worst_of(result), result.conforms, result.master_quality)
        self.rows.append(row)
        self.values.append(
            {
                key: (shown_value(key, one, one.master_tolerance_um), one.conforms is False)
                for key, one in result.parameters.items()
                if one.conforms is not None or one.master_tolerance_um is not None
            }
        )
        self.spread.add(result)
        if choice == "all":
            self.sheets[number] = self._sheet(header, gear, part, aids, number)
        elif choice == "worst" and worst > 0:
            heapq.heappush(self.heap, (row.badness, number, gear))
            if len(self.heap) > worst:
                heapq.heappop(self.heap)

    @staticmethod
    def _sheet(
        header: GradeHeader, gear: GearInput, part: Part, aids: SheetAids, number: int
    ) -> doc.Sheet:
        title = f"Gear {clip(gear[1].serial, SHORT)}"
        return _gear_sheet(header, gear, part, aids, number, title=title, alone=False)

    def document(
        self, header: GradeHeader, lot: LotSummary, part: Part, aids: SheetAids
    ) -> doc.Document:
        """The lot's page and the sheets, in the order of the input."""
        for _, number, gear in self.heap:
            self.sheets[number] = self._sheet(header, gear, part, aids, number)
        self.heap.clear()
        ranked = sorted(self.rows, key=lambda row: row.badness, reverse=True)
        sheets = []
        for number in sorted(self.sheets):
            sheet = self.sheets[number]
            if ranked and number == ranked[0].place:
                from dataclasses import replace  # noqa: PLC0415

                sheet = replace(sheet, worst=True)
            sheets.append(sheet)
        title = f"Inspection report, part {clip(header.part.get('number', DASH), SHORT)}"
        first = self._lot_sheet(header, lot, part, aids, title, ranked)
        return _document(header, title, (first, *sheets))

    def _lot_sheet(
        self,
        header: GradeHeader,
        lot: LotSummary,
        part: Part,
        aids: SheetAids,
        title: str,
        ranked: Sequence[GearRow],
    ) -> doc.Sheet:
        graded = tuple(key for key in PARAMETERS if any(key in values for values in self.values))
        sections = [
            doc.Section(
                "",
                (
                    _facts(header, part, None, None, (), aids),
                    lot_verdict(header, lot, self.words),
                    doc.Paragraph(decision_line(header, self.words.near_limit), "note"),
                ),
            ),
            doc.Section("Worst gears", (self._worst_table(ranked[:WORST_SHEETS]),)),
            doc.Section("Values against their limits", self.spread.figures()),
            doc.Section("All gears", (self._all_table(ranked, graded),)),
        ]
        remarks = [
            f"{self.words.warning_examples[code]}" + (f" (and {n - 1} more of this kind)" if n > 1 else "")
            for code, n in self.words.warnings.items()
        ]
        if remarks:
            sections.append(doc.Section("Warnings", (doc.Bullets(tuple(remarks)),)))
        sections += _folder_warnings(header.warnings)
        sections += [
            _inputs(header),
            doc.Section("", (cautions(graded), doc.Signature(ROLES))),
        ]
        head = f"{lot.gears} gears" if lot.gears != 1 else "1 gear"
        return doc.Sheet(title=title, sections=tuple(sections), id=LOT_ID, head=head)

    def _serial(self, row: GearRow) -> doc.Text:
        target = gear_id(row.place) if row.place in self.sheets else ""
        return (doc.Span(clip(row.serial, SHORT), target=target),)

    def _worst_table(self, rows: Sequence[GearRow]) -> doc.Table:
        columns = (
            doc.Column("gear", "left", weight=1), doc.Column("class"), doc.Column("parameter", "left"),
            doc.Column("value\nµm"), doc.Column("allowed\nµm"), doc.Column("used"),
            doc.Column("place", "left"), doc.Column("drawing", "left"), doc.Column("master quality", "left"),
        )  # fmt: skip
        body = []
        for row in rows:
            cells: tuple[doc.Text, ...] = (DASH,) * 5
            if row.worst is not None:
                one = row.worst.result
                cells = (
                    doc.symbol(row.worst.key), row.worst.value,
                    allowed_text(row.worst.key, one.tolerance_um, one.limits_um),
                    lot_figures.percent(row.worst.use), place_text(row.worst.key, row.worst.flank, one),
                )  # fmt: skip
            body.append((self._serial(row), row.grade, *cells, *self._words(row)))
        notes = ["Each with the value that uses up most of what is allowed."]
        if self.choice == "worst" and len(self.sheets) < len(self.rows):
            notes.append("Only these gears have a sheet with charts in this file.")
        return doc.Table("", columns, tuple(body), notes=tuple(notes))

    @staticmethod
    def _words(row: GearRow) -> tuple[doc.Cell, str]:
        return doc.Cell(CONFORMITY[row.conforms], STATUS[row.conforms]), MASTER_QUALITY[row.master_quality]

    def _all_table(self, ranked: Sequence[GearRow], keys: Sequence[str]) -> doc.Table:
        """Every gear in the order of the input; of a very large lot the worst, worst first."""
        rows = self.rows if len(self.rows) <= MOST_ROWS else ranked[:MOST_ROWS]
        columns = (
            doc.Column("gear", "left", weight=1), doc.Column("class"), doc.Column("drawing", "left"),
            doc.Column("master\nquality", "left"), *(doc.Column(doc.symbol(key)) for key in keys),
        )  # fmt: skip
        body = []
        for row in rows:
            values, cells = self.values[row.place - 1], []
            for key in keys:
                text, fails = values.get(key, (DASH, False))
                cells.append(doc.Cell(text, "bad") if fails else doc.Cell(text))
            body.append((self._serial(row), row.grade, *self._words(row), *cells))
        notes = ["Values in µm, the worst of both flanks and all traces."]
        if len(rows) < len(self.rows):
            notes.insert(0, f"The worst {len(rows)} of {len(self.rows)} gears; all of them: --json and --csv.")
        if any(row.grade.endswith("*") for row in self.rows):
            notes.append("* class of an incomplete set: something graded was not assessed.")
        return doc.Table("", columns, tuple(body), notes=tuple(notes), dense=True)

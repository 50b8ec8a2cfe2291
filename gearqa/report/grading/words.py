"""One gear in words: order, digits, verdicts, decided once for terminal and paper."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from gearqa.model.measurement import measured_name
from gearqa.model.results import GearResult, GradeHeader, ParameterResult
from gearqa.report.blocks import document as doc
from gearqa.report.blocks.explained import ASK, with_code
from gearqa.report.blocks.verdicts import STATUS, conformity_cell
from gearqa.report.grading.notes import (
    curve_text,
    decision_line,
    further_lines,
    guarded_otherwise,
    not_proven,
    size_text,
    value_notes,
    zone_text,
)
from gearqa.report.grading.values import (
    allowed,
    class_note,
    is_required,
    place_of,
    share_used,
    shown_value,
    values_of,
)
from gearqa.symbols import symbol_of
from gearqa.wording.numbers import DASH, allowed_text, class_text, number_text, percent_text
from gearqa.wording.safety import CAUTIONS
from gearqa.wording.sentences import symbols_text
from gearqa.wording.verdicts import MASTER_QUALITY, NOT_PROVEN, conformity_text

Row = tuple[doc.Cell | doc.Text, ...]


NO_CLASS = "no parameter has a class to be graded by"


def criterion_text(header: GradeHeader) -> str:
    """What this job calls master quality."""
    grade = header.master_quality.class_
    if not header.master_quality.parameters:
        return "none named, for the drawing grades no parameter"
    return f"class {grade} or better in {symbols_text(header.master_quality.parameters)}"


def parameter_table(gear: GearResult, master_class: int, *, wide: bool = False) -> doc.Table:
    """All parameters of a gear, one row a flank."""
    columns = [
        doc.Column("", "left"), doc.Column("flank", "left"), doc.Column("value µm"), doc.Column("allowed µm"),
        *([doc.Column("used"), doc.Column("U µm")] if wide else []),
        doc.Column("class"), doc.Column("class required"),
        *([doc.Column(f"class {master_class} allows µm")] if wide else []),
        doc.Column("place", "left"), doc.Column("drawing", "left"),
    ]  # fmt: skip
    rows: list[Row] = []
    for key, flank, parameter, one in values_of(gear):
        use = share_used(key, one)
        required = DASH if one.required_class is None else str(one.required_class)
        rows.append(
            (
                symbol_of(key),
                flank or "",
                shown_value(key, one, parameter.master_tolerance_um),
                allowed(key, one),
                *([DASH if use is None else percent_text(use), _uncertainty(parameter)] if wide else []),
                class_text(one.class_, one.beyond),
                "limits" if one.limits_um is not None else required,
                *([allowed_text(key, parameter.master_tolerance_um, None)] if wide else []),
                place_of(None, one),
                conformity_cell(one.conforms, one.state) if is_required(one) else DASH,
            )
        )
    blanks = (DASH,) * (len(columns) - 3)
    rows += [
        (symbol_of(gap.parameter), gap.flank or "", *blanks, conformity_cell(None))
        for gap in gear.not_assessed
    ]
    return doc.Table("", tuple(columns), tuple(_without_repeats(rows)), notes=tuple(value_notes(gear)))


def _uncertainty(parameter: ParameterResult) -> str:
    return DASH if parameter.uncertainty_um is None else number_text(parameter.uncertainty_um)


def _without_repeats(rows: Sequence[Row]) -> Iterable[Row]:
    """The rows, with the symbol only where it is another one than above."""
    last: doc.Cell | doc.Text = ""
    for row in rows:
        yield ("", *row[1:]) if row[0] == last else row
        last = row[0]


def failures(gear: GearResult) -> list[str]:
    """What fails against the drawing: symbol, flank, value and what is allowed."""
    texts = []
    for key, flank, parameter, one in values_of(gear):
        if one.conforms is False:
            source = "drawing" if one.limits_um is not None else f"class {one.required_class}"
            value = shown_value(key, one, parameter.master_tolerance_um)
            place = place_of(flank, one)
            texts.append(f"{symbol_of(key)} {value} µm {place}, allowed {allowed(key, one)} ({source})")
    texts += [curve_text(curve) for curve in gear.limit_curves if curve.conforms is False]
    texts += [zone_text(zone) for zone in gear.required_zones if zone.conforms is False]
    return [*texts, *(size_text(size) for size in gear.size if size.conforms is False)]


def unassessed(gear: GearResult) -> list[str]:
    """What the drawing asks for and was not assessed, with the reason."""
    return [text for _, text in _gaps(gear)]


def _gaps(gear: GearResult) -> list[tuple[str, str]]:
    """Reasons, each with the text that names all parameters of a flank that it keeps from being assessed."""
    found: dict[tuple[str, str], list[str]] = {}
    for one in gear.not_assessed:
        found.setdefault((one.flank or "", one.reason), []).append(one.parameter)
    return [
        (reason, f"{symbols_text(keys)}{f' {flank}' if flank else ''}: {reason}")
        for (flank, reason), keys in found.items()
    ]


def notices_of(gear: GearResult) -> list[doc.Text]:
    """What was not assessed, each reason with the code of the warning that it is, and the other warnings."""
    codes = {one.message: one.code for one in reversed(gear.warnings)}
    gaps = _gaps(gear)
    told = [with_code(text, codes[reason]) if reason in codes else text for reason, text in gaps]
    given = {reason for reason, _ in gaps}
    return [*told, *(with_code(one.message, one.code) for one in gear.warnings if one.message not in given)]


def gear_verdict(header: GradeHeader, gear: GearResult) -> doc.Verdict:
    """Conformity, class and master quality of one gear."""
    open_for = [*unassessed(gear), *not_proven(gear)]
    why = {True: [], False: failures(gear), None: open_for}[gear.conforms]
    if gear.class_ is None and not gear.beyond:
        grade, governed = "none", "nothing graded was assessed" if gear.not_assessed else NO_CLASS
    else:
        grade = "beyond every class" if gear.beyond else str(gear.class_)
        governed = f"set by {symbols_text(gear.governing)}"
    if not gear.class_complete:
        grade += " (incomplete)" if gear.class_ is not None or gear.beyond else ""
        missing = symbols_text(dict.fromkeys(one.parameter for one in gear.not_assessed))
        governed += f"; not assessed: {missing}" if missing else ""
    verdict = conformity_text(gear.conforms, gear.state)
    conformity, master = STATUS[gear.conforms], STATUS[gear.master_quality]
    return doc.Verdict(
        (
            doc.Answer("Conformity to the drawing", verdict, conformity, "; ".join(why)),
            doc.Answer("Flank tolerance class", grade, "none", governed),
            doc.Answer("Master quality", MASTER_QUALITY[gear.master_quality], master, _decided(header, gear)),
        )
    )


def _decided(header: GradeHeader, gear: GearResult) -> str:
    """What decides about master quality, and what this job calls so."""
    criterion = f"criterion: {criterion_text(header)}"
    if not gear.master_deciding:
        return criterion
    deciding = []
    for key in gear.master_deciding:
        one = gear.parameters.get(key)
        note = "" if one is None else class_note(one.class_, one.beyond)
        if gear.master_quality is None or not note:
            missing = [gap.flank for gap in gear.not_assessed if gap.parameter == key and gap.flank]
            gap = any(gap.parameter == key for gap in gear.not_assessed)
            sides = f"{' and '.join(missing)} " if missing else ""
            note = f" ({sides}not assessed)" if gap or one is None else f" ({NOT_PROVEN})"
        deciding.append(f"{symbol_of(key)}{note}")
    verb = "decided by" if gear.master_quality is False else "left open by"
    return f"{verb} {', '.join(deciding)}; {criterion}"


def screen_facts(header: GradeHeader, gear: GearResult | None = None) -> doc.Facts:
    """What was graded, and by what."""
    part = " ".join(filter(None, (header.part.get("number"), header.part.get("name"))))
    revision = header.part.get("revision")
    items = [("Part", f"{part}, revision {revision}" if revision else part)]
    if gear is not None:
        items.insert(0, ("Gear", measured_name(gear.serial, gear.measurement)))
        made = gear.production
        if made is not None:
            named = (
                ("grinder", made.grinder), ("wheel", made.wheel), ("dress", made.dress),
                ("part", made.parts_since_dress), ("instrument", made.instrument),
            )  # fmt: skip
            text = ", ".join(f"{name} {value}" for name, value in named if value is not None)
            items += [("Made", text)] if text else []
    items.append(("Standard", header.standard))
    return doc.Facts(tuple(items))


def opening(header: GradeHeader, gear: GearResult | None = None) -> list[doc.Block]:
    """What comes before the values: whether they were measured at all, and on what."""
    return [*doc.banner(header.simulated), screen_facts(header, gear)]


def closing(verdict: doc.Verdict, rule: str) -> list[doc.Block]:
    """What comes after the values: verdict, decision rule, cautions."""
    return [verdict, doc.Paragraph(rule, "note"), doc.Cautions(CAUTIONS)]


def gear_blocks(
    header: GradeHeader, gear: GearResult, slope_span: str, *, wide: bool = False
) -> list[doc.Block]:
    """One gear in full."""
    blocks = [*opening(header, gear), parameter_table(gear, header.master_quality.class_, wide=wide)]
    if lines := further_lines(gear, slope_span):
        blocks.append(doc.Bullets(tuple(lines)))
    if notes := [*notices_of(gear), *([ASK] if gear.warnings else [])]:
        blocks.append(doc.Bullets(tuple(notes), "note"))
    rule = decision_line(header, gear.near_limit, guarded_otherwise(gear))
    return [*blocks, *closing(gear_verdict(header, gear), rule)]

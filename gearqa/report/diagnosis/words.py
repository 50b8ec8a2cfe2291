"""A diagnosis in words: what keeps a gear from a better class, components, ladder, corrections, causes."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from gearqa.model.diagnosis import (
    Cause,
    Component,
    Corrected,
    Correction,
    DiagnosisResult,
    GearDiagnosis,
    LotDiagnosis,
    NotIdentifiable,
    RecordedChange,
    RecordedCorrection,
    Rung,
    SharedBy,
    StrokeEnd,
)
from gearqa.report.blocks import document as doc
from gearqa.report.diagnosis.names import (
    component_name,
    directions_notes,
    error_name,
    keys_text,
    rung_class,
)
from gearqa.symbols import PARAMETERS, symbol_of
from gearqa.wording.numbers import (
    DASH,
    class_text,
    count_text,
    fixed_text,
    percent_text,
    short_text,
    um_text,
    unit_text,
)
from gearqa.wording.sentences import listed, sentence, some_of
from gearqa.wording.verdicts import MASTER_QUALITY
from gearqa.wording.visible import clip

QUANTITIES: Final = {
    "profile_slope": "profile slope, + material at the tip",
    "helix_slope": "helix slope, + material away from the datum face",
    "pressure_angle": "pressure angle (transverse), + larger",
    "helix_angle": "helix angle, + larger (spur gear: + right-hand)",
    "twist_over_face_width": "twist over the face width, + towards a larger helix angle (spur gear: "
    "+ right-hand)",
    "infeed": "infeed, + deeper (size to the middle of its tolerance)",
    "infeed_far_end": "infeed at the far end of the face, none at the datum face, + deeper",
    "infeed_ends": "infeed at the ends of the evaluation range against the middle, + deeper",
    "profile_crowning": "profile crowning, + more convex",
    "helix_crowning": "helix crowning, + more convex",
    "centre_0_deg": "toothing towards tooth 1, that is the workpiece away from it",
    "centre_90_deg": "toothing towards 90° clockwise of tooth 1, that is the workpiece away from there",
}
STATUS: Final[dict[bool | None, doc.Status]] = {True: "good", False: "bad", None: "open"}
MOST_SHARES: Final = 3
MOST_DOUBTS: Final = 12
LONGEST_VALUE: Final = 48
MOST_CHANGES: Final = 6
"""Recorded changes shown, the last ones."""
SETTER: Final = "Corrections are suggestions: a qualified setter checks sign, size and reach before use."
ONE_OF_TWO: Final = "Where one change stands instead of another, make one of the two: both go too far."
RAW: Final = "The measured class counts; what stands below it is what-if."


def title(result: DiagnosisResult) -> str:
    """What was taken apart."""
    part = " ".join(filter(None, (result.part["number"], result.part["revision"])))
    one = f"gear {result.gears[0].serial}"
    gears = one if len(result.gears) == 1 else count_text(len(result.gears), "gear")
    return f"Diagnosis of {gears}, part {part}, by {result.standard}"


def verdict(one: GearDiagnosis | LotDiagnosis) -> doc.Verdict:
    """The class, whether it is master quality, and the shortest way there."""
    reached = MASTER_QUALITY[one.master_quality]
    grade = class_text(one.class_, one.beyond)
    return doc.Verdict(
        (doc.Answer("Master quality", f"{reached}, class {grade}", STATUS[one.master_quality], way_out(one)),)
    )


def way_out(one: GearDiagnosis | LotDiagnosis) -> str:
    """What would lead to master quality, or how far taking out everything leads."""
    if one.master_quality:
        return ""
    better = [rung for rung in one.ladder if rung.without and rung.master_quality]
    if better:
        least = min(better, key=lambda rung: len(rung.without))
        return sentence(f"without {keys_text(least.without)}: class {rung_class(least)}, master quality")
    last = one.ladder[-1]
    if not last.without or last.class_exact is None or last.class_exact >= (one.ladder[0].class_exact or 0.0):
        if isinstance(one, LotDiagnosis) and one.gears > 1:
            return "No component that the gears share would change that: look at the worst gears."
        return "No component found would change that."
    without = f"without {keys_text(last.without)}: class {rung_class(last)}"
    return sentence(f"not reached by taking out what was found; {without}")


def components_table(components: Sequence[Component], *, wide: bool = True) -> doc.Table:
    """Components that are beyond chance."""
    real = [one for one in components if one.significant]
    scatter = any(one.scatter_um is not None for one in real)
    columns = [
        doc.Column("component", "left", weight=2),
        doc.Column("amplitude"),
        doc.Column("U"),
        doc.Column("at"),
    ]
    if scatter:
        columns.append(doc.Column("s, gear to gear"))
    if wide:
        columns.append(doc.Column("explains", "left", weight=3))
    rows = []
    for one in real:
        cells: list[doc.Cell | doc.Text] = [
            component_name(one),
            um_text(one.amplitude_um, signed=one.phase_deg is None),
            DASH if one.u_um is None else um_text(one.u_um),
            DASH if one.phase_deg is None else f"{fixed_text(one.phase_deg, 0)}°",
        ]
        if scatter:
            cells.append(DASH if one.scatter_um is None else um_text(one.scatter_um))
        if wide:
            cells.append(shares_text(one))
        rows.append(tuple(cells))
    left_out = len(components) - len(real)
    notes = ["U: k = 2, from the scatter between teeth.", *directions_notes(real)]
    for one in real:
        if one.frequency_hz is not None:
            would = f"{fixed_text(one.frequency_hz, 0)} Hz at the speed of the wheel"
            notes.append(sentence(f"{component_name(one)}: a vibration would be one of {would}"))
        if one.natural_um is not None:
            rest = um_text(one.amplitude_um - one.natural_um, signed=True)
            own = um_text(one.natural_um, signed=True)
            made = "the crowning makes by itself if a cylindrical worm made it by radial motion alone"
            notes.append(sentence(f"{component_name(one)}: {own} of it {made}; act on {rest} only"))
    if left_out:
        notes.append(f"{count_text(left_out, 'component')} within chance not shown.")
    if not rows:
        return doc.Table("Components", (doc.Column("component", "left"),), (("none beyond chance",),))
    return doc.Table("Components", tuple(columns), tuple(rows), tuple(notes), dense=wide)


def shared_list(shared: Sequence[SharedBy]) -> tuple[doc.Block, ...]:
    """Components that go with a fixture or an instrument; nothing where none does."""
    lines = []
    for one in shared:
        at = "" if one.phase_deg is None else f" at {fixed_text(one.phase_deg, 0)}°, same phase"
        size = um_text(one.amplitude_um, signed=one.phase_deg is None)
        name = error_name(one.key, one.flank, one.order)
        gears = f"all {count_text(one.gears, 'gear')} of {one.label} {clip(one.value, LONGEST_VALUE)}"
        lines.append(sentence(f"{name} {size}{at} on {gears}"))
    return (doc.Bullets(tuple(lines)),) if lines else ()


def shares_text(one: Component) -> str:
    """The deviations that a component explains most of."""
    graded = {
        key: share for key, share in one.explains.items() if share > 0 and PARAMETERS[key].grading != "never"
    }
    most = sorted(graded.items(), key=lambda item: -item[1])[:MOST_SHARES]
    return ", ".join(f"{percent_text(share)} of {symbol_of(key)}" for key, share in most) or DASH


def ladder_table(ladder: Sequence[Rung]) -> doc.Table:
    """As measured, each component alone, then together."""
    measured = ladder[0]
    base = measured.class_exact
    rows: list[tuple[doc.Cell | doc.Text, ...]] = []
    for rung in ladder:
        gained = None if base is None or rung.class_exact is None else base - rung.class_exact
        if rung.without and (gained is None or abs(gained) < 0.05):
            continue
        name = keys_text(rung.without) if rung.without else "as measured"
        reached: doc.Status = "good" if rung.master_quality else "none"
        rows.append(
            (
                name,
                rung_class(rung),
                DASH if rung.class_exact is None else fixed_text(rung.class_exact),
                DASH if not rung.without or gained is None else fixed_text(gained),
                doc.Cell(MASTER_QUALITY[rung.master_quality], reached),
            )
        )
    columns = (
        doc.Column("without", "left", weight=3), doc.Column("class"), doc.Column("exact"),
        doc.Column("gained"), doc.Column("master quality", "left"),
    )  # fmt: skip
    return doc.Table("What if: taken out of the data and graded again", columns, tuple(rows), (RAW,))


def change_text(one: Correction) -> tuple[str, str, str]:
    """What to change, by how much, and how sure that is."""
    name = QUANTITIES.get(one.quantity, one.quantity)
    digits = 4 if one.unit == "mm" else 2
    change = f"{'+' if one.change > 0 else ''}{fixed_text(one.change, digits)} {unit_text(one.unit)}"
    u = DASH if one.u is None else f"± {fixed_text(one.u, digits)}"
    head, comma, plus = name.partition(",")
    return name if one.flank is None else f"{head}, {one.flank} flank{comma}{plus}", change, u


def corrections_table(corrections: Sequence[Correction], together: Corrected | None = None) -> doc.Table:
    """Changes at the grinder, and what they would do together."""
    rows = []
    for one in corrections:
        name, change, u = change_text(one)
        if one.instead_of is not None:
            name = f"or, instead of the {one.instead_of.replace('_', ' ')}: {name}"
        rows.append((name, change, u, percent_text(one.fraction), expect_text(one)))
    columns = (
        doc.Column("change", "left", weight=2), doc.Column("in whole"), doc.Column("k = 2"),
        doc.Column("apply at first"), doc.Column("next part shows", "left", weight=2),
    )  # fmt: skip
    notes = [sentence(text) for text in dict.fromkeys(one.basis for one in corrections)]
    if any(one.instead_of for one in corrections):
        notes.append(ONE_OF_TWO)
    if together is not None:
        notes.append(_all_made(together))
    return doc.Table("Corrections at the grinder", columns, tuple(rows), (*notes, SETTER), dense=True)


def _all_made(one: Corrected) -> str:
    grade = class_text(one.class_, one.beyond)
    exact = "" if one.class_exact is None else f" ({fixed_text(one.class_exact)})"
    made = "Made at this fraction" if len(one.quantities) == 1 else "Made together at these fractions"
    return f"{made}: class {grade}{exact}, master quality {MASTER_QUALITY[one.master_quality]}."


def expect_text(one: Correction) -> str:
    """What the next part should show, with its interval."""
    if one.expect_um is None:
        return one.expect
    u = "" if one.expect_u_um is None else f" ± {um_text(one.expect_u_um)}"
    return f"{one.expect}: {um_text(one.expect_um, signed=True)}{u}"


def changes_list(changes: Sequence[RecordedChange]) -> tuple[doc.Block, ...]:
    """What the grinder made of each recorded change; nothing where none is recorded."""
    lines = []
    for one in changes[-MOST_CHANGES:]:
        name = QUANTITIES.get(one.quantity) or PARAMETERS[one.quantity].name
        name = name.partition(",")[0] + ("" if one.flank is None else f", {one.flank} flank")
        size = f"{'+' if one.size > 0 else ''}{short_text(one.size, 4)} {unit_text(one.unit)}"
        gain = f"no gain, {one.reason}"
        if one.gain is not None and one.gain_u is not None:
            gain = f"gain {fixed_text(one.gain)} ± {fixed_text(one.gain_u)} (k = 2)"
        day = one.at.date().isoformat()
        lines.append(sentence(f"recorded {day} on {clip(one.grinder, 24)}: {name} {size}: {gain}"))
    return (doc.Bullets(tuple(lines)),) if lines else ()


def causes_table(causes: Sequence[Cause]) -> doc.Table:
    """Probable causes, in order."""
    rows = tuple(
        (one.signature, "; ".join(one.causes), one.correction, f"{one.confidence}: {one.basis}")
        for one in causes
    )
    columns = (
        doc.Column("signature", "left", weight=2), doc.Column("causes, the likelier first", "left", weight=3),
        doc.Column("do", "left", weight=3), doc.Column("confidence", "left", weight=1),
    )  # fmt: skip
    return doc.Table("Causes", columns, rows, ("Common practice, not proof.",), dense=True)


def recorded_list(recorded: Sequence[RecordedCorrection]) -> tuple[doc.Block, ...]:
    """What the last recorded corrections did; nothing where there are none."""
    lines = []
    for one in recorded:
        name = f"{PARAMETERS[one.parameter].name}{'' if one.flank is None else f', {one.flank} flank'}"
        found = "effect not decidable"
        if one.effect_um is not None and one.low_um is not None and one.high_um is not None:
            ends = f"{um_text(one.low_um, 1, signed=True)} to {um_text(one.high_um, 1, signed=True)}"
            found = f"{um_text(one.effect_um, 1, signed=True)} found ({ends}): {one.verdict}"
        meant = um_text(one.intended_um, 1, signed=True)
        lines.append(sentence(f"last correction of {name} on {one.grinder}: {meant} meant, {found}"))
    return (doc.Bullets(tuple(lines)),) if lines else ()


def stroke_table(stroke: Sequence[StrokeEnd]) -> tuple[doc.Block, ...]:
    """Overtravel needed and given at each end; nothing where it is not known."""
    if not stroke:
        return ()

    def length(value: float | None) -> str:
        return DASH if value is None else f"{fixed_text(value, 1)} mm"

    rows = tuple(
        (
            f"{one.grinder}, {one.end} face", length(one.needed_mm), length(one.overtravel_mm),
            length(one.room_mm), _fit(one), f"{one.turned_up} of {count_text(one.gears, 'gear')}",
        )
        for one in stroke
    )  # fmt: skip
    columns = (
        doc.Column("stroke beyond", "left"), doc.Column("needed"), doc.Column("set"), doc.Column("room"),
        doc.Column("it is", "left"), doc.Column("plus at this end of the helix", "left", weight=1),
    )  # fmt: skip
    notes = [
        "Middle of the wheel beyond the face: half its active width as seen along the work axis. Common "
        "practice, no source."
    ]
    if any(one.room_mm is not None for one in stroke):
        notes.append(
            "Room: up to a closed bottom, less half the active width and half the diameter of the wheel as "
            "seen along the work axis. A shoulder with a bore may leave more; a wider wheel or its arbor "
            "needs more."
        )
    if any(_no_diameter(one) for one in stroke):
        notes.append("Room: not known without wheel_diameter_mm under [grinder.NAME].")
    return (doc.Table("Stroke at crossed axes", columns, rows, tuple(notes)),)


def _no_diameter(one: StrokeEnd) -> bool:
    return one.clearance_mm is not None and one.reach_mm is None


def _fit(one: StrokeEnd) -> doc.Cell:
    """Whether the stroke is enough, or by how much not."""
    lacks = (("set", one.needed_less_set_mm), ("room", one.needed_less_room_mm))
    short = [f"{name} {_lack(by)} too short" for name, by in lacks if by is not None and by > 0]
    unknown = "room not known" if _no_diameter(one) else "open"
    text = "enough" if one.enough else listed(short) if short else unknown
    return doc.Cell(text, STATUS[one.enough])


def _lack(mm: float) -> str:
    """A length that is missing; never 0."""
    return f"{fixed_text(mm, 1)} mm" if mm >= 0.05 else "less than 0.1 mm"


def hidden_list(hidden: Sequence[NotIdentifiable]) -> doc.Bullets:
    """What cannot be told, and what to measure; keys of one reason together."""
    alike: dict[tuple[str, str], list[str]] = {}
    for one in hidden:
        alike.setdefault((one.reason, one.measure), []).append(one.key)
    lines = []
    for (reason, plan), keys in alike.items():
        them = "it" if len(keys) == 1 else "them"
        lines.append(sentence(f"{keys_text(keys)}: {reason}; to tell {them}, measure {plan}"))
    return doc.Bullets(tuple(lines))


def doubts_list(gears: Sequence[GearDiagnosis]) -> tuple[doc.Block, ...]:
    """What was left out for doubt, and what puts a diagnosis in question; nothing where there is nothing."""
    told: dict[str, list[str]] = {}
    for gear in gears:
        for one in gear.warnings:
            told.setdefault(one.message, []).append(gear.serial)
    if not told:
        return ()
    alone = len(gears) == 1
    lines = [text if alone else f"{some_of(serials, 3)}: {text}" for text, serials in told.items()]
    lines = [text[:1].upper() + text[1:] if text.endswith("?") else sentence(text) for text in lines]
    more = len(lines) - MOST_DOUBTS
    if more > 0:
        lines = [*lines[:MOST_DOUBTS], f"{count_text(more, 'more note')}: see the JSON result."]
    return (doc.Bullets(tuple(lines)),)


def summary_rows(result: DiagnosisResult) -> doc.Table:
    """One row a gear: class, largest components, class without them."""
    rows = []
    for gear in result.gears:
        real = [one for one in gear.components if one.significant]
        main = some_of([f"{component_name(one)} {um_text(one.amplitude_um)}" for one in real[:3]], 3)
        best = min(gear.ladder, key=lambda rung: rung.class_exact or 0.0)
        rows.append(
            (
                gear.serial,
                class_text(gear.class_, gear.beyond),
                doc.Cell(MASTER_QUALITY[gear.master_quality], STATUS[gear.master_quality]),
                main or DASH,
                rung_class(best) if best.without else DASH,
            )
        )
    columns = (
        doc.Column("serial", "left"), doc.Column("class"), doc.Column("master quality", "left"),
        doc.Column("largest components", "left", weight=3), doc.Column("class without them"),
    )  # fmt: skip
    return doc.Table("Gears", columns, tuple(rows))

"""The grading result in words: order, digits, verdicts, footnotes, decided once.

Every text that a reader of a grading result sees, on a terminal or on paper, is made here, as
blocks of `gearqa.report.blocks.document`; renderers only lay out.
"""

from __future__ import annotations

import heapq
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from gearqa.model.results import (
    FlankResult,
    GearResult,
    GradeHeader,
    LotSummary,
    ParameterResult,
    SizeResult,
)
from gearqa.report.blocks.document import (
    Answer,
    Block,
    Bullets,
    Cautions,
    Cell,
    Column,
    Facts,
    Paragraph,
    Status,
    Table,
    Verdict,
)
from gearqa.symbols import PARAMETERS, Flank, TraceKind, symbol_of
from gearqa.wording.numbers import (
    DASH,
    allowed_text,
    class_text,
    count_text,
    number_text,
    percent_text,
    signed_text,
    tolerance_limits,
    use_of_tolerance,
    value_text,
)
from gearqa.wording.safety import CAUTIONS, SIMULATED_BANNER
from gearqa.wording.sentences import symbols_text
from gearqa.wording.verdicts import CONFORMITY, MASTER_QUALITY

STATUS: Mapping[bool | None, Status] = {True: "good", False: "bad", None: "open"}


ALL_ROWS_UP_TO = 40
"""Gears of a lot that are all listed; of a larger lot only the worst are."""
WORST_ROWS = 20

WIDE = 110
"""Columns of a console from which tables show more."""


def criterion_text(header: GradeHeader) -> str:
    """What this job calls master quality."""
    grade = header.master_quality.class_
    return f"class {grade} or better in {symbols_text(header.master_quality.parameters)}"


def place_text(key: str, flank: Flank | None, one: ParameterResult | FlankResult) -> str:
    """Where a value was found, without the flank where that stands beside it.

    Two numbers are the places of the maximum and the minimum.
    """
    side = f"{flank} " if flank else ""
    space = one.space if isinstance(one, ParameterResult) else None
    space_to = one.space_to if isinstance(one, ParameterResult) else None
    if space is not None:
        return f"spaces {space}, {space_to}" if space_to is not None else f"space {space}"
    if one.tooth is None:
        return side.strip()
    if one.tooth_to is not None:
        return f"{side}teeth {one.tooth}, {one.tooth_to}"
    return f"{side}tooth {one.tooth}"


def shown_value(key: str, one: ParameterResult | FlankResult, master_tolerance: float | None = None) -> str:
    """A value with digits that do not contradict its verdicts."""
    limits = [
        one.limits_um,
        tolerance_limits(key, one.tolerance_um),
        tolerance_limits(key, master_tolerance),
    ]
    return value_text(one.value_um, signed=PARAMETERS[key].signed, limits=limits)


def _verdict_cell(conforms: bool | None, graded: bool) -> Cell | str:
    return Cell(CONFORMITY[conforms], STATUS[conforms]) if graded else DASH


def _graded(one: ParameterResult | FlankResult) -> bool:
    return one.conforms is not None or one.tolerance_um is not None or one.limits_um is not None


def share_used(key: str, one: ParameterResult | FlankResult) -> float:
    """Share of the allowance that a value uses, -1 for what is not graded."""
    use = use_of_tolerance(key, one.value_um, one.tolerance_um, one.limits_um)
    return -1.0 if use is None else use


@dataclass(frozen=True, slots=True)
class Worst:
    """The parameter of a gear that is nearest to its limit, or furthest beyond it."""

    key: str
    flank: Flank | None
    result: ParameterResult | FlankResult
    value: str
    use: float


def worst_of(gear: GearResult) -> Worst | None:
    """The value that uses up most of what the drawing allows; those that fail come first."""
    found: Worst | None = None
    rank: tuple[bool, float] = (False, -1.0)
    for key, parameter in gear.parameters.items():
        sides: list[tuple[Flank | None, ParameterResult | FlankResult]] = [*parameter.flanks.items()]
        for flank, one in sides or [(parameter.flank, parameter)]:
            if not _graded(one):
                continue
            use = share_used(key, one)
            if (one.conforms is False, use) > rank:
                rank = (one.conforms is False, use)
                value = shown_value(key, one, parameter.master_tolerance_um)
                found = Worst(key, flank, one, value, use)
    return found


# --- one gear in full ---------------------------------------------------------------------------


def parameter_table(gear: GearResult, master_class: int, *, wide: bool = False) -> Table:
    """All parameters of a gear, one row a flank."""
    columns = [
        Column("", "left"), Column("flank", "left"), Column("value µm"), Column("allowed µm"),
        *([Column("used")] if wide else []),
        Column("class"), Column("class required"),
        *([Column(f"class {master_class} allows µm")] if wide else []),
        Column("place", "left"), Column("drawing", "left"),
    ]  # fmt: skip
    rows: list[tuple[Cell | str, ...]] = []
    for key, parameter in gear.parameters.items():
        sides: list[tuple[Flank | None, ParameterResult | FlankResult]] = [*parameter.flanks.items()]
        for flank, one in sides or [(None, parameter)]:
            use = share_used(key, one)
            allowed_master = allowed_text(key, parameter.master_tolerance_um, None)
            required = DASH if one.required_class is None else str(one.required_class)
            rows.append(
                (
                    PARAMETERS[key].symbol if not rows or rows[-1][0] != PARAMETERS[key].symbol else "",
                    flank or "",
                    shown_value(key, one, parameter.master_tolerance_um),
                    allowed_text(key, one.tolerance_um, one.limits_um),
                    *([percent_text(use) if use >= 0 else DASH] if wide else []),
                    class_text(one.class_, one.beyond),
                    "limits" if one.limits_um is not None else required,
                    *([allowed_master] if wide else []),
                    place_text(key, None, one),
                    _verdict_cell(one.conforms, _graded(one)),
                )
            )
    for missing in gear.not_assessed:
        blanks = (DASH,) * (len(columns) - 4)
        rows.append(
            (symbol_of(missing.parameter), missing.flank or "", DASH, *blanks, Cell(CONFORMITY[None], "open"))
        )
    return Table("", tuple(columns), tuple(_without_repeats(rows)), notes=tuple(_table_notes(gear)))


def _without_repeats(rows: Sequence[tuple[Cell | str, ...]]) -> Iterable[tuple[Cell | str, ...]]:
    last: Cell | str = ""
    for row in rows:
        yield ("", *row[1:]) if row[0] == last else row
        last = row[0] or last


def _table_notes(gear: GearResult) -> Iterable[str]:
    runout = gear.parameters.get("runout")
    if runout is not None:
        source = {
            "readings": "from the radial readings",
            "pitch": "computed from the pitch of both flanks",
        }.get(runout.method or "", "")
        graded = "; its tolerance stands in an informative annex of the standard" if _graded(runout) else ""
        yield f"Fr: {source}{graded}."
    if any(one.tooth_to is not None or one.space_to is not None for one in gear.parameters.values()):
        yield "Two teeth or spaces: where the maximum and the minimum lie."
    if any(trace.tip_zone_counted for trace in gear.traces):
        yield "Material in the tip zone counted in Fα or ffα of at least one profile trace."


SPANS = {
    "profile_slope": ("control to tip diameter", "the evaluation length"),
    "helix_slope": ("the whole face width", "the evaluation length"),
}
"""Full span and evaluation length of each slope, in words."""


TRACE_KINDS: tuple[TraceKind, TraceKind] = ("profile", "helix")


def other_span_matters(one: ParameterResult) -> bool:
    """Whether a slope over the span that does not count would have another class."""
    graded = one.class_ is not None or bool(one.beyond)
    return graded and one.slope_other_span_um is not None and one.slope_other_span_class != one.class_


def slope_lines(gear: GearResult, slope_span: str) -> list[str]:
    """Both slopes of each family, the graded one and the one other instruments print; as angles."""
    lines = []
    for key, (full, over_length) in SPANS.items():
        one = gear.parameters.get(key)
        if one is None or one.slope_other_span_um is None:
            continue
        this, other = (full, over_length) if slope_span == "full" else (over_length, full)
        text = (
            f"{PARAMETERS[key].symbol} over {this}: {shown_value(key, one, one.master_tolerance_um)} µm"
            f"{_class_suffix(one.class_, one.beyond)}; "
            f"over {other}: {value_text(one.slope_other_span_um, signed=True)} µm"
        )
        if _graded(one):
            text += _class_suffix(one.slope_other_span_class, one.slope_other_span_class is None)
        if other_span_matters(one):
            text += " – another class: say which span is meant when comparing"
        lines.append(f"{text}.")
    return [*lines, *helix_angle_lines(gear), *mean_slope_lines(gear)]


def helix_angle_lines(gear: GearResult) -> list[str]:
    """The worst helix slope of each flank as ISO 1328-1 signs it: by helix angle; of a spur gear by hand."""
    one = gear.parameters.get("helix_slope")
    sides = []
    spur = False
    for flank, worst in one.flanks.items() if one else ():
        for trace in gear.traces:
            if (trace.kind, trace.flank, trace.tooth) != ("helix", flank, worst.tooth):
                continue
            if trace.slope_um != worst.value_um:
                continue
            if trace.slope_by_helix_angle_um is not None:
                sides.append(f"{flank} {value_text(trace.slope_by_helix_angle_um, signed=True)} µm")
            elif trace.hand is not None:
                spur = True
                sides.append(f"{flank} {value_text(abs(trace.slope_um))} µm {trace.hand}")
            break
    if not sides:
        return []
    meaning = "towards which hand the flank leans" if spur else "plus: larger helix angle"
    return [f"{PARAMETERS['helix_slope'].symbol} by helix angle ({meaning}): {', '.join(sides)}."]


def mean_slope_lines(gear: GearResult) -> list[str]:
    """What the mean slopes of each flank amount to: pressure angle, base radius, helix angle."""
    by_flank: dict[Flank, list[str]] = {}
    for kind in TRACE_KINDS:
        key = f"{kind}_slope"
        parameter = gear.parameters.get(key)
        for flank, one in parameter.flanks.items() if parameter else ():
            traces = [trace for trace in gear.traces if (trace.kind, trace.flank) == (kind, flank)]
            meaning = _slope_meaning(one, spur=all(t.slope_by_helix_angle_um is None for t in traces))
            if traces and meaning:
                mean = sum(trace.slope_evaluation_um for trace in traces) / len(traces)
                text = f"{PARAMETERS[key].symbol} {value_text(mean, signed=True)} µm ({meaning})"
                by_flank.setdefault(flank, []).append(text)
    return [
        f"Mean slopes {flank} over the evaluation length: {', '.join(texts)}."
        for flank, texts in by_flank.items()
    ]


def _slope_meaning(one: FlankResult, *, spur: bool) -> str:
    if one.pressure_angle_deviation_arcmin is not None and one.base_radius_deviation_um is not None:
        return (
            f"transverse pressure angle {signed_text(one.pressure_angle_deviation_arcmin, 1)}′, "
            f"base radius {signed_text(one.base_radius_deviation_um, 0)} µm"
        )
    twist = one.helix_angle_deviation_arcmin
    if twist is None:
        return ""
    text = signed_text(twist, 2)
    if spur and text[0] in "+-":
        return f"helix angle {text[1:]}′ {'right-hand' if twist > 0 else 'left-hand'}"
    return f"helix angle {text}′"


def _class_suffix(grade: int | None, beyond: bool | None) -> str:
    if beyond:
        return " (beyond class 11)"
    return "" if grade is None else f" (class {grade})"


def pitch_lines(gear: GearResult) -> list[str]:
    """First harmonic of the index of each flank: what eccentric clamping would leave."""
    lines = []
    for one in gear.pitch:
        share = (
            "" if one.first_harmonic_share is None else f", {percent_text(one.first_harmonic_share)} of Fp"
        )
        lines.append(
            f"Index, {one.flank} flank: first harmonic {value_text(one.first_harmonic_um)} µm "
            f"at {one.first_harmonic_deg:.0f}°{share}; without it "
            f"fp {value_text(one.single_pitch_without_first_harmonic_um)}, "
            f"Fp {value_text(one.cumulative_pitch_without_first_harmonic_um)} µm."
        )
    return lines


def size_line(size: SizeResult) -> str:
    """One dimension over or between balls, or a span."""
    if size.method == "balls":
        name = "Dimension over or between balls"
        name += f" of {number_text(size.pin_diameter_mm)} mm" if size.pin_diameter_mm is not None else ""
    else:
        name = "Span"
        name += f" over {count_text(size.teeth_spanned, 'tooth', 'teeth')}" if size.teeth_spanned else ""
    at = f" at {size.position}" if size.position else ""
    text = f"{name}{at}: {size.value_mm:.4f} mm"
    if size.lower_mm is not None and size.upper_mm is not None:
        text += f", limits {number_text(size.lower_mm)} to {number_text(size.upper_mm)}: "
        text += CONFORMITY[size.conforms]
    return f"{text}."


def decision_line(header: GradeHeader, near_limit: int | None) -> str:
    """The decision rule, and how much the measurement uncertainty leaves open."""
    if near_limit is None:
        return f"Decision rule: {header.decision_rule}; no measurement uncertainty is given in the part file."
    values = count_text(near_limit, "value lies", "values lie") if near_limit else "no value lies"
    return (
        f"Decision rule: {header.decision_rule}, that is, measurement uncertainty is not taken off the "
        f"limits; {values} within U of a limit."
    )


def failures(gear: GearResult) -> list[str]:
    """What fails against the drawing: symbol, flank, value and what is allowed."""
    texts = []
    for key, parameter in gear.parameters.items():
        sides: list[tuple[Flank | None, ParameterResult | FlankResult]] = [*parameter.flanks.items()]
        for flank, one in sides or [(None, parameter)]:
            if one.conforms is False:
                required = "drawing" if one.limits_um is not None else f"class {one.required_class}"
                allowed = allowed_text(key, one.tolerance_um, one.limits_um)
                place = place_text(key, flank, one)
                value = shown_value(key, one, parameter.master_tolerance_um)
                texts.append(f"{PARAMETERS[key].symbol} {value} µm {place}, allowed {allowed} ({required})")
    texts += [size_line(size).rstrip(".") for size in gear.size if size.conforms is False]
    return texts


def unassessed(gear: GearResult) -> list[str]:
    """What the drawing asks for and was not assessed, with the reason."""
    return [
        f"{symbol_of(one.parameter)}{f' {one.flank}' if one.flank else ''}: {one.reason}"
        for one in gear.not_assessed
    ]


def gear_verdict(header: GradeHeader, gear: GearResult) -> Verdict:
    """Conformity, class and master quality of one gear."""
    if gear.conforms is False:
        detail = "; ".join(failures(gear))
    elif gear.conforms is None:
        detail = "; ".join(unassessed(gear))
    else:
        detail = ""
    if gear.class_ is None and not gear.beyond:
        grade, governed = "none", "nothing graded was assessed"
    else:
        grade = "beyond class 11" if gear.beyond else str(gear.class_)
        governed = f"set by {symbols_text(gear.governing)}"
    if not gear.class_complete:
        grade += " (incomplete)" if gear.class_ is not None or gear.beyond else ""
        missing = symbols_text(dict.fromkeys(one.parameter for one in gear.not_assessed))
        governed += f"; not assessed: {missing}" if missing else ""
    return Verdict(
        (
            Answer("Conformity to the drawing", CONFORMITY[gear.conforms], STATUS[gear.conforms], detail),
            Answer("Flank tolerance class", grade, "none", governed),
            Answer(
                "Master quality", MASTER_QUALITY[gear.master_quality], STATUS[gear.master_quality],
                _master_detail(header, gear),
            ),
        )
    )  # fmt: skip


def _master_detail(header: GradeHeader, gear: GearResult) -> str:
    criterion = f"criterion: {criterion_text(header)}"
    if not gear.master_deciding:
        return criterion
    deciding = []
    for key in gear.master_deciding:
        one = gear.parameters.get(key)
        shown = "" if one is None else _class_suffix(one.class_, one.beyond)
        if gear.master_quality is None or not shown:
            missing = [m.flank for m in gear.not_assessed if m.parameter == key and m.flank]
            shown = f" ({' and '.join(missing)} not assessed)" if missing else " (not assessed)"
        deciding.append(f"{PARAMETERS[key].symbol}{shown}")
    verb = "decided by" if gear.master_quality is False else "left open by"
    return f"{verb} {', '.join(deciding)}; {criterion}"


def head_facts(header: GradeHeader, gear: GearResult | None) -> Facts:
    """What was graded, by what."""
    part = " ".join(filter(None, (header.part.get("number"), header.part.get("name"))))
    revision = header.part.get("revision")
    items = [("Part", f"{part}, revision {revision}" if revision else part)]
    if gear is not None:
        items.insert(0, ("Gear", gear.serial))
        made = gear.production
        if made is not None:
            named = (
                ("grinder", made.grinder), ("wheel", made.wheel), ("dress", made.dress),
                ("part", made.parts_since_dress), ("instrument", made.instrument),
            )  # fmt: skip
            text = ", ".join(f"{name} {value}" for name, value in named if value is not None)
            items += [("Made", text)] if text else []
    items.append(("Standard", header.standard))
    return Facts(tuple(items))


def gear_blocks(header: GradeHeader, gear: GearResult, slope_span: str, *, wide: bool = False) -> list[Block]:
    """One gear in full."""
    blocks: list[Block] = [*_simulated(header), head_facts(header, gear)]
    blocks.append(parameter_table(gear, header.master_quality.class_, wide=wide))
    lines = [*slope_lines(gear, slope_span), *pitch_lines(gear), *map(size_line, gear.size)]
    if lines:
        blocks.append(Bullets(tuple(lines)))
    notes = [*unassessed(gear), *(notice.message for notice in gear.warnings)]
    if notes:
        blocks.append(Bullets(tuple(notes), "note"))
    blocks.append(gear_verdict(header, gear))
    blocks.append(Paragraph(decision_line(header, gear.near_limit), "note"))
    blocks.append(Cautions(CAUTIONS))
    return blocks


def _simulated(header: GradeHeader) -> list[Block]:
    return [Paragraph(SIMULATED_BANNER, "lead")] if header.simulated else []


# --- a lot --------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class GearRow:
    """One line of the lot table."""

    place: int
    serial: str
    grade: str
    worst: Worst | None
    conforms: bool | None
    master_quality: bool | None

    @property
    def badness(self) -> tuple[int, float, int]:
        """Sorts the worst gears to the end; of equals the later one."""
        order = {True: 0, None: 1, False: 2}[self.conforms]
        return (order, self.worst.use if self.worst else -1.0, -self.place)


@dataclass(slots=True)
class LotCollector:
    """What the words about a lot need, gathered gear by gear in bounded memory."""

    first: GearResult | None = None
    gears: int = 0
    rows: list[GearRow] = field(default_factory=list)
    """All gears in their order, while they are few; then empty."""
    worst: list[tuple[tuple[int, float, int], GearRow]] = field(default_factory=list)
    """The worst gears, as a heap."""
    classes: Counter[str] = field(default_factory=Counter)
    failing: Counter[str] = field(default_factory=Counter)
    missing: Counter[str] = field(default_factory=Counter)
    master_failing: Counter[str] = field(default_factory=Counter)
    master_open: Counter[str] = field(default_factory=Counter)
    warnings: Counter[str] = field(default_factory=Counter)
    warning_examples: dict[str, str] = field(default_factory=dict)
    other_span_class: Counter[str] = field(default_factory=Counter)
    sizes_failing: int = 0
    near_limit: int | None = None

    def add(self, gear: GearResult) -> None:
        """Take in one gear."""
        self.gears += 1
        if self.gears == 1:
            self.first = gear
        elif self.gears == 2:
            self.first = None
        grade = class_text(gear.class_, gear.beyond, complete=gear.class_complete)
        row = GearRow(self.gears, gear.serial, grade, worst_of(gear), gear.conforms, gear.master_quality)
        if self.gears <= ALL_ROWS_UP_TO:
            self.rows.append(row)
        elif self.rows:
            self.rows = []
        heapq.heappush(self.worst, (row.badness, row))
        if len(self.worst) > WORST_ROWS:
            heapq.heappop(self.worst)
        self.classes[grade] += 1
        self.failing.update(key for key, one in gear.parameters.items() if one.conforms is False)
        self.missing.update({one.parameter for one in gear.not_assessed})
        if gear.master_quality is False:
            self.master_failing.update(gear.master_deciding)
        else:
            self.master_open.update(gear.master_deciding)
        self.other_span_class.update(key for key, one in gear.parameters.items() if other_span_matters(one))
        self.sizes_failing += any(size.conforms is False for size in gear.size)
        for notice in gear.warnings:
            self.warnings[notice.code] += 1
            self.warning_examples.setdefault(notice.code, f"{gear.serial}: {notice.message}")
        if gear.near_limit is not None:
            self.near_limit = (self.near_limit or 0) + gear.near_limit

    def listed(self) -> list[GearRow]:
        """The gears that the table lists: all of a small lot, else the worst, worst first."""
        if self.rows:
            return self.rows
        return [row for _, row in sorted(self.worst, key=lambda pair: pair[0], reverse=True)]


def lot_table(rows: Sequence[GearRow], total: int, *, wide: bool = False) -> Table:
    """Gears of a lot with the parameter that is nearest to its limit."""
    columns = (
        Column("gear", "left"), Column("class"), Column("worst", "left"), Column("value µm"),
        Column("allowed µm"), *([Column("used"), Column("place", "left")] if wide else []),
        Column("drawing", "left"), Column("master quality", "left"),
    )  # fmt: skip
    body = []
    for row in rows:
        worst = row.worst
        if worst is None:
            cells: tuple[Cell | str, ...] = (DASH,) * (5 if wide else 3)
        else:
            one = worst.result
            symbol = PARAMETERS[worst.key].symbol
            cells = (
                symbol if wide or not worst.flank else f"{symbol} {worst.flank}",
                worst.value,
                allowed_text(worst.key, one.tolerance_um, one.limits_um),
                *([percent_text(worst.use), place_text(worst.key, worst.flank, one)] if wide else []),
            )
        body.append(
            (
                row.serial, row.grade, *cells,
                Cell(CONFORMITY[row.conforms], STATUS[row.conforms]),
                Cell(MASTER_QUALITY[row.master_quality], STATUS[row.master_quality]),
            )
        )  # fmt: skip
    notes = ["worst: the value that uses up most of what is allowed."]
    if len(rows) < total:
        rest = count_text(total - len(rows), "more gear")
        notes.append(f"The worst {len(rows)} of {total} gears; {rest} in --json and --csv.")
    if any(row.grade.endswith("*") for row in rows):
        notes.append("* class of an incomplete set: something graded was not assessed.")
    return Table("", columns, tuple(body), notes=tuple(notes))


def _gears_by_parameter(counts: Counter[str], most: int = 4) -> str:
    """Parameters with the number of gears, the most frequent first: `Fp (8 gears), fHα (3)`."""
    order = [*PARAMETERS, *counts]
    ranked = sorted(counts.items(), key=lambda pair: (-pair[1], order.index(pair[0])))
    texts = [
        f"{symbol_of(key)} ({n if number else count_text(n, 'gear')})"
        for number, (key, n) in enumerate(ranked[:most])
    ]
    rest = [f"{count_text(len(ranked) - most, 'more parameter')}"] if len(ranked) > most else []
    return ", ".join([*texts, *rest])


def lot_verdict(header: GradeHeader, lot: LotSummary, seen: LotCollector) -> Verdict:
    """Conformity, class and master quality of the whole job."""
    verb = "conforms" if lot.conforming == 1 else "conform"
    counts = [f"{lot.conforming} of {count_text(lot.gears, 'gear')} {verb}"]
    if lot.not_conforming:
        causes = _gears_by_parameter(seen.failing)
        if seen.sizes_failing:
            causes += f"{', ' if causes else ''}size ({count_text(seen.sizes_failing, 'gear')})"
        counts.append(f"{lot.not_conforming} not: {causes}")
    if lot.undecided:
        counts.append(f"{lot.undecided} not assessed")
    if seen.missing:
        counts.append(f"missing: {_gears_by_parameter(seen.missing)}")
    grade = "beyond class 11" if lot.beyond else "none" if lot.class_ is None else str(lot.class_)
    spread = ", ".join(
        f"class {name}: {n}"
        for name, n in sorted(seen.classes.items(), key=lambda pair: _class_order(pair[0]))
    )
    master = [f"reached by {lot.master_quality} of {count_text(lot.gears, 'gear')}"]
    if seen.master_failing:
        master.append(f"decided by {_gears_by_parameter(seen.master_failing)}")
    if lot.master_quality_undecided:
        master.append(
            f"{lot.master_quality_undecided} not decidable: {_gears_by_parameter(seen.master_open)}"
        )
    master.append(f"criterion: {criterion_text(header)}")
    if any(name.endswith("*") for name in seen.classes):
        grade += " (incomplete)"
    return Verdict(
        (
            Answer(
                "Conformity to the drawing", CONFORMITY[lot.conforms], STATUS[lot.conforms], "; ".join(counts)
            ),
            Answer("Worst class", grade, "none", f"gears by {spread}"),
            Answer(
                "Master quality of the job", MASTER_QUALITY[lot.reached_master_quality],
                STATUS[lot.reached_master_quality], "; ".join(master),
            ),
        )
    )  # fmt: skip


def _class_order(name: str) -> tuple[int, str]:
    digits = name.rstrip("*")
    return (int(digits) if digits.isdigit() else 99, name)


def lot_blocks(
    header: GradeHeader, lot: LotSummary, seen: LotCollector, slope_span: str, *, wide: bool = False
) -> list[Block]:
    """A graded folder: one gear in full, or a lot as a table, then the verdict."""
    if seen.first is not None:
        return gear_blocks(header, seen.first, slope_span, wide=wide)
    blocks: list[Block] = [*_simulated(header), head_facts(header, None)]
    blocks.append(lot_table(seen.listed(), seen.gears, wide=wide))
    if notes := [*_other_span_note(seen, slope_span), *_warning_notes(seen)]:
        blocks.append(Bullets(tuple(notes), "note"))
    blocks.append(lot_verdict(header, lot, seen))
    blocks.append(Paragraph(decision_line(header, seen.near_limit), "note"))
    blocks.append(Cautions(CAUTIONS))
    return blocks


def _other_span_note(seen: LotCollector, slope_span: str) -> Iterable[str]:
    if seen.other_span_class:
        spans = "the full span", "the evaluation length"
        this, other = spans if slope_span == "full" else spans[::-1]
        yield (
            f"Slopes are graded over {this}; over {other} they would have another class: "
            f"{_gears_by_parameter(seen.other_span_class)}."
        )


def _warning_notes(seen: LotCollector) -> Iterable[str]:
    for code, n in seen.warnings.items():
        more = f" (and {count_text(n - 1, 'more such warning')})" if n > 1 else ""
        yield seen.warning_examples[code] + more

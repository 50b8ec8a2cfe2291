"""Sentences about one gear: both slopes, angles, index, size, decision rule, notes below its values."""

from __future__ import annotations

from collections.abc import Iterator

from gearqa.model.results import (
    FlankResult,
    GearResult,
    GradeHeader,
    LimitCurveResult,
    ParameterResult,
    SizeResult,
    ZoneResult,
)
from gearqa.report.blocks import document as doc
from gearqa.report.grading.values import (
    allowed,
    class_note,
    has_class,
    is_required,
    shown_value,
    values_of,
)
from gearqa.symbols import FLANKS, Flank, TraceKind, symbol_of
from gearqa.wording.numbers import (
    count_text,
    fixed_text,
    margin_text,
    number_text,
    percent_text,
    range_text,
    share_text,
    signed_text,
    size_mm_text,
    um_text,
    value_text,
    zone_value,
)
from gearqa.wording.sentences import place_text
from gearqa.wording.verdicts import CONFORMITY, NOT_PROVEN, RULES, conformity_text

SPANS = {
    "profile_slope": ("control to tip diameter", "the evaluation length"),
    "helix_slope": ("the whole face width", "the evaluation length"),
}
"""Full span and evaluation length of each slope, in words."""
RUNOUT_SOURCE = {"readings": "from the radial readings", "pitch": "computed from the pitch of both flanks"}
SIMPLE = "simple acceptance"
CURVES_NOTE = (
    "Limit curves: a trace is shifted along the deviation axis to where its smallest margin is largest, not "
    "tilted; below 0 it lies outside. A pass says nothing about slope or form."
)
ZONES_NOTE = (
    "Zones: the filtered trace is evaluated within each zone by itself, form about the mean line there (of "
    "the annex of ISO 1328-1:2013 on zones only the title is known)."
)
TRACE_KINDS: tuple[TraceKind, TraceKind] = ("profile", "helix")


def value_notes(gear: GearResult) -> Iterator[doc.Text]:
    """What a reader of the table of values must know."""
    runout = gear.parameters.get("runout")
    if runout is not None:
        annex = "; its tolerance is in an informative annex of the standard" if is_required(runout) else ""
        yield doc.join(doc.symbol("runout"), f": {RUNOUT_SOURCE.get(runout.method or '', '')}{annex}.")
    if any(one.tooth_to is not None or one.space_to is not None for one in gear.parameters.values()):
        yield "Two teeth or spaces: where the maximum and the minimum lie."
    if any(trace.tip_zone_counted for trace in gear.traces):
        yield "Material in the tip zone counted in Fα or ffα of at least one profile trace."


def other_span_matters(one: ParameterResult) -> bool:
    """Whether a slope over the span that does not count would have another class."""
    return has_class(one) and one.slope_other_span_um is not None and one.slope_other_span_class != one.class_


def slope_lines(gear: GearResult, slope_span: str) -> list[str]:
    """Both slopes of each family, the graded one and the one other instruments print; as angles."""
    lines = []
    for key, (full, over_length) in SPANS.items():
        one = gear.parameters.get(key)
        if one is None or one.slope_other_span_um is None:
            continue
        this, other = (full, over_length) if slope_span == "full" else (over_length, full)
        text = (
            f"{symbol_of(key)} over {this}: {shown_value(key, one, one.master_tolerance_um)} µm"
            f"{class_note(one.class_, one.beyond)}; "
            f"over {other}: {value_text(one.slope_other_span_um, signed=True)} µm"
        )
        if has_class(one):
            text += class_note(one.slope_other_span_class, one.slope_other_span_class is None)
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
    return [f"{symbol_of('helix_slope')} by helix angle ({meaning}): {', '.join(sides)}."]


def mean_slope_lines(gear: GearResult) -> list[str]:
    """What the mean slopes of each flank amount to: pressure angle, base radius, helix angle."""
    texts: dict[Flank, list[str]] = {}
    for kind in TRACE_KINDS:
        key = f"{kind}_slope"
        parameter = gear.parameters.get(key)
        for flank, one in parameter.flanks.items() if parameter else ():
            traces = [trace for trace in gear.traces if (trace.kind, trace.flank) == (kind, flank)]
            meaning = _slope_meaning(one, spur=all(t.slope_by_helix_angle_um is None for t in traces))
            if traces and meaning:
                mean = sum(trace.slope_evaluation_um for trace in traces) / len(traces)
                text = f"{symbol_of(key)} {value_text(mean, signed=True)} µm ({meaning})"
                texts.setdefault(flank, []).append(text)
    return [
        f"Mean slopes {flank} over the evaluation length: {', '.join(each)}." for flank, each in texts.items()
    ]


def _slope_meaning(one: FlankResult, *, spur: bool) -> str:
    if one.pressure_angle_deviation_arcmin is not None and one.base_radius_deviation_um is not None:
        return (
            f"transverse pressure angle {signed_text(one.pressure_angle_deviation_arcmin, 1)}′, "
            f"base radius {um_text(one.base_radius_deviation_um, 0, signed=True)}"
        )
    twist = one.helix_angle_deviation_arcmin
    if twist is None:
        return ""
    if spur and round(twist, 2):
        return f"helix angle {fixed_text(abs(twist))}′ {'right-hand' if twist > 0 else 'left-hand'}"
    return f"helix angle {signed_text(twist, 2)}′"


def parabola_lines(gear: GearResult) -> Iterator[str]:
    """Second order analysis, a line a kind: the worst form about the mean parabola and about the line."""
    for kind in TRACE_KINDS:
        sides = []
        for flank in FLANKS:
            traces = [one for one in gear.traces if (one.kind, one.flank) == (kind, flank)]
            known = [(form, one.tooth) for one in traces if (form := one.form_about_parabola_um) is not None]
            if known:
                form, tooth = max(known, key=lambda one: one[0])
                line = value_text(max(one.form_um for one in traces))
                sides.append(f"{flank} {value_text(form)} µm (tooth {tooth}; about the mean line {line})")
        if sides:
            slope, crowning = symbol_of(f"{kind}_slope"), symbol_of(f"{kind}_crowning")
            yield (
                f"Second order, {kind}: width about the mean parabola, worst trace: {', '.join(sides)}; the "
                f"parabola's slope is {slope} over the evaluation length, its height {crowning}."
            )


def pitch_lines(gear: GearResult) -> list[str]:
    """First harmonic of the index of each flank: what eccentric clamping would leave."""
    lines = []
    for one in gear.pitch:
        share = (
            "" if one.first_harmonic_share is None else f", {percent_text(one.first_harmonic_share)} of Fp"
        )
        lines.append(
            f"Index, {one.flank} flank: first harmonic {value_text(one.first_harmonic_um)} µm "
            f"at {fixed_text(one.first_harmonic_deg, 0)}°{share}; without it "
            f"fp {value_text(one.single_pitch_without_first_harmonic_um)}, "
            f"Fp {value_text(one.cumulative_pitch_without_first_harmonic_um)} µm."
        )
    return lines


def size_text(size: SizeResult) -> str:
    """One dimension over or between balls, or a span, with its limits."""
    if size.method == "balls":
        name = "Dimension over or between balls"
        name += f" of {number_text(size.pin_diameter_mm)} mm" if size.pin_diameter_mm is not None else ""
    else:
        name = "Span"
        name += f" over {count_text(size.teeth_spanned, 'tooth', 'teeth')}" if size.teeth_spanned else ""
    at = f" at {size.position}" if size.position else ""
    text = f"{name}{at}: {size_mm_text(size.value_mm)} mm"
    if size.lower_mm is None or size.upper_mm is None:
        return text
    limits = f"{number_text(size.lower_mm)} to {number_text(size.upper_mm)}"
    return f"{text}, limits {limits}: {CONFORMITY[size.conforms]}"


def curve_text(one: LimitCurveResult) -> str:
    """The worst trace of a flank between its limit curves."""
    place = place_text(f"{one.kind}_curve", one.flank)
    return f"{place} margin {margin_text(one.margin_um)} µm, tooth {one.tooth}"


def curve_lines(gear: GearResult) -> list[str]:
    """Limit curves, a line a flank with places and shift, and what a pass does not say."""
    if not gear.limit_curves:
        return []
    lines = [
        f"{curve_text(one)} (nearest the upper curve at {fixed_text(one.upper_at_mm)} mm, the lower at "
        f"{fixed_text(one.lower_at_mm)} mm; shifted by {value_text(one.shift_um, signed=True)} µm): "
        f"{conformity_text(one.conforms, one.state)}."
        for one in gear.limit_curves
    ]
    return [*lines, CURVES_NOTE]


def zone_text(one: ZoneResult) -> str:
    """The worst trace of a flank within a zone."""
    value = zone_value(one.value_um, one.tolerance_um)
    allowed_here = number_text(one.tolerance_um)
    return f"{place_text(one.key, one.flank)} {value} µm, tooth {one.tooth}, allowed {allowed_here}"


def zone_lines(gear: GearResult) -> list[str]:
    """Zones, a line a deviation and flank with places, and what is behind them."""
    lines = [
        f"{zone_text(one)} ({'roll' if one.kind == 'profile' else 'face'} "
        f"{range_text(one.start_mm, one.end_mm)} mm, highest at "
        f"{fixed_text(one.highest_at_mm)} mm, lowest at {fixed_text(one.lowest_at_mm)} mm): "
        f"{conformity_text(one.conforms, one.state)}{'' if one.required else '; for information'}."
        for one in gear.zones
    ]
    return [*lines, *([ZONES_NOTE] if lines else [])]


def further_lines(gear: GearResult, slope_span: str) -> list[str]:
    """What is known of a gear besides its graded values."""
    sizes = (f"{size_text(size)}." for size in gear.size)
    return [*curve_lines(gear), *zone_lines(gear), *slope_lines(gear, slope_span), *pitch_lines(gear), *sizes]


def decision_line(header: GradeHeader, near_limit: int | None, otherwise: str) -> str:
    """The decision rule, how much the measurement uncertainty leaves open, and what guarding would say."""
    rule = header.decision_rule
    if near_limit is None:
        return f"Decision rule: {rule}; no measurement uncertainty is given in the part file."
    values = count_text(near_limit, "value lies", "values lie") if near_limit else "no value lies"
    within = f"{values} within U of a limit"
    sure = share_text(header.decision_confidence, 6)
    if rule != SIMPLE:
        return f"Decision rule: {rule}, {sure}: {RULES[rule]}; {within}."
    return (
        f"Decision rule: {rule}, that is, measurement uncertainty is not taken off the limits; {within}. "
        f"Guarded acceptance ({sure}) would say {otherwise or 'the same'}."
    )


def not_proven(gear: GearResult) -> list[str]:
    """Values whose conformity the measurement uncertainty leaves open."""
    values = [
        f"{place_text(key, flank)} {shown_value(key, one, parameter.master_tolerance_um)} µm, allowed "
        f"{allowed(key, one)}, U {number_text(parameter.uncertainty_um)}: {NOT_PROVEN}"
        for key, flank, parameter, one in values_of(gear)
        if one.state == NOT_PROVEN and parameter.uncertainty_um is not None
    ]
    curves = (f"{curve_text(one)}: {NOT_PROVEN}" for one in gear.limit_curves if one.state == NOT_PROVEN)
    zones = (f"{zone_text(one)}: {NOT_PROVEN}" for one in gear.required_zones if one.state == NOT_PROVEN)
    return [*values, *curves, *zones]


def guarded_otherwise(gear: GearResult) -> str:
    """What guarded acceptance would say of a gear that was judged simply, where it differs; else empty."""
    said = []
    if gear.state == NOT_PROVEN:
        open_ = [(key, flank) for key, flank, _, one in values_of(gear) if one.state == NOT_PROVEN]
        open_ += [(f"{c.kind}_curve", c.flank) for c in gear.limit_curves if c.state == NOT_PROVEN]
        open_ += [(z.key, z.flank) for z in gear.required_zones if z.state == NOT_PROVEN]
        places = (place_text(key, flank) for key, flank in open_)
        said.append(f"conformity {NOT_PROVEN} ({', '.join(places)})")
    if gear.master_state == NOT_PROVEN and gear.master_quality is not None:
        said.append(f"master quality {NOT_PROVEN}")
    return " and ".join(said)

"""The figures of one gear: results and curves -> charts with their titles, captions and alt text."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from gearqa.arrays import Array
from gearqa.model.curves import PitchCurve, RollAxis, RunoutCurve, TraceCurves
from gearqa.model.part import Part
from gearqa.model.results import FlankResult, GearResult, TraceResult
from gearqa.report.blocks.document import Figure, Span, Status, symbol
from gearqa.report.draw import palette, plot
from gearqa.report.draw.chart_scales import HALF, ticks
from gearqa.report.draw.class_overview import Overview, OverviewRow, class_overview
from gearqa.report.draw.row_values import RowValue
from gearqa.report.draw.trace_chart import (
    DASH_DESIGN,
    Curves,
    TraceChart,
    TracePanel,
    TraceRow,
    fitting_scale,
    judged_range,
    trace_chart,
)
from gearqa.report.grading.values import (
    Value,
    allowed,
    by_flank,
    has_class,
    is_required,
    limits_of,
    shown_value,
)
from gearqa.symbols import PARAMETERS, Flank, TraceKind, symbol_of
from gearqa.wording.numbers import (
    class_text,
    fixed_text,
    margin_text,
    number_text,
    um_text,
    use_of_tolerance,
    value_text,
    zone_value,
)
from gearqa.wording.verdicts import NOT_PROVEN, conformity_text

ROWS_PER_FIGURE = 10
"""A figure of so many low rows leaves room for nothing else on its page."""
LOW_ROW = 78.0
"""Height of a row on a page of so many traces alone."""
SAME_LABEL_MM = 0.1
ROOM = "room of the tolerance"
ROUND_HEIGHT = 88.0
"""Of all panels of a chart round the gear."""
ROUND_SIGNS = (
    "Plus is clockwise looking onto the datum face; of the radial position, away from the gear axis."
)
PITCH_NOTE = (
    f"Pitch, index and radial position: {ROUND_SIGNS[0].lower()}{ROUND_SIGNS[1:]} The room is tinted as far "
    "as it is in sight: values fill the height, and where all is tinted the tolerance is wider. Rings mark "
    "the teeth or spaces that decide."
)
RATIO_NOTE = "Ratios such as 1000:1 say how deviations are magnified on paper at full size."
BAR_NOTE = (
    "The bar under a value shows the share of its tolerance that it uses, full when all is used; "
    "✗ marks a value beyond it."
)


def profile_range(curves: TraceCurves, part: Part) -> str:
    """The evaluation range of profiles in words, root side first."""
    ends, diameters = (curves.start_mm, curves.end_mm), curves.diameters_mm
    assert diameters is not None
    if part.gear.kind == "internal":
        ends, diameters = ends[::-1], diameters[::-1]
    first, last = (fixed_text(roll) for roll in ends)
    first_at, last_at = (fixed_text(diameter) for diameter in diameters)
    return f"{first} mm to {last} mm length of roll (diameter {first_at} mm to {last_at} mm)"


def helix_range(curves: TraceCurves) -> str:
    """The evaluation range of helices in words."""
    return f"{fixed_text(curves.start_mm)} mm to {fixed_text(curves.end_mm)} mm from the datum face"


# --- class overview -----------------------------------------------------------------------------


def overview_figure(gear: GearResult, part: Part, master_class: int) -> Figure | None:
    """How far each parameter is from the required class and from master quality."""
    rows, texts, last = [], [], part.edition.last_class
    gaps = [(gap.parameter, gap.flank) for gap in gear.not_assessed]
    for key in (key for key in PARAMETERS if key in gear.parameters or key in dict(gaps)):
        parameter = gear.parameters.get(key)
        sides = by_flank(parameter) if parameter is not None else []
        sides = [(side, one) for side, one in sides if has_class(one)]
        own = [side for asked, side in gaps if asked == key]
        missing: list[Flank | None] = [side for side in own if side not in dict(sides)]
        if missing == [None] and PARAMETERS[key].per_flank:
            missing = [side for side in part.tolerance.flanks if side not in dict(sides)]
        if not sides and not missing:
            continue
        named = [f"{side or ''} {class_text(one.class_, one.beyond)}".strip() for side, one in sides]
        required: list[int | None] = [one.required_class for _, one in sides]
        required += [_class_asked(part, key, side) for side in missing]
        asked = ["limits" if grade is None else str(grade) for grade in required]
        goal = "limits" if None in required else asked[0]
        if len({*required}) > 1:
            named = [f"{text} of {one}" for text, one in zip(named, asked, strict=False)]
            places = [*(side for side, _ in sides), *missing]
            goal = ", ".join(f"{side} {one}" for side, one in zip(places, asked, strict=True))
        named += [f"{side or ''} open".strip() for side in missing]
        rows.append(
            OverviewRow(
                symbol=symbol(key),
                marks=(
                    *(
                        (
                            side or "",
                            last + 1.0 if one.beyond else one.class_exact,
                            _mark(key, side, one, own),
                        )
                        for side, one in sides
                    ),
                    *((side or "", last + 2.0, None) for side in missing),
                ),
                required=tuple(None if one is None else float(one) for one in required),
                master=float(master_class) if key in part.master_parameters else None,
                words=", ".join(named) + ("; limits" if goal == "limits" else ""),
            )
        )
        texts.append(f"{symbol_of(key)}: class {', '.join(named)}, required {goal}")
    if not rows:
        return None
    split = any(len({*row.required}) > 1 for row in rows)
    limited = any(None in row.required for row in rows)
    overview = Overview(
        title="Class of each parameter against required class and master quality",
        description=f"Classes; the smaller the better. Master quality is class {master_class}. "
        f"{'. '.join(texts)}.",
        rows=tuple(rows),
        required_name="limit required",
        master_name=f"room of master quality (class {master_class} or better)",
        classes=(part.edition.first_class, last),
    )
    caption = "The flat edge of a mark is its value."
    if part.edition.steps_by_root_2:
        caption = f"Each step to the left allows 1/√2 of the deviation. {caption}"
    if gaps:
        caption += " Hollow: not assessed, whole or in part."
    if split:
        caption += " Where the flanks differ in required class, the upper limit is the left flank's."
    if limited:
        caption += " limits: the drawing gives limits instead of a class."
    return Figure(class_overview(overview), overview.title, overview.description, caption, half=True)


def _mark(key: str, side: Flank | None, one: Value, gaps: Sequence[Flank | None]) -> bool | None:
    """Whether a value meets the drawing, for its mark; None where it was not assessed or not proven."""
    if one.conforms is None and (side in gaps or None in gaps or one.state == NOT_PROVEN):
        return None
    return one.conforms is not False


def _class_asked(part: Part, key: str, side: Flank | None) -> int | None:
    """Class that the drawing asks of a parameter that was not measured; None for limits."""
    if part.tolerance.limits_for(key, side) is not None:
        return None
    return part.tolerance.class_for(key, side)


# --- traces -------------------------------------------------------------------------------------


def trace_figures(
    curves: Sequence[TraceCurves], gear: GearResult, part: Part, roll_axis: RollAxis | None,
    height: float = LOW_ROW,
) -> list[Figure]:  # fmt: skip
    """Profile or helix traces of every measured tooth, some rows to a figure, one scale for all."""
    if not curves:
        return []
    kind = curves[0].kind
    groups = _grouped(curves)
    any_evaluated = next((c for c in curves if c.result is not None), curves[0])
    limits = (any_evaluated.start_mm, any_evaluated.end_mm)
    several = len({round(label or 0.0, 1) for _, label, _ in groups}) > 1
    rows = tuple(
        TraceRow(
            label=f"tooth {tooth}",
            detail=_label(kind, label) if several and label is not None else "",
            panels={flank: _panel(one, gear) for flank, one in sides.items()},
        )
        for tooth, label, sides in groups
    )
    low = min(float(c.position_mm[0]) for c in curves)
    high = max(float(c.position_mm[-1]) for c in curves)
    span, ends, axis = (low, high), ("datum face", "far face"), "face, mm"
    second: tuple[tuple[float, str], ...] = ()
    if kind == "helix":
        span = (min(low, 0.0), max(high, part.gear.face_width_mm))
    else:
        axis, ends = "roll, mm", ("root", "tip")
        second = _diameter_ticks(roll_axis) if roll_axis is not None else ()
        if part.gear.kind == "internal":
            span = (high, low)
    zone = any_evaluated.tip_zone_mm
    zone_end = None
    if zone is not None:
        zone_end = zone[0] if part.gear.kind == "internal" else zone[1]
    scale = fitting_scale(rows, judged_range(limits, zone_end), height)
    figures = []
    for start in range(0, len(rows), ROWS_PER_FIGURE):
        some = rows[start : start + ROWS_PER_FIGURE]
        title = f"{kind.capitalize()} traces" + (
            f", {some[0].label} to {some[-1].label}" if len(rows) > ROWS_PER_FIGURE else ""
        )
        description = _traces_in_words(kind, groups[start : start + ROWS_PER_FIGURE], gear)
        chart = TraceChart(
            title=title, description=description, rows=some, span=span, limits=limits, zone_end=zone_end,
            axis=axis, ends=ends, second_axis="diam., mm" if second else "", second_ticks=second,
            row_height=height, units_per_um=scale,
        )  # fmt: skip
        figures.append(Figure(trace_chart(chart), title, description, half=True))
    return figures


def rows_of_traces(curves: Sequence[TraceCurves]) -> int:
    """Rows that the taller of the two trace charts takes."""
    return max(
        (len(_grouped([one for one in curves if one.kind == kind])) for kind in ("profile", "helix")),
        default=0,
    )


def _grouped(curves: Sequence[TraceCurves]) -> list[tuple[int, float | None, dict[Flank, TraceCurves]]]:
    """Traces by tooth and label; labels within 0.1 mm belong together."""
    groups: list[tuple[int, float | None, dict[Flank, TraceCurves]]] = []
    for one in sorted(curves, key=lambda c: (c.tooth, c.label_mm or 0.0)):
        for tooth, label, sides in groups:
            same = tooth == one.tooth and abs((label or 0.0) - (one.label_mm or 0.0)) < SAME_LABEL_MM
            if same and one.flank not in sides:
                sides[one.flank] = one
                break
        else:
            groups.append((one.tooth, one.label_mm, {one.flank: one}))
    return groups


def _label(kind: TraceKind, label: float) -> str:
    place = number_text(round(label, 2))
    return f"at {place} mm" if kind == "profile" else f"⌀ {place}"


def _diameter_ticks(axis: RollAxis) -> tuple[tuple[float, str], ...]:
    """Round diameters and the lengths of roll where they lie."""
    round_ones = ticks(float(axis.diameter_mm[0]), float(axis.diameter_mm[-1]), 4)
    return tuple(
        (float(np.interp(value, axis.diameter_mm, axis.roll_mm)), label) for value, label in round_ones
    )


def _keys(kind: TraceKind) -> tuple[str, str, str]:
    return (f"{kind}_total", f"{kind}_form", f"{kind}_slope")


def _of(key: str, result: TraceResult) -> float:
    return {"total": result.total_um, "form": result.form_um, "slope": result.slope_um}[key.rsplit("_", 1)[1]]


def _flank_result(gear: GearResult, key: str, flank: Flank) -> FlankResult | None:
    parameter = gear.parameters.get(key)
    return None if parameter is None else parameter.flanks.get(flank)


def _panel(curves: TraceCurves, gear: GearResult) -> TracePanel:
    values = []
    if curves.result is not None:
        for key in _keys(curves.kind):
            grade = curves.classes.get(key)
            text = class_text(grade, grade is None) if key in curves.classes else ""
            judged = _flank_result(gear, key, curves.flank)
            values.append(_row_value(key, _of(key, curves.result), judged, text))
    if curves.margin_um is not None:
        bad = round(curves.margin_um, 9) < 0
        margin = margin_text(curves.margin_um).lstrip("+")
        values.append(RowValue((Span("margin"),), margin, status="bad" if bad else "good"))
    worst = max(curves.zones, key=lambda one: one.value_um / one.tolerance_um, default=None)
    if worst is not None:
        text, share = zone_value(worst.value_um, worst.tolerance_um), worst.value_um / worst.tolerance_um
        bad = round(worst.value_um, 9) > worst.tolerance_um
        values.append(
            RowValue((Span(f"zone {worst.number}"),), text, share=share, status="bad" if bad else "good")
        )
    note = "" if curves.result is not None else "not assessed"
    return TracePanel(_curves(curves, gear), tuple(values), note)


def _row_value(key: str, value: float, judged: Value | None, grade: str) -> RowValue:
    limits = share = None
    if judged is not None:
        limits = limits_of(key, judged)
        share = use_of_tolerance(key, round(value, 9), judged.tolerance_um, judged.limits_um)
    status: Status | None = None if share is None else "bad" if share > 1 else "good"
    text = value_text(value, signed=PARAMETERS[key].signed, limits=[limits])
    return RowValue(symbol(key), text, grade, share, status)


def _room(key: str, judged: Value | None, values: Array) -> tuple[float, float] | None:
    """A band as high as the tolerance, about the middle of the values."""
    limits = None if judged is None else limits_of(key, judged)
    finite = values[np.isfinite(values)]
    if limits is None or not finite.size:
        return None
    middle = float(finite.min() + finite.max()) / 2
    return middle - limits[1] / 2, middle + limits[1] / 2


def _curves(curves: TraceCurves, gear: GearResult) -> Curves:
    """Lines of one trace; its design trace already lies at the height of the mean line's middle."""
    start, end = curves.start_mm, curves.end_mm
    level = sum(curves.mean_line_um) / 2 if np.isfinite(curves.mean_line_um).all() else 0.0
    inside = (curves.position_mm >= start) & (curves.position_mm <= end) & np.isfinite(curves.design_um)
    mean_position = mean_line = np.array([np.nan])
    band = None
    if curves.result is not None and inside.any():
        mean_position = curves.position_mm[inside]
        rise = np.interp(mean_position, (start, end), curves.mean_line_um)
        mean_line = curves.design_um[inside] - level + rise
        residual = curves.filtered_um[inside] - curves.design_um[inside]
        total = f"{curves.kind}_total"
        band = _room(total, _flank_result(gear, total, curves.flank), residual)
    return Curves(
        position=curves.position_mm, measured=curves.measured_um, filtered=curves.filtered_um,
        design=curves.design_um, mean_position=mean_position, mean_line=mean_line, band=band,
        limits=curves.limit_curves, zones=tuple(one.outline for one in curves.zones),
    )  # fmt: skip


def _traces_in_words(
    kind: TraceKind, groups: Sequence[tuple[int, float | None, dict[Flank, TraceCurves]]], gear: GearResult
) -> str:
    """Alt text: what is drawn, and the values of every trace."""
    sentences = [
        f"{kind.capitalize()} traces, one row per tooth, left flank, then right flank, plus metal upwards."
    ]
    for tooth, label, sides in groups:
        place = f" at {number_text(round(label, 2))} mm" if label is not None else ""
        for flank, one in sides.items():
            if one.result is None:
                sentences.append(f"Tooth {tooth}{place}, {flank}: not assessed.")
                continue
            values = ", ".join(
                f"{symbol_of(key)} {value_text(_of(key, one.result), signed=PARAMETERS[key].signed)}"
                for key in _keys(kind)
            )
            if one.margin_um is not None:
                values += f", margin to the limit curves {margin_text(one.margin_um)}"
            for zone in one.zones:
                values += f", {symbol_of(zone.key)} {zone_value(zone.value_um, zone.tolerance_um)}"
            sentences.append(f"Tooth {tooth}{place}, {flank}: {values} µm.")
    return " ".join(sentences)


def reading_lines(curves: Sequence[TraceCurves], runout: RunoutCurve | None) -> list[str]:
    """How the charts of a sheet are read: ranges, room, bars, ratios."""
    lines = []
    if curves:
        zone = any(one.tip_zone_mm is not None for one in curves)
        dotted = " Dotted: end of the tip zone of profiles, where only extra metal counts." if zone else ""
        lines.append(
            "Traces: plus metal is up. The tinted room is as high as the tolerance of the total deviation "
            f"and lies about the design trace: the trace must fit in.{dotted}"
        )
        if any(one.limit_curves for one in curves):
            lines.append(
                "Limit curves are drawn where the trace lies best between them; margin is what is left on "
                "each side there, below 0 what lies outside. It says nothing about slope or form."
            )
        if any(one.zones for one in curves):
            lines.append(
                "Zones are boxes as high as their tolerance, drawn where the trace lies in their middle; the "
                "value under a trace is that of the zone that uses most of its tolerance."
            )
    harmonic = [] if runout is None else [_harmonic(runout)]
    return [*lines, PITCH_NOTE, *harmonic, f"{BAR_NOTE} {RATIO_NOTE}"]


# --- pitch and runout ---------------------------------------------------------------------------


def round_figures(pitch: Sequence[PitchCurve], runout: RunoutCurve | None, gear: GearResult) -> list[Figure]:
    """Single pitch of all teeth; index and runout on one scale, for an eccentric gear shows in both."""
    figures = []
    if pitch:
        single = [_single_panel(one, gear) for one in pitch]
        title = "Single pitch deviation of every tooth"
        figures.append(_tooth_figure(title, ("single_pitch",), single, gear, len(pitch[0].index_um)))
    height = ROUND_HEIGHT / max(len(pitch) + (runout is not None), 1)
    panels = [_index_panel(one, gear, height) for one in pitch]
    keys, names = (["cumulative_pitch"], ["Index of every tooth"]) if pitch else ([], [])
    more, z = "", len(pitch[0].index_um) if pitch else 0
    if runout is not None:
        panels.append(_runout_panel(runout, gear, height))
        keys.append("runout")
        names.append("radial position of every space" if names else "Radial position of every space")
        z, more = len(runout.radial_um), _harmonic(runout)
    if panels:
        figures.append(_tooth_figure(" and ".join(names), tuple(keys), panels, gear, z, more))
    return figures


def _tooth_figure(
    title: str, keys: tuple[str, ...], panels: list[plot.Panel], gear: GearResult, z: int, more: str = ""
) -> Figure:
    sentences = [f"{title}. {ROUND_SIGNS}"]
    for key in keys:
        parameter = gear.parameters.get(key)
        for flank, one in by_flank(parameter) if parameter is not None else ():
            verdict = f", {conformity_text(one.conforms, one.state)}" if is_required(one) else ""
            place = f"{flank.capitalize()} flank: " if flank else ""
            value = f"{symbol_of(key)} {shown_value(key, one)} µm, allowed {allowed(key, one)} µm"
            sentences.append(f"{place}{value}{verdict}.")
    chart = plot.Plot(
        title=title, description=" ".join([*sentences, *([more] if more else [])]), panels=tuple(panels),
        x=(0.25, z + 0.75), x_name="tooth, space" if keys[-1] == "runout" else "tooth",
        x_ticks=plot.numbered(z), micrometre_bar=True, units="tooth|µm", width=HALF,
    )  # fmt: skip
    return plot.figure(chart)


def _numbers(values: Array) -> Array:
    """Teeth or spaces, from 1."""
    return np.arange(1.0, len(values) + 1)


def _line_layers(values: Array, wave: Array | None, room: tuple[float, float] | None) -> list[plot.Layer]:
    """Values round the gear over the room of their tolerance, with their first harmonic."""
    layers: list[plot.Layer] = []
    if room is not None:
        layers.append(plot.Band(*room, name=ROOM))
    layers.append(plot.Line(_numbers(values), values, width=1.1, name="measured"))
    if wave is not None:
        layers.append(plot.Line(_numbers(values), wave, palette.DESIGN, 1.0, DASH_DESIGN, "first harmonic"))
    return layers


def _single_panel(pitch: PitchCurve, gear: GearResult) -> plot.Panel:
    key, values = "single_pitch", pitch.single_um
    one = _flank_result(gear, key, pitch.flank)
    layers: list[plot.Layer] = []
    if one is not None and (limits := limits_of(key, one)) is not None:
        layers.append(plot.Band(-limits[1], limits[1], name=ROOM))
    layers += [plot.Level(0.0, width=0.6), plot.Bars(_numbers(values), values, 0.62, name="single pitch")]
    return _round_panel(key, one, pitch.flank, layers, values, ROUND_HEIGHT / 2)


def _index_panel(pitch: PitchCurve, gear: GearResult, height: float) -> plot.Panel:
    key, values = "cumulative_pitch", pitch.index_um
    one = _flank_result(gear, key, pitch.flank)
    layers = _line_layers(values, pitch.first_harmonic_um, _room(key, one, values))
    return _round_panel(key, one, pitch.flank, layers, values, height)


def _runout_panel(curve: RunoutCurve, gear: GearResult, height: float) -> plot.Panel:
    key, values = "runout", curve.radial_um
    one = gear.parameters.get(key)
    layers = _line_layers(values, curve.first_harmonic_um, _room(key, one, values))
    return _round_panel(key, one, "", layers, values, height)


def _round_panel(
    key: str, one: Value | None, side: str, layers: list[plot.Layer], values: Array, height: float
) -> plot.Panel:
    """Teeth of one flank, or all spaces, with rings about the places that decide the value."""
    detail = side if one is not None else f"{side} open".strip()
    end: tuple[RowValue, ...] = ()
    if one is not None:
        ends = (one.tooth, one.tooth_to) if isinstance(one, FlankResult) else (one.space, one.space_to)
        places = np.array([at for at in ends if at is not None and at <= len(values)], dtype=np.intp)
        if places.size:
            at, heights = places.astype(np.float64), values[places - 1]
            rings = plot.Dots(at, heights, palette.TEXT, size=3.2, hollow=True, name="deciding place")
            layers = [*layers, rings]
        grade = class_text(one.class_, one.beyond) if has_class(one) else ""
        end = (_row_value(key, one.value_um, one, grade),)
    return plot.Panel("", tuple(layers), values=end, height=height, outside=(symbol(key), detail))


def _harmonic(curve: RunoutCurve) -> str:
    return (
        f"First harmonic of the radial position {um_text(curve.amplitude_um)}, crest at "
        f"{fixed_text(curve.crest_deg, 0)}° clockwise from tooth 1: an eccentricity of "
        f"{um_text(curve.amplitude_um)} would leave it."
    )

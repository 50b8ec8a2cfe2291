"""The figures of one gear: results and curves -> charts with their titles, captions and alt text."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from gearqa.arrays import Array
from gearqa.model.curves import PitchCurve, RollAxis, RunoutCurve, TraceCurves
from gearqa.model.part import Part
from gearqa.model.results import FlankResult, GearResult, TraceResult
from gearqa.report.blocks.document import Figure, Status, plain, symbol
from gearqa.report.draw import charts, palette, plot
from gearqa.report.draw.chart_scales import ticks
from gearqa.report.grading.notes import RUNOUT_SOURCE
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
from gearqa.wording.numbers import class_text, fixed_text, number_text, um_text, use_of_tolerance, value_text
from gearqa.wording.verdicts import conformity_text

ROWS_PER_FIGURE = 7
"""Two figures of so many low rows fill a page."""
FEW_ROWS = 4
HIGH_ROW, LOW_ROW = 76.0, 46.0
SAME_LABEL_MM = 0.1
BEYOND = 12.4
"""Where a mark lies that is beyond class 11."""
ROOM = "room given by the tolerance"
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
    rows, texts = [], []
    for key, parameter in gear.parameters.items():
        sides = by_flank(parameter)
        if not any(has_class(one) for _, one in sides):
            continue
        named = [f"{side or ''} {class_text(one.class_, one.beyond)}".strip() for side, one in sides]
        required = [one.required_class for _, one in sides]
        asked = ["limits" if grade is None else str(grade) for grade in required]
        goal = "limits" if None in required else asked[0]
        if len({*required}) > 1:
            named = [f"{text} of {one}" for text, one in zip(named, asked, strict=True)]
            goal = ", ".join(f"{side} {one}" for (side, _), one in zip(sides, asked, strict=True))
        rows.append(
            charts.OverviewRow(
                symbol=symbol(key),
                name=PARAMETERS[key].name,
                marks=tuple(
                    (side or "", BEYOND if one.beyond else one.class_exact, one.conforms is not False)
                    for side, one in sides
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
    overview = charts.Overview(
        title="Class of each parameter against required class and master quality",
        description=f"Classes; the smaller the better. Master quality is class {master_class}. "
        f"{'. '.join(texts)}.",
        rows=tuple(rows),
        required_name="limit of the required class",
        master_name=f"room of master quality (class {master_class} or better)",
    )
    caption = "Each step to the left allows 1/√2 of the deviation. The flat edge of a mark is its value."
    if split:
        caption += " Where the flanks differ in required class, the upper limit is the left flank's."
    if limited:
        caption += " limits: the drawing gives limits instead of a class."
    return Figure(charts.class_overview(overview), overview.title, overview.description, caption)


# --- traces -------------------------------------------------------------------------------------


def trace_figures(
    curves: Sequence[TraceCurves], gear: GearResult, part: Part, roll_axis: RollAxis | None
) -> list[Figure]:
    """Profile or helix traces of every measured tooth, some rows to a figure, one scale for all."""
    if not curves:
        return []
    kind = curves[0].kind
    groups = _grouped(curves)
    height = HIGH_ROW if len(groups) <= FEW_ROWS else LOW_ROW
    any_evaluated = next((c for c in curves if c.result is not None), curves[0])
    limits = (any_evaluated.start_mm, any_evaluated.end_mm)
    several = len({round(label or 0.0, 1) for _, label, _ in groups}) > 1
    rows = tuple(
        charts.TraceRow(
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
    scale = charts.fitting_scale(rows, limits, height)
    figures = []
    for start in range(0, len(rows), ROWS_PER_FIGURE):
        some = rows[start : start + ROWS_PER_FIGURE]
        title = f"{kind.capitalize()} traces" + (
            f", {some[0].label} to {some[-1].label}" if len(rows) > ROWS_PER_FIGURE else ""
        )
        description = _traces_in_words(kind, groups[start : start + ROWS_PER_FIGURE], gear)
        chart = charts.TraceChart(
            title=title, description=description, rows=some, span=span, limits=limits, zone_end=zone_end,
            axis=axis, ends=ends, second_axis="diam., mm" if second else "", second_ticks=second,
            row_height=height, units_per_um=scale,
        )  # fmt: skip
        caption = "" if start else _trace_caption(any_evaluated, part)
        figures.append(Figure(charts.trace_chart(chart), title, description, caption))
    return figures


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
    round_ones = ticks(float(axis.diameter_mm[0]), float(axis.diameter_mm[-1]), 5)
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


def _panel(curves: TraceCurves, gear: GearResult) -> charts.TracePanel:
    values = []
    if curves.result is not None:
        for key in _keys(curves.kind):
            grade = curves.classes.get(key)
            text = class_text(grade, grade is None) if key in curves.classes else ""
            judged = _flank_result(gear, key, curves.flank)
            values.append(_row_value(key, _of(key, curves.result), judged, text))
    note = "" if curves.result is not None else "not assessed"
    return charts.TracePanel(_curves(curves, gear), tuple(values), note)


def _row_value(key: str, value: float, judged: Value | None, grade: str) -> charts.RowValue:
    limits = share = None
    if judged is not None:
        limits = limits_of(key, judged)
        share = use_of_tolerance(key, round(value, 9), judged.tolerance_um, judged.limits_um)
    status: Status | None = None if share is None else "bad" if share > 1 else "good"
    text = value_text(value, signed=PARAMETERS[key].signed, limits=[limits])
    return charts.RowValue(symbol(key), text, grade, share, status)


def _room(key: str, judged: Value | None, values: Array) -> tuple[float, float] | None:
    """A band as high as the tolerance, about the middle of the values."""
    limits = None if judged is None else limits_of(key, judged)
    finite = values[np.isfinite(values)]
    if limits is None or not finite.size:
        return None
    middle = float(finite.min() + finite.max()) / 2
    return middle - limits[1] / 2, middle + limits[1] / 2


def _curves(curves: TraceCurves, gear: GearResult) -> charts.Curves:
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
    return charts.Curves(
        position=curves.position_mm, measured=curves.measured_um, filtered=curves.filtered_um,
        design=curves.design_um, mean_position=mean_position, mean_line=mean_line, band=band,
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
            sentences.append(f"Tooth {tooth}{place}, {flank}: {values} µm.")
    return " ".join(sentences)


def _trace_caption(curves: TraceCurves, part: Part) -> str:
    if curves.kind == "profile":
        where = f"Evaluation range {profile_range(curves, part)}"
        if curves.tip_zone_mm is not None:
            where += "; dotted: end of the tip zone, where only extra metal counts"
    else:
        where = f"Evaluation range {helix_range(curves)}"
    total = plain(symbol(f"{curves.kind}_total"))
    return (
        f"Plus metal is up. {where}. The tinted room is as high as the tolerance of {total} and lies about "
        f"the design trace: the trace must fit in. {BAR_NOTE}"
    )


# --- pitch and runout ---------------------------------------------------------------------------


def pitch_figures(pitch: Sequence[PitchCurve], gear: GearResult) -> list[Figure]:
    """Single pitch and index of all teeth, left flank above right flank on one tooth axis."""
    if not pitch:
        return []
    single = [_single_panel(one, gear) for one in pitch]
    index = [_index_panel(one, gear) for one in pitch]
    z = len(pitch[0].index_um)
    each = "Every bar is one tooth against the one before; the tinted room is the tolerance either way."
    total = (
        f"The tinted room is as high as the tolerance of {symbol_of('cumulative_pitch')}; "
        "rings mark the highest and lowest tooth."
    )
    return [
        _tooth_figure("Single pitch deviation of every tooth", "single_pitch", single, gear, z=z, room=each),
        _tooth_figure("Index deviation of every tooth", "cumulative_pitch", index, gear, z=z, room=total),
    ]


def _tooth_figure(
    title: str, key: str, panels: list[plot.Panel], gear: GearResult, *, z: int, room: str
) -> Figure:
    parameter = gear.parameters.get(key)
    sentences = [f"{title}, plus is clockwise looking onto the datum face."]
    for flank, one in parameter.flanks.items() if parameter is not None else ():
        verdict = f", {conformity_text(one.conforms, one.state)}" if is_required(one) else ""
        sentences.append(
            f"{flank.capitalize()} flank: {symbol_of(key)} {shown_value(key, one)} µm, "
            f"allowed {allowed(key, one)} µm{verdict}."
        )
    chart = plot.Plot(
        title=title, description=" ".join(sentences), panels=tuple(panels), x=(0.25, z + 0.75),
        x_name="tooth", x_ticks=tuple(plot.tooth_ticks(z)), micrometre_bar=True, heads=(symbol(key),),
        units="tooth|µm",
    )  # fmt: skip
    caption = f"Plus is clockwise, looking onto the datum face. {room}"
    return Figure(plot.draw(chart), title, chart.description, caption)


def _numbers(values: Array) -> Array:
    """Teeth or spaces, from 1."""
    return np.arange(1.0, len(values) + 1)


def _deciding(places: Sequence[int | None], values: Array, name: str) -> tuple[plot.Layer, ...]:
    """Rings about the places that decide the value."""
    known = np.array([one for one in places if one is not None and one <= len(values)], dtype=np.intp)
    if not known.size:
        return ()
    rings = plot.Dots(
        known.astype(np.float64), values[known - 1], ink=palette.TEXT, size=3.2, hollow=True, name=name
    )
    return (rings,)


def _line_layers(
    values: Array, wave: Array | None, room: tuple[float, float] | None, name: str
) -> list[plot.Layer]:
    """Values round the gear over the room of their tolerance, with their first harmonic."""
    layers: list[plot.Layer] = []
    if room is not None:
        layers.append(plot.Band(*room, name=ROOM))
    layers.append(plot.Line(_numbers(values), values, width=1.1, name=name))
    if wave is not None:
        layers.append(
            plot.Line(_numbers(values), wave, palette.DESIGN, 1.0, charts.DASH_DESIGN, "first harmonic")
        )
    return layers


def _end(key: str, one: Value | None) -> tuple[charts.RowValue, ...]:
    """The value of the parameter, after its panel."""
    if one is None:
        return ()
    grade = class_text(one.class_, one.beyond) if has_class(one) else ""
    return (_row_value(key, one.value_um, one, grade),)


def _flank_panel(
    key: str, one: FlankResult | None, flank: Flank, layers: list[plot.Layer], height: float
) -> plot.Panel:
    """Teeth of one flank."""
    detail = "flank" if one is not None else "not assessed"
    return plot.Panel(flank, tuple(layers), detail=detail, values=_end(key, one), height=height)


def _single_panel(pitch: PitchCurve, gear: GearResult) -> plot.Panel:
    key, values = "single_pitch", pitch.single_um
    one = _flank_result(gear, key, pitch.flank)
    layers: list[plot.Layer] = []
    if one is not None and (limits := limits_of(key, one)) is not None:
        layers.append(plot.Band(-limits[1], limits[1], name=ROOM))
    layers += [plot.Level(0.0, width=0.6), plot.Bars(_numbers(values), values, 0.62, name="single pitch")]
    if one is not None:
        layers += _deciding((one.tooth, one.tooth_to), values, "deciding tooth")
    return _flank_panel(key, one, pitch.flank, layers, 52)


def _index_panel(pitch: PitchCurve, gear: GearResult) -> plot.Panel:
    key, values = "cumulative_pitch", pitch.index_um
    one = _flank_result(gear, key, pitch.flank)
    layers = _line_layers(values, pitch.first_harmonic_um, _room(key, one, values), "index deviation")
    if one is not None:
        layers += _deciding((one.tooth, one.tooth_to), values, "deciding tooth")
    return _flank_panel(key, one, pitch.flank, layers, 56)


def runout_figure(curve: RunoutCurve | None, gear: GearResult) -> Figure | None:
    """Radial position of a ball in every space, with the first harmonic."""
    if curve is None:
        return None
    key, values = "runout", curve.radial_um
    z, one = len(values), gear.parameters.get(key)
    layers = _line_layers(values, curve.first_harmonic_um, _room(key, one, values), "radial position")
    source = value = ""
    if one is not None:
        layers += _deciding((one.space, one.space_to), values, "deciding space")
        source = f"; {RUNOUT_SOURCE[one.method]}" if one.method is not None else ""
        value = f" {symbol_of(key)} {shown_value(key, one)} µm."
    harmonic = (
        f"First harmonic {um_text(curve.amplitude_um)}, "
        f"crest at {fixed_text(curve.crest_deg, 0)}° clockwise from tooth 1: "
        f"an eccentricity of {um_text(curve.amplitude_um)} would leave it."
    )
    title = "Runout: radial position of a ball in every tooth space"
    chart = plot.Plot(
        title=title, description=f"{title}, plus is away from the gear axis.{value} {harmonic}",
        panels=(plot.Panel("space", tuple(layers), values=_end(key, one), height=60),),
        x=(0.25, z + 0.75), x_name="tooth space", x_ticks=tuple(plot.tooth_ticks(z)), micrometre_bar=True,
        heads=(symbol(key),), units="space|µm",
    )  # fmt: skip
    caption = f"Plus is away from the gear axis{source}. {harmonic}"
    return Figure(plot.draw(chart), title, chart.description, caption)

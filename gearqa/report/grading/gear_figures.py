"""The figures of one gear: results and curves -> charts with their titles, captions and alt text."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from gearqa.arrays import Array
from gearqa.model.measurement import GearMeasurement
from gearqa.model.part import Part
from gearqa.model.results import FlankResult, GearResult, ParameterResult, TraceCurves, TraceResult
from gearqa.report.blocks.document import Figure, Status, plain, symbol
from gearqa.report.draw import charts, palette, plot
from gearqa.report.draw.chart_scales import ticks
from gearqa.report.grading.words import shown_value
from gearqa.symbols import FLANKS, PARAMETERS, Flank, TraceKind
from gearqa.wording.numbers import (
    allowed_text,
    class_text,
    number_text,
    tolerance_limits,
    use_of_tolerance,
    value_text,
)
from gearqa.wording.verdicts import CONFORMITY

ROWS_PER_FIGURE = 7
"""Two figures of so many low rows fill a page."""
FEW_ROWS = 4
HIGH_ROW, LOW_ROW = 76.0, 46.0
SAME_LABEL_MM = 0.1
BAR_NOTE = (
    "The bar under a value shows the share of its tolerance that it uses, full when all is used; "
    "✗ marks a value beyond it."
)


@dataclass(frozen=True, eq=False, slots=True)
class RunoutCurve:
    """Radial positions of all spaces and their first harmonic."""

    radial_um: Array
    first_harmonic_um: Array
    amplitude_um: float
    crest_deg: float
    """Clockwise angle of the crest, tooth 1 at 0."""


def profile_range(curves: TraceCurves, part: Part, diameter_at_roll: Callable[[Array], Array]) -> str:
    """The evaluation range of profiles in words, root side first."""
    ends = (curves.start_mm, curves.end_mm)
    if part.gear.kind == "internal":
        ends = ends[::-1]
    diameters = diameter_at_roll(np.array(ends))
    return (
        f"{ends[0]:.2f} mm to {ends[1]:.2f} mm length of roll "
        f"(diameter {diameters[0]:.2f} mm to {diameters[1]:.2f} mm)"
    )


def helix_range(curves: TraceCurves) -> str:
    """The evaluation range of helices in words."""
    return f"{curves.start_mm:.2f} mm to {curves.end_mm:.2f} mm from the datum face"


# --- class overview -----------------------------------------------------------------------------


def overview_figure(gear: GearResult, part: Part, master_class: int) -> Figure | None:
    """How far each parameter is from the required class and from master quality."""
    rows = []
    told = []
    for key, parameter in gear.parameters.items():
        sides: list[tuple[str, ParameterResult | FlankResult]] = [*parameter.flanks.items()] or [
            ("", parameter)
        ]
        if all(one.class_ is None and not one.beyond for _, one in sides):
            continue
        classes = [class_text(one.class_, one.beyond) for _, one in sides]
        named = [f"{side} {text}" if side else text for (side, _), text in zip(sides, classes, strict=True)]
        required = [one.required_class for _, one in sides]
        goal = "limits" if None in required else str(required[0])
        if len({*required}) > 1:
            asked = ["limits" if one is None else str(one) for one in required]
            named = [f"{text} of {one}" for text, one in zip(named, asked, strict=True)]
            goal = ", ".join(f"{side} {one}" for (side, _), one in zip(sides, asked, strict=True))
        master = master_class if key in part.master_parameters else None
        rows.append(
            charts.OverviewRow(
                symbol=symbol(key),
                name=PARAMETERS[key].name,
                marks=tuple(
                    (side, 12.4 if one.beyond else one.class_exact, one.conforms is not False)
                    for side, one in sides
                ),
                required=tuple(None if one is None else float(one) for one in required),
                master=None if master is None else float(master),
                words=", ".join(named) + ("; limits" if goal == "limits" else ""),
            )
        )
        told.append(f"{PARAMETERS[key].symbol}: class {', '.join(named)}, required {goal}")
    if not rows:
        return None
    split = any(len({*row.required}) > 1 for row in rows)
    limited = any(None in row.required for row in rows)
    overview = charts.Overview(
        title="Class of each parameter against required class and master quality",
        description=f"Classes; the smaller the better. Master quality is class {master_class}. "
        + ". ".join(told)
        + ".",
        rows=tuple(rows),
        required_name="limit of the required class",
        master_name=f"room of master quality (class {master_class} or better)",
    )
    return Figure(
        svg=charts.class_overview(overview),
        title=overview.title,
        description=overview.description,
        caption="Each step to the left allows 1/√2 of the deviation. The flat edge of a mark is its value."
        + (
            " Where the flanks differ in required class, the left one's limit stands above the right one's."
            if split
            else ""
        )
        + (" limits: the drawing gives limits instead of a class." if limited else ""),
    )


# --- traces -------------------------------------------------------------------------------------


def trace_figures(
    curves: Sequence[TraceCurves],
    gear: GearResult,
    part: Part,
    diameter_at_roll: Callable[[Array], Array],
    class_of: Callable[[str, float], int | None],
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
            panels={flank: _panel(one, gear, class_of) for flank, one in sides.items()},
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
        second = _diameter_ticks(low, high, diameter_at_roll)
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
        description = _told(kind, groups[start : start + ROWS_PER_FIGURE], gear)
        chart = charts.TraceChart(
            title=title, description=description, rows=some, span=span, limits=limits, zone_end=zone_end,
            axis=axis, ends=ends, second_axis="diam., mm" if second else "", second_ticks=second,
            row_height=height, units_per_um=scale,
        )  # fmt: skip
        caption = "" if start else _trace_caption(any_evaluated, part, diameter_at_roll)
        figures.append(Figure(charts.trace_chart(chart), title, description, caption))
    return figures


def _grouped(
    curves: Sequence[TraceCurves],
) -> list[tuple[int, float | None, dict[Flank, TraceCurves]]]:
    """Traces of one tooth and label beside each other; labels within 0.1 mm belong together."""
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
    return (
        f"at {number_text(round(label, 2))} mm" if kind == "profile" else f"⌀ {number_text(round(label, 2))}"
    )


def _diameter_ticks(
    low: float, high: float, diameter_at_roll: Callable[[Array], Array]
) -> tuple[tuple[float, str], ...]:
    """Round diameters and the lengths of roll where they lie."""
    rolls = np.linspace(low, high, 400)
    diameters = diameter_at_roll(rolls)
    round_ones = ticks(float(diameters[0]), float(diameters[-1]), 5)
    return tuple((float(np.interp(value, diameters, rolls)), label) for value, label in round_ones)


def _keys(kind: TraceKind) -> tuple[str, str, str]:
    return (f"{kind}_total", f"{kind}_form", f"{kind}_slope")


def _of(key: str, result: TraceResult) -> float:
    return {"total": result.total_um, "form": result.form_um, "slope": result.slope_um}[key.rsplit("_", 1)[1]]


def _flank_result(gear: GearResult, key: str, flank: Flank) -> FlankResult | None:
    parameter = gear.parameters.get(key)
    return None if parameter is None else parameter.flanks.get(flank)


def _panel(
    curves: TraceCurves, gear: GearResult, class_of: Callable[[str, float], int | None]
) -> charts.TracePanel:
    values = []
    if curves.result is not None:
        for key in _keys(curves.kind):
            judged = _flank_result(gear, key, curves.flank)
            values.append(_row_value(key, _of(key, curves.result), judged, class_of))
    note = "" if curves.result is not None else "not assessed"
    return charts.TracePanel(_curves(curves, gear), tuple(values), note)


def _row_value(
    key: str,
    value: float,
    judged: FlankResult | ParameterResult | None,
    class_of: Callable[[str, float], int | None] | None,
) -> charts.RowValue:
    share: float | None = None
    status: Status | None = None
    graded = ""
    text = value_text(value, signed=PARAMETERS[key].signed)
    if judged is not None:
        pair = (
            judged.limits_um if judged.limits_um is not None else tolerance_limits(key, judged.tolerance_um)
        )
        text = value_text(value, signed=PARAMETERS[key].signed, limits=[pair])
        share = use_of_tolerance(key, round(value, 9), judged.tolerance_um, judged.limits_um)
        status = None if share is None else "bad" if share > 1 else "good"
        if judged.class_ is not None or judged.beyond:
            grade = judged.class_ if class_of is None else class_of(key, value)
            graded = class_text(grade, grade is None)
    return charts.RowValue(symbol(key), text, graded, share, status)


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
        judged = _flank_result(gear, f"{curves.kind}_total", curves.flank)
        if judged is not None:
            pair = judged.limits_um or tolerance_limits(f"{curves.kind}_total", judged.tolerance_um)
            if pair is not None:
                middle = float(residual.min() + residual.max()) / 2
                band = (middle - pair[1] / 2, middle + pair[1] / 2)
    return charts.Curves(
        position=curves.position_mm, measured=curves.measured_um, filtered=curves.filtered_um,
        design=curves.design_um, mean_position=mean_position, mean_line=mean_line, band=band,
    )  # fmt: skip


def _told(
    kind: TraceKind, groups: Sequence[tuple[int, float | None, dict[Flank, TraceCurves]]], gear: GearResult
) -> str:
    """Alt text: what is drawn, and the values of every trace."""
    sentences = [
        f"{kind.capitalize()} traces, one row per tooth, left flank beside right flank, plus metal upwards."
    ]
    for tooth, label, sides in groups:
        place = f" at {number_text(round(label, 2))} mm" if label is not None else ""
        for flank, one in sides.items():
            if one.result is None:
                sentences.append(f"Tooth {tooth}{place}, {flank}: not assessed.")
                continue
            values = ", ".join(
                f"{PARAMETERS[key].symbol} {value_text(_of(key, one.result), signed=PARAMETERS[key].signed)}"
                for key in _keys(kind)
            )
            sentences.append(f"Tooth {tooth}{place}, {flank}: {values} µm.")
    return " ".join(sentences)


def _trace_caption(curves: TraceCurves, part: Part, diameter_at_roll: Callable[[Array], Array]) -> str:
    if curves.kind == "profile":
        where = f"Evaluation range {profile_range(curves, part, diameter_at_roll)}"
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


def pitch_figures(
    measurement: GearMeasurement, gear: GearResult, single_pitches: Callable[[Array], Array]
) -> list[Figure]:
    """Single pitch and index of all teeth, left flank above right flank on one tooth axis."""
    sides = [flank for flank in FLANKS if flank in measurement.pitch]
    if not sides:
        return []
    z = len(measurement.pitch[sides[0]].index_um)
    teeth = np.arange(1, z + 1, dtype=np.float64)
    single, index = [], []
    for flank in sides:
        values = measurement.pitch[flank].index_um
        single.append(_pitch_panel(flank, teeth, single_pitches(values), gear))
        index.append(_index_panel(flank, teeth, values, gear))
    return [
        _tooth_figure("Single pitch deviation of every tooth", "single_pitch", single, z, gear),
        _tooth_figure("Index deviation of every tooth", "cumulative_pitch", index, z, gear),
    ]


def _tooth_figure(title: str, key: str, panels: list[plot.Panel], z: int, gear: GearResult) -> Figure:
    parameter = gear.parameters.get(key)
    told = [f"{title}, plus is clockwise looking onto the datum face."]
    if parameter is not None:
        for flank, one in parameter.flanks.items():
            verdict = f", {CONFORMITY[one.conforms]}" if one.conforms is not None else ""
            allowed = allowed_text(key, one.tolerance_um, one.limits_um)
            told.append(
                f"{flank.capitalize()} flank: {PARAMETERS[key].symbol} {shown_value(key, one)} µm, "
                f"allowed {allowed} µm{verdict}."
            )
    chart = plot.Plot(
        title=title, description=" ".join(told), panels=tuple(panels), x=(0.25, z + 0.75), x_name="tooth",
        x_ticks=tuple(plot.tooth_ticks(z)), micrometre_bar=True, heads=(symbol(key),), units="tooth|µm",
    )  # fmt: skip
    caption = "Plus is clockwise, looking onto the datum face."
    if key == "single_pitch":
        caption += (
            " Every bar is one tooth against the one before; the tinted room is the tolerance either way."
        )
    else:
        caption += (
            f" The tinted room is as high as the tolerance of {PARAMETERS[key].symbol}; "
            "rings mark the highest and lowest tooth."
        )
    return Figure(plot.draw(chart), title, chart.description, caption)


def _worst_teeth(one: FlankResult | None, values: Array) -> tuple[plot.Layer, ...]:
    if one is None:
        return ()
    teeth = [tooth for tooth in (one.tooth, one.tooth_to) if tooth is not None and tooth <= len(values)]
    if not teeth:
        return ()
    places = np.array(teeth, dtype=np.float64)
    return (
        plot.Dots(
            places,
            values[np.array(teeth) - 1],
            ink=palette.TEXT,
            size=3.2,
            hollow=True,
            name="deciding tooth",
        ),
    )


def _room(key: str, one: FlankResult | ParameterResult | None) -> tuple[float, float] | None:
    if one is None:
        return None
    return one.limits_um if one.limits_um is not None else tolerance_limits(key, one.tolerance_um)


def _ends(key: str, one: FlankResult | ParameterResult | None) -> tuple[charts.RowValue, ...]:
    return () if one is None else (_row_value(key, one.value_um, one, None),)


def _pitch_panel(flank: Flank, teeth: Array, values: Array, gear: GearResult) -> plot.Panel:
    one = _flank_result(gear, "single_pitch", flank)
    room = _room("single_pitch", one)
    layers: list[plot.Layer] = []
    if room is not None:
        layers.append(plot.Band(-room[1], room[1], name="room given by the tolerance"))
    layers += [plot.Level(0.0, width=0.6), plot.Bars(teeth, values, 0.62, name="single pitch")]
    layers += _worst_teeth(one, values)
    return plot.Panel(
        flank,
        tuple(layers),
        detail="flank" if one is not None else "not assessed",
        values=_ends("single_pitch", one),
        height=52,
    )


def _index_panel(flank: Flank, teeth: Array, values: Array, gear: GearResult) -> plot.Panel:
    one = _flank_result(gear, "cumulative_pitch", flank)
    room = _room("cumulative_pitch", one)
    finite = values[np.isfinite(values)]
    layers: list[plot.Layer] = []
    if room is not None and finite.size:
        middle = float(finite.min() + finite.max()) / 2
        layers.append(
            plot.Band(middle - room[1] / 2, middle + room[1] / 2, name="room given by the tolerance")
        )
    layers.append(plot.Line(teeth, values, width=1.1, name="index deviation"))
    harmonic = next((p for p in gear.pitch if p.flank == flank), None)
    if harmonic is not None and finite.size:
        turn = 2 * np.pi * (teeth - 1) / len(teeth) - np.radians(harmonic.first_harmonic_deg)
        wave = float(finite.mean()) + harmonic.first_harmonic_um * np.cos(turn)
        layers.append(
            plot.Line(
                teeth, wave, ink=palette.DESIGN, width=1.0, dash=charts.DASH_DESIGN, name="first harmonic"
            )
        )
    layers += _worst_teeth(one, values)
    return plot.Panel(
        flank,
        tuple(layers),
        detail="flank" if one is not None else "not assessed",
        values=_ends("cumulative_pitch", one),
        height=56,
    )


def runout_figure(curve: RunoutCurve | None, gear: GearResult, part: Part) -> Figure | None:
    """Radial position of a ball in every space, with the first harmonic."""
    if curve is None:
        return None
    z = len(curve.radial_um)
    spaces = np.arange(1, z + 1, dtype=np.float64)
    one = gear.parameters.get("runout")
    room = _room("runout", one)
    finite = curve.radial_um[np.isfinite(curve.radial_um)]
    layers: list[plot.Layer] = []
    if room is not None and finite.size:
        middle = float(finite.min() + finite.max()) / 2
        layers.append(
            plot.Band(middle - room[1] / 2, middle + room[1] / 2, name="room given by the tolerance")
        )
    layers.append(plot.Line(spaces, curve.radial_um, width=1.1, name="radial position"))
    layers.append(
        plot.Line(
            spaces, curve.first_harmonic_um, ink=palette.DESIGN, width=1.0, dash=charts.DASH_DESIGN,
            name="first harmonic",
        )
    )  # fmt: skip
    if one is not None and one.space is not None and one.space_to is not None:
        places = np.array([one.space, one.space_to], dtype=np.float64)
        heights = curve.radial_um[np.array([one.space, one.space_to]) - 1]
        layers.append(
            plot.Dots(places, heights, ink=palette.TEXT, size=3.2, hollow=True, name="deciding space")
        )
    source = ""
    if one is not None:
        source = {"readings": "radial readings", "pitch": "computed from the pitch of both flanks"}.get(
            one.method or "", ""
        )
    told = (
        f"First harmonic {value_text(curve.amplitude_um)} µm, "
        f"crest at {curve.crest_deg:.0f}° clockwise from tooth 1: "
        f"an eccentricity of {value_text(curve.amplitude_um)} µm would leave it."
    )
    title = "Runout: radial position of a ball in every tooth space"
    value = "" if one is None else f" {PARAMETERS['runout'].symbol} {shown_value('runout', one)} µm."
    chart = plot.Plot(
        title=title, description=f"{title}, plus is away from the gear axis.{value} {told}",
        panels=(plot.Panel("space", tuple(layers), values=_ends("runout", one), height=60),),
        x=(0.25, z + 0.75), x_name="tooth space", x_ticks=tuple(plot.tooth_ticks(z)), micrometre_bar=True,
        heads=(symbol("runout"),), units="space|µm",
    )  # fmt: skip
    caption = (
        f"Plus is away from the gear axis; {source}. {told}"
        if source
        else f"Plus is away from the gear axis. {told}"
    )
    return Figure(plot.draw(chart), title, chart.description, caption)

"""Sketches of `gearqa explain`: made-up readings, evaluated by the functions that grade gears, and drawn.

What a sketch states is what those functions return, so it cannot disagree with them.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import partial
from typing import Final, Literal, NamedTuple

import numpy as np

from gearqa.arrays import Array
from gearqa.core import size as sizes
from gearqa.core.geometry import GearGeometry, gear_geometry
from gearqa.core.limit_curves import fit_between
from gearqa.core.pitch import F_p, F_pk, f_p, f_u, first_harmonic, single_pitches, tooth_angles
from gearqa.core.runout import F_r, R_s, radial_positions, tooth_thickness
from gearqa.core.traces import TraceSpec, evaluate_traces, helix_range, trace_operator
from gearqa.core.zones import zone_widths
from gearqa.report.blocks.document import Figure
from gearqa.report.draw import palette, plot
from gearqa.report.draw.chart_scales import HALF
from gearqa.report.draw.diagnosis_charts import Round, polar
from gearqa.report.draw.tooth_sketch import Circle, Segment, Window, gear_of, tooth_sketch
from gearqa.symbols import symbol_of
from gearqa.wording.numbers import fixed_text, range_text, short_text, value_text

MADE_UP: Final = "Made-up readings."
DASH = "5 2.5"


class Example(NamedTuple):
    """A made-up trace and what comes of it."""

    x: Array
    y: Array
    spec: TraceSpec
    axis: str
    ends: tuple[str, str]
    total: float
    form: float
    slope: float
    crowning: float
    parabola_form: float
    level: float


def _example(kind: str) -> Example:
    """A trace that rises by 4 over its length, is crowned, waves a little and falls off at its ends."""
    if kind == "profile":
        x, (full_start, full_end) = np.linspace(10.0, 20.0, 401), (11.0, 19.8)
        start, end = full_start, full_start + 0.95 * (19.4 - full_start)
        axis, ends = "length of roll, mm", ("control", "tip")
    else:
        x, (full_start, full_end) = np.linspace(0.0, 30.0, 401), (0.0, 30.0)
        start, end = helix_range(30.0, 2.0)
        axis, ends = "face position, mm", ("datum face", "far face")
    spec = TraceSpec(start, end, full_start, full_end, None, None)
    t = (x - start) / (end - start) - 0.5
    beyond = np.maximum(np.maximum(start - x, x - end), 0) / (end - start)
    y = 4 * t - 2 * (2 * t) ** 2 + 0.45 * np.sin(31 * t) - 40 * beyond**1.3
    values = evaluate_traces(trace_operator(x, spec), y[None])
    found = (values.total, values.form, values.slope, values.crowning, values.parabola_form, values.level)
    return Example(x, y, spec, axis, ends, *(float(one[0]) for one in found))


def _trace_plot(
    one: Example, layers: tuple[plot.Layer, ...], title: str, caption: str, height: float = 120.0
) -> list[Figure]:
    spec = one.spec
    marks = (plot.Mark(spec.start, "range from", dash="2 2"), plot.Mark(spec.end, "to", dash="2 2"))
    panel = plot.Panel(
        "", (plot.Line(one.x, one.y, width=1.6, name="filtered trace"), *layers), height=height
    )
    x = (float(one.x[0]), float(one.x[-1]))
    chart = plot.Plot(
        title, f"{title}. {caption}", (panel,), x, f"{one.axis}: {one.ends[0]} left, {one.ends[1]} right",
        marks=marks, micrometre_bar=True, width=HALF,
    )  # fmt: skip
    return [plot.figure(chart, caption)]


def _between(x: Array, y: Array, about: Array, name: str) -> tuple[plot.Layer, ...]:
    """What a width is taken about, and the parallels that hold the trace."""
    off = y - about
    return (
        plot.Line(x, about, palette.DESIGN, 1.0, DASH, name),
        *(plot.Line(x, about + height, palette.LIMIT, 0.9, "", "width") for height in (off.max(), off.min())),
    )


def _deviation(key: str) -> list[Figure]:
    kind, _, what = key.partition("_")
    one = _example(kind)
    spec, symbol = one.spec, symbol_of(key)
    inside = (one.x >= spec.start) & (one.x <= spec.end)
    x, y = one.x[inside], one.y[inside]
    t = (x - spec.start) / (spec.end - spec.start) - 0.5
    line = one.level + one.slope * t
    over = f"over the range from {range_text(spec.start, spec.end)} mm"
    parabola = np.asarray(np.polyval(np.polyfit(t, y, 2), t), dtype=np.float64)
    match what:
        case "total":
            layers = _between(x, y, np.zeros_like(x), "design trace")
            words, value = f"width about the design trace {over}", one.total
        case "form":
            layers = _between(x, y, line, "mean line")
            words, value = f"width about the mean line {over}", one.form
        case "parabola_form":
            layers = _between(x, y, parabola, "mean parabola")
            words, value = f"width about the mean parabola {over}", one.parabola_form
        case "crowning":
            chord = np.linspace(parabola[0], parabola[-1], len(x))
            layers = (
                plot.Line(x, parabola, palette.DESIGN, 1.0, DASH, "mean parabola"),
                plot.Line(x, chord, palette.LIMIT, 0.9, "", "its chord"),
            )
            words, value = f"height of the middle of the parabola over its chord {over}", one.crowning
        case _:
            full = np.array([spec.full_start, spec.full_end])
            heights = one.level + one.slope * ((full - spec.start) / (spec.end - spec.start) - 0.5)
            layers = (
                plot.Line(x, line, palette.DESIGN, 1.4, DASH, "mean line"),
                plot.Line(full, heights, palette.LIMIT, 0.7, "2 2", "over the full span"),
            )
            rise = float(heights[1] - heights[0])
            words = (
                f"rise of the mean line: {value_text(rise, signed=True)} µm over the full span, "
                f"{value_text(one.slope, signed=True)} µm"
            )
            return _trace_plot(one, layers, f"{symbol} drawn", f"{MADE_UP} {symbol} {words} {over}.")
    caption = (
        f"{MADE_UP} {symbol} {value_text(value)} µm: {words}. What lies outside the range does not count."
    )
    return _trace_plot(one, layers, f"{symbol} drawn", caption)


def _limit_curves() -> list[Figure]:
    one = _example("profile")
    upper = ((11.0, -1.0), (13.0, 3.0), (17.0, 4.5), (19.0, 3.5))
    lower = ((11.0, -8.0), (15.0, -4.0), (19.0, -4.0))
    fit = fit_between(one.x, one.y[None], upper, lower)
    margin, shift = float(fit.margin[0]), float(fit.shift[0])
    drawn = tuple(
        plot.Line(place, height - shift, palette.LIMIT, 1.1, "", "limit curves")
        for place, height in (np.array(points).T for points in (upper, lower))
    )
    at = [float(fit.upper_at[0]), float(fit.lower_at[0])]
    near = plot.Dots(np.array(at), np.interp(at, one.x, one.y), palette.DESIGN, size=3, name="nearest")
    caption = (
        f"{MADE_UP} The curves lie where the smallest margin is largest: {value_text(margin, signed=True)} "
        f"µm, at {fixed_text(at[0])} and {fixed_text(at[1])} mm; for that the trace is shifted by "
        f"{value_text(shift, signed=True)} µm."
    )
    return _trace_plot(one, (*drawn, near), "Limit curves drawn", caption, 140.0)


def _zones() -> list[Figure]:
    one = _example("profile")
    low, high, tolerance = 13.0, 16.0, 4.0
    total, form = zone_widths(one.x, one.y[None], low, high, one.spec)
    middle = total.middle[0]
    box = (
        np.concatenate((total.at, total.at[::-1], total.at[:1])),
        np.concatenate((middle - tolerance / 2, middle[::-1] + tolerance / 2, middle[:1] - tolerance / 2)),
    )
    at = np.array([float(total.highest_at[0]), float(total.lowest_at[0])])
    layers = (
        plot.Line(*box, palette.LIMIT, 1.1, "", "zone"),
        plot.Dots(at, np.interp(at, one.x, one.y), palette.DESIGN, size=3, name="highest, lowest"),
    )
    caption = (
        f"{MADE_UP} In the zone from {range_text(low, high)} mm the total deviation is "
        f"{value_text(float(total.width[0]))} of {short_text(tolerance)} µm, the form deviation "
        f"{value_text(float(form.width[0]))} µm."
    )
    return _trace_plot(one, layers, "A zone drawn", caption)


# --- round the gear -------------------------------------------------------------------------------

TEETH: Final = 24


def _indices() -> tuple[Array, Array]:
    """Index of both flanks of a gear that is off centre, with one tooth out of place."""
    theta = tooth_angles(TEETH)
    lift = np.radians(20.0)
    waves = 0.5 * np.sin(7 * theta)
    turned = np.radians(60) - theta
    left, right = (6 * np.sin(turned + side * lift) / np.cos(lift) + waves for side in (-1, 1))
    left[9] += 3.0
    return left - left.mean(), right - right.mean()


def _round(title: str, caption: str, curves: list[Round], arrow: float | None, words: str) -> list[Figure]:
    return [_drawn(title, caption, polar(title, f"{title}. {caption}", curves, arrow, words))]


def _wave(values: Array) -> Array:
    amplitude, crest = first_harmonic(values)
    return np.asarray(values.mean() + amplitude * np.cos(tooth_angles(TEETH) - crest))


def _pitch(key: str) -> list[Figure]:
    index, _ = _indices()
    theta, single = tooth_angles(TEETH), single_pitches(index)
    k = round(TEETH / 8)
    by_key = {"single_pitch": f_p, "cumulative_pitch": F_p, "adjacent_pitch": f_u}
    worst = by_key[key](index) if key in by_key else F_pk(index, k)
    symbol, first = symbol_of(key), int(worst.tooth)
    value = f"{symbol} {value_text(abs(float(worst.value)))} µm"
    if key in ("single_pitch", "adjacent_pitch"):
        curves = [Round("single pitch deviations", theta, single, palette.FILTERED, 1.4)]
        where = (
            f"at tooth {first}" if key == "single_pitch" else f"from tooth {first - 1 or TEETH} to {first}"
        )
    else:
        curves = [
            Round("index deviations", theta, index, palette.FILTERED, 1.4),
            Round("first harmonic", theta, _wave(index), palette.DESIGN, 1.0, DASH),
        ]
        where = f"between teeth {first} and {first if worst.tooth_to is None else int(worst.tooth_to)}"
    caption = (
        f"{MADE_UP} {value}, {where}. Outwards is displaced clockwise; the arrow points at tooth {first}."
    )
    return _round(f"{symbol} drawn", caption, curves, float(theta[first - 1]), value)


def _radial(key: str) -> list[Figure]:
    left, right = _indices()
    geometry = _geometry("external", TEETH)
    half = math.pi / TEETH if key == "runout" else 0.0
    values = radial_positions(left, right, geometry) if key == "runout" else tooth_thickness(left, right, 1)
    worst = F_r(values) if key == "runout" else R_s(left, right, 1)
    theta, symbol = tooth_angles(TEETH) + half, symbol_of(key)
    name = "radial position of a ball in each space" if key == "runout" else "thickness of each tooth"
    about = values - values.mean()
    curves = [Round(name, theta, about, palette.FILTERED, 1.4)]
    place = "space" if key == "runout" else "tooth"
    if key == "runout":
        curves.append(Round("first harmonic", theta, _wave(about), palette.DESIGN, 1.0, DASH))
    value = f"{symbol} {value_text(float(worst.value))} µm"
    caption = (
        f"{MADE_UP} {value}: range round the gear. The arrow points at the {place} of the largest value."
    )
    return _round(f"{symbol} drawn", caption, curves, float(theta[int(worst.tooth) - 1]), value)


# --- size -----------------------------------------------------------------------------------------


def _geometry(kind: Literal["external", "internal"], teeth: int) -> GearGeometry:
    return gear_geometry(teeth, 1.0, math.radians(20), 0.0, 10.0, s=1 if kind == "external" else -1, H=0)


def _drawn(title: str, caption: str, svg: str) -> Figure:
    return Figure(svg, title, f"{title}. {caption}", caption, half=True)


def _balls(kind: Literal["external", "internal"], teeth: int, ball: float) -> Figure:
    geometry, gear = _geometry(kind, teeth), gear_of(kind, teeth)
    size = sizes.ball_dimension(geometry, ball)
    assert size is not None
    centre = (size - geometry.s * ball) / 2
    reach = max(gear.rim_radius, gear.tip_radius, size / 2) + 0.6
    over = "over" if kind == "external" else "between"
    shapes = (
        Circle((0.0, centre), ball / 2, filled=True), Circle((0.0, -centre), ball / 2, filled=True),
        Segment((0.0, -size / 2), (0.0, size / 2), "M", dimension=True, beside=(0.4, 0.0)),
    )  # fmt: skip
    title = f"Dimension {over} balls"
    caption = (
        f"{teeth} teeth of module 1, balls of {short_text(ball)} mm: M = {fixed_text(size, 4)} mm. With an "
        "odd number of teeth the balls do not stand opposite, and M is shorter."
    )
    window = Window(-reach, reach, -reach, reach)
    svg = tooth_sketch(gear, gear.pitch_angle / 2, window, shapes, title, caption)
    return _drawn(title, caption, svg)


def _span() -> Figure:
    teeth, k = 24, 3
    geometry, gear = _geometry("external", teeth), gear_of("external", teeth)
    span, r_b = sizes.nominal_span(geometry, k), geometry.d_b / 2
    half = span / 2
    shapes: tuple[Segment | Circle, ...] = (
        Circle((0.0, 0.0), r_b, palette.FRAME, "3 2"),
        *(
            Segment((side * half, r_b - 0.8), (side * half, r_b + 2.2), ink=palette.DESIGN)
            for side in (-1, 1)
        ),
        Segment((-half, r_b), (half, r_b), f"W{k}", dimension=True, beside=(0.0, -0.75)),
    )
    caption = (
        f"{teeth} teeth of module 1, span over {k}: W = {fixed_text(span, 4)} mm, along a tangent of the "
        "base circle (dashed), so both faces touch at right angles."
    )
    window = Window(-6.0, 6.0, 8.6, 14.6)
    return _drawn("Span", caption, tooth_sketch(gear, 0.0, window, shapes, "Span", caption))


def _chords() -> Figure:
    teeth = 12
    geometry, gear = _geometry("external", teeth), gear_of("external", teeth)
    s_n = sizes.thickness_of_shift(geometry, 0.0)
    chord, constant = sizes.chord_of_thickness(geometry, s_n), sizes.constant_chord(geometry, s_n)
    heights = [geometry.d / 2 - one.sagitta for one in (chord, constant)]
    tip = gear.tip_radius
    shapes = (
        Circle((0.0, 0.0), geometry.d / 2, palette.FRAME, "3 2"),
        Segment((-chord.thickness / 2, heights[0]), (chord.thickness / 2, heights[0]), "chord",
                dimension=True, beside=(0.0, -0.16)),
        Segment((-constant.thickness / 2, heights[1]), (constant.thickness / 2, heights[1]), "constant chord",
                palette.DESIGN, dimension=True, beside=(0.0, 0.06)),
        Segment((1.2, heights[0]), (1.2, tip), "height", dimension=True, beside=(0.06, 0.0)),
        Segment((-1.2, heights[1]), (-1.2, tip), "height", palette.DESIGN, dimension=True,
                beside=(-0.3, 0.0)),
    )  # fmt: skip
    caption = (
        f"{teeth} teeth of module 1: chordal thickness {fixed_text(chord.thickness, 4)} mm at a height of "
        f"{fixed_text(tip - heights[0], 4)} mm; constant chord {fixed_text(constant.thickness, 4)} mm at "
        f"{fixed_text(tip - heights[1], 4)} mm. Dashed: reference circle."
    )
    window = Window(-2.2, 2.2, 4.6, 7.3)
    return _drawn("Chords", caption, tooth_sketch(gear, 0.0, window, shapes, "Chords", caption))


def _size() -> list[Figure]:
    return [_balls("external", 16, 1.75), _balls("internal", 32, 1.5), _span(), _chords()]


TRACES: Final = ("total", "form", "slope", "crowning", "parabola_form")
PITCHES: Final = ("single_pitch", "cumulative_pitch", "sector_pitch", "adjacent_pitch")
SKETCHES: Final[dict[str, Callable[[], list[Figure]]]] = {
    **{
        key: partial(_deviation, key)
        for kind in ("profile", "helix")
        for key in (f"{kind}_{w}" for w in TRACES)
    },
    **{key: partial(_pitch, key) for key in PITCHES},
    **{key: partial(_radial, key) for key in ("runout", "tooth_thickness_variation")},
    "limit-curves": _limit_curves,
    "zones": _zones,
    "size": _size,
}
"""Topic -> its sketches on a page."""

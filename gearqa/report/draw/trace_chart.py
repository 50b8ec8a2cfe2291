"""Profile or helix traces of some teeth -> one SVG, for HTML and PDF alike.

Position runs across, one row per tooth, both flanks side by side on one position axis, the values of
each trace below it, one micrometre scale per chart shown as a bar with its ratio of magnification.
Charts of a sheet are as wide as half a page, and as a phone.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from xml.etree import ElementTree as ET

import numpy as np

from gearqa.arrays import Array
from gearqa.report.blocks.document import STATUS_MARKS, Span, Text, plain, spans
from gearqa.report.draw import palette
from gearqa.report.draw.chart_scales import (
    GAP,
    HALF,
    LABELS,
    LARGEST_SCALE,
    Scale,
    even_ratio,
    micrometre_bar,
    ticks,
)
from gearqa.report.draw.row_values import RowValue, draw_bar, draw_share
from gearqa.report.draw.svg import SMALL, TINY, Canvas, curve, legend, lines, number, rectangles, thinned
from gearqa.symbols import FLANKS, Flank
from gearqa.wording.numbers import short_text

BETWEEN = 14.0
"""Between the panels of two flanks."""
USUAL_VALUES = 3
"""Values below a trace that share its width evenly; with one more each takes what its text needs."""
DASH_DESIGN = "5 2.5"
DASH_MEAN = "9 2 1.5 2"
DASH_LIMIT = "2 2"
FOOT = 16.0
"""Height of the values under a trace."""


@dataclass(frozen=True, eq=False, slots=True)
class Curves:
    """One trace, ready to draw: deviations over position, NaN where there is nothing."""

    position: Array
    measured: Array
    filtered: Array
    design: Array
    """Design trace, shifted to the height of the measured one."""
    mean_position: Array
    mean_line: Array
    band: tuple[float, float] | None
    """Shift of the design trace down and up: the room that the tolerance gives."""
    limits: tuple[tuple[Array, Array], ...] = ()
    """Upper and lower limit curve, position and deviation, where the drawing has any."""
    zones: tuple[tuple[Array, Array], ...] = ()
    """Round the rooms of zones, closed."""


@dataclass(frozen=True, eq=False, slots=True)
class TracePanel:
    """One flank of one row."""

    curves: Curves | None
    values: tuple[RowValue, ...] = ()
    note: str = ""


@dataclass(frozen=True, eq=False, slots=True)
class TraceRow:
    """One tooth."""

    label: str
    detail: str
    panels: dict[Flank, TracePanel]


@dataclass(frozen=True, eq=False, slots=True)
class TraceChart:
    """Profile or helix traces of some teeth."""

    title: str
    description: str
    rows: tuple[TraceRow, ...]
    span: tuple[float, float]
    """Positions at the left and right edge; falling if the axis runs backwards."""
    limits: tuple[float, float] | None
    """Evaluation range."""
    zone_end: float | None
    axis: str
    ends: tuple[str, str]
    """What lies at the left and right edge."""
    second_axis: str = ""
    second_ticks: tuple[tuple[float, str], ...] = ()
    """Position and label."""
    row_height: float = 64.0
    units_per_um: float | None = None


def fitting_scale(rows: Sequence[TraceRow], seen: tuple[float, float] | None, row_height: float) -> float:
    """Units per micrometre at which every row fits its height where it is judged."""
    tallest = max(
        (_extent(p.curves, seen)[1] for r in rows for p in r.panels.values() if p.curves), default=0
    )
    room = row_height - FOOT - 4
    return even_ratio(LARGEST_SCALE if tallest <= 0 else min(LARGEST_SCALE, room / tallest))


def judged_range(limits: tuple[float, float] | None, zone_end: float | None) -> tuple[float, float] | None:
    """Positions between which a trace has to be seen whole: evaluation range and tip zone."""
    if limits is None or zone_end is None:
        return limits
    return (min(*limits, zone_end), max(*limits, zone_end))


def _extent(curves: Curves, limits: tuple[float, float] | None) -> tuple[float, float]:
    """Middle and height of what has to be seen of a trace. [um]"""
    inside = np.ones(curves.position.shape, bool)
    if limits is not None:
        inside = (curves.position >= min(limits)) & (curves.position <= max(limits))
        if not inside.any():
            inside[:] = True
    design, band = curves.design[inside], curves.band or ()
    lifted = (design + shift for shift in band)
    heights = (height for _, height in (*curves.limits, *curves.zones))
    seen = (curves.measured[inside], curves.filtered[inside], curves.mean_line, design, *lifted, *heights)
    everything = np.concatenate(seen)
    everything = everything[np.isfinite(everything)]
    if everything.size == 0:
        return 0.0, 0.0
    low, high = float(everything.min()), float(everything.max())
    return (low + high) / 2, high - low


def trace_chart(chart: TraceChart) -> str:
    """Draw profile or helix traces."""
    panel_width = (HALF - LABELS - BETWEEN - GAP) / 2
    top, row_height = 40.0, chart.row_height
    bottom = top + row_height * len(chart.rows)
    canvas = Canvas(HALF, bottom + (32 if chart.second_ticks else 16), chart.title, chart.description)
    seen = judged_range(chart.limits, chart.zone_end)
    units = chart.units_per_um or fitting_scale(chart.rows, seen, row_height)
    entries = [
        ("measured", palette.MEASURED, 0.5, ""),
        ("filtered", palette.FILTERED, 1.5, ""),
        ("design", palette.DESIGN, 1.0, DASH_DESIGN),
        ("mean line", palette.MEAN, 0.8, DASH_MEAN),
        ("room given by the tolerance", palette.BAND, 0, "band"),
    ]
    drawn = [p.curves for row in chart.rows for p in row.panels.values() if p.curves]
    limits, zones = any(one.limits for one in drawn), any(one.zones for one in drawn)
    if limits or zones:
        name = "limit curves, zones" if limits and zones else "limit curves" if limits else "zones"
        entries[-1] = ("tolerance", palette.BAND, 0, "band")
        entries.append((name, palette.LIMIT, 1.1, ""))
    legend(canvas, 8, entries, gap=5, sample=13, size=TINY)
    bar = micrometre_bar(units, shortest=9)
    draw_bar(canvas, units, bar, top - 5)
    columns_of: dict[Flank, float] = {
        flank: LABELS + k * (panel_width + BETWEEN) for k, flank in enumerate(FLANKS)
    }
    canvas.text(LABELS - 6, bottom + 11.5, chart.axis, anchor="end", size=TINY, ink=palette.MUTED)
    if chart.second_ticks:
        canvas.text(LABELS - 6, bottom + 27.5, chart.second_axis, anchor="end", size=TINY, ink=palette.MUTED)
    frame: list[tuple[float, float, float, float]] = []
    for flank, x in columns_of.items():
        scale = Scale(chart.span[0], chart.span[1], x, x + panel_width)
        canvas.text(x, 21, f"{flank} flank", bold=True, size=SMALL)
        _draw_axes(canvas, chart, scale, top, bottom)
        frame.append((x, top, panel_width, bottom - top))
    for k, row in enumerate(chart.rows):
        foot = top + row_height * (k + 1) - FOOT
        y = foot - (row_height - FOOT) / 2
        group = canvas.group({"class": "row"})
        low = y + (0 if row.detail else 3)
        canvas.text(LABELS - 6, low, row.label, anchor="end", size=SMALL, parent=group)
        if row.detail:
            canvas.text(
                LABELS - 6, y + 10, row.detail, anchor="end", size=TINY, ink=palette.MUTED, parent=group
            )
        for flank, x in columns_of.items():
            panel = row.panels.get(flank) or TracePanel(None, note="not measured")
            scale = Scale(chart.span[0], chart.span[1], x, x + panel_width)
            if panel.curves is not None:
                place = _Place(scale, y, row_height - FOOT, units, bar)
                _draw_trace(canvas, group, panel.curves, place, seen)
            if panel.note:
                canvas.text(
                    x + panel_width / 2, foot + 8 if panel.curves is not None else y + 3, panel.note,
                    anchor="middle", size=SMALL, ink=palette.MUTED, parent=group,
                )  # fmt: skip
            _draw_foot(canvas, group, x, foot, panel.values, panel_width)
    separators = lines(
        (x, top + row_height * k, x + panel_width, top + row_height * k)
        for x in columns_of.values()
        for k in range(1, len(chart.rows))
    )
    canvas.path(rectangles(frame) + separators, stroke=palette.FRAME, width=0.7)
    return canvas.tostring()


def _draw_foot(
    canvas: Canvas, group: ET.Element, x: float, y: float, values: Sequence[RowValue], width: float
) -> None:
    """The values of a trace below it: symbol, number, and a bar of how much of the tolerance is used."""
    each = [width / max(len(values), 1)] * len(values)
    if len(values) > USUAL_VALUES:
        bold = {"bad": 1.2}
        lengths = [len(f"{plain(v.symbol)} {v.value}") * bold.get(v.status or "", 1.0) for v in values]
        each = [width * length / sum(lengths) for length in lengths]
    canvas.path(
        rectangles([(x, y, width, FOOT)]), fill=palette.PAPER, stroke=palette.GRID, width=0.5, parent=group
    )
    left = x + 2
    for room, value in zip(each, values, strict=True):
        bad = value.status == "bad"
        words: Text = (*spans(value.symbol), Span(f" {value.value}{STATUS_MARKS['bad'] if bad else ''}"))
        canvas.text(left, y + 8, words, size=TINY, bold=bad, parent=group)
        draw_share(canvas, group, (left, y + 11.5, room - 8, 2.8), value)
        left += room


def _draw_axes(canvas: Canvas, chart: TraceChart, scale: Scale, top: float, bottom: float) -> None:
    """Evaluation range, position ticks, second scale and the names of the ends of one panel."""
    left, right = scale.start, scale.end
    if chart.limits is not None:
        a, b = sorted(scale.at(limit) for limit in chart.limits)
        a, b = max(a, left), min(b, right)
        canvas.path(
            rectangles([(left, top, a - left, bottom - top), (b, top, right - b, bottom - top)]),
            fill=palette.SHADE,
        )
        y = top - 4
        arrows = lines([(a, y, b, y), (a, y - 3, a, bottom), (b, y - 3, b, bottom)])
        canvas.path(arrows, stroke=palette.LIMIT, width=0.6)
        heads = f"M{number(a)} {number(y)}l5 -2v4zM{number(b)} {number(y)}l-5 -2v4z"
        canvas.path(heads, fill=palette.LIMIT)
        canvas.text(right, 21, "evaluation range ↔", anchor="end", size=TINY, ink=palette.MUTED)
        if chart.zone_end is not None and left < scale.at(chart.zone_end) < right:
            x = scale.at(chart.zone_end)
            canvas.path(lines([(x, top - 3, x, bottom)]), stroke=palette.LIMIT, width=0.6, dash=DASH_LIMIT)
    marks = [(scale.at(value), label) for value, label in ticks(chart.span[0], chart.span[1], 5)]
    canvas.path(lines((x, bottom, x, bottom + 3) for x, _ in marks), stroke=palette.FRAME, width=0.7)
    labels = canvas.group({"text-anchor": "middle", "font-size": number(SMALL)})
    for x, label in marks:
        canvas.text(x, bottom + 11.5, label, parent=labels)
    if chart.second_ticks:
        base = bottom + 16
        spots = [(scale.at(value), label) for value, label in chart.second_ticks]
        canvas.path(
            lines([(left, base, right, base), *((x, base, x, base + 3) for x, _ in spots)]),
            stroke=palette.FRAME, width=0.7,
        )  # fmt: skip
        for x, label in spots:
            canvas.text(x, base + 11.5, label, parent=labels)
    canvas.text(left, top - 9, f"◂ {chart.ends[0]}", size=TINY, bold=True)
    canvas.text(right, top - 9, f"{chart.ends[1]} ▸", size=TINY, bold=True, anchor="end")


@dataclass(frozen=True, slots=True)
class _Place:
    """Where one trace is drawn: its axis, the middle and height of its row, the micrometre scale."""

    scale: Scale
    y: float
    height: float
    units: float
    bar: float


def _draw_trace(
    canvas: Canvas, group: ET.Element, curves: Curves, place: _Place, seen: tuple[float, float] | None
) -> None:
    """Grid, tolerance band and lines of one trace, each row about the middle of its own trace."""
    scale, y, units, bar = place.scale, place.y, place.units, place.bar
    middle, _ = _extent(curves, seen)
    half = place.height / 2 - 1
    x = scale.of(curves.position)
    inside = (x >= scale.start - 0.01) & (x <= scale.end + 0.01)

    def height(values: Array) -> Array:
        drawn = y - (values - middle) * units
        return np.where(np.abs(drawn - y) <= half, drawn, np.nan)

    known = np.isfinite(curves.design) & inside
    if curves.band is not None and known.sum() > 1:
        xs, design = x[known], curves.design[known]
        low = np.clip(y - (design + curves.band[0] - middle) * units, y - half, y + half)
        high = np.clip(y - (design + curves.band[1] - middle) * units, y - half, y + half)
        upper, lower = thinned(xs, high), thinned(xs, low)
        around = (np.concatenate((upper[0], lower[0][::-1])), np.concatenate((upper[1], lower[1][::-1])))
        canvas.path(curve(*around) + "z", fill=palette.BAND, fine=True, parent=group)
    first = int(np.ceil((middle - half / units) / bar))
    last = int(np.floor((middle + half / units) / bar))
    grid = (y - (k * bar - middle) * units for k in range(first, last + 1))
    canvas.path(
        lines((scale.start, g, scale.end, g) for g in grid), stroke=palette.GRID, width=0.5, parent=group
    )
    fine = canvas.fine_group(group)
    reading = (scale.low - scale.start / scale.units, 1 / scale.units, middle + y / units, -1 / units)
    canvas.curve(
        fine, x, np.where(inside, height(curves.measured), np.nan), ink=palette.MEASURED, width=0.5,
        tolerance=0.3, **{"data-r": " ".join(map(short_text, reading))},
    )  # fmt: skip
    design = np.where(known, height(curves.design), np.nan)
    canvas.curve(fine, x, design, ink=palette.DESIGN, width=1.0, dash=DASH_DESIGN)
    filtered = np.where(inside, height(curves.filtered), np.nan)
    canvas.curve(fine, x, filtered, ink=palette.FILTERED, width=1.5, tolerance=0.25)
    mean_x, mean_y = scale.of(curves.mean_position), height(curves.mean_line)
    canvas.curve(fine, mean_x, mean_y, ink=palette.MEAN, width=0.8, dash=DASH_MEAN)
    for position, values in (*curves.limits, *curves.zones):
        canvas.curve(fine, scale.of(position), height(values), ink=palette.LIMIT, width=1.1)

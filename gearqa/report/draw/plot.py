"""Panels stacked over one horizontal axis: the chart that reports other than traces are made of.

Pitch, runout, distributions, control charts and probability plots are all panels of lines, dots and
bars over an axis they share. Either every panel has the same micrometre scale, shown as one bar, or
each has its own ticks.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal
from xml.etree import ElementTree as ET

import numpy as np

from gearqa.arrays import Array
from gearqa.report.blocks.document import Figure, Text
from gearqa.report.draw import palette
from gearqa.report.draw.chart_scales import (
    GAP,
    HALF,
    LABELS,
    LARGEST_SCALE,
    WIDTH,
    Scale,
    even_ratio,
    micrometre_bar,
    ticks,
)
from gearqa.report.draw.palette import Ink
from gearqa.report.draw.row_values import VALUE, RowValue, draw_bar, draw_values
from gearqa.report.draw.svg import SMALL, TINY, Canvas, curve, lines, number, rectangles, text_width
from gearqa.wording.numbers import short_text

Shape = Literal["circle", "square", "diamond", "triangle", "cross"]


@dataclass(frozen=True, eq=False, slots=True)
class Line:
    """A curve; NaN makes a gap."""

    x: Array
    y: Array
    ink: Ink = palette.FILTERED
    width: float = 1.2
    dash: str = ""
    name: str = ""


@dataclass(frozen=True, eq=False, slots=True)
class Dots:
    """Separate points."""

    x: Array
    y: Array
    ink: Ink = palette.FILTERED
    shape: Shape = "circle"
    size: float = 2.0
    name: str = ""
    hollow: bool = False


@dataclass(frozen=True, eq=False, slots=True)
class Bars:
    """Upright bars from `base`, each `width` wide in values of the axis."""

    x: Array
    y: Array
    width: float
    ink: Ink = palette.FILTERED
    base: float = 0.0
    name: str = ""


@dataclass(frozen=True, eq=False, slots=True)
class Band:
    """Room between two heights, over the whole width or along `x`."""

    low: float | Array
    high: float | Array
    x: Array | None = None
    ink: Ink = palette.BAND
    name: str = ""


@dataclass(frozen=True, slots=True)
class Level:
    """A horizontal line, with words at one end."""

    y: float
    ink: Ink = palette.LIMIT
    width: float = 0.9
    dash: str = ""
    name: str = ""
    words: str = ""
    words_at: Literal["left", "right"] = "right"


@dataclass(frozen=True, slots=True)
class Mark:
    """An upright line through a panel (or all of them), with words at its top."""

    x: float
    words: str = ""
    ink: Ink = palette.MUTED
    width: float = 0.7
    dash: str = ""
    name: str = ""


Layer = Line | Dots | Bars | Band | Level | Mark


@dataclass(frozen=True, eq=False, slots=True)
class Panel:
    """One row of a plot."""

    label: str
    layers: tuple[Layer, ...]
    detail: str = ""
    values: tuple[RowValue, ...] = ()
    y: tuple[float, float] | None = None
    """Heights at the foot and top; else what the layers need."""
    y_ticks: tuple[tuple[float, str], ...] | None = None
    height: float = 64.0
    outside: tuple[Text, str] | None = None
    """Name and detail in the column before the panel, where it has no ticks."""


@dataclass(frozen=True, eq=False, slots=True)
class Plot:
    """A whole chart."""

    title: str
    description: str
    panels: tuple[Panel, ...]
    x: tuple[float, float]
    x_name: str
    x_ticks: tuple[tuple[float, str], ...] | None = None
    marks: tuple[Mark, ...] = ()
    """Through all panels."""
    micrometre_bar: bool = False
    """One micrometre scale for all panels, shown as a bar, instead of ticks in each."""
    heads: tuple[Text, ...] = ()
    """Above the columns of values at the end of the rows."""
    width: float = WIDTH
    units: str = ""
    """Units of position and height, parted by a bar, for readings on screen."""


@dataclass(frozen=True, slots=True)
class _Scales:
    """The two scales of one panel."""

    across: Scale
    up: Scale


def _back(scale: Scale) -> tuple[float, float]:
    """Value at drawing unit 0, and values per drawing unit."""
    return scale.low - scale.start / scale.units, 1 / scale.units


def _span(panel: Panel, *, bands: bool) -> tuple[float, float]:
    """Lowest and highest value that a panel has to show, with or without the bands behind its lines."""
    if panel.y is not None:
        return panel.y
    values: list[float] = []
    for layer in panel.layers:
        if isinstance(layer, Line | Dots | Bars):
            finite = layer.y[np.isfinite(layer.y)]
            values += [float(finite.min()), float(finite.max())] if finite.size else []
            if isinstance(layer, Bars):
                values.append(layer.base)
        elif isinstance(layer, Band) and bands:
            values += [float(np.min(layer.low)), float(np.max(layer.high))]
        elif isinstance(layer, Level):
            values.append(layer.y)
    if not values:
        return 0.0, 1.0
    low, high = min(values), max(values)
    return (low, high) if high > low else (low - 0.5, high + 0.5)


def _legend(plot: Plot, width: float, size: float) -> list[list[tuple[Layer, str, float]]]:
    """Named layers, each name once, broken into lines: layer, name, x."""
    named: dict[str, Layer] = {}
    for layer in (*plot.marks, *(layer for panel in plot.panels for layer in panel.layers)):
        if layer.name:
            named.setdefault(layer.name, layer)
    out: list[list[tuple[Layer, str, float]]] = [[]]
    x = 0.0
    for name, layer in named.items():
        wide = (40 if size == SMALL else 31) + text_width(name, size)
        if x and x + wide > width:
            out.append([])
            x = 0.0
        out[-1].append((layer, name, x))
        x += wide
    return out if named else []


def figure(plot: Plot, caption: Text = "", *, title: Text = "", newest: bool = False) -> Figure:
    """The chart with its title, which `title` sets with symbols, and its caption."""
    named = title or plot.title
    return Figure(draw(plot), named, plot.description, caption, half=plot.width == HALF, newest=newest)


def strokes(x: Array, low: Array, high: Array, ink: Ink, width: float, name: str) -> Line:
    """Upright strokes from low to high at each place."""
    heights = np.column_stack((low, high, np.full(len(x), np.nan))).ravel()
    return Line(np.repeat(x, 3), heights, ink, width, name=name)


def draw(plot: Plot) -> str:
    """Draw the panels as one SVG."""
    columns = max((len(p.values) for p in plot.panels), default=0)
    left, right = LABELS, plot.width - (GAP + VALUE * columns if columns else 12)
    narrow = plot.width < WIDTH
    begin, size = (0.0, TINY) if narrow else (left, SMALL)
    entries = _legend(plot, (plot.width if narrow else right) - begin, size)
    words_above = any(m.words for m in plot.marks) or any(
        isinstance(layer, Mark) and layer.words for p in plot.panels for layer in p.layers
    )
    top = 12.0 * len(entries) + (20 if columns or plot.micrometre_bar else 6) + (11 if words_above else 0)
    spans = [_span(p, bands=not plot.micrometre_bar) for p in plot.panels]
    units = bar = 0.0
    if plot.micrometre_bar:
        fitting = ((p.height - 8) / max(h - lo, 1e-9) for p, (lo, h) in zip(plot.panels, spans, strict=True))
        units = even_ratio(min(LARGEST_SCALE, *fitting))
        bar = micrometre_bar(units, shortest=9 if narrow else 13)
        top = max(top, 12.0 * len(entries) + 8 + min(bar * units, 34))
    bottom = top + sum(p.height for p in plot.panels)
    canvas = Canvas(plot.width, bottom + 30, plot.title, plot.description)
    for k, row in enumerate(entries):
        for layer, name, x in row:
            _sample(canvas, layer, begin + x, 9 + 12.0 * k)
            canvas.text(begin + x + 25, 9 + 12.0 * k, name, size=size, ink=palette.MUTED)
    for k, head in enumerate(plot.heads):
        canvas.text(right + GAP + VALUE * (k + 0.5), top - 6, head, anchor="middle", size=SMALL, bold=True)
    if plot.micrometre_bar:
        draw_bar(canvas, units, bar, top - 6)
    across = Scale(plot.x[0], plot.x[1], left, right)
    y = top
    for panel, (low, high) in zip(plot.panels, spans, strict=True):
        if plot.micrometre_bar:
            half = panel.height / 2 / units
            middle = (low + high) / 2
            up = Scale(middle - half, middle + half, y + panel.height, y)
        else:
            room = 0.0 if panel.y is not None else 0.06 * (high - low)
            up = Scale(low - room, high + room, y + panel.height, y)
        _panel(canvas, plot, panel, _Scales(across, up))
        y += panel.height
    _axis(canvas, plot, across, bottom)
    for mark in plot.marks:
        x = across.at(mark.x)
        canvas.path(lines([(x, top, x, bottom)]), stroke=mark.ink, width=mark.width, dash=mark.dash)
        if mark.words:
            canvas.text(x, top - 3, mark.words, size=TINY, anchor="middle", ink=palette.MUTED)
    return canvas.tostring()


def _axis(canvas: Canvas, plot: Plot, across: Scale, bottom: float) -> None:
    marks = plot.x_ticks if plot.x_ticks is not None else ticks(plot.x[0], plot.x[1], int(plot.width / 70))
    canvas.path(
        lines((across.at(v), bottom, across.at(v), bottom + 3) for v, _ in marks),
        stroke=palette.FRAME, width=0.7,
    )  # fmt: skip
    labels = canvas.group({"text-anchor": "middle", "font-size": number(SMALL)})
    for value, label in marks:
        canvas.text(across.at(value), bottom + 11.5, label, parent=labels)
    middle = (across.start + across.end) / 2
    canvas.text(middle, bottom + 24, plot.x_name, size=SMALL, anchor="middle", ink=palette.MUTED)


def _panel(canvas: Canvas, plot: Plot, panel: Panel, scales: _Scales) -> None:
    across, up = scales.across, scales.up
    left, right, height, y = across.start, across.end, panel.height, min(up.start, up.end)
    group = canvas.group({"class": "row"})
    for layer in panel.layers:
        if isinstance(layer, Band):
            _draw(canvas, group, layer, scales)
    grid = _grid(plot, panel, up)
    levels = lines((left, up.at(v), right, up.at(v)) for v, _ in grid)
    canvas.path(levels, stroke=palette.GRID, width=0.5, parent=group)
    labels = canvas.group({"text-anchor": "end", "font-size": number(TINY)}, group)
    for value, label in grid:
        if label and y + 2 < up.at(value) < y + height - 1:
            canvas.text(left - 3, up.at(value) + 2.5, label, size=TINY, parent=labels, ink=palette.MUTED)
    for layer in panel.layers:
        if not isinstance(layer, Band):
            _draw(canvas, group, layer, scales, plot.units)
            if isinstance(layer, Mark) and layer.words:
                canvas.text(across.at(layer.x), y - 3, layer.words, size=TINY, anchor="middle", parent=group)
    canvas.path(rectangles([(left, y, right - left, height)]), stroke=palette.FRAME, width=0.7, parent=group)
    middle = y + height / 2
    if plot.micrometre_bar and panel.outside is None:
        canvas.text(LABELS - 6, middle, panel.label, anchor="end", parent=group)
        if panel.detail:
            canvas.text(
                LABELS - 6,
                middle + 10,
                panel.detail,
                anchor="end",
                size=TINY,
                ink=palette.MUTED,
                parent=group,
            )
    elif panel.outside is not None:
        name, detail = panel.outside
        canvas.text(4, middle + 3, name, bold=True, parent=group)
        canvas.text(LABELS - 6, middle + 3, detail, anchor="end", size=TINY, ink=palette.MUTED, parent=group)
    elif panel.label:
        canvas.text(left + 5, y + 11, panel.label, bold=True, parent=group)
        after = left + 11 + 1.1 * text_width(panel.label)
        canvas.text(after, y + 11, panel.detail, size=SMALL, ink=palette.MUTED, parent=group)
    draw_values(canvas, group, right + GAP, middle, panel.values)


def _grid(plot: Plot, panel: Panel, up: Scale) -> tuple[tuple[float, str], ...]:
    """Heights of the lines across a panel, with their labels."""
    if plot.micrometre_bar:
        step = micrometre_bar(abs(up.units))
        first, last = int(np.ceil(up.low / step)), int(np.floor(up.high / step))
        return tuple((k * step, "") for k in range(first, last + 1))
    if panel.y_ticks is not None:
        return panel.y_ticks
    return ticks(up.low, up.high, max(2, int(panel.height / 18)))


def _draw(canvas: Canvas, group: ET.Element, layer: Layer, scales: _Scales, units: str = "") -> None:
    across, up = scales.across, scales.up
    left, right = across.start, across.end
    foot, top = max(up.start, up.end), min(up.start, up.end)
    match layer:
        case Band():
            if layer.x is None:
                a, b = sorted(
                    min(max(up.at(float(np.max(edge))), top), foot) for edge in (layer.low, layer.high)
                )
                canvas.path(rectangles([(left, a, right - left, b - a)]), fill=layer.ink, parent=group)
            else:
                x = across.of(layer.x)
                low = np.clip(up.of(np.broadcast_to(layer.low, x.shape)), top, foot)
                high = np.clip(up.of(np.broadcast_to(layer.high, x.shape)), top, foot)
                around = np.concatenate((x, x[::-1])), np.concatenate((high, low[::-1]))
                canvas.path(curve(*around) + "z", fill=layer.ink, fine=True, parent=group)
        case Line():
            reading = " ".join(map(short_text, (*_back(across), *_back(up))))
            attributes = {"data-r": reading, "data-u": units} if units else {}
            y = up.of(layer.y)
            y = np.where((y >= top - 0.01) & (y <= foot + 0.01), y, np.nan)
            canvas.curve(
                canvas.fine_group(group), across.of(layer.x), y, ink=layer.ink, width=layer.width,
                dash=layer.dash, tolerance=0.08, **attributes,
            )  # fmt: skip
        case Bars():
            wide = max(abs(layer.width * across.units), 0.4)
            base = up.at(layer.base)
            x, y = across.of(layer.x), np.clip(up.of(layer.y), top, foot)
            boxes = (
                (a - wide / 2, min(b, base), wide, abs(base - b))
                for a, b in zip(x.tolist(), y.tolist(), strict=True)
                if np.isfinite(b)
            )
            canvas.path(rectangles(boxes), fill=layer.ink, parent=group)
        case Dots():
            x, y = across.of(layer.x), up.of(layer.y)
            good = np.isfinite(x) & np.isfinite(y)
            d = "".join(
                dot(layer.shape, a, b, layer.size)
                for a, b in zip(x[good].tolist(), y[good].tolist(), strict=True)
            )
            _dots(canvas, group, d, layer)
        case Level():
            y_at = up.at(layer.y)
            if top - 0.01 <= y_at <= foot + 0.01:
                canvas.path(
                    lines([(left, y_at, right, y_at)]), stroke=layer.ink, width=layer.width,
                    dash=layer.dash, parent=group,
                )  # fmt: skip
                if layer.words:
                    at_left = layer.words_at == "left"
                    canvas.text(
                        left + 3 if at_left else right - 3, y_at - 2.5, layer.words, size=TINY,
                        anchor="start" if at_left else "end", parent=group,
                    )  # fmt: skip
        case Mark():
            x_at = across.at(layer.x)
            canvas.path(
                lines([(x_at, top, x_at, foot)]), stroke=layer.ink, width=layer.width, dash=layer.dash,
                parent=group,
            )  # fmt: skip


def _dots(canvas: Canvas, group: ET.Element | None, d: str, layer: Dots) -> None:
    if layer.hollow or layer.shape == "cross":
        fill = None if layer.shape == "cross" else palette.PAPER
        canvas.path(d, stroke=layer.ink, fill=fill, width=1.0, parent=group)
    else:
        canvas.path(d, fill=layer.ink, parent=group)


def dot(shape: Shape, x: float, y: float, size: float) -> str:
    """Path data of one point."""
    r, two = number(size), number(2 * size)
    match shape:
        case "circle":
            return f"M{number(x - size)} {number(y)}a{r} {r} 0 1 0 {two} 0a{r} {r} 0 1 0 -{two} 0z"
        case "square":
            return f"M{number(x - size)} {number(y - size)}h{two}v{two}h-{two}z"
        case "diamond":
            half = number(1.3 * size)
            return f"M{number(x)} {number(y - 1.3 * size)}l{half} {half} -{half} {half} -{half} -{half}z"
        case "triangle":
            side, height = number(1.2 * size), number(2.2 * size)
            return f"M{number(x)} {number(y - 1.2 * size)}l{side} {height}h-{number(2.4 * size)}z"
        case "cross":
            left = number(x - size)
            return f"M{left} {number(y - size)}l{two} {two}M{left} {number(y + size)}l{two} -{two}"


def _sample(canvas: Canvas, layer: Layer, x: float, y: float) -> None:
    """The layer's style, as the legend shows it."""
    match layer:
        case Band():
            canvas.path(rectangles([(x, y - 7, 20, 8)]), fill=layer.ink)
        case Bars():
            bars = [(x + 2, y - 3, 4, 4), (x + 8, y - 7, 4, 8), (x + 14, y - 5, 4, 6)]
            canvas.path(rectangles(bars), fill=layer.ink)
        case Dots():
            places = (12,) if layer.hollow else (4, 11, 18)
            d = "".join(dot(layer.shape, x + dx, y - 3, layer.size) for dx in places)
            _dots(canvas, None, d, layer)
        case _:
            line = (x + 11, y - 8, x + 11, y + 1) if isinstance(layer, Mark) else (x, y - 3, x + 22, y - 3)
            canvas.path(lines([line]), stroke=layer.ink, width=layer.width, dash=layer.dash)


def numbered(last: int) -> tuple[tuple[float, str], ...]:
    """Ticks of an axis of things numbered from 1: the first, and some round numbers.

    >>> numbered(3), [name for _, name in numbered(35)]
    (((1.0, '1'), (2.0, '2'), (3.0, '3')), ['1', '5', '10', '15', '20', '25', '30', '35'])
    """
    round_ones = [(v, str(int(v))) for v, _ in ticks(0, last, 8) if v == int(v) and 1 < v <= last]
    return ((1.0, "1"), *round_ones)


def counted(number: int) -> tuple[tuple[float, str], ...]:
    """Ticks of a row of things that are counted from 1; of many every fifth.

    >>> counted(2), [name for _, name in counted(21)]
    (((1.0, '1'), (2.0, '2')), ['5', '10', '15', '20'])
    """
    return tuple((float(k), str(k)) for k in range(1, number + 1) if number <= 20 or k % 5 == 0)

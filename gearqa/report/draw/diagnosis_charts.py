"""Charts that only a diagnosis has: named bars, readings round a gear, a flank seen at a slant."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from gearqa.arrays import Array
from gearqa.report.blocks.document import Text
from gearqa.report.draw import palette
from gearqa.report.draw.chart_scales import HALF, Scale, even_ratio, micrometre_bar, ticks
from gearqa.report.draw.palette import Ink
from gearqa.report.draw.row_values import draw_bar
from gearqa.report.draw.svg import SMALL, TINY, Canvas, legend, lines, rectangles, text_width

NAMES_WIDTH = 152.0
ROW = 15.0


@dataclass(frozen=True, slots=True)
class NamedBar:
    """One bar with its name before it and words behind it; without a length a heading."""

    name: Text
    length: float | None = None
    words: str = ""
    ink: Ink = palette.FILTERED


def named_bars(
    title: str, description: str, bars: Sequence[NamedBar], axis: tuple[float, float], axis_name: str,
    mark: tuple[float, str] | None = None,
) -> str:  # fmt: skip
    """Bars lying one under the other; `mark` is an upright line with its words."""
    left, right, top = NAMES_WIDTH, HALF - 42.0, 6.0 if mark is None else 18.0
    bottom = top + ROW * len(bars)
    canvas = Canvas(HALF, bottom + 28, title, description)
    across = Scale(*axis, left, right)
    marks = ticks(*axis, 5)
    canvas.path(
        lines((across.at(v), top, across.at(v), bottom) for v, _ in marks), stroke=palette.GRID, width=0.5
    )
    for value, label in marks:
        canvas.text(across.at(value), bottom + 11, label, anchor="middle", size=SMALL)
    canvas.text((left + right) / 2, bottom + 23, axis_name, anchor="middle", size=SMALL, ink=palette.MUTED)
    for number, bar in enumerate(bars):
        y = top + ROW * number
        if bar.length is None:
            canvas.text(4, y + 11, bar.name, bold=True)
            continue
        end = across.at(min(max(bar.length, axis[0]), axis[1]))
        canvas.path(rectangles([(left, y + 3, end - left, ROW - 6)]), fill=bar.ink)
        canvas.text(left - 4, y + 10.5, bar.name, anchor="end", size=SMALL)
        canvas.text(end + 3, y + 10.5, bar.words, size=SMALL)
    if mark is not None:
        x = across.at(mark[0])
        canvas.path(lines([(x, top - 3, x, bottom)]), stroke=palette.LIMIT, width=1.2, dash="3 2")
        late = x + text_width(mark[1], TINY) > HALF
        canvas.text(x, top - 6, mark[1], size=TINY, anchor="end" if late else "start", ink=palette.MUTED)
    canvas.path(lines([(left, top, left, bottom)]), stroke=palette.FRAME, width=0.7)
    return canvas.tostring()


@dataclass(frozen=True, eq=False, slots=True)
class Round:
    """Readings round the gear, clockwise from tooth 1."""

    name: str
    angle: Array
    """[rad]"""
    value: Array
    """Outwards from the middle circle. [um]"""
    ink: Ink
    width: float = 1.2
    dash: str = ""


def polar(title: str, description: str, curves: Sequence[Round], arrow: float | None, words: str) -> str:
    """Readings over a circle, tooth 1 at the top; `arrow` points along an angle, with words under it."""
    middle_x, middle_y, radius = HALF / 2, 160.0, 90.0
    most = max(float(np.nanmax(np.abs(one.value))) for one in curves)
    units = even_ratio(min(10.0, 38.0 / max(most, 1e-6)))
    canvas = Canvas(HALF, 304.0, title, description)
    legend(canvas, 11, [(one.name, one.ink, one.width, one.dash) for one in curves], size=TINY)
    circle = np.linspace(0, 2 * math.pi, 121)
    for r in (radius - most * units, radius, radius + most * units):
        ring = canvas.fine_group(canvas.root)
        canvas.curve(
            ring, middle_x + r * np.sin(circle), middle_y - r * np.cos(circle),
            ink=palette.FRAME if r == radius else palette.GRID, width=0.6,
        )  # fmt: skip
    for angle, name in ((0, "tooth 1"), (90, "90°"), (180, "180°"), (270, "270°")):
        at = radius + most * units + 7
        turned = math.radians(angle)
        x, y = middle_x + at * math.sin(turned), middle_y - at * math.cos(turned)
        anchor = {90: "start", 270: "end"}.get(angle, "middle")
        canvas.text(x, y + (8 if angle == 180 else 3), name, anchor=anchor, size=TINY, ink=palette.MUTED)  # type: ignore[arg-type]
    for one in curves:
        out = radius + units * np.append(one.value, one.value[0])
        around = np.append(one.angle, one.angle[0])
        canvas.curve(
            canvas.fine_group(canvas.root), middle_x + out * np.sin(around), middle_y - out * np.cos(around),
            ink=one.ink, width=one.width, dash=one.dash, tolerance=0.05,
        )  # fmt: skip
    if arrow is not None:
        _arrow(canvas, middle_x, middle_y, arrow)
    canvas.text(HALF - 4, 298, words, anchor="end", size=SMALL)
    draw_bar(canvas, units, micrometre_bar(units), 300.0)
    return canvas.tostring()


def _arrow(canvas: Canvas, x: float, y: float, angle: float) -> None:
    dx, dy = math.sin(angle), -math.cos(angle)
    tip = x + 40 * dx, y + 40 * dy
    wings = [
        (tip[0], tip[1], tip[0] - 8 * dx + side * 4 * dy, tip[1] - 8 * dy - side * 4 * dx)
        for side in (-1, 1)
    ]  # fmt: skip
    canvas.path(lines([(x, y, *tip), *wings]), stroke=palette.LIMIT, width=1.6)


def slanted(
    title: str, description: str, position: Array, sections: Sequence[tuple[str, Array]],
    ends: tuple[str, str],
) -> str:  # fmt: skip
    """Sections of a surface one behind the other: name and heights in micrometres over the position."""
    most = max(float(np.ptp(height)) for _, height in sections)
    step, slant = 46.0, 14.0
    units = even_ratio(min(10.0, 40.0 / max(most, 1e-6)))
    left = 62.0
    right = HALF - 8.0 - slant * (len(sections) - 1)
    bottom = 24.0 + step * len(sections)
    canvas = Canvas(HALF, bottom + 28.0, title, description)
    across = Scale(float(position[0]), float(position[-1]), left, right)
    for number in reversed(range(len(sections))):
        name, height = sections[number]
        dx, base = slant * number, bottom - 6.0 - step * number
        canvas.path(lines([(left + dx, base, right + dx, base)]), stroke=palette.GRID, width=0.6)
        canvas.curve(
            canvas.fine_group(canvas.root), across.of(position) + dx, base - units * (height - height.mean()),
            ink=palette.FILTERED, width=1.4,
        )  # fmt: skip
        canvas.text(left + dx - 4, base + 3, name, anchor="end", size=TINY)
    for x, text, anchor in ((left, ends[0], "start"), (right, ends[1], "end")):
        canvas.text(x, bottom + 20, text, anchor=anchor, size=SMALL, ink=palette.MUTED)  # type: ignore[arg-type]
    draw_bar(canvas, units, micrometre_bar(units), 20.0)
    return canvas.tostring()

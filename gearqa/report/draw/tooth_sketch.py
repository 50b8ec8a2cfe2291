"""Balls, spans and chords on the outline of a spur gear of module 1, drawn from computed places."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from gearqa.report.draw import palette
from gearqa.report.draw.chart_scales import HALF
from gearqa.report.draw.flank_sketch import Point, SketchGear, place
from gearqa.report.draw.palette import Ink
from gearqa.report.draw.plot import dot
from gearqa.report.draw.svg import SMALL, Canvas, number

STEPS = 10


@dataclass(frozen=True, slots=True)
class Segment:
    """A straight line, with words beside its middle or its end; arrows at both ends of a dimension."""

    start: Point
    end: Point
    words: str = ""
    ink: Ink = palette.TEXT
    dimension: bool = False
    beside: Point = (0.0, 0.0)
    """How far the words lie from the middle, in modules."""


@dataclass(frozen=True, slots=True)
class Circle:
    """A ball, or a circle of the gear."""

    centre: Point
    radius: float
    ink: Ink = palette.DESIGN
    dash: str = ""
    filled: bool = False


@dataclass(frozen=True, slots=True)
class Window:
    """What is seen, in modules: x to the right, y up."""

    left: float
    right: float
    bottom: float
    top: float


def whole_outline(gear: SketchGear, turned: float = 0.0) -> list[Point]:
    """All teeth as one closed line, the first one's middle turned clockwise from the top."""
    base = gear.reference_radius * math.cos(math.radians(gear.pressure_angle_deg))
    foot = max(gear.root_radius, base) if gear.s > 0 else gear.root_radius
    radii = [foot + (gear.tip_radius - foot) * i / STEPS for i in range(STEPS + 1)]
    points: list[Point] = []
    for tooth in range(gear.teeth):
        middle = turned + tooth * gear.pitch_angle
        for side, way in ((-1, radii), (1, radii[::-1])):
            points += [place(r, middle + side * gear.half_thickness(r)) for r in way]
        half = gear.half_thickness(foot)
        points += [place(gear.root_radius, middle + side) for side in (half, gear.pitch_angle - half)]
    return points


def tooth_sketch(
    gear: SketchGear, turned: float, window: Window, shapes: Sequence[Segment | Circle], title: str,
    description: str,
) -> str:  # fmt: skip
    """The outline with lines and circles over it."""
    scale = (HALF - 8) / (window.right - window.left)
    canvas = Canvas(HALF, (window.top - window.bottom) * scale + 8, title, description)

    def at(point: Point) -> Point:
        return 4 + (point[0] - window.left) * scale, 4 + (window.top - point[1]) * scale

    def seen(points: Sequence[Point]) -> list[Point]:
        """Points pulled back to a little outside the picture, so that nothing is drawn far beyond it."""
        x = np.clip([p[0] for p in points], window.left - 1, window.right + 1)
        y = np.clip([p[1] for p in points], window.bottom - 1, window.top + 1)
        return list(zip(x.tolist(), y.tolist(), strict=True))

    outline = "L".join(f"{number(x)} {number(y)}" for x, y in map(at, seen(whole_outline(gear, turned))))
    metal = f"M{outline}z"
    if gear.kind == "internal":
        rim = [place(gear.rim_radius, 2 * math.pi * i / 90) for i in range(90)]
        metal += "M" + "L".join(f"{number(x)} {number(y)}" for x, y in map(at, seen(rim))) + "z"
    canvas.path(metal, stroke=palette.FRAME, width=0.9)
    for shape in shapes:
        if isinstance(shape, Circle):
            d = dot("circle", *at(shape.centre), shape.radius * scale)
            fill = palette.BAND if shape.filled else None
            canvas.path(d, stroke=shape.ink, width=1.2, dash=shape.dash, fill=fill)
        else:
            _segment(canvas, at(shape.start), at(shape.end), shape, scale)
    return canvas.tostring()


def _segment(canvas: Canvas, start: Point, end: Point, shape: Segment, scale: float) -> None:
    (x1, y1), (x2, y2) = start, end
    d = f"M{number(x1)} {number(y1)}L{number(x2)} {number(y2)}"
    length = math.hypot(x2 - x1, y2 - y1) or 1.0
    ux, uy = (x2 - x1) / length, (y2 - y1) / length
    if shape.dimension:
        for x, y, way in ((x1, y1, 1), (x2, y2, -1)):
            for side in (-1, 1):
                wing = x + way * 6 * ux - side * 2.2 * uy, y + way * 6 * uy + side * 2.2 * ux
                d += f"M{number(x)} {number(y)}L{number(wing[0])} {number(wing[1])}"
    canvas.path(d, stroke=shape.ink, width=1.3 if shape.dimension else 1.6)
    if shape.words:
        x = (x1 + x2) / 2 + shape.beside[0] * scale
        y = (y1 + y2) / 2 - shape.beside[1] * scale
        anchor: Literal["start", "middle"] = "start" if shape.beside[0] > 0 else "middle"
        canvas.text(x, y, shape.words, anchor=anchor, size=SMALL, ink=shape.ink)


def gear_of(kind: Literal["external", "internal"], teeth: int) -> SketchGear:
    """A spur gear of module 1."""
    return SketchGear(kind, teeth)

"""Writing SVG by an escaping XML library, small enough for hundreds of charts in one file.

The presentation attribute holds the print colour; a class lets a page's style sheet
replace it on dark screens. One unit is a quarter of a millimetre on paper.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Literal
from xml.etree import ElementTree as ET

import numpy as np

from gearqa.arrays import Array
from gearqa.report.blocks.document import Text, spans
from gearqa.report.draw.palette import MUTED, TEXT, Ink
from gearqa.wording.visible import visible

Anchor = Literal["start", "middle", "end"]
FINE = 10
"""Curves are written in whole tenths of a unit."""

NO_LIGATURE = "\u200c"
"""Between an f and its subscript f: the typesetter of the PDF would join them across sizes."""

SIZE = 9.5
"""Type size of charts."""
SMALL = 8.5
TINY = 7.2


def number(value: float) -> str:
    """A coordinate, to a tenth of a unit.

    >>> number(12.04), number(-0.04)
    ('12', '0')
    """
    text = f"{value:.1f}"
    text = text.removesuffix(".0")
    return "0" if text == "-0" else text


class Canvas:
    """One SVG image with title and description for those who cannot see it."""

    def __init__(self, width: float, height: float, title: str, description: str) -> None:
        self.width, self.height = width, height
        self.root = ET.Element(
            "svg",
            {
                "xmlns": "http://www.w3.org/2000/svg",
                "viewBox": f"0 0 {number(width)} {number(height)}",
                "role": "img",
                "font-family": "DejaVu Sans, sans-serif",
                "font-size": number(SIZE),
                "class": f"f{TEXT.key}",
                "fill": TEXT.light,
            },
        )
        ET.SubElement(self.root, "title").text = visible(title)
        ET.SubElement(self.root, "desc").text = visible(description)

    def group(self, attributes: dict[str, str], parent: ET.Element | None = None) -> ET.Element:
        """A group; its attributes hold for everything inside."""
        return ET.SubElement(self.root if parent is None else parent, "g", attributes)

    def fine_group(self, parent: ET.Element) -> ET.Element:
        """A group for unfilled curves whose coordinates are tenths of a unit."""
        attributes = {"transform": f"scale({1 / FINE:g})", "fill": "none", "stroke-linejoin": "round"}
        return ET.SubElement(parent, "g", attributes)

    def curve(
        self,
        group: ET.Element,
        x: Array,
        y: Array,
        *,
        ink: Ink,
        width: float,
        dash: str = "",
        tolerance: float = 0.2,
        **attributes: str,
    ) -> None:
        """A line through the points, in a group made by `fine_group`."""
        d = curve(*thinned(x, y, tolerance))
        if not d:
            return
        attributes |= {"class": f"s{ink.key}", "d": d, "stroke": ink.light}
        attributes["stroke-width"] = number(width * FINE)
        if dash:
            attributes["stroke-dasharray"] = " ".join(number(float(part) * FINE) for part in dash.split())
        ET.SubElement(group, "path", attributes)

    def text(
        self,
        x: float,
        y: float,
        text: Text,
        *,
        anchor: Anchor = "start",
        size: float = SIZE,
        ink: Ink = TEXT,
        bold: bool = False,
        parent: ET.Element | None = None,
    ) -> ET.Element:
        """Real text, its baseline at y; subscripts set lower and smaller."""
        attributes = {"x": number(x), "y": number(y)}
        if ink is not TEXT:
            attributes |= {"class": f"f{ink.key}", "fill": ink.light}
        if anchor != "start":
            attributes["text-anchor"] = anchor
        if size != SIZE:
            attributes["font-size"] = number(size)
        if bold:
            attributes["font-weight"] = "bold"
        element = ET.SubElement(self.root if parent is None else parent, "text", attributes)
        last: ET.Element | None = None
        drop, before = 0.0, ""
        for span in spans(text):
            wanted = size * 0.22 if span.style == "sub" else 0.0
            words = visible(span.text)
            if before == "f" and words.startswith("f"):
                words = NO_LIGATURE + words
            before = words[-1:]
            if wanted == drop == 0 and span.style != "strong":
                if last is None:
                    element.text = (element.text or "") + words
                else:
                    last.tail = (last.tail or "") + words
                continue
            last = ET.SubElement(element, "tspan")
            if wanted != drop:
                last.set("dy", number(wanted - drop))
            if span.style == "sub":
                last.set("font-size", number(size * 0.78))
            if span.style == "strong":
                last.set("font-weight", "bold")
            last.text = words
            drop = wanted
        return element

    def path(
        self,
        d: str,
        *,
        stroke: Ink | None = None,
        fill: Ink | None = None,
        width: float = 1.0,
        dash: str = "",
        fine: bool = False,
        parent: ET.Element | None = None,
    ) -> None:
        """A path; `fine` if its coordinates are tenths of a unit."""
        if not d:
            return
        scale = FINE if fine else 1
        attributes: dict[str, str] = {}
        classes = []
        if stroke is not None:
            classes.append(f"s{stroke.key}")
            attributes |= {"stroke": stroke.light, "stroke-width": number(width * scale)}
            if dash:
                dashes = (number(float(part) * scale) for part in dash.split())
                attributes["stroke-dasharray"] = " ".join(dashes)
        if fill is not None:
            classes.append(f"f{fill.key}")
        attributes["fill"] = "none" if fill is None else fill.light
        if fine:
            attributes["transform"] = f"scale({1 / FINE:g})"
        attributes = {"class": " ".join(classes), "d": d, **attributes}
        ET.SubElement(self.root if parent is None else parent, "path", attributes)

    def tostring(self) -> str:
        """The image as XML text."""
        return ET.tostring(self.root, encoding="unicode", short_empty_elements=True)


def curve(x: Array, y: Array) -> str:
    """Path data of a line through the points, in tenths of a unit; gaps where a value is NaN.

    >>> curve(np.array([0.0, 1.0, 2.0]), np.array([0.0, 1.0, 0.5]))
    'M0 0l10 10 10-5'
    """
    good = np.isfinite(x) & np.isfinite(y)
    if not good.any():
        return ""
    edges = np.flatnonzero(np.diff(np.concatenate(([False], good, [False])).astype(np.int8)))
    parts = []
    for start, stop in zip(edges[::2], edges[1::2], strict=True):
        if stop - start < 2:
            continue
        points = np.rint(np.column_stack((x[start:stop], y[start:stop])) * FINE).astype(np.int64)
        steps = np.diff(points, axis=0)
        moved = steps[(steps != 0).any(axis=1)]
        if len(moved) == 0:
            continue
        data = " ".join(map(str, moved.ravel().tolist())).replace(" -", "-")
        parts.append(f"M{points[0, 0]} {points[0, 1]}l{data}".replace(" -", "-"))
    return "".join(parts)


def thinned(x: Array, y: Array, tolerance: float = 0.15) -> tuple[Array, Array]:
    """The points without those that lie within `tolerance` units of the line between neighbours.

    Every pass drops every other candidate, so the line stays within a few tolerances.
    """
    for odd in (1, 0, 1, 0, 1):
        if len(x) < 8:
            break
        xa, xb, xc = x[:-2], x[1:-1], x[2:]
        ya, yb, yc = y[:-2], y[1:-1], y[2:]
        with np.errstate(invalid="ignore", divide="ignore"):
            off = np.abs(yb - ya - (yc - ya) * (xb - xa) / (xc - xa))
        drop = off < tolerance
        drop[odd::2] = False
        keep = np.concatenate(([True], ~drop, [True]))
        x, y = x[keep], y[keep]
    return x, y


def lines(segments: Iterable[tuple[float, float, float, float]]) -> str:
    """Path data of separate straight lines x1, y1, x2, y2."""
    return "".join(f"M{number(a)} {number(b)}L{number(c)} {number(d)}" for a, b, c, d in segments)


def rectangles(boxes: Iterable[tuple[float, float, float, float]]) -> str:
    """Path data of rectangles x, y, width, height."""
    return "".join(f"M{number(x)} {number(y)}h{number(w)}v{number(h)}h{number(-w)}z" for x, y, w, h in boxes)


def legend(
    canvas: Canvas, y: float, entries: Sequence[tuple[str, Ink, float, str]], *,
    gap: float = 14, sample: float = 22, size: float = SMALL,
) -> None:  # fmt: skip
    """Samples of line styles with their words, one after the other: word, ink, width, dash."""
    x = 0.0
    for words, ink, width, dash in entries:
        if dash == "band":
            canvas.path(rectangles([(x, y - 7, sample - 2, 8)]), fill=ink)
        else:
            canvas.path(lines([(x, y - 3, x + sample, y - 3)]), stroke=ink, width=width, dash=dash)
        canvas.text(x + sample + 3, y, words, size=size, ink=MUTED)
        x += sample + 3 + text_width(words, size) + gap


def text_width(text: str, size: float = SIZE) -> float:
    """About the width of a text in the bundled font; a little too wide rather than too narrow."""
    return len(text) * size * 0.54

"""Chart of the classes of a gear: how far each parameter is from what is required."""

from __future__ import annotations

from dataclasses import dataclass

from gearqa.report.blocks.document import STATUS_MARKS, Text
from gearqa.report.draw import palette
from gearqa.report.draw.chart_scales import HALF, Scale
from gearqa.report.draw.svg import SMALL, TINY, Canvas, lines, number, rectangles, text_width


@dataclass(frozen=True, slots=True)
class OverviewRow:
    """One parameter of the class overview."""

    symbol: Text
    marks: tuple[tuple[str, float | None, bool | None], ...]
    """Flank (`left`, `right`, empty for both), exact class (None: better than any), conforms (None: open)."""
    required: tuple[float | None, ...]
    """Required class: of both, or of the left flank and the right one; None for drawing limits."""
    master: float | None
    words: str
    """Classes in words, at the end of the row."""


@dataclass(frozen=True, slots=True)
class Overview:
    """How far each parameter is from the required and from the master class."""

    title: str
    description: str
    rows: tuple[OverviewRow, ...]
    required_name: str
    master_name: str
    classes: tuple[int, int]
    """The finest and the coarsest class of the standard. A mark beyond lies one class further, one that is
    not assessed two."""


def class_overview(overview: Overview) -> str:
    """Draw the class overview: classes across, one row per parameter."""
    row_height, top = 15.0, 38.0
    left, right = 34.0, HALF - 76.0
    bottom = top + row_height * len(overview.rows)
    canvas = Canvas(HALF, bottom + 28, overview.title, overview.description)
    finest, coarsest = overview.classes
    scale = Scale(finest - 1.6, coarsest + 2.6, left, right)
    # A value meets class A when its exact class is at most A: the room of a class ends at A.
    good, beyond, edges, masters = [], [], [], []
    for k, row in enumerate(overview.rows):
        y = top + row_height * k
        share = row_height / max(len(row.required), 1)
        for half, required in enumerate(row.required):
            if required is not None:
                x, at = scale.at(required), y + half * share
                beyond.append((x, at, scale.at(coarsest + 1.5) - x, share))
                edges.append((x, at, x, at + share))
        if row.master is not None:
            x = scale.at(row.master)
            good.append((left, y, x - left, row_height))
            masters.append((x, y, x, y + row_height))
    canvas.path(rectangles(good), fill=palette.BAND)
    canvas.path(rectangles(beyond), fill=palette.SHADE)
    canvas.path(
        lines(
            (scale.at(c), top, scale.at(c), bottom)
            for c in (*range(finest - 1, coarsest + 1), coarsest + 1.5)
        ),
        stroke=palette.GRID,
        width=0.5,
    )
    canvas.path(lines(masters), stroke=palette.FILTERED, width=1.4, dash="3 1.5")
    canvas.path(lines(edges), stroke=palette.LIMIT, width=2.0)
    between = (top + row_height * k for k in range(1, len(overview.rows)))
    canvas.path(lines((left, y, right, y) for y in between), stroke=palette.GRID, width=0.5)
    labels = canvas.group({"text-anchor": "middle", "font-size": number(SMALL)})
    for c in range(finest, coarsest + 1):
        canvas.text(scale.at(c - 0.5), bottom + 11, str(c), parent=labels)
    canvas.text(scale.at(coarsest + 0.8), bottom + 11, f">{coarsest}", parent=labels)
    canvas.text(scale.at(coarsest + 2), bottom + 11, "open", parent=labels, size=TINY)
    canvas.text((left + right) / 2, bottom + 23, "flank tolerance class", parent=labels)
    canvas.path(rectangles([(0, 4, 18, 8)]), fill=palette.BAND)
    canvas.path(lines([(18, 3, 18, 13)]), stroke=palette.FILTERED, width=1.4, dash="3 1.5")
    canvas.text(22, 11, overview.master_name, size=TINY, ink=palette.MUTED)
    canvas.path(lines([(222, 3, 222, 13)]), stroke=palette.LIMIT, width=2.0)
    canvas.text(227, 11, overview.required_name, size=TINY, ink=palette.MUTED)
    x = 0.0
    marks = (
        ("left", "left", True), ("right", "right", True), ("", "no flank", True),
        ("left", f"beyond ({STATUS_MARKS['bad']})", False), ("left", "open (?)", None),
    )  # fmt: skip
    for side, words, good_ in marks:
        _draw_marker(canvas, side, x + 9, 25, good_)
        canvas.text(x + 19, 28, words, size=TINY, ink=palette.MUTED)
        x += 30 + 1.1 * text_width(words, TINY)
    for k, row in enumerate(overview.rows):
        y = top + row_height * (k + 0.5)
        canvas.text(4, y + 3, row.symbol, bold=True)
        for side, value, conforms in row.marks:
            best, worst = finest - 1.4, coarsest + 2.4
            place = best if value is None else min(max(value, best), worst)
            _draw_marker(canvas, side, scale.at(place), y, conforms)
        canvas.text(right + 5, y + 3, row.words, size=TINY)
    canvas.path(rectangles([(left, top, right - left, bottom - top)]), stroke=palette.FRAME, width=0.7)
    return canvas.tostring()


def _draw_marker(canvas: Canvas, side: str, x: float, y: float, conforms: bool | None) -> None:
    """Filled; beyond its tolerance in another colour with an edge, open hollow."""
    fill = {True: palette.TEXT, False: palette.BAD, None: palette.PAPER}[conforms]
    stroke = None if conforms else palette.TEXT
    canvas.path(_marker(side, x, y), fill=fill, stroke=stroke, width=0.8)


def _marker(side: str, x: float, y: float) -> str:
    """A half circle towards the flank's side with its flat edge at the value; a diamond without side."""
    outline = {"left": "-8 5 8 5", "right": "8 5 -8 5", "": "5 5 -5 5 -5 -5"}[side]
    return f"M{number(x)} {number(y - 5)}l{outline}z"

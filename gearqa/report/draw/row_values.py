"""Values beside and below a row of a chart, each with a bar of how much of its tolerance it uses."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from xml.etree import ElementTree as ET

from gearqa.report.blocks.document import STATUS_MARKS, Status, Text
from gearqa.report.draw import palette
from gearqa.report.draw.chart_scales import ratio_text
from gearqa.report.draw.svg import SIZE, SMALL, TINY, Canvas, lines, rectangles
from gearqa.wording.numbers import short_text

VALUE = 38.0
"""Width of one column of values."""
MOST_CHARACTERS = 6
"""Characters of a value in full size; a longer one is set smaller to stay within its column."""


@dataclass(frozen=True, slots=True)
class RowValue:
    """A value at the end of a row, its class, and how much of its tolerance it uses."""

    symbol: Text
    value: str
    class_: str = ""
    share: float | None = None
    status: Status | None = None


def draw_values(canvas: Canvas, group: ET.Element, x: float, y: float, values: Sequence[RowValue]) -> None:
    """Values at the end of a row: number, class, and a bar of how much of the tolerance is used."""
    if not values:
        return
    width, thick = VALUE - 6, 4.0
    numbers = canvas.group({"text-anchor": "middle"}, group)
    for k, value in enumerate(values):
        middle = x + VALUE * (k + 0.5)
        bad = value.status == "bad"
        mark = STATUS_MARKS["bad"] if bad else ""
        alone = not value.class_ and value.share is None
        words = value.value + mark
        size = SIZE if len(words) <= MOST_CHARACTERS else SMALL if len(words) == MOST_CHARACTERS + 1 else TINY
        canvas.text(middle, y + (3 if alone else -2), words, bold=bad, size=size, parent=numbers)
        if value.class_:
            canvas.text(middle, y + 8, f"class {value.class_}", size=TINY, ink=palette.MUTED, parent=numbers)
        draw_share(canvas, group, (middle - width / 2, y + 12, width, thick), value)


def draw_share(
    canvas: Canvas, group: ET.Element, box: tuple[float, float, float, float], value: RowValue
) -> None:
    """A bar of how much of its tolerance a value uses: full at the limit, a little longer beyond it."""
    if value.share is None:
        return
    x, y, width, height = box
    ink = palette.BAD if value.status == "bad" else palette.FILTERED
    canvas.path(rectangles([(x, y, width * min(value.share, 1.1), height)]), fill=ink, parent=group)
    canvas.path(rectangles([box]), stroke=palette.MUTED, width=0.6, parent=group)


def draw_bar(canvas: Canvas, units: float, bar: float, foot: float) -> None:
    """The micrometre scale of a chart as a bar, with the ratio of magnification on paper."""
    height, x = bar * units, 4.0
    top = foot - height
    canvas.path(
        lines([(x, foot, x, top), (x - 3, foot, x + 3, foot), (x - 3, top, x + 3, top)]),
        stroke=palette.LIMIT, width=1.2,
    )  # fmt: skip
    canvas.text(x + 4, foot - height / 2, f"{short_text(bar)} µm", size=SMALL, bold=True)
    canvas.text(x + 4, foot - height / 2 + 8, ratio_text(units), size=TINY, ink=palette.MUTED)

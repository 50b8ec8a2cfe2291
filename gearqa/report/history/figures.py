"""Figures of the status page: the last gears of each part and grinder."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Final

import numpy as np

from gearqa.model.drift import SIZE, Observation
from gearqa.report.blocks.document import Figure
from gearqa.report.draw import palette, plot
from gearqa.symbols import PARAMETERS, Flank, symbol_of
from gearqa.wording.numbers import count_text, value_text

DRAWN: Final = ("profile_slope", "helix_slope", "single_pitch", "cumulative_pitch", "runout", SIZE)
GEARS_DRAWN: Final = 60
SIDES: Final[tuple[tuple[Flank | None, palette.Ink, plot.Shape], ...]] = (
    ("left", palette.FILTERED, "circle"),
    ("right", palette.DESIGN, "square"),
    (None, palette.FILTERED, "diamond"),
)


def latest_gears(observations: Sequence[Observation]) -> Iterator[tuple[str, str, Figure]]:
    """Part, grinder and the figure of their gears."""
    groups: dict[tuple[str, str], list[Observation]] = {}
    for o in observations:
        groups.setdefault((o.part, o.grinder), []).append(o)
    for (part, grinder), group in sorted(groups.items()):
        yield part, grinder, _figure(group)


def _figure(group: Sequence[Observation]) -> Figure:
    """The last gears of one part and grinder, one panel a parameter, with tolerance limits."""
    in_order = sorted(group, key=lambda o: o.finished_at.timestamp() if o.finished_at else float("inf"))
    serials = list(dict.fromkeys(o.serial for o in in_order))
    place = {serial: number for number, serial in enumerate(serials, 1)}
    panels, ranges = [], []
    for key in DRAWN:
        mine = [o for o in group if o.parameter == key]
        if mine:
            panels.append(_panel(key, mine, place))
            ranges.append(_range(key, mine))
    title = f"Last {count_text(len(serials), 'gear')} in production order"
    chart = plot.Plot(
        title=title,
        description=f"{title}: {' '.join(ranges)}",
        panels=tuple(panels),
        x=(0.0, len(serials) + 1.0),
        x_name=f"gear, {serials[0]} to {serials[-1]}",
        units="|µm",
    )
    caption = "Flank means (slopes) or values against the limits of the drawing or class; no control limits."
    return Figure(plot.draw(chart), title, chart.description, caption)


def _panel(key: str, mine: Sequence[Observation], place: dict[str, int]) -> plot.Panel:
    layers: list[plot.Layer] = []
    newest = max(mine, key=lambda o: place[o.serial])
    layers += [
        plot.Level(limit, name="limit of the drawing or class")
        for limit in (newest.limit_low, newest.limit_high)
        if limit is not None
    ]
    for flank, ink, shape in SIDES:
        side = [o for o in mine if o.flank == flank]
        if side:
            x = np.array([float(place[o.serial]) for o in side])
            y = np.array([o.mean_um for o in side])
            name = f"{flank} flank" if flank else "whole gear"
            layers.append(plot.Dots(x, y, ink, shape, name=name, hollow=flank == "right"))
    return plot.Panel(symbol_of(key), tuple(layers), detail="µm", height=70)


def _range(key: str, mine: Sequence[Observation]) -> str:
    values = [o.mean_um for o in mine]
    signed = key == SIZE or PARAMETERS[key].signed
    low, high = (value_text(v, signed=signed) for v in (min(values), max(values)))
    return f"{symbol_of(key)} from {low} to {high} µm."

"""Figures of the status page: the last gears of each part and grinder."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Final

import numpy as np

from gearqa.model.drift import Observation
from gearqa.model.history import WatchSignal
from gearqa.report.blocks.document import Figure
from gearqa.report.draw import palette, plot
from gearqa.symbols import SIZE, Flank, quantity_of, symbol_of
from gearqa.wording.numbers import count_text, value_text

DRAWN: Final = ("profile_slope", "helix_slope", "single_pitch", "cumulative_pitch", "runout", SIZE)
GEARS_DRAWN: Final = 60
SIDES: Final[tuple[tuple[Flank | None, palette.Ink, plot.Shape], ...]] = (
    ("left", palette.FILTERED, "circle"),
    ("right", palette.DESIGN, "square"),
    (None, palette.FILTERED, "diamond"),
)


def latest_gears(
    observations: Sequence[Observation], signals: Sequence[WatchSignal] = ()
) -> Iterator[tuple[str, str, Figure]]:
    """Part, grinder and the figure of their gears, with what signals are about."""
    groups: dict[tuple[str, str], list[Observation]] = {}
    for o in observations:
        groups.setdefault((o.part, o.grinder), []).append(o)
    for (part, grinder), group in sorted(groups.items()):
        mine = [one for one in signals if (one.part_number, one.grinder) == (part, grinder)]
        yield part, grinder, _figure(group, mine)


def _figure(group: Sequence[Observation], signals: Sequence[WatchSignal]) -> Figure:
    """The last gears of one part and grinder, one panel a parameter, with tolerance limits."""
    in_order = sorted(group, key=lambda o: o.finished_at.timestamp() if o.finished_at else float("inf"))
    serials = list(dict.fromkeys(o.serial for o in in_order))
    place = {serial: number for number, serial in enumerate(serials, 1)}
    dresses = _dresses(in_order, place)
    panels, ranges = [], []
    for key in DRAWN:
        mine = [o for o in group if o.parameter == key]
        if mine:
            told = [one for one in signals if one.parameter == key]
            panels.append(_panel(key, mine, place, dresses, told))
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
    caption = (
        "Flank means (slopes) or values against the limits of the drawing or class; upright lines: dresses, "
        "with the word signal where one was told; no control limits."
    )
    return plot.figure(chart, caption)


def _dresses(in_order: Sequence[Observation], place: dict[str, int]) -> list[tuple[str, float]]:
    """Each dress and where its first gear stands."""
    found: list[tuple[str, float]] = []
    before = None
    for o in in_order:
        if o.dress is not None and (o.wheel, o.dress) != before:
            found.append((o.dress, place[o.serial] - 0.5))
            before = (o.wheel, o.dress)
    return found


def _panel(
    key: str,
    mine: Sequence[Observation],
    place: dict[str, int],
    dresses: Sequence[tuple[str, float]],
    signals: Sequence[WatchSignal],
) -> plot.Panel:
    layers: list[plot.Layer] = [plot.Mark(x, name="dress") for _, x in dresses if x > 1.0]
    told = {one.dress: dict(dresses).get(one.dress or "") for one in signals}
    layers += [plot.Mark(x, "signal", palette.BAD, 1.4) for x in told.values() if x is not None]
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
    low, high = (value_text(v, signed=quantity_of(key).signed) for v in (min(values), max(values)))
    return f"{symbol_of(key)} from {low} to {high} µm."

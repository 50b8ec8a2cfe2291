"""Charts of one drift series, stacked over one axis of production order.

Limits of the drawing or class are thick full lines with their name, in the panel of values only;
control limits are thin dashed lines of another colour in the panels of the process.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np

from gearqa.arrays import Array
from gearqa.model.drift import ChartData, DriftSeries
from gearqa.report.blocks.document import Figure
from gearqa.report.draw import palette, plot
from gearqa.report.draw.chart_scales import nice, ticks
from gearqa.report.drift.words import long_name
from gearqa.wording.numbers import count_text, number_text, share_text, signed_text, um_text

MOST_CYCLES = 60
"""Dress cycles that a stack shows; of a longer history the last ones."""
CONTROL = palette.OPEN
CONTROL_DASH = "4 2.5"
CONTROL_NAME = "control limit of the process"
SIGNAL_NAME = "signal: beyond the control limit"
REFERENCE_NAME = "reference cycles"
LIMIT_WIDTH = 2.0
LIMIT_NAMES = {
    "acceptance limit": "acceptance limit: drawing or class, less the guard",
    "tolerance limit": "tolerance limit: drawing or class",
    "none": "",
}
NARROWEST = 0.02
"""Height of a panel of values that are all alike. [um]"""
FAR_LIMIT = 2.5
"""A limit farther from the values than so many times their range is given in words."""
MARGIN = 0.08
"""Room at both ends of a cycle, as a share of it."""
LABEL_ROOM = 16.0
"""Height above the points that is kept for the name of a panel."""
HEIGHTS = {"values": 190.0, "levels": 104.0, "moving": 62.0, "ewma": 78.0}
SMALL = 0.6
"""Height of the charts of a quiet series, as a share of the usual."""


@dataclass(frozen=True, eq=False, slots=True)
class _Axis:
    """Production order as a coordinate: cycles one after the other, parts since dress inside each."""

    x: Array
    """Of each gear. shape (n,)"""
    start: Array
    """Of each cycle, and the end of the last one. shape (cycles + 1,)"""
    middle: Array
    """Place of what belongs to a whole cycle. shape (cycles,)"""
    margin: float
    """Room between a dress and the first part, so that points do not lie on its mark."""
    positions: bool
    """Whether the place inside a cycle is parts since dress, else the order of the measured gears."""

    def cycle_steps(self, values: Array) -> tuple[Array, Array]:
        """Values of the cycles as a stairway."""
        x = np.repeat(self.start, 2)[1:-1]
        return x, np.repeat(values, 2)


@dataclass(frozen=True, eq=False, slots=True)
class _View:
    """A series, or its last cycles, on its axis."""

    series: DriftSeries
    charts: ChartData
    axis: _Axis
    first: int
    """Number of the first cycle shown."""
    scale: float = 1.0
    """Of the heights."""

    def height(self, panel: str) -> float:
        return self.scale * HEIGHTS[panel]

    @property
    def cycles(self) -> int:
        return len(self.axis.start) - 1

    def inside(self, cycle: int) -> bool:
        return self.first <= cycle < self.first + self.cycles

    def start_of(self, cycle: int) -> float:
        return float(self.axis.start[cycle - self.first])


def series_figures(series: DriftSeries) -> tuple[Figure, ...]:
    """The stack of charts of a series; of a long history the levels of all cycles first."""
    cycles = len(series.charts.levels_lower_um)
    stack = _stack(_view(series, SMALL if series.quiet else 1.0))
    return (_all_levels(series), stack) if series.cycles and cycles > MOST_CYCLES else (stack,)


def _view(series: DriftSeries, scale: float) -> _View:
    charts = series.charts
    last = MOST_CYCLES if series.cycles else None
    cycles = len(charts.levels_lower_um)
    first = series.current_cycle - cycles + 1
    if last is not None and last < cycles:
        charts = _last_cycles(charts, first + cycles - last, last)
        first, cycles = first + cycles - last, last
    return _View(series, charts, _axis(series, charts, first, cycles), first, scale)


def _last_cycles(charts: ChartData, from_cycle: int, cycles: int) -> ChartData:
    keep = charts.cycle >= from_cycle
    places = np.flatnonzero(keep).tolist()
    return replace(
        charts,
        serial=tuple(charts.serial[i] for i in places),
        finished_at=tuple(charts.finished_at[i] for i in places),
        cycle=charts.cycle[keep],
        parts_since_dress=charts.parts_since_dress[keep],
        value_um=charts.value_um[keep],
        min_um=charts.min_um[keep],
        max_um=charts.max_um[keep],
        fitted_um=charts.fitted_um[keep],
        levels_lower_um=charts.levels_lower_um[-cycles:],
        levels_upper_um=charts.levels_upper_um[-cycles:],
        moving_range_um=charts.moving_range_um[-cycles:],
        moving_range_upper_um=charts.moving_range_upper_um[-cycles:],
        ewma=charts.ewma[keep],
        ewma_limit=charts.ewma_limit[keep],
        events=tuple(event for event in charts.events if event[0] >= from_cycle),
    )


def _axis(series: DriftSeries, charts: ChartData, first: int, cycles: int) -> _Axis:
    own = charts.cycle - first
    known = bool(series.cycles) and not bool(np.isnan(charts.parts_since_dress).any())
    if known:
        place = charts.parts_since_dress - 1
    else:
        begins = np.searchsorted(own, np.arange(cycles))
        place = (np.arange(len(own)) - begins[own]).astype(np.float64)
    width = np.full(cycles, float((series.current_dress_interval_parts or 1) if known else 1))
    np.maximum.at(width, own, place + 1)
    margin = MARGIN * float(np.median(width)) if cycles > 1 else 0.0
    middle = margin + width / 2
    if charts.forecast is not None and known:
        width[-1] = max(width[-1], float(charts.forecast.parts[-1]))
    start = np.concatenate(([0.0], np.cumsum(width + 2 * margin)))
    return _Axis(start[own] + margin + place + 0.5, start, start[:-1] + middle, margin, known)


def _stack(view: _View) -> Figure:
    series, charts = view.series, view.charts
    panels = [_values(view), _levels(view)] if series.cycles > 1 else [_values(view)]
    if bool(np.isfinite(charts.moving_range_upper_um).any()):
        panels.append(_moving_range(view))
    if bool(np.isfinite(charts.ewma).any()):
        panels.append(_ewma(view))
    events = [(cycle, words) for cycle, words in charts.events if view.inside(cycle)]
    panels = [replace(panel, layers=(*_dress_marks(view), *panel.layers)) for panel in panels]
    shown = f", cycles {view.first} to {view.first + view.cycles - 1}" if view.first > 1 else ""
    title = f"{long_name(series).capitalize()} in production order{shown}"
    chart = plot.Plot(
        title=title,
        description=_description(view),
        panels=tuple(panels),
        x=(0.0, float(view.axis.start[-1])),
        x_name=_axis_name(view),
        x_ticks=_cycle_ticks(view),
        marks=tuple(_event_marks(view, events)),
    )
    return Figure(plot.draw(chart), title, chart.description, _caption(events))


def _caption(events: Iterable[tuple[int, str]]) -> str:
    return " ".join(
        f"E{k}: {words}, in or before cycle {cycle}." for k, (cycle, words) in enumerate(events, 1)
    )


def _description(view: _View) -> str:
    series, values = view.series, view.charts.value_um
    return (
        f"{series.sentence} {count_text(len(values), 'gear')} from "
        f"{signed_text(float(values.min()), 2)} to {um_text(float(values.max()), signed=True)}"
        + (f" in {count_text(view.cycles, 'dress cycle')}" if series.cycles else "")
        + f"; {count_text(len(series.signals), 'signal')} of control charts, "
        f"{count_text(len(series.steps), 'level change')}."
    )


def _axis_name(view: _View) -> str:
    if not view.series.cycles:
        return "measured gears in their order"
    inside = "parts since dress" if view.axis.positions else "measured gears in their order"
    if view.cycles == 1:
        return inside
    labels = [level.dress for level in view.series.cycle_levels_um if view.inside(level.cycle)]
    named = f" (dress {labels[0]} to {labels[-1]})" if labels and None not in (labels[0], labels[-1]) else ""
    return f"dress cycle{named}; inside a cycle: {inside}"


def _cycle_ticks(view: _View) -> tuple[tuple[float, str], ...]:
    end = float(view.axis.start[-1])
    if view.cycles == 1:
        whole = ((v, label) for v, label in ticks(0.5, end + 0.5, 10) if v == int(v) and v >= 1)
        return tuple((view.axis.margin + v - 0.5, label) for v, label in whole)
    step = max(1, int(nice(view.cycles / 14)))
    numbers = range(view.first, view.first + view.cycles)
    return tuple((view.start_of(c), str(c)) for c in numbers if c % step == 0 or c == 1)


def _dress_marks(view: _View) -> list[plot.Mark]:
    if not view.series.cycles:
        return []
    return [
        plot.Mark(float(x), ink=palette.FRAME, width=0.4, dash="1 2", name="" if k else "dress")
        for k, x in enumerate(view.axis.start[:-1])
    ]


def _event_marks(view: _View, events: Iterable[tuple[int, str]]) -> list[plot.Mark]:
    return [
        plot.Mark(
            view.start_of(cycle), words=f"E{k}", ink=palette.TEXT, width=0.9, dash="1.5 1.5",
            name="" if k > 1 else "recorded event",
        )
        for k, (cycle, _) in enumerate(events, 1)
    ]  # fmt: skip


def _room(low: float, high: float, height: float) -> tuple[float, float]:
    """Range of a panel with room below, and above for its name."""
    span = max(high - low, NARROWEST)
    low, high = (low + high - span) / 2, (low + high + span) / 2
    usable = height - LABEL_ROOM - 8
    return low - 4 * span / usable, high + (LABEL_ROOM + 4) * span / usable


def _finite(*arrays: Array) -> tuple[float, float]:
    """Lowest and highest of all values that are known."""
    values = np.concatenate(arrays)
    values = values[np.isfinite(values)]
    return float(values.min()), float(values.max())


# --- panel of values ----------------------------------------------------------------------------


def _values(view: _View) -> plot.Panel:
    series, charts, axis = view.series, view.charts, view.axis
    low, high = _finite(charts.min_um, charts.max_um)
    layers: list[plot.Layer] = []
    band = charts.forecast if axis.positions else None
    if band is not None:
        x = axis.start[-2] + axis.margin + band.parts - 0.5
        percent = share_text(series.wear_confidence)
        layers += [
            plot.Band(band.low_um, band.high_um, x, name=f"forecast of the worst trace, {percent} of parts"),
            plot.Line(x, band.mean_um, dash="6 2.5", width=1.3, name="its expected course"),
        ]
        low, high = min(low, float(band.mean_um.min())), max(high, float(band.mean_um.max()))
    if bool((charts.max_um > charts.min_um).any()):
        x3, y3 = _strokes(axis.x, charts.min_um, charts.max_um)
        layers.append(plot.Line(x3, y3, palette.MEASURED, 0.7, name="smallest to largest trace"))
    layers += _fitted(view)
    layers.append(plot.Dots(axis.x, charts.value_um, size=1.7, name="value of a gear (mean of the flank)"))
    held = series.quarantine.measured if series.quarantine is not None else ()
    hold = np.isin(np.array(charts.serial), np.array(held, dtype=np.str_)) if held else np.zeros(0, np.bool_)
    if bool(hold.any()):
        layers.append(
            plot.Dots(
                axis.x[hold], charts.value_um[hold], palette.BAD, "square", 3.2, "gear to hold", hollow=True
            )
        )  # fmt: skip
    drawn, outside = _limits(series, (low, high))
    low, high = min(low, *drawn, high), max(high, *drawn, low)
    layers += [
        plot.Level(
            y,
            palette.LIMIT,
            LIMIT_WIDTH,
            name=LIMIT_NAMES[series.limit_kind],
            words=_limit_words(series, y),
            words_at="right" if y == series.limit_um[1] else "left",
        )
        for y in drawn
    ]
    parts = series.parts_to_limit
    if parts is not None and band is not None and drawn and parts.expected <= band.parts[-1]:
        rising = (series.wear_um_per_part or 0.0) > 0
        at = max(drawn) if rising else min(drawn)
        x_at, y_at = np.array([axis.start[-2] + axis.margin + parts.expected]), np.array([at])
        layers.append(plot.Dots(x_at, y_at, palette.TEXT, "diamond", 3.0, "limit reached", hollow=True))
    return plot.Panel(
        label="Values, µm", detail=outside, layers=tuple(layers),
        y=_room(low, high, view.height("values")), height=view.height("values"),
    )  # fmt: skip


def _strokes(x: Array, low: Array, high: Array) -> tuple[Array, Array]:
    """Upright strokes from low to high, gaps between."""
    gap = np.full(len(x), np.nan)
    return np.column_stack((x, x, x)).ravel(), np.column_stack((low, high, gap)).ravel()


def _fitted(view: _View) -> list[plot.Layer]:
    """Level and wear of every cycle, gaps between."""
    if not view.series.cycles or view.series.wear_um_per_part is None:
        return []
    cut = np.flatnonzero(np.diff(view.charts.cycle)) + 1
    x, y = np.insert(view.axis.x, cut, np.nan), np.insert(view.charts.fitted_um, cut, np.nan)
    return [plot.Line(x, y, palette.DESIGN, 1.1, name="level after dress and wear")]


def _limits(series: DriftSeries, values: tuple[float, float]) -> tuple[list[float], str]:
    """Limits to draw, and words for those that lie too far away."""
    low, high = values
    far = FAR_LIMIT * max(high - low, 0.5)
    known = [v for v in series.limit_um if v is not None]
    towards = None
    if series.parts_to_limit is not None:
        towards = series.limit_um[1] if (series.wear_um_per_part or 0.0) > 0 else series.limit_um[0]
    drawn = [v for v in known if v == towards or low - far <= v <= high + far]
    outside = [v for v in known if v not in drawn]
    if not known:
        return drawn, "no limit of the drawing or class"
    words = " and ".join(number_text(round(v, 2), signed=True) for v in outside)
    return drawn, f"{series.limit_kind} {words} outside the chart" if outside else ""


def _limit_words(series: DriftSeries, y: float) -> str:
    side = "lower" if y == series.limit_um[0] else "upper"
    return f"{side} {series.limit_kind} {number_text(round(y, 2), signed=True)}"


# --- panels of the process ----------------------------------------------------------------------


def _control_lines(view: _View, *limits: Array) -> list[plot.Layer]:
    return [
        plot.Line(*view.axis.cycle_steps(one), CONTROL, 1.2, CONTROL_DASH, CONTROL_NAME)
        for one in limits
        if bool(np.isfinite(one).any())
    ]


def _signalled(view: _View, chart: str) -> set[int]:
    return {one.cycle for one in view.series.signals if one.chart == chart and view.inside(one.cycle)}


def _marked(view: _View, chart: str, x: Array, y: Array) -> list[plot.Layer]:
    """Points of cycles with a signal of a chart, ringed."""
    places = [cycle - view.first for cycle in sorted(_signalled(view, chart))]
    if not places:
        return []
    return [plot.Dots(x[places], y[places], palette.BAD, "diamond", 3.4, SIGNAL_NAME, hollow=True)]


def _reference_band(view: _View, span: tuple[float, float]) -> list[plot.Layer]:
    reference = view.series.reference
    if reference is None:
        return []
    first, last = max(reference.from_, view.first), min(reference.to, view.first + view.cycles - 1)
    if last < first:
        return []
    x = np.array([view.start_of(first), float(view.axis.start[last - view.first + 1])])
    ends = np.array([span[0], span[0]]), np.array([span[1], span[1]])
    return [plot.Band(*ends, x, palette.SHADE, REFERENCE_NAME)]


def _levels(view: _View) -> plot.Panel:
    charts, series = view.charts, view.series
    levels = np.array([one.level_um for one in series.cycle_levels_um if view.inside(one.cycle)])
    x = view.axis.middle
    span = _room(*_finite(levels, charts.levels_lower_um, charts.levels_upper_um), view.height("levels"))
    layers: list[plot.Layer] = _reference_band(view, span)
    if charts.levels_centre_um is not None:
        layers.append(plot.Level(charts.levels_centre_um, CONTROL, 0.6, name="centre of the reference"))
    layers += _control_lines(view, charts.levels_lower_um, charts.levels_upper_um)
    layers.append(plot.Dots(x, levels, shape="square", size=1.9, name="level of a cycle"))
    layers += _marked(view, "levels", x, levels)
    layers += [
        plot.Mark(view.start_of(step.cycle), ink=palette.DESIGN, width=1.6, name="level change found")
        for step in series.steps
        if view.inside(step.cycle)
    ]
    return plot.Panel(
        label="Level after dress, µm", detail=_levels_detail(view), layers=tuple(layers), y=span,
        height=view.height("levels"),
    )  # fmt: skip


def _levels_detail(view: _View) -> str:
    series = view.series
    if series.reference is None or series.charts.levels_centre_um is None:
        return "no control limits: too few dress cycles"
    changes = [
        f"{signed_text(one.size_um, 1)} at cycle {one.cycle}"
        for one in series.steps
        if view.inside(one.cycle)
    ]
    return f"level change {', '.join(changes)}" if changes else ""


def _moving_range(view: _View) -> plot.Panel:
    charts = view.charts
    x, y = view.axis.middle, charts.moving_range_um
    high = _finite(y, charts.moving_range_upper_um)[1]
    span = (0.0, _room(0.0, high, view.height("moving"))[1])
    layers: list[plot.Layer] = [
        *_control_lines(view, charts.moving_range_upper_um),
        plot.Dots(x, y, shape="square", size=1.9),
        *_marked(view, "levels_moving_range", x, y),
    ]
    return plot.Panel(
        label="Change of the level from cycle to cycle, µm", layers=tuple(layers), y=span,
        height=view.height("moving"),
    )  # fmt: skip


def _ewma(view: _View) -> plot.Panel:
    charts, x = view.charts, view.axis.x
    low, high = _finite(charts.ewma, charts.ewma_limit, -charts.ewma_limit)
    layers: list[plot.Layer] = [
        plot.Level(0.0, CONTROL, 0.6),
        *(
            plot.Line(x, sign * charts.ewma_limit, CONTROL, 1.2, CONTROL_DASH, CONTROL_NAME)
            for sign in (1.0, -1.0)
        ),
        plot.Line(x, charts.ewma, width=1.2),
        plot.Dots(x, charts.ewma, size=1.2),
    ]
    serials = {one.serial for one in view.series.signals if one.chart == "residual_ewma"}
    hit = np.array([serial in serials for serial in charts.serial])
    if bool(hit.any()):
        layers.append(
            plot.Dots(x[hit], charts.ewma[hit], palette.BAD, "diamond", 3.4, SIGNAL_NAME, hollow=True)
        )
    return plot.Panel(
        label="Smoothed residuals, standard deviations",
        detail="what level and wear do not explain; the first signal of each cycle is marked",
        layers=tuple(layers), y=_room(low, high, view.height("ewma")), height=view.height("ewma"),
    )  # fmt: skip


# --- long histories -----------------------------------------------------------------------------


def _all_levels(series: DriftSeries) -> Figure:
    """Levels of every cycle, one unit a cycle."""
    charts = series.charts
    cycles = len(charts.levels_lower_um)
    first = series.current_cycle - cycles + 1
    edges = np.arange(cycles + 1, dtype=np.float64)
    axis = _Axis(np.zeros(0), edges, edges[:-1] + 0.5, 0.0, positions=False)
    view = _View(series, charts, axis, first)
    title = f"{long_name(series).capitalize()}: level after every dress"
    events = [(cycle, words) for cycle, words in charts.events if view.inside(cycle)]
    description = f"Levels of {cycles} dress cycles; {count_text(len(series.steps), 'level change')}."
    chart = plot.Plot(
        title=title, description=description, panels=(_levels(view),), x=(0.0, float(cycles)),
        x_name="dress cycle", x_ticks=_cycle_ticks(view), marks=tuple(_event_marks(view, events)),
    )  # fmt: skip
    return Figure(plot.draw(chart), title, description, _caption(events))

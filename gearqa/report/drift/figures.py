"""Charts of one drift series, stacked over one axis of production order.

Limits of the drawing or class are thick full lines with their name, in the panel of values only;
control limits are thin dashed lines of another colour in the panels of the process.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from gearqa.arrays import Array
from gearqa.model.drift import ChartData, ChartName, DriftSeries
from gearqa.report.blocks.document import Figure
from gearqa.report.draw import palette, plot
from gearqa.report.draw.chart_scales import nice, ticks
from gearqa.report.drift.words import long_name, seen_text
from gearqa.wording.numbers import count_text, number_text, share_text, signed_text, um_text

MOST_CYCLES = 60
"""Dress cycles that a stack shows; of a longer history the last ones."""
CONTROL = palette.OPEN
CONTROL_DASH = "4 2.5"
CONTROL_NAME = "control limit of the process"
SIGNAL_NAME = "signal: beyond the control limit"
REFERENCE_NAME = "reference cycles"
LIMIT_WIDTH = 2.0
PER_GEAR = (
    "serial", "finished_at", "cycle", "parts_since_dress", "value_um", "min_um", "max_um", "fitted_um",
    "ewma", "ewma_limit",
)  # fmt: skip
PER_CYCLE = ("levels_lower_um", "levels_upper_um", "moving_range_um", "moving_range_upper_um")
LIMIT_NAMES = {
    "acceptance limit": "acceptance limit: drawing or class, less the guard",
    "tolerance limit": "tolerance limit: drawing or class",
    "none": "",
}
NARROWEST = 0.02
"""Height of a panel of values that are all alike. [um]"""
FAR_LIMIT = 2.5
"""A limit farther from the values than this multiple of their range is given in words."""
MARGIN = 0.08
"""Room at both ends of a cycle, as a share of it."""
LABEL_ROOM = 16.0
"""Height above the points that is kept for the name of a panel."""
HEIGHTS = {"values": 190.0, "levels": 104.0, "moving": 62.0, "ewma": 78.0}
SMALL = 0.6
"""Height of the charts of a quiet series, as a share of the usual."""


@dataclass(frozen=True, eq=False, slots=True)
class _View:
    """A series, or its last cycles, over production order: cycles in a row, parts since dress inside each."""

    series: DriftSeries
    charts: ChartData
    first: int
    """Number of the first cycle shown."""
    x: Array
    """Place of each gear. shape (n,)"""
    start: Array
    """Of each cycle, and the end of the last one. shape (cycles + 1,)"""
    middle: Array
    """Place of what belongs to a whole cycle. shape (cycles,)"""
    margin: float = 0.0
    """Room between a dress and the first part, so that points do not lie on its mark."""
    positions: bool = False
    """Whether the place inside a cycle is parts since dress, else the order of the measured gears."""

    def height(self, panel: str) -> float:
        return HEIGHTS[panel] * (SMALL if self.series.quiet else 1.0)

    @property
    def cycles(self) -> int:
        return len(self.start) - 1

    def inside(self, cycle: int) -> bool:
        return self.first <= cycle < self.first + self.cycles

    def start_of(self, cycle: int) -> float:
        return float(self.start[cycle - self.first])


def series_figures(series: DriftSeries) -> tuple[Figure, ...]:
    """The stack of charts of a series; of a long history the levels of all cycles first."""
    cycles = len(series.charts.levels_lower_um)
    first = series.current_cycle - cycles + 1
    charts, long = series.charts, bool(series.cycles) and cycles > MOST_CYCLES
    if long:
        first, cycles = first + cycles - MOST_CYCLES, MOST_CYCLES
        charts = _from_cycle(charts, first)
    stack = _stack(_view(series, charts, first, cycles))
    return (_all_levels(series), stack) if long else (stack,)


def _from_cycle(charts: ChartData, first: int) -> ChartData:
    """Charts without the cycles before `first`."""
    gear, cycle = int(np.searchsorted(charts.cycle, first)), first - int(charts.cycle[-1]) - 1
    parts = {name: getattr(charts, name)[gear:] for name in PER_GEAR}
    parts |= {name: getattr(charts, name)[cycle:] for name in PER_CYCLE}
    return replace(charts, **parts, events=tuple(event for event in charts.events if event[0] >= first))


def _view(series: DriftSeries, charts: ChartData, first: int, cycles: int) -> _View:
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
    x = start[own] + margin + place + 0.5
    return _View(series, charts, first, x, start, start[:-1] + middle, margin, known)


def _stack(view: _View) -> Figure:
    series, charts = view.series, view.charts
    panels = [_values(view), _levels(view)] if series.cycles > 1 else [_values(view)]
    if bool(np.isfinite(charts.moving_range_upper_um).any()):
        panels.append(_moving_range(view))
    if bool(np.isfinite(charts.ewma).any()):
        panels.append(_ewma(view))
    panels = [replace(panel, layers=(*_dress_marks(view), *panel.layers)) for panel in panels]
    shown = f", cycles {view.first} to {view.first + view.cycles - 1}" if view.first > 1 else ""
    values = charts.value_um
    description = (
        f"{series.sentence} {count_text(len(values), 'gear')} from "
        f"{signed_text(float(values.min()), 2)} to {um_text(float(values.max()), signed=True)}"
        + (f" in {count_text(view.cycles, 'dress cycle')}" if series.cycles else "")
        + f"; {count_text(len(series.signals), 'signal')} of control charts, "
        f"{count_text(len(series.steps), 'level change')}."
    )
    title = f"{long_name(series).capitalize()} in production order{shown}"
    return _figure(view, title, description, panels, _axis_name(view))


def _figure(view: _View, title: str, description: str, panels: Sequence[plot.Panel], x_name: str) -> Figure:
    """Panels over the axis of a view, with the recorded events."""
    events = list(enumerate(view.charts.events, 1))
    marks = tuple(
        plot.Mark(
            view.start_of(cycle), words=f"E{k}", ink=palette.TEXT, width=0.9, dash="1.5 1.5",
            name="" if k > 1 else "recorded event",
        )
        for k, (cycle, _) in events
    )  # fmt: skip
    seen = [(k, one) for k, one in enumerate(view.series.seen, 1) if view.inside(one.cycle)]
    marks += tuple(
        plot.Mark(
            view.start_of(one.cycle) + view.margin, words=f"S{k}", ink=palette.OPEN, width=0.9,
            name="signal seen by somebody" if one is seen[0][1] else "",
        )
        for k, one in seen
    )  # fmt: skip
    x = (0.0, float(view.start[-1]))
    chart = plot.Plot(title, description, tuple(panels), x, x_name, _cycle_ticks(view), marks)
    caption = " ".join(f"E{k}: {words}, in or before cycle {cycle}." for k, (cycle, words) in events)
    caption = " ".join([*([caption] if caption else []), *(f"S{k}: {seen_text(one)}." for k, one in seen)])
    return plot.figure(chart, caption, newest=True)


def _axis_name(view: _View) -> str:
    if not view.series.cycles:
        return "measured gears in their order"
    inside = "parts since dress" if view.positions else "measured gears in their order"
    if view.cycles == 1:
        return inside
    labels = [level.dress for level in view.series.cycle_levels_um if view.inside(level.cycle)]
    named = f" (dress {labels[0]} to {labels[-1]})" if labels and None not in (labels[0], labels[-1]) else ""
    return f"dress cycle{named}; inside a cycle: {inside}"


def _cycle_ticks(view: _View) -> tuple[tuple[float, str], ...]:
    end = float(view.start[-1])
    if view.cycles == 1:
        whole = ((v, label) for v, label in ticks(0.5, end + 0.5, 10) if v == int(v) and v >= 1)
        return tuple((view.margin + v - 0.5, label) for v, label in whole)
    step = max(1, int(nice(view.cycles / 14)))
    numbers = range(view.first, view.first + view.cycles)
    return tuple((view.start_of(c), str(c)) for c in numbers if c % step == 0 or c == 1)


def _dress_marks(view: _View) -> list[plot.Mark]:
    if not view.series.cycles:
        return []
    return [
        plot.Mark(float(x), ink=palette.FRAME, width=0.4, dash="1 2", name="" if k else "dress")
        for k, x in enumerate(view.start[:-1])
    ]


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
    series, charts = view.series, view.charts
    low, high = _finite(charts.min_um, charts.max_um)
    layers: list[plot.Layer] = []
    band = charts.forecast if view.positions else None
    if band is not None:
        x = view.start[-2] + view.margin + band.parts - 0.5
        percent = share_text(series.wear_confidence)
        layers += [
            plot.Band(band.low_um, band.high_um, x, name=f"forecast of the worst trace, {percent} of parts"),
            plot.Line(x, band.mean_um, dash="6 2.5", width=1.3, name="its expected course"),
        ]
        low, high = min(low, float(band.mean_um.min())), max(high, float(band.mean_um.max()))
    if bool((charts.max_um > charts.min_um).any()):
        ends, name = (charts.min_um, charts.max_um), "smallest to largest trace"
        layers.append(plot.strokes(view.x, *ends, palette.MEASURED, 0.7, name))
    layers += _fitted(view)
    layers.append(plot.Dots(view.x, charts.value_um, size=1.7, name="value of a gear (mean of the flank)"))
    held = set(series.quarantine.measured) if series.quarantine is not None else ()
    hold = [i for i, serial in enumerate(charts.serial) if serial in held]
    if hold:
        x, y = view.x[hold], charts.value_um[hold]
        layers.append(plot.Dots(x, y, palette.BAD, "square", 3.2, "gear to hold", hollow=True))
    drawn, outside = _limits(series, (low, high))
    low, high = min(low, *drawn, high), max(high, *drawn, low)
    layers += [
        plot.Level(
            y,
            palette.LIMIT,
            LIMIT_WIDTH,
            name=LIMIT_NAMES[series.limit_kind],
            words=f"{side} {series.limit_kind} {number_text(round(y, 2), signed=True)}",
            words_at="left" if side == "lower" else "right",
        )
        for side, y in zip(("lower", "upper"), series.limit_um, strict=True)
        if y is not None and y in drawn
    ]
    parts = series.parts_to_limit
    if parts is not None and band is not None and drawn and parts.expected <= band.parts[-1]:
        at = max(drawn) if (series.wear_um_per_part or 0.0) > 0 else min(drawn)
        x_at, y_at = np.array([view.start[-2] + view.margin + parts.expected]), np.array([at])
        layers.append(plot.Dots(x_at, y_at, palette.TEXT, "diamond", 3.0, "limit reached", hollow=True))
    return plot.Panel(
        label="Values, µm", detail=outside, layers=tuple(layers),
        y=_room(low, high, view.height("values")), height=view.height("values"),
    )  # fmt: skip


def _fitted(view: _View) -> list[plot.Layer]:
    """Level and wear of every cycle, gaps between."""
    if not view.series.cycles or view.series.wear_um_per_part is None:
        return []
    cut = np.flatnonzero(np.diff(view.charts.cycle)) + 1
    x, y = np.insert(view.x, cut, np.nan), np.insert(view.charts.fitted_um, cut, np.nan)
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


# --- panels of the process ----------------------------------------------------------------------


def _control_lines(view: _View, *limits: Array) -> list[plot.Layer]:
    """Control limits of the cycles as stairways."""
    x = np.repeat(view.start, 2)[1:-1]
    return [
        plot.Line(x, np.repeat(one, 2), CONTROL, 1.2, CONTROL_DASH, CONTROL_NAME)
        for one in limits
        if bool(np.isfinite(one).any())
    ]


def _marked(x: Array, y: Array, places: Sequence[int]) -> list[plot.Layer]:
    """Points with a signal, ringed."""
    if not places:
        return []
    return [plot.Dots(x[places], y[places], palette.BAD, "diamond", 3.4, SIGNAL_NAME, hollow=True)]


def _signalled(view: _View, chart: ChartName) -> list[int]:
    """Places of the cycles with a signal of a chart of levels."""
    numbers = {one.cycle for one in view.series.signals if one.chart == chart and view.inside(one.cycle)}
    return [cycle - view.first for cycle in sorted(numbers)]


def _reference_band(view: _View, span: tuple[float, float]) -> list[plot.Layer]:
    reference = view.series.reference
    if reference is None:
        return []
    first, last = max(reference.from_, view.first), min(reference.to, view.first + view.cycles - 1)
    if last < first:
        return []
    x = np.array([view.start_of(first), view.start_of(last + 1)])
    return [plot.Band(*span, x, palette.SHADE, REFERENCE_NAME)]


def _levels(view: _View) -> plot.Panel:
    charts, series = view.charts, view.series
    levels = np.array([one.level_um for one in series.cycle_levels_um if view.inside(one.cycle)])
    x = view.middle
    span = _room(*_finite(levels, charts.levels_lower_um, charts.levels_upper_um), view.height("levels"))
    layers: list[plot.Layer] = _reference_band(view, span)
    if charts.levels_centre_um is not None:
        layers.append(plot.Level(charts.levels_centre_um, CONTROL, 0.6, name="centre of the reference"))
    layers += _control_lines(view, charts.levels_lower_um, charts.levels_upper_um)
    layers.append(plot.Dots(x, levels, shape="square", size=1.9, name="level of a cycle"))
    layers += _marked(x, levels, _signalled(view, "levels"))
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
    x, y = view.middle, charts.moving_range_um
    high = _finite(y, charts.moving_range_upper_um)[1]
    span = (0.0, _room(0.0, high, view.height("moving"))[1])
    layers: list[plot.Layer] = [
        *_control_lines(view, charts.moving_range_upper_um),
        plot.Dots(x, y, shape="square", size=1.9),
        *_marked(x, y, _signalled(view, "levels_moving_range")),
    ]
    return plot.Panel(
        label="Change of the level from cycle to cycle, µm", layers=tuple(layers), y=span,
        height=view.height("moving"),
    )  # fmt: skip


def _ewma(view: _View) -> plot.Panel:
    charts, x = view.charts, view.x
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
    layers += _marked(x, charts.ewma, [i for i, serial in enumerate(charts.serial) if serial in serials])
    return plot.Panel(
        label="Smoothed residuals, standard deviations",
        detail="what level and wear do not explain; the first signal of each cycle is marked",
        layers=tuple(layers), y=_room(low, high, view.height("ewma")), height=view.height("ewma"),
    )  # fmt: skip


# --- saw-tooth ----------------------------------------------------------------------------------


def saw_tooth_figure(series: DriftSeries) -> Figure | None:
    """Values less the level of their cycle over the parts since dress, averaged over all cycles."""
    charts = series.charts
    parts, mean, se, curve = charts.saw_parts, charts.saw_mean_um, charts.saw_se_um, charts.saw_curve_um
    if len(parts) < 2:
        return None
    ends = mean - 2 * se, mean + 2 * se
    layers: tuple[plot.Layer, ...] = (
        plot.Line(parts, curve, palette.DESIGN, 1.1, name="wear"),
        plot.strokes(parts, *ends, palette.MEASURED, 0.7, "two standard errors"),
        plot.Dots(parts, mean, size=2.2, name="mean of all cycles"),
    )
    low, high = _finite(*ends, curve)
    height = HEIGHTS["levels"] * (SMALL if series.quiet else 1.0)
    straight = {True: "not straight", False: "no departure from a straight line seen", None: ""}[
        series.curved
    ]
    panel = plot.Panel("Wear over a cycle, µm", layers, straight, y=_room(low, high, height), height=height)
    title = f"{long_name(series).capitalize()}: wear over the parts since dress"
    description = (
        f"Mean of {count_text(series.cycles, 'dress cycle')} at {count_text(len(parts), 'place')} of the "
        f"cycle, from {um_text(float(mean.min()), signed=True)} to {um_text(float(mean.max()), signed=True)}."
    )
    x = (0.0, float(max(parts[-1], series.current_dress_interval_parts or 0)) + 1)
    chart = plot.Plot(title, description, (panel,), x, "parts since dress")
    return plot.figure(chart)


# --- long histories -----------------------------------------------------------------------------


def _all_levels(series: DriftSeries) -> Figure:
    """Levels of every cycle, one unit a cycle."""
    charts = series.charts
    cycles = len(charts.levels_lower_um)
    first = series.current_cycle - cycles + 1
    edges = np.arange(cycles + 1, dtype=np.float64)
    view = _View(series, charts, first, np.zeros(0), edges, edges[:-1] + 0.5)
    description = f"Levels of {cycles} dress cycles; {count_text(len(series.steps), 'level change')}."
    title = f"{long_name(series).capitalize()}: level after every dress"
    return _figure(view, title, description, [_levels(view)], "dress cycle")

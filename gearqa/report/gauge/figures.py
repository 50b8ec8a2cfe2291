"""Figures of a gauge study: every value, the interaction, values of the calibrated gear in their order."""

from __future__ import annotations

import numpy as np

from gearqa.model.gauge import CrossedResult, GaugeResult
from gearqa.report.blocks import document as doc
from gearqa.report.draw import palette, plot
from gearqa.report.gauge.words import factor_text, series_name
from gearqa.wording.numbers import fixed_text, um_text
from gearqa.wording.visible import clip

SIGNIFICANT = 0.05
SHAPES: tuple[plot.Shape, ...] = ("circle", "square", "triangle", "diamond", "cross")
INKS = (palette.FILTERED, palette.DESIGN, palette.TEXT, palette.GOOD, palette.OPEN)
DASHES = ("", "4 2", "1 2")
MOST_ITEMS = 60
"""Items that the dot plot names on its axis."""


def dot_plot(result: GaugeResult) -> doc.Figure:
    """Every value: items across, operators side by side."""
    panels, described = [], []
    names: tuple[str, ...] = ()
    for one in result.crossed_series:
        x, items = _places(one), one.series.items
        names = items if len(items) > len(names) else names
        layers: list[plot.Layer] = []
        for place, operator in enumerate(one.series.operators):
            values = one.series.values_um[:, place, :]
            across = np.repeat(x[:, place], values.shape[1])[np.isfinite(values.ravel())]
            values = values[np.isfinite(values)]
            layers.append(
                plot.Dots(
                    across, values.ravel(), ink=INKS[place % len(INKS)], shape=SHAPES[place % len(SHAPES)],
                    size=1.9, name=clip(factor_text(result, operator), 24),
                )
            )  # fmt: skip
        panels.append(plot.Panel(label=series_name(one), detail="µm", layers=tuple(layers), height=96))
        described.append(f"{series_name(one)}: gauge standard deviation {um_text(one.gauge_sd_um)}.")
    heading = f"All values: items across, {result.factor} side by side"
    chart = plot.Plot(
        title=heading, description=f"{heading}. " + " ".join(described), panels=tuple(panels),
        x=_room(len(names)), x_name="item",
        x_ticks=tuple((k + 1.0, clip(name, 8)) for k, name in enumerate(names[:MOST_ITEMS])),
    )  # fmt: skip
    return plot.figure(chart, "One dot a value; trials of one item share a column.")


def _room(number: int) -> tuple[float, float]:
    """Axis of a row of items or trials, with room on the left for the name of the panel."""
    return 0.7 - 0.09 * number, number + 0.6


def _places(one: CrossedResult) -> np.ndarray:
    """Place of every item and operator on the axis, shape (items, operators)."""
    operators = len(one.series.operators)
    side = (np.arange(operators) - (operators - 1) / 2) * (0.6 / max(operators, 2))
    return np.asarray(np.arange(1, len(one.series.items) + 1)[:, None] + side[None, :])


def interaction_plot(result: GaugeResult) -> tuple[doc.Figure, ...]:
    """Item means of each operator, where operators differ by item; nothing where they do not."""
    panels, described = [], []
    items = 0
    for one in result.crossed_series:
        if one.interaction_p is None or one.interaction_p >= SIGNIFICANT:
            continue
        known = np.isfinite(one.series.values_um)
        sums, counts = np.where(known, one.series.values_um, 0.0).sum(axis=2), known.sum(axis=2)
        means = np.divide(sums, counts, out=np.full(sums.shape, np.nan), where=counts > 0)
        means = means - np.nanmean(means, axis=1, keepdims=True)
        x = np.arange(1, len(means) + 1, dtype=np.float64)
        items = max(items, len(means))
        layers = tuple(
            plot.Line(
                x[counts[:, k] > 0],
                means[counts[:, k] > 0, k],
                ink=INKS[k % len(INKS)],
                dash=DASHES[k % len(DASHES)],
                name=clip(operator, 24),
            )
            for k, operator in enumerate(one.series.operators)
        )
        p = f"p = {fixed_text(one.interaction_p, 3)}"
        panels.append(plot.Panel(label=series_name(one), detail=f"µm, {p}", layers=layers, height=70))
        described.append(f"{series_name(one)}: {p}.")
    if not panels:
        return ()
    heading = f"Interaction: means of the {result.factor} by item, less the item's mean"
    chart = plot.Plot(
        title=heading,
        description=f"{heading}. " + " ".join(described),
        panels=tuple(panels),
        x=_room(items),
        x_name="item",
        x_ticks=plot.counted(items),
    )
    return (plot.figure(chart, "Shown because the interaction is significant."),)


def reference_plot(result: GaugeResult) -> doc.Figure:
    """Values of the calibrated gear in their order, about the reference."""
    panels, described = [], []
    most = 1
    for one in result.reference_series:
        values = one.series.values_um - one.reference_um
        most = max(most, len(values))
        layers: list[plot.Layer] = []
        if one.reference_uncertainty_um is not None:
            U = one.reference_uncertainty_um
            layers.append(plot.Band(-U, U, name="uncertainty of the reference"))
        layers += [
            plot.Level(0.0, width=0.8, name="reference"),
            plot.Level(one.bias_um, ink=palette.DESIGN, dash="4 2", name="mean of the values"),
            plot.Dots(np.arange(1, len(values) + 1, dtype=np.float64), values, size=2.0),
        ]
        panels.append(plot.Panel(label=series_name(one), detail="µm", layers=tuple(layers), height=80))
        described.append(f"{series_name(one)}: bias {um_text(one.bias_um, signed=True)}.")
    heading = "Values less reference, in their order"
    chart = plot.Plot(
        title=heading,
        description=f"{heading}. " + " ".join(described),
        panels=tuple(panels),
        x=_room(most),
        x_name="trial",
        x_ticks=plot.counted(most),
    )
    return plot.figure(chart)

"""Differences of a supplier over the deliveries, as a chart."""

from __future__ import annotations

import numpy as np

from gearqa.model.deliveries import SupplierBias, SupplierReview
from gearqa.model.incoming import flank_of
from gearqa.report.blocks.document import Figure, symbol
from gearqa.report.draw import palette, plot
from gearqa.report.draw.row_values import RowValue
from gearqa.wording.numbers import um_text, value_text
from gearqa.wording.sentences import place_text

SERIES_DRAWN = 6
FEWEST_DELIVERIES = 2


def differences_figure(review: SupplierReview) -> Figure | None:
    """Mean differences of each delivery: proven ones first, then the largest; None of one delivery."""
    several = [one for one in review.biases if one.deliveries >= FEWEST_DELIVERIES]
    if not several:
        return None
    several.sort(key=lambda one: (not (one.proven or one.trend), -abs(one.bias_um)))
    drawn = several[:SERIES_DRAWN]
    points = [_points(review, one) for one in drawn]
    most = max(0.5, *(float(np.abs(y).max()) for _, y in points)) * 1.1
    panels = tuple(
        plot.Panel(
            label="", layers=(
                plot.Level(0.0, ink=palette.MUTED, name="no difference"),
                plot.Dots(*where, ink=palette.MEASURED, size=2.4, name="mean of a delivery"),
            ),
            values=(RowValue("", value_text(one.bias_um, signed=True)),), y=(-most, most), y_ticks=(),
            height=44, outside=(symbol(one.parameter), one.flank or ""),
        )
        for one, where in zip(drawn, points, strict=True)
    )  # fmt: skip
    number = len(review.deliveries)
    title = "Differences of each delivery, reported less ours"
    described = " ".join(
        f"{place_text(one.parameter, one.flank)}: mean {um_text(one.bias_um, signed=True)}." for one in drawn
    )
    step = max(1, -(-number // 20))
    chart = plot.Plot(
        title=title,
        description=f"{title}, one dot a delivery. {described}",
        panels=panels,
        x=(0.5, number + 0.5),
        x_name="delivery, in order",
        x_ticks=tuple((float(n), str(n)) for n in range(1, number + 1, step)),
        micrometre_bar=True,
        heads=("mean",),
        units="|µm",
    )
    caption = "One dot a delivery; settings that explain a difference allowed for. Mean in µm."
    return plot.figure(chart, caption)


def _points(review: SupplierReview, series: SupplierBias) -> tuple[np.ndarray, np.ndarray]:
    found = [
        (float(place), one.bias_um)
        for place, reviewed in enumerate(review.deliveries, 1)
        if reviewed.delivery.check.same_gears is not False
        for one in reviewed.delivery.check.differences
        if (one.parameter, flank_of(one.place)) == (series.parameter, series.flank)
    ]
    x, y = zip(*found, strict=True)
    return np.array(x), np.array(y)

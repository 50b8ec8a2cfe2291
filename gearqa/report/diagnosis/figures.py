"""Figures of a diagnosis: orders of pitch and runout with their thresholds, index with its first order."""

from __future__ import annotations

import numpy as np

from gearqa.model.diagnosis import GearDiagnosis
from gearqa.report.blocks import document as doc
from gearqa.report.draw import palette, plot


def order_chart(gear: GearDiagnosis) -> tuple[doc.Figure, ...]:
    """Amplitude of each order, and what would have been seen; nothing without pitch of both flanks."""
    if not gear.orders:
        return ()
    panels = []
    for kind, name in (("radial", "radial"), ("tangential", "tangential")):
        those = [one for one in gear.orders if one.kind == kind]
        order = np.array([one.order for one in those], dtype=np.float64)
        amplitude = np.array([one.amplitude_um for one in those])
        layers: list[plot.Layer] = [plot.Dots(order, amplitude, size=1.8, name="amplitude")]
        seen = [one.threshold_um for one in those if one.threshold_um is not None]
        if len(seen) == len(those):
            layers.append(
                plot.Dots(
                    order, np.array(seen), ink=palette.LIMIT, size=0.9, shape="square", name="seen from"
                )
            )
        panels.append(plot.Panel(label=name, detail="µm", layers=tuple(layers), height=70))
    highest = max(one.order for one in gear.orders)
    text = (
        "Orders of pitch and runout: amplitude over waves per turn, and the amplitude from which one is seen"
    )
    chart = plot.Plot(
        title=text,
        description=f"{text}.",
        panels=tuple(panels),
        x=(0.0, highest + 1.0),
        x_name="order",
    )
    return (doc.Figure(plot.draw(chart), text, chart.description),)


def index_chart(gear: GearDiagnosis) -> tuple[doc.Figure, ...]:
    """Index of both flanks with the first order that was fitted."""
    if gear.views is None or not gear.views.index_um:
        return ()
    panels = []
    z = 0
    for flank, index in gear.views.index_um.items():
        z = len(index)
        tooth = np.arange(1, z + 1, dtype=np.float64)
        panels.append(
            plot.Panel(
                label=f"{flank} flank",
                detail="µm",
                layers=(
                    plot.Line(tooth, index, name="index"),
                    plot.Line(
                        tooth, gear.views.first_order_um[flank], ink=palette.DESIGN, dash="4 2",
                        name="eccentricity and tangential error",
                    ),
                ),
                height=70,
            )
        )  # fmt: skip
    text = "Index of all teeth and its fitted first order"
    chart = plot.Plot(
        title=text,
        description=f"{text}.",
        panels=tuple(panels),
        x=(0.5, z + 0.5),
        x_name="tooth",
        x_ticks=tuple(plot.tooth_ticks(z)),
    )
    return (doc.Figure(plot.draw(chart), text, chart.description),)

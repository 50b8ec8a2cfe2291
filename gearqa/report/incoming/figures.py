"""Figures of an incoming comparison: differences before and after the explanation, overlays of raw data."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from gearqa.model.incoming import Agreement, AlignedCurves, IncomingResult, PlaceKey, flank_of
from gearqa.report.blocks.document import Figure, symbol
from gearqa.report.draw import palette, plot
from gearqa.report.draw.row_values import RowValue
from gearqa.symbols import symbol_of
from gearqa.wording.numbers import interval_text, um_text, value_text
from gearqa.wording.sentences import place_text

GEARS_FOR_ORDER = 5
"""Gears from which the differences are also shown in the order of the report."""
SHAPES: dict[PlaceKey, plot.Shape] = {"left": "circle", "right": "square", "both": "diamond"}


def incoming_figures(result: IncomingResult) -> tuple[Figure, ...]:
    """Differences of every parameter, and their order where there are gears enough."""
    most = max((one.n for places in result.agreement.values() for one in places.values()), default=0)
    differences = [_differences(result)] if result.agreement else []
    return (*differences, *([_order(result, most)] if most >= GEARS_FOR_ORDER else []))


def _differences(result: IncomingResult) -> Figure:
    title = "Differences, reported less ours"
    panels, described, most = [], [], 0.5
    explained = result.agreement_explained
    for key, places in result.agreement.items():
        for place, one in places.items():
            plain = np.array(one.differences_um)
            lane = 1.0 if explained else 0.0
            layers: list[plot.Layer] = [
                plot.Mark(0.0, width=0.7),
                plot.Dots(
                    plain, np.full(len(plain), lane), ink=palette.MEASURED, hollow=True, size=2.4,
                    name="evaluated as the drawing says",
                ),
            ]  # fmt: skip
            most = max(most, float(np.abs(plain).max()))
            after = explained.get(key, {}).get(place)
            shown = [one.bias_um]
            if after is not None:
                left = np.array(after.differences_um)
                layers.append(
                    plot.Dots(left, np.zeros(len(left)), ink=palette.FILTERED, size=2.0, name="as explained")
                )
                shown.append(after.bias_um)
            values = tuple(RowValue("", value_text(v, signed=True)) for v in shown)
            panels.append(
                plot.Panel(
                    label="", layers=tuple(layers), values=values, y=(-0.8, lane + 0.8), y_ticks=(),
                    height=26 if explained else 18, outside=(symbol(key), flank_of(place) or ""),
                )
            )  # fmt: skip
            words = " and ".join(um_text(v, signed=True) for v in shown)
            described.append(f"{place_text(key, flank_of(place))}: mean difference {words}.")
    edge = most * 1.06
    chart = plot.Plot(
        title=title,
        description=f"{title}, one dot a gear. " + " ".join(described),
        panels=tuple(panels),
        x=(-edge, edge),
        x_name="difference in µm",
        heads=("bias", "after") if explained else ("bias",),
    )
    caption = "One dot a gear; one row per parameter and flank, flanks as the report names them."
    if explained:
        caption += (
            " Hollow: against our evaluation. Filled: against what the explanation predicts. Bias before "
            "and after, in µm."
        )
    return plot.figure(chart, caption)


def _order(result: IncomingResult, most: int) -> Figure:
    """Differences in the order of the report: trend and outliers."""
    source = result.agreement_explained or result.agreement
    after = ", after the explanation" if result.agreement_explained else ""
    title = f"Differences in the order of the report{after}"
    panels, described = [], []
    for key, places in source.items():
        layers: list[plot.Layer] = []
        for place, one in places.items():
            x = np.arange(1, one.n + 1, dtype=np.float64)
            ink = palette.FILTERED if place != "right" else palette.DESIGN
            name = {"left": "left", "right": "right", "both": "no flank"}[place]
            layers.append(plot.Dots(x, np.array(one.differences_um), ink=ink, shape=SHAPES[place], name=name))
            described.append(f"{place_text(key, flank_of(place))}: {_agreement_words(one)}.")
        limits = [v for one in places.values() for v in (one.limits_of_agreement_um or ())]
        if limits:
            layers.insert(0, plot.Band(min(limits), max(limits), name="limits of agreement"))
        layers.insert(1 if limits else 0, plot.Level(0.0, width=0.6))
        panels.append(plot.Panel(label=symbol_of(key), layers=tuple(layers), detail="µm", height=58))
    chart = plot.Plot(
        title=title,
        description=f"{title}. " + " ".join(described),
        panels=tuple(panels),
        x=(1 - 0.07 * (most + 4), most + 0.6),
        x_name="gear, in the order of the report",
        x_ticks=plot.counted(most),
    )
    caption = (
        "Shaded: limits of agreement, which hold 95 % of such differences; compare them with the tolerance."
    )
    return plot.figure(chart, caption)


def _agreement_words(one: Agreement) -> str:
    bias = f"bias {um_text(one.bias_um, signed=True)}"
    limits = one.limits_of_agreement_um
    return bias if limits is None else f"{bias}, limits {interval_text(limits)}"


def overlay_figures(curves: Sequence[AlignedCurves]) -> tuple[Figure, ...]:
    """The supplier's curves laid over ours, one chart per gear and kind."""
    groups: dict[tuple[str, str], list[AlignedCurves]] = {}
    for curve in curves:
        groups.setdefault((curve.serial, curve.kind), []).append(curve)
    return tuple(_overlay(serial, kind, some) for (serial, kind), some in groups.items())


_AXES = {"pitch": "tooth", "profile": "length of roll in mm", "helix": "face position in mm"}
_HEADS = {"pitch": "Index deviations", "profile": "Profile traces", "helix": "Helix traces"}


def _overlay(serial: str, kind: str, curves: Sequence[AlignedCurves]) -> Figure:
    title = f"{_HEADS[kind]} of gear {serial}, theirs over ours"
    panels, described = [], []
    for curve in curves:
        apart = float(np.sqrt(np.nanmean((curve.ours_um - curve.theirs_um) ** 2)))
        whole = curve.tooth is None
        label, detail = (curve.flank, "") if whole else (f"tooth {curve.tooth}", curve.flank)
        x = curve.position
        layers = (
            plot.Line(x, curve.ours_um, ink=palette.FILTERED, width=1.4, name="ours"),
            plot.Line(x, curve.theirs_um, ink=palette.DESIGN, width=0.9, dash="4 2", name="theirs"),
        )
        values = (RowValue("", value_text(apart)),)
        panels.append(plot.Panel(label=label, detail=detail, layers=layers, values=values, height=54))
        described.append(f"{label} {detail}".strip() + f": {um_text(apart)} apart (rms).")
    low = min(float(curve.position[0]) for curve in curves)
    high = max(float(curve.position[-1]) for curve in curves)
    chart = plot.Plot(
        title=title, description=f"{title}. " + " ".join(described), panels=tuple(panels), x=(low, high),
        x_name=_AXES[kind], heads=("rms",), micrometre_bar=True,
    )  # fmt: skip
    caption = "Aligned: flank names, counting direction, first tooth and constant. Last column: rms in µm."
    return plot.figure(chart, caption)

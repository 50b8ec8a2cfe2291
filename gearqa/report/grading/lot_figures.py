"""Figures of a lot: the values of all gears against their limits."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from gearqa.model.results import GearResult
from gearqa.report.blocks.document import Figure, symbol
from gearqa.report.draw import palette, plot
from gearqa.report.draw.chart_scales import HALF
from gearqa.report.draw.row_values import RowValue
from gearqa.report.grading.values import limits_of, values_of
from gearqa.symbols import PARAMETERS
from gearqa.wording.numbers import count_text, short_text, value_text
from gearqa.wording.sentences import place_text

BIN = 2.5
"""Width of a bar of the distribution, in per cent of the tolerance."""
WIDEST = 200.0


@dataclass(slots=True)
class _Series:
    """One parameter on one flank over the gears."""

    values: list[float] = field(default_factory=list)
    places: list[float] = field(default_factory=list)
    """Place within the limits, per cent: 0 the middle (or none), 100 the upper, -100 the lower."""
    master: float | None = None


@dataclass(slots=True)
class LotValues:
    """Values of all gears, by parameter and flank, gathered gear by gear."""

    series: dict[tuple[str, str], _Series] = field(default_factory=dict)

    def add(self, gear: GearResult) -> None:
        """Take in one gear."""
        for key, flank, parameter, one in values_of(gear):
            limits = limits_of(key, one)
            if limits is None:
                continue
            low, high = limits if PARAMETERS[key].signed else (-limits[1], limits[1])
            own = self.series.setdefault((key, flank or ""), _Series())
            own.values.append(one.value_um)
            own.places.append(100 * (one.value_um - (low + high) / 2) / ((high - low) / 2))
            if one.limits_um is None and parameter.master_tolerance_um is not None:
                own.master = 100 * parameter.master_tolerance_um / high

    def figures(self) -> tuple[Figure, ...]:
        """One chart of the parameters that are limited on one side, one of the slopes."""
        out = []
        for signed, title in (
            (False, "Distribution over the gears: totals, forms, pitch and runout"),
            (True, "Distribution over the gears: slopes"),
        ):
            some = {
                place: one
                for place, one in self.series.items()
                if PARAMETERS[place[0]].signed == signed and one.values
            }
            if some:
                out.append(_figure(some, signed, title))
        return tuple(out)


def _figure(series: dict[tuple[str, str], _Series], signed: bool, title: str) -> Figure:
    furthest = max(max(map(abs, one.places)) for one in series.values())
    edge = min(WIDEST, max(110.0, np.ceil(furthest / 10) * 10 + 5))
    low = -edge if signed else 0.0
    bins = np.arange(low, edge + BIN / 2, BIN)
    middles = bins[:-1] + BIN / 2
    panels, sentences = [], [f"{title}, in per cent of the tolerance."]
    master_named = False
    for (key, flank), one in series.items():
        places = np.clip(np.array(one.places), bins[0] + 1e-9, bins[-1] - 1e-9)
        counts, _ = np.histogram(places, bins)
        layers: list[plot.Layer] = [
            plot.Bars(middles, counts.astype(np.float64), BIN * 0.86, name="gears"),
            plot.Mark(100.0, ink=palette.LIMIT, width=1.6, name="limit"),
        ]
        if signed:
            layers += [plot.Mark(-100.0, ink=palette.LIMIT, width=1.6), plot.Mark(0.0, width=0.5)]
        if one.master is not None:
            name = "" if master_named else "limit of master quality"
            layers.append(plot.Mark(one.master, ink=palette.TEXT, dash="3 2", name=name))
            master_named = True
            if signed:
                layers.append(plot.Mark(-one.master, ink=palette.TEXT, dash="3 2"))
        values = np.array(one.values)
        outside = int(np.sum(np.abs(one.places) > 100 + 1e-7))
        worst = values[int(np.argmax(np.abs(one.places)))]
        shown = [float(np.median(values)), float(worst)]
        row = tuple(
            RowValue("", value_text(v, signed=signed), status="bad" if k and outside else None)
            for k, v in enumerate(shown)
        )
        panels.append(
            plot.Panel(
                label="", detail="", layers=tuple(layers), values=row, y=(0.0, float(counts.max()) * 1.08),
                y_ticks=(), height=24, outside=(symbol(key), flank),
            )
        )  # fmt: skip
        sentences.append(
            f"{place_text(key, flank or None)}: {count_text(len(values), 'gear')}, "
            f"median {value_text(shown[0], signed=signed)}, "
            f"worst {value_text(shown[1], signed=signed)} µm, {outside} beyond the limit."
        )
    chart = plot.Plot(
        title=title, description=" ".join(sentences), panels=tuple(panels), x=(low, float(edge)),
        x_name="value in % of its tolerance", heads=("median", "worst"), width=HALF,
    )  # fmt: skip
    beyond = f" The outermost bars hold everything beyond {short_text(edge)} %." if furthest > edge else ""
    about = "One row per parameter and flank; the height of a bar is the number of gears."
    return plot.figure(chart, f"{about} Median and worst in µm.{beyond}")

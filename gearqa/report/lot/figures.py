"""Charts of a lot certificate, one per question: limits, distribution, sampling plan, order of production.

They are stacked, each over the whole width. In the words of ISO 22514-2: distribution against limits,
probability plot; the rest in those of sampling and of process charts.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from gearqa.arrays import Array
from gearqa.model.lot import LotGear, LotResult, ParameterStatistics, series_text
from gearqa.report.blocks import document as doc
from gearqa.report.blocks.document import Figure
from gearqa.report.draw import palette, plot
from gearqa.report.draw.chart_scales import HALF, step_label, ticks
from gearqa.report.draw.row_values import RowValue
from gearqa.report.lot.words import Series, all_series, series_name
from gearqa.symbols import SIZE, quantity_of
from gearqa.wording.numbers import (
    count_text,
    fixed_text,
    percent_text,
    range_text,
    share_text,
    short_text,
    value_text,
)

BIN = 2.5
"""Width of a bar of the distribution, in per cent of what is allowed."""
WIDEST = 200.0
ROW = 10.5
"""Height of a row of one flank; two share a name."""
SINGLE_ROW = 14.0
"""Height of a row with a name of its own."""
TALL = 80.0
FEWEST_FOR_A_PLOT = 3
PROBABILITIES = (
    (-2.326, "1 %"), (-1.645, "5 %"), (-0.842, "20 %"), (0.0, "50 %"), (0.842, "80 %"), (1.645, "95 %"),
    (2.326, "99 %"),
)  # fmt: skip
"""Normal quantiles with their probabilities: the ruling of a probability plot."""


def uses(key: str, one: ParameterStatistics) -> Array:
    """Share of what is allowed that each gear uses up, by its trace nearest to a limit; 1 is the limit."""
    if one.upper_limit_um is None:
        return np.array([])
    values, (middle, half) = np.array(one.values_um), _middle_and_half(one)
    if one.lower_limit_um is None:
        return values / half
    if quantity_of(key).signed:
        highs, lows = np.array(one.max_values_um), np.array(one.min_values_um)
        return np.asarray(np.maximum(highs - middle, middle - lows) / half)
    return np.abs(values - middle) / half


def nearest(series: Sequence[Series]) -> Series | None:
    """The series that comes nearest to its limit, or goes furthest beyond it."""
    known = [one for one in series if uses(one[0], one[2]).size]
    return max(known, key=lambda one: float(uses(one[0], one[2]).max()), default=None)


# --- distribution against limits -----------------------------------------------------------------


def limits_figure(result: LotResult) -> Figure | None:
    """Every series on one scale: per cent of what the drawing allows."""
    series = [one for one in all_series(result) if uses(one[0], one[2]).size]
    if not series:
        return None
    title = "Distribution against limits: how much of the tolerance do the gears use?"
    furthest = 100 * max(float(uses(key, one).max()) for key, _, one in series)
    edge = float(min(WIDEST, max(110.0, np.ceil(furthest / 10) * 10 + 5)))
    bins = np.arange(0.0, edge + BIN / 2, BIN)
    middles = bins[:-1] + BIN / 2
    guard = result.decision_rule.guard
    before = ""
    panels, lines = [], ["Per parameter and flank: bars count gears, 100 % is the limit of the drawing."]
    for key, flank, one in series:
        shares = 100 * uses(key, one)
        counts, _ = np.histogram(np.clip(shares, 0.0, bins[-1] - 1e-9), bins)
        layers: list[plot.Layer] = [
            plot.Bars(middles, counts.astype(np.float64), BIN * 0.86, name="gears"),
            plot.Mark(100.0, ink=palette.LIMIT, width=1.6, name="limit"),
        ]
        width = _middle_and_half(one)[1]
        if guard is not None and one.u_um is not None and 0 < guard * one.u_um / 2 < width:
            proven = 100 * (1 - guard * one.u_um / 2 / width)
            name = "conformity proven up to here"
            layers.append(plot.Mark(proven, ink=palette.MUTED, width=0.9, dash="2 2", name=name))
        top = float(counts.max())
        end = _interval_share(one)
        if end is not None and end <= edge:
            name = f"end of the tolerance interval for {share_text(one.coverage, 6)} of the lot"
            place = np.array([end]), np.array([top / 2])
            layers.append(plot.Dots(*place, palette.DESIGN, "diamond", 2.4, hollow=True, name=name))
        outside = int(np.sum(shares > 100 * (1 + 1e-9)))
        used = percent_text(float(shares.max()) / 100)
        panels.append(
            plot.Panel(
                label="", detail="", layers=tuple(layers), y=(0.0, top * 1.08), y_ticks=(),
                height=SINGLE_ROW if flank == "both" else ROW,
                values=(RowValue("", used, status="bad" if outside else None),),
                outside=("" if key == before else doc.symbol(key), "" if flank == "both" else flank),
            )
        )  # fmt: skip
        before = key
        counted = f"{series_text(key, flank)}: {count_text(len(shares), 'gear')}"
        lines.append(f"{counted}, worst {used}, {outside} beyond the limit.")
    drawing = plot.Plot(
        width=HALF, title=title, description=" ".join(lines), panels=tuple(panels), x=(0.0, edge),
        x_name="value in % of what is allowed; slopes: the trace nearest to a limit", heads=("worst",),
    )  # fmt: skip
    beyond = f"The last bar holds everything beyond {short_text(edge)} %." if furthest > edge else ""
    return plot.figure(drawing, beyond)


def _extent(values: Array) -> str:
    return f"{range_text(float(values.min()), float(values.max()))} µm"


def _middle_and_half(one: ParameterStatistics) -> tuple[float, float]:
    """Middle and half width of the limits; with an upper one only 0 and the limit."""
    upper, lower = one.upper_limit_um, one.lower_limit_um
    assert upper is not None
    return (0.0, upper) if lower is None else ((upper + lower) / 2, (upper - lower) / 2)


def _interval_share(one: ParameterStatistics) -> float | None:
    """Where the tolerance interval ends, in per cent of what is allowed."""
    if one.tolerance_interval_um is None or one.upper_limit_um is None:
        return None
    low, high = one.tolerance_interval_um
    middle, half = _middle_and_half(one)
    if one.lower_limit_um is None:
        return 100 * high / half
    ends = [high - middle, *([middle - low] if low is not None else [])]
    return 100 * max(ends) / half


# --- probability plot ----------------------------------------------------------------------------


def probability_figure(result: LotResult) -> Figure | None:
    """Do the values follow the distribution that is assumed? Of the series nearest to its limit."""
    assumed = [
        one
        for one in all_series(result)
        if one[2].distribution != "not assumed" and len(one[2].plot_values_um) >= FEWEST_FOR_A_PLOT
    ]
    chosen = nearest(assumed)
    if chosen is None:
        return None
    key, flank, one = chosen
    logs = one.distribution == "lognormal"
    values, quantiles = np.array(one.plot_values_um), np.array(one.plot_quantiles)
    working = np.log(values) if logs else values
    centre, spread = float(working.mean()), float(working.std(ddof=1))
    if spread <= 0:
        return None
    name = series_text(key, flank)
    question = f": does it follow the {one.distribution} distribution that is assumed?"
    reach = max(2.4, float(np.abs(quantiles).max()) + 0.2)
    ends = np.array([-reach, reach])
    line = centre + spread * ends
    low = float(min(line[0], working.min())) - 0.1 * spread
    high = float(max(line[1], working.max())) + 0.1 * spread
    layers: tuple[plot.Layer, ...] = (
        plot.Line(line, ends, palette.DESIGN, 1.1, "5 2.5", f"{one.distribution}, mean and sd of the sample"),
        plot.Dots(working, quantiles, size=2.2, name="gears"),
    )
    check = normality_sentence(one)
    mean = f", {_which(key)}" if quantity_of(key).signed else ""
    ticks_at = _log_ticks(low, high) if logs else None
    drawing = plot.Plot(
        width=HALF, title=f"Probability plot of {name}{question}",
        description=f"{name}: {len(values)} gears from {_extent(values)} against the quantiles of the "
        f"{one.distribution} distribution. {check}",
        panels=(plot.Panel("", layers, y=(-reach, reach), y_ticks=PROBABILITIES, height=TALL),),
        x=(low, high), x_name=f"{name}, µm{', logarithmic' if logs else mean}", x_ticks=ticks_at,
    )  # fmt: skip
    caption = f"The series nearest to its limit of those with a distribution. {check}"
    named = doc.join("Probability plot of ", series_name(key, flank), question)
    return plot.figure(drawing, caption, title=named)


def _which(key: str) -> str:
    """Which value of a gear is drawn of a signed quantity."""
    return "from the middle of its limits" if key == SIZE else "mean over the traces of the flank"


def normality_sentence(one: ParameterStatistics) -> str:
    """Result of the normality check, in one sentence."""
    if one.normality is None:
        return f"Normality check: none, {one.normality_withheld_reason}."
    seen = "a departure is seen" if one.normality.departure else "no departure seen, which proves none"
    return f"Normality check (Anderson-Darling): p = {fixed_text(one.normality.p, 3)}, {seen}."


def _log_ticks(low: float, high: float) -> tuple[tuple[float, str], ...]:
    """Round values on a logarithmic axis, at their logarithms."""
    bottom, top = float(np.exp(low)), float(np.exp(high))
    marks = [(v, label) for v, label in ticks(bottom, top, 8) if v > 0]
    if top / bottom > 8:  # equal steps would crowd at the upper end
        marks = []
        for power in range(int(np.floor(np.log10(bottom))), int(np.ceil(np.log10(top))) + 1):
            marks += [(f * 10.0**power, step_label(f * 10.0**power, 10.0**power)) for f in (1, 2, 5)]
    return tuple((float(np.log(v)), label) for v, label in marks if low <= np.log(v) <= high)


# --- operating characteristic --------------------------------------------------------------------


def characteristic_figure(result: LotResult) -> Figure | None:
    """What does the plan really used let through?"""
    sampling = result.sampling
    points = np.array(sampling.operating_characteristic)
    if points.size == 0 or sampling.p95 is None or sampling.p50 is None or sampling.p10 is None:
        return None
    used = f"{count_text(sampling.measured_n, 'gear')}, acceptance number {sampling.ac}"
    title = f"Operating characteristic of the plan really used ({used}): what does it let through?"
    marked = np.array([(sampling.p95, 0.95), (sampling.p50, 0.50), (sampling.p10, 0.10)])
    end = max(100 * float(points[-1, 0]), 100 * float(marked[-1, 0]))
    layers = (
        plot.Line(100 * points[:, 0], 100 * points[:, 1], width=1.5, name="probability of acceptance"),
        plot.Dots(100 * marked[:, 0], 100 * marked[:, 1], size=2.6, name="95, 50 and 10 %"),
    )
    y_ticks = ((0.0, ""), (25.0, "25 %"), (50.0, "50 %"), (75.0, "75 %"), (100.0, ""))
    marks = [
        plot.Mark(100 * quality, f"{name} {share_text(quality)}", dash="4 2")
        for name, quality in (("limiting quality", sampling.lq), ("AQL", sampling.aql))
        if quality is not None and 100 * quality <= end
    ]
    drawing = plot.Plot(
        width=HALF, title=title,
        description=f"Acceptance falls from 95 % at {share_text(sampling.p95)} nonconforming over 50 % at "
        f"{share_text(sampling.p50)} to 10 % at {share_text(sampling.p10)}.",
        panels=(plot.Panel("", layers, y=(0.0, 100.0), height=TALL, y_ticks=y_ticks),),
        x=(0.0, end), x_name="nonconforming in the process, %", marks=tuple(marks), units="%|%",
    )  # fmt: skip
    return plot.figure(drawing)


# --- order of production -------------------------------------------------------------------------


def order_figure(result: LotResult) -> Figure | None:
    """Do the values move with the order of production? Of the series nearest to its limit."""
    chosen = nearest(all_series(result))
    if chosen is None or not result.order_known or len(chosen[2].values_um) < FEWEST_FOR_A_PLOT:
        return None
    key, flank, one = chosen
    name = series_text(key, flank)
    values = np.array(one.values_um)
    x = np.arange(1, values.size + 1, dtype=np.float64)
    layers: list[plot.Layer] = []
    lows, highs = values, values
    one_of_many = "reading" if key == SIZE else "trace"
    name_of_dots = f"mean of the {one_of_many}s" if one.max_values_um else "gears"
    if one.max_values_um:
        lows, highs = np.array(one.min_values_um), np.array(one.max_values_um)
        extent = f"smallest to largest {one_of_many}"
        layers.append(plot.strokes(x, lows, highs, palette.MEASURED, 0.8, extent))
    layers.append(plot.Dots(x, values, size=2.2, name=name_of_dots))
    flagged = np.array([serial in one.outliers for serial in one.serials])
    if flagged.any():
        far = x[flagged], values[flagged]
        layers.append(plot.Dots(*far, palette.DESIGN, "diamond", 4.0, "far from the rest", hollow=True))
    low, high = float(lows.min()), float(highs.max())
    for limit in (one.lower_limit_um, one.upper_limit_um):
        if limit is not None:
            layers.append(plot.Level(limit, width=1.6, name="limit"))
            low, high = min(low, limit), max(high, limit)
    room, tests = 0.06 * (high - low), trend_sentence(one)
    gears = {gear.serial: gear for gear in result.gears}
    drawing = plot.Plot(
        width=HALF, title=f"Order of production of {name}: does it move?",
        description=f"{name} of {values.size} gears in order of production, from {_extent(values)}. {tests}",
        panels=(plot.Panel("", tuple(layers), y=(low - room, high + room), height=TALL),),
        x=(0.5, values.size + 0.5), x_name="gear, in order of production", x_ticks=plot.numbered(values.size),
        marks=_cycle_marks([gears[serial] for serial in one.serials]), units="gear|µm",
    )  # fmt: skip
    first, last = (value_text(float(values[k]), signed=quantity_of(key).signed) for k in (0, -1))
    caption = (
        f"The series nearest to its limit; first gear {first}, last {last} µm; upright lines: a new dress "
        f"cycle. {tests}"
    )
    named = doc.join("Order of production of ", series_name(key, flank), ", µm: does it move?")
    return plot.figure(drawing, caption, title=named)


def trend_sentence(one: ParameterStatistics) -> str:
    """Result of the tests on order, in one sentence."""
    if one.trend_p is None or one.runs_p is None:
        return "Too few gears for a test of randomness." if len(one.values_um) < 8 else "Not tested."
    trend, runs = fixed_text(one.trend_p, 3), fixed_text(one.runs_p, 3)
    return f"Tests of randomness: trend p = {trend}, runs p = {runs}."


def _cycle_marks(gears: Sequence[LotGear]) -> tuple[plot.Mark, ...]:
    """An upright line before the first gear of each dress cycle, where the cycles are known."""
    rows = [gear.production for gear in gears]
    labels = [
        (row.grinder, row.wheel, row.dress) for row in rows if row is not None and row.dress is not None
    ]
    if len(labels) < len(gears):
        return ()
    starts = [k for k in range(1, len(labels)) if labels[k] != labels[k - 1]]
    return tuple(
        plot.Mark(k + 0.5, str(labels[k][2])[:12] if len(starts) <= 12 else "", dash="3 2") for k in starts
    )

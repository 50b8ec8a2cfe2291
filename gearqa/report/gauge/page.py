"""A gauge study in words: terminal blocks and the printed page. Variance table first, then one dot plot."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from gearqa.model.gauge import (
    ACCEPTABLE_PERCENT,
    WANTED_INDEX,
    CrossedResult,
    GaugeResult,
    ReferenceResult,
    rounded_up,
    uncertainty_block,
)
from gearqa.report.blocks import document as doc
from gearqa.report.draw import palette, plot
from gearqa.symbols import PARAMETERS
from gearqa.version import __version__
from gearqa.wording.numbers import DASH, count_text, value_text
from gearqa.wording.safety import CAUTIONS, SIMULATED_BANNER
from gearqa.wording.visible import clip

SIGNIFICANT = 0.05
SHAPES: tuple[plot.Shape, ...] = ("circle", "square", "triangle", "diamond", "cross")
INKS = (palette.FILTERED, palette.DESIGN, palette.TEXT, palette.GOOD, palette.OPEN)
STATUS: dict[bool | None, doc.Status] = {True: "good", False: "bad", None: "none"}
MOST_ITEMS = 60
"""Items that the dot plot names on its axis."""


def title(result: GaugeResult) -> str:
    """What was studied."""
    part = (
        ""
        if result.part is None
        else f", part {' '.join(filter(None, (result.part['number'], result.part['revision'])))}"
    )
    kind = "calibrated gear" if result.kind == "reference" else f"items and {result.factor}"
    return f"Gauge study with {kind}{part}"


def verdict(result: GaugeResult) -> doc.Verdict:
    """Is the instrument good enough."""
    words = {True: "yes", False: "no", None: "not judged"}
    answers = [
        doc.Answer(
            "Good enough for the tolerance", words[result.suitable], STATUS[result.suitable], _why(result)
        )
    ]
    if result.uncertainty_um:
        shown = ", ".join(
            f"{PARAMETERS[key].symbol} {value:.2f}" for key, value in result.uncertainty_um.items()
        )
        answers.append(doc.Answer("Expanded uncertainty U in µm", shown, "none", "k = 2, bias added in full"))
    return doc.Verdict(tuple(answers))


def _why(result: GaugeResult) -> str:
    if result.part is None:
        return "no part file, no limits: give --part"
    refused = [_name(one) for some in result.crossed.values() for one in some if one.suitable is False]
    refused += [_name(one) for some in result.references.values() for one in some if one.suitable is False]
    if refused:
        return f"not for {', '.join(refused)}"
    if result.suitable is None and result.kind == "reference":
        return "no two-sided limits for Cgk, and no uncertainties of reference and instrument for En"
    if result.suitable is None:
        return "the drawing has no limits for what was studied"
    if result.kind == "reference":
        return f"Cg and Cgk of at least {WANTED_INDEX:g} wanted, and agreement with the stated U"
    return f"gauge spread of at most {ACCEPTABLE_PERCENT:g} % of the tolerance (6 s over its width)"


def _name(one: CrossedResult | ReferenceResult) -> str:
    item = f" of {one.item}" if isinstance(one, ReferenceResult) and one.item != "reference gear" else ""
    return f"{one.symbol} {one.flank}{item}" if one.flank else f"{one.symbol}{item}"


# --- tables -------------------------------------------------------------------------------------------


def variance_table(result: GaugeResult, *, wide: bool = True) -> doc.Table:
    """Spreads with the interval of the gauge's, and what they mean."""
    some = [(key, one) for key, several in result.crossed.items() for one in several]
    columns = [
        doc.Column("parameter", "left"),
        doc.Column("flank", "left"),
        doc.Column("gauge s"),
        doc.Column("95 % interval"),
    ]
    if wide:
        columns += [doc.Column(f"of them {word}") for word in ("repeat", result.factor, "interaction")]
    columns += [doc.Column("items s"), doc.Column("% of tolerance"), doc.Column("% of total")]
    if wide:
        columns.append(doc.Column("distinct categories"))
    lines = []
    for key, one in some:
        low, high = one.gauge_sd_interval_um
        v = one.variance
        percent = one.percent_of_tolerance
        cells: list[doc.Cell | doc.Text] = [
            doc.symbol(key), one.flank or DASH, value_text(one.gauge_sd_um),
            f"{value_text(low)} to {DASH if high is None else value_text(high)}",
        ]  # fmt: skip
        if wide:
            cells += [value_text(np.sqrt(part)) for part in (v.repeatability, v.operator)]
            cells.append("pooled" if one.interaction_pooled else value_text(np.sqrt(v.interaction)))
        cells += [
            value_text(np.sqrt(v.item)),
            DASH if percent is None else doc.Cell(f"{percent:.0f}", STATUS[one.suitable]),
            DASH if one.percent_of_total_variation is None else f"{one.percent_of_total_variation:.0f}",
        ]  # fmt: skip
        if wide:
            cells.append(DASH if one.distinct_categories is None else str(one.distinct_categories))
        lines.append(tuple(cells))
    first = some[0][1]
    factor = result.factor.removesuffix("s") if first.operators == 1 else result.factor
    notes = [
        f"Standard deviations in µm; {count_text(first.items, 'item')}, {first.operators} {factor}, "
        f"{count_text(first.trials, 'trial')}. Interval: modified large sample, mean squares before pooling."
    ]
    tested = [one for _, one in some if one.interaction_p is not None]
    if tested:
        notes.append(
            f"Interaction pooled with the repeats where the p of its F test is above {result.pool_above:g}: "
            + ", ".join(
                f"{_name(one)} p = {one.interaction_p:.3f}{' (pooled)' if one.interaction_pooled else ''}"
                for one in tested
            )
            + "."
        )
    elif first.trials == 1:
        notes.append("One trial each: interaction and repeats cannot be told apart and are taken together.")
    return doc.Table("How far the instrument spreads", tuple(columns), tuple(lines), tuple(notes), dense=wide)


def squares_table(result: GaugeResult) -> doc.Table:
    """Sums of squares and variance components, for whoever checks the calculation."""
    squares, variances = "sums of squares", "variances, unclipped"
    columns = (
        doc.Column("parameter", "left"),
        doc.Column("flank", "left"),
        *(doc.Column(word, group=squares) for word in ("item", "operator", "interaction", "repeat", "total")),
        *(doc.Column(word, group=variances) for word in ("item", "operator", "interaction", "repeat")),
    )
    lines: list[tuple[doc.Cell | doc.Text, ...]] = []
    for key, several in result.crossed.items():
        for one in several:
            ss, raw = one.sum_of_squares, one.variance_unclipped
            numbers = (
                ss.item, ss.operator, ss.interaction, ss.repeatability, ss.total,
                raw.item, raw.operator, raw.interaction, raw.repeatability,
            )  # fmt: skip
            lines.append((doc.symbol(key), one.flank or DASH, *(f"{v:.4f}" for v in numbers)))
    return doc.Table("Analysis of variance, µm²", columns, tuple(lines), dense=True)


def reference_table(result: GaugeResult, *, wide: bool = True) -> doc.Table:
    """Bias and spread on calibrated gears."""
    columns = [
        doc.Column("parameter", "left"), doc.Column("flank", "left"), doc.Column("n"),
        doc.Column("reference"), doc.Column("bias"), doc.Column("95 % interval"), doc.Column("s"),
        doc.Column("U"), doc.Column("Cg"), doc.Column("Cgk"),
    ]  # fmt: skip
    if wide:
        columns += [
            doc.Column("stated U"),
            doc.Column("En"),
            doc.Column("verdict", "left"),
        ]
    lines = []
    for key, several in result.references.items():
        for one in several:
            low, high = one.bias_interval_um
            cells: list[doc.Cell | doc.Text] = [
                doc.symbol(key), one.flank or DASH, str(one.n), value_text(one.reference_um, signed=True),
                value_text(one.bias_um, signed=True),
                f"{value_text(low, signed=True)} to {value_text(high, signed=True)}",
                value_text(one.sd_um), DASH if one.U_um is None else f"{rounded_up(one.U_um):.2f}",
                *(DASH if v is None else f"{v:.2f}" for v in (one.cg, one.cgk)),
            ]  # fmt: skip
            if wide:
                cells += [
                    DASH if one.stated_um is None else f"{one.stated_um:g}",
                    DASH if one.en is None else f"{one.en:+.2f}",
                ]
                words = {True: "good enough", False: "not good enough", None: "not judged"}
                cells.append(doc.Cell(words[one.suitable], STATUS[one.suitable]))
            lines.append(tuple(cells))
    notes = (
        "Values in µm. U = 2 times the root of spread and reference uncertainty, plus the bias (in the "
        "manner of ISO 18653, from memory). Cg and Cgk by a tenth of the tolerance either side; none for "
        "one-sided limits.",
    )
    return doc.Table(
        "Bias and spread against the certificate", tuple(columns), tuple(lines), notes, dense=wide
    )


# --- terminal and page --------------------------------------------------------------------------------


def gauge_blocks(result: GaugeResult, *, wide: bool) -> list[doc.Block]:
    """What the terminal shows."""
    blocks: list[doc.Block] = [doc.Paragraph(SIMULATED_BANNER, "lead")] if result.simulated else []
    blocks += [doc.Paragraph(title(result), "lead"), verdict(result)]
    if result.crossed:
        blocks.append(variance_table(result, wide=wide))
    if result.references:
        blocks.append(reference_table(result, wide=wide))
    if result.cautions:
        blocks.append(doc.Bullets(tuple(_sentence(n.message) for n in result.cautions)))
    lines = tuple((line,) for line in uncertainty_block(result))
    blocks.append(doc.Table("", (doc.Column("for part.toml", "left"),), lines))
    blocks.append(doc.Cautions(CAUTIONS))
    return blocks


def _sentence(text: str) -> str:
    return f"{text[:1].upper()}{text[1:]}."


def gauge_document(result: GaugeResult) -> doc.Document:
    """The printed page."""
    blocks: list[doc.Block] = [verdict(result)]
    if result.crossed:
        blocks += [variance_table(result), dot_plot(result)]
        interaction = interaction_plot(result)
        if interaction is not None:
            blocks.append(interaction)
    if result.references:
        blocks += [reference_table(result), reference_plot(result)]
    notes = [doc.Bullets(tuple(_sentence(n.message) for n in result.cautions))] if result.cautions else []
    toml = doc.Table(
        "For part.toml",
        (doc.Column("copy these lines", "left"),),
        tuple((line,) for line in uncertainty_block(result)),
    )
    sections = [doc.Section("", tuple(blocks), id="result"), doc.Section("Notes", (*notes, toml), id="notes")]
    if result.crossed:
        sections.append(doc.Section("Calculation", (squares_table(result),), id="calculation"))
    files = tuple(
        (clip(f.file, 60), f.sha256[:16] if f.sha256 else f.left_out or DASH) for f in result.inputs
    )
    columns = (doc.Column("file", "left", weight=1.0), doc.Column("SHA-256, first 16 digits", "left"))
    sections.append(
        doc.Section(
            "",
            (
                doc.Table("Files read", columns, files, dense=True),
                doc.Cautions(CAUTIONS),
                doc.Signature(("Studied by", "Approved by")),
            ),
        )
    )
    name = title(result)
    sheet = doc.Sheet(name, tuple(sections), id="gauge")
    return doc.Document(
        name, name, f"gearqa {__version__}", (sheet,), simulated=result.simulated, keywords=("gauge study",)
    )


# --- figures ------------------------------------------------------------------------------------------


def _crossed(result: GaugeResult) -> Iterator[CrossedResult]:
    for several in result.crossed.values():
        yield from several


def dot_plot(result: GaugeResult) -> doc.Figure:
    """Every value: items across, operators side by side."""
    panels, told = [], []
    names: tuple[str, ...] = ()
    for one in _crossed(result):
        x, items = _places(one), one.series.items
        names = items if len(items) > len(names) else names
        layers: list[plot.Layer] = []
        for place, operator in enumerate(one.series.operators):
            values = one.series.values_um[:, place, :]
            across = np.repeat(x[:, place], values.shape[1])
            layers.append(
                plot.Dots(
                    across, values.ravel(), ink=INKS[place % len(INKS)], shape=SHAPES[place % len(SHAPES)],
                    size=1.9, name=clip(f"{result.factor.removesuffix('s')} {operator}", 24),
                )
            )  # fmt: skip
        panels.append(plot.Panel(label=_name(one), detail="µm", layers=tuple(layers), height=96))
        told.append(f"{_name(one)}: gauge standard deviation {value_text(one.gauge_sd_um)} µm.")
    heading = f"All values: items across, {result.factor} side by side"
    chart = plot.Plot(
        title=heading, description=f"{heading}. " + " ".join(told), panels=tuple(panels),
        x=(0.4, len(names) + 0.6), x_name="item",
        x_ticks=tuple((k + 1.0, clip(name, 8)) for k, name in enumerate(names[:MOST_ITEMS])),
    )  # fmt: skip
    return doc.Figure(
        plot.draw(chart), heading, chart.description, "A dot is one value; trials lie over each other."
    )


def _places(one: CrossedResult) -> np.ndarray:
    """Place of every item and operator on the axis, shape (items, operators)."""
    operators = len(one.series.operators)
    side = (np.arange(operators) - (operators - 1) / 2) * (0.6 / max(operators, 2))
    return np.asarray(np.arange(1, len(one.series.items) + 1)[:, None] + side[None, :])


def interaction_plot(result: GaugeResult) -> doc.Figure | None:
    """Item means of each operator, where operators differ by item; None where they do not."""
    panels, told = [], []
    items = 0
    for one in _crossed(result):
        if one.interaction_p is None or one.interaction_p >= SIGNIFICANT:
            continue
        means = one.series.values_um.mean(axis=2)
        means = means - means.mean(axis=1, keepdims=True)
        x = np.arange(1, len(means) + 1, dtype=np.float64)
        items = max(items, len(means))
        layers = tuple(
            plot.Line(
                x,
                means[:, k],
                ink=INKS[k % len(INKS)],
                dash=("", "4 2", "1 2")[k % 3],
                name=clip(operator, 24),
            )
            for k, operator in enumerate(one.series.operators)
        )
        panels.append(
            plot.Panel(label=_name(one), detail=f"µm, p = {one.interaction_p:.3f}", layers=layers, height=70)
        )
        told.append(f"{_name(one)}: p = {one.interaction_p:.3f}.")
    if not panels:
        return None
    heading = f"Interaction: means of the {result.factor} by item, less the item's mean"
    chart = plot.Plot(
        title=heading,
        description=f"{heading}. " + " ".join(told),
        panels=tuple(panels),
        x=(0.4, items + 0.6),
        x_name="item",
    )
    return doc.Figure(
        plot.draw(chart), heading, chart.description, "Shown because the interaction is significant."
    )


def reference_plot(result: GaugeResult) -> doc.Figure:
    """Values of the calibrated gear in their order, about the reference."""
    panels, told = [], []
    most = 1
    for several in result.references.values():
        for one in several:
            values = one.series.values_um - one.reference_um
            most = max(most, len(values))
            layers: list[plot.Layer] = []
            if one.reference_uncertainty_um is not None:
                U = one.reference_uncertainty_um  # noqa: N806
                layers.append(plot.Band(-U, U, name="uncertainty of the reference"))
            layers += [
                plot.Level(0.0, width=0.8, name="reference"),
                plot.Level(one.bias_um, ink=palette.DESIGN, dash="4 2", name="mean of the values"),
                plot.Dots(np.arange(1, len(values) + 1, dtype=np.float64), values, size=2.0),
            ]
            panels.append(plot.Panel(label=_name(one), detail="µm", layers=tuple(layers), height=80))
            told.append(f"{_name(one)}: bias {value_text(one.bias_um, signed=True)} µm.")
    heading = "Values less reference, in their order"
    chart = plot.Plot(
        title=heading,
        description=f"{heading}. " + " ".join(told),
        panels=tuple(panels),
        x=(0.4, most + 0.6),
        x_name="trial",
    )
    return doc.Figure(plot.draw(chart), heading, chart.description)

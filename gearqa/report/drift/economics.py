"""What a dress interval costs: parts per dress against risk, centring, one more measured gear."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from gearqa.model.drift import DressDecision, DriftSeries
from gearqa.report.blocks import document as doc
from gearqa.report.draw import palette, plot
from gearqa.report.draw.chart_scales import HALF
from gearqa.report.drift import words
from gearqa.wording.numbers import count_text, share_text

HIGHEST = 0.10
"""Risks beyond are not drawn."""
HEIGHT = 130.0


def choices_table(decision: DressDecision) -> doc.Table | None:
    """Parts per dress for several risks."""
    if all(one.at_least for one in decision.choices):
        return None
    rows = tuple(
        (
            share_text(one.risk),
            words.at_least_text(one.parts, one.at_least),
            words.at_least_text(one.one_more_parts, one.one_more_at_least),
        )
        for one in decision.choices
    )
    columns = (
        doc.Column("risk", "left"), doc.Column("parts\nper dress"),
        doc.Column("with one more\ngear measured"),
    )  # fmt: skip
    centred = "" if decision.centred_parts is None else (
        f" With the level of every series centred: {count_text(decision.centred_parts, 'part')} at the risk "
        "chosen."
    )  # fmt: skip
    note = "Risk that the last part before a dress lies beyond a limit; ≥: no later part was measured."
    return doc.Table("Parts per dress against risk", columns, rows, notes=(f"{note}{centred}",))


def risk_figure(members: Sequence[DriftSeries], decision: DressDecision, risk: float) -> doc.Figure | None:
    """The risk of the last part over the parts per dress: of all series with limits the largest."""
    curves = [one.charts.risk for one in members if len(one.charts.risk)]
    reach = min(map(len, curves), default=0)
    if reach < 2 or decision.parts is None:
        return None
    worst = np.max([curve[:reach] for curve in curves], axis=0)
    parts = np.arange(1.0, reach + 1)
    top = min(HIGHEST, max(2.5 * risk, 1.1 * float(worst.max())))
    shown = np.where(worst <= top, worst, np.nan)
    marks = tuple(_marks(decision))
    panel = plot.Panel(
        "Risk, %",
        (
            plot.Level(100 * risk, palette.LIMIT, 1.6, words=f"chosen: {share_text(risk)}", words_at="left"),
            plot.Line(parts, 100 * shown, width=1.4, name="risk that the last part lies beyond a limit"),
            *marks,
        ),
        y=(0.0, 100 * top),
        height=HEIGHT,
    )
    title = "Risk against parts per dress"
    text = ", ".join(
        f"{share_text(one.risk)}: {words.at_least_text(one.parts, one.at_least)}" for one in decision.choices
    )
    description = f"Parts per dress by risk: {text}."
    last = float(max(reach, decision.usual_parts or 0)) + 1
    drawn = plot.Plot(title, description, (panel,), (0.0, last), "parts per dress", width=HALF)
    return plot.figure(drawn)


def _marks(decision: DressDecision) -> Iterator[plot.Mark]:
    if decision.parts:
        yield plot.Mark(float(decision.parts), ink=palette.DESIGN, width=1.4, name="advised interval")
    if decision.usual_parts is not None and decision.usual_parts != decision.parts:
        yield plot.Mark(float(decision.usual_parts), ink=palette.TEXT, dash="3 2", name="usual interval")

"""A gauge study as page and PDF: verdict, table and dot plot first, the calculation after the notes."""

from __future__ import annotations

from gearqa.model.gauge import GaugeResult
from gearqa.report.blocks import document as doc
from gearqa.report.blocks.inputs import inputs_table
from gearqa.report.gauge.figures import dot_plot, interaction_plot, reference_plot
from gearqa.report.gauge.words import (
    linearity_table,
    reference_table,
    squares_table,
    title,
    uncertainty_table,
    variance_table,
    verdict,
)
from gearqa.version import __version__
from gearqa.wording.safety import CAUTIONS
from gearqa.wording.sentences import sentence


def gauge_document(result: GaugeResult) -> doc.Document:
    """The printed page."""
    blocks: list[doc.Block] = [verdict(result)]
    if result.crossed:
        blocks += [variance_table(result), dot_plot(result), *interaction_plot(result)]
    if result.references:
        blocks += [reference_table(result), reference_plot(result)]
    if (line := linearity_table(result)) is not None:
        blocks.append(line)
    notes: list[doc.Block] = [uncertainty_table(result, "For part.toml", "copy these lines")]
    if result.cautions:
        notes.insert(0, doc.Bullets(tuple(sentence(notice.message) for notice in result.cautions)))
    sections = [doc.Section("", tuple(blocks), id="result"), doc.Section("Notes", tuple(notes), id="notes")]
    if any(one.sum_of_squares is not None for one in result.crossed_series):
        sections.append(doc.Section("Calculation", (squares_table(result),), id="calculation"))
    signature = doc.Signature(("Studied by", "Approved by"))
    sections.append(doc.Section("", (inputs_table(result.inputs), doc.Cautions(CAUTIONS), signature)))
    name = title(result)
    sheet = doc.Sheet(name, tuple(sections), id="gauge")
    foot = f"gearqa {__version__}"
    return doc.Document(name, name, foot, (sheet,), simulated=result.simulated, keywords=("gauge study",))

"""A gauge study on the terminal."""

from __future__ import annotations

from gearqa.model.gauge import GaugeResult
from gearqa.report.blocks import document as doc
from gearqa.report.gauge.words import (
    linearity_table,
    parts_table,
    reference_table,
    title,
    uncertainty_table,
    variance_table,
    verdict,
)
from gearqa.wording.safety import CAUTIONS
from gearqa.wording.sentences import sentence


def gauge_blocks(result: GaugeResult, *, wide: bool) -> list[doc.Block]:
    """What `gearqa gauge` prints."""
    blocks = [*doc.banner(result.simulated), doc.Paragraph(title(result), "lead"), verdict(result)]
    if result.crossed:
        blocks.append(variance_table(result, wide=wide))
        if not wide:
            blocks.append(parts_table(result))
    if result.references:
        blocks.append(reference_table(result, wide=wide))
    if (lines := linearity_table(result)) is not None:
        blocks.append(lines)
    if result.cautions:
        blocks.append(doc.Bullets(tuple(sentence(notice.message) for notice in result.cautions)))
    return [*blocks, uncertainty_table(result, "", "for part.toml"), doc.Cautions(CAUTIONS)]

"""Suppliers over their deliveries on the terminal."""

from __future__ import annotations

from collections.abc import Sequence

from gearqa.model.deliveries import SupplierReview
from gearqa.report.blocks import document as doc
from gearqa.report.suppliers.tables import biases_table, deliveries_table
from gearqa.report.suppliers.words import OWN_RULE, title, verdict
from gearqa.wording.safety import CAUTIONS


def supplier_blocks(reviews: Sequence[SupplierReview], *, wide: bool) -> list[doc.Block]:
    """What `history suppliers` prints."""
    if not reviews:
        return [doc.Paragraph("no deliveries: gearqa incoming REPORT FOLDER --supplier NAME --store FILE")]
    blocks = doc.banner(any(one.simulated for one in reviews))
    for review in reviews:
        table = biases_table(review)
        blocks += [
            doc.Paragraph(title(review), "lead"), verdict(review), deliveries_table(review, wide=wide),
            *([] if table is None else [table]),
        ]  # fmt: skip
    return [*blocks, doc.Cautions((OWN_RULE, *CAUTIONS))]

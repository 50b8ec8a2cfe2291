"""Suppliers over their deliveries as page and PDF: one sheet a supplier and part."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from gearqa.model.deliveries import SupplierReview
from gearqa.report.blocks import document as doc
from gearqa.report.suppliers.figures import differences_figure
from gearqa.report.suppliers.tables import biases_table, deliveries_table
from gearqa.report.suppliers.words import OWN_RULE, RULE, title, verdict
from gearqa.version import __version__
from gearqa.wording.safety import CAUTIONS
from gearqa.wording.times import time_text

TITLE = "Suppliers over their deliveries"


def suppliers_document(reviews: Sequence[SupplierReview], at: datetime) -> doc.Document:
    """The printed report; `at` is when it was made."""
    sheets = [_sheet(number, review) for number, review in enumerate(reviews, 1)]
    if not sheets:
        empty = doc.Section("", (doc.Paragraph("no deliveries"),))
        sheets = [doc.Sheet(TITLE, (empty,), id="suppliers")]
    return doc.Document(
        title=TITLE,
        head=title(reviews[0]) if len(reviews) == 1 else TITLE,
        foot=f"gearqa {__version__}, {time_text(at)}",
        sheets=tuple(sheets),
        simulated=any(one.simulated for one in reviews),
        keywords=("incoming inspection", "suppliers"),
    )


def _sheet(number: int, review: SupplierReview) -> doc.Sheet:
    name, table, figure = title(review), biases_table(review), differences_figure(review)
    differences = [one for one in (table, figure) if one is not None]
    sections = [
        doc.Section("", (verdict(review),), id=f"supplier-{number}-result"),
        doc.Section("", (deliveries_table(review, wide=True),), id=f"supplier-{number}-deliveries"),
        *([doc.Section("", tuple(differences), id=f"supplier-{number}-differences")] if differences else []),
        doc.Section("How much to measure", (doc.Paragraph(OWN_RULE), doc.Bullets(RULE))),
        doc.Section("", (doc.Cautions(CAUTIONS), doc.Signature(("Reviewed by",)))),
    ]
    return doc.Sheet(name, tuple(sections), id=f"supplier-{number}", head=name)

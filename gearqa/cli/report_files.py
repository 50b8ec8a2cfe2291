"""A report as page and PDF, each only where it was asked for."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from gearqa.report.blocks.document import Document
    from gearqa.results.outputs import Outputs


def write_report(
    outputs: Outputs,
    build: Callable[[], Document],
    *,
    html: str | None,
    pdf: str | None,
    paper: Literal["a4", "letter"],
) -> None:
    """Build the document and write it; nothing is built where no file was asked for."""
    if html is None and pdf is None:
        return
    document = build()
    if html is not None:
        from gearqa.report.render.html import write_html

        write_html(outputs.open(html, "page"), document)
    if pdf is not None:
        from gearqa.report.render.pdf import write_pdf

        write_pdf(outputs.open(pdf, "PDF"), document, paper=paper)

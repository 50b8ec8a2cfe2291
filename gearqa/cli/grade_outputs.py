"""What `gearqa grade` writes: JSON, CSV, report and sheets, each fed gear by gear.

Libraries of an output are imported only where it was asked for.
"""

from __future__ import annotations

from contextlib import ExitStack
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, BinaryIO, Final, Literal, Protocol

import typer

from gearqa.errors import ReportError
from gearqa.late_dataclass import dataclass

if TYPE_CHECKING:
    from gearqa.jobs.grade import GradedGear, GradeTaker
    from gearqa.model.part import Part
    from gearqa.model.results import GearResult, GradeHeader, LotSummary
    from gearqa.report.blocks.document import Document
    from gearqa.report.grading.lot_words import GearNotes
    from gearqa.report.render.terminal import Terminal
    from gearqa.results.csvio import Style
    from gearqa.results.outputs import Outputs

PDF_FILES_AT_ONCE: Final = 2
"""Files of a PDF of many charts that are set at once: each takes up to 1 GB."""
CsvRows = Literal["gear", "flank", "trace"]
SheetChoice = Literal["auto", "all", "worst", "none"]
Paper = Literal["a4", "letter"]


@dataclass(frozen=True, slots=True)
class GradeFiles:
    """The files that were asked for."""

    json: str | None
    csv: str | None
    csv_rows: CsvRows
    csv_style: Style
    html: str | None
    pdf: str | None
    paper: Paper
    sheets: SheetChoice
    sheet_folder: str | None
    workers: int | None = None
    scheduler: str | None = None

    @property
    def take_standard_output(self) -> bool:
        """Whether one of them goes to standard output, which holds nothing else then."""
        return "-" in (self.json, self.csv, self.html, self.pdf)

    def check(self) -> None:
        """Raise a usage error for options that would have no effect."""
        if self.sheets != "auto" and self.html is None and self.pdf is None:
            message = f"--sheets {self.sheets} chooses what a report shows: add --html FILE or --pdf FILE"
            raise typer.BadParameter(message, param_hint="--sheets")
        if self.paper != "a4" and self.pdf is None and self.sheet_folder is None:
            message = "there is nothing to print: add --pdf FILE or --sheet-folder DIR"
            raise typer.BadParameter(message, param_hint="--paper")
        if self.sheet_folder is None and self.scheduler is not None:
            raise typer.BadParameter("goes with --sheet-folder DIR", param_hint="--scheduler")


class _Writer(Protocol):
    """A writer of results that needs nothing of the drawing and the traces."""

    def begin(self, header: GradeHeader) -> None: ...

    def made(self, gear: GearResult) -> bytes: ...

    def take(self, made: bytes) -> None: ...

    def end(self, lot: LotSummary) -> None: ...


class _Results:
    """JSON or CSV."""

    shared = True

    def __init__(self, writer: _Writer) -> None:
        self._writer = writer

    def begin(self, header: GradeHeader, part: Part) -> None:
        del part
        self._writer.begin(header)

    def made(self, gear: GradedGear) -> bytes:
        return self._writer.made(gear.result)

    def take(self, made: bytes) -> None:
        self._writer.take(made)

    def end(self, lot: LotSummary) -> None:
        self._writer.end(lot)


class _Report:
    """One report of all gears, as a page, as a PDF, or both."""

    shared = False

    def __init__(self, outputs: Outputs, files: GradeFiles, *, quiet: bool) -> None:
        self._outputs, self._files, self._quiet = outputs, files, quiet
        self._html = outputs.open(files.html, "page") if files.html is not None else None
        self._pdf = outputs.open(files.pdf, "PDF") if files.pdf is not None else None

    def begin(self, header: GradeHeader, part: Part) -> None:
        from gearqa.report.grading.page import SheetBuilder

        self._builder = SheetBuilder(header, part=part, sheets=self._files.sheets)

    def made(self, gear: GradedGear) -> GradedGear:
        return gear

    def take(self, made: GradedGear) -> None:
        self._builder.add(made.result, made.curves)

    def end(self, lot: LotSummary) -> None:
        from gearqa.cli.progress import Progress

        document = self._builder.document(lot)
        if self._html is not None:
            from gearqa.report.render.html import write_html

            with Progress("writing the page", "sheets", quiet=self._quiet) as progress:
                write_html(self._html, document, progress=progress.at)
        if self._pdf is not None:
            self._write_pdf(self._pdf, document)

    def _write_pdf(self, first: BinaryIO, document: Document) -> None:
        """The PDF asked for, and numbered from 2 on what one file has no room for."""
        from gearqa.cli.console import tell
        from gearqa.cli.progress import Progress
        from gearqa.jobs.spread import spread, worker_count
        from gearqa.report.render.pdf import write_pdf_files

        target = Path(self._files.pdf or "")

        def numbered(number: int) -> Path:
            return target.with_stem(f"{target.stem}-{number}")

        def open_file(number: int) -> BinaryIO:
            if number == 1:
                return first
            if self._files.pdf == "-":
                raise ReportError(
                    "the PDF of so many charts takes several files, standard output takes one",
                    hint="give --pdf a file name, or choose fewer charts: --sheets worst",
                )
            return self._outputs.open(str(numbered(number)), "PDF")

        at_once = partial(spread, workers=min(PDF_FILES_AT_ONCE, worker_count(self._files.workers)))
        with Progress("setting the PDF", "sheets", quiet=self._quiet) as progress:
            count = write_pdf_files(
                open_file, document, paper=self._files.paper, progress=progress.at, spreading=at_once
            )
        if count > 1:
            last = f" to {numbered(count)}" if count > 2 else ""
            tell(f"the PDF takes {count} files: {target} and {numbered(2)}{last}")


class Screen:
    """What the terminal shows of the gears once all is done."""

    shared = True

    def __init__(self) -> None:
        from gearqa.report.grading.lot_words import LotCollector

        self._seen = LotCollector()

    def begin(self, header: GradeHeader, part: Part) -> None:
        self._header, self._span = header, part.slope_span

    def made(self, gear: GradedGear) -> GearNotes:
        from gearqa.report.grading.lot_words import noted

        return noted(gear.result, alone=gear.alone)

    def take(self, made: GearNotes) -> None:
        self._seen.add(made)

    def end(self, lot: LotSummary) -> None:
        self._lot = lot

    def laid_out(self, terminal: Terminal) -> str:
        """The result as text for a terminal."""
        from gearqa.report.grading.lot_words import lot_blocks

        blocks = lot_blocks(self._header, self._lot, self._seen, self._span, wide=terminal.wide)
        return terminal.laid_out(blocks)


def open_files(outputs: Outputs, files: GradeFiles, stack: ExitStack, *, quiet: bool) -> list[GradeTaker]:
    """Open the files that were asked for; the workers that make them go when the stack is closed."""
    takers: list[GradeTaker] = []
    if files.json is not None:
        from gearqa.results.grade_json import GradeJsonWriter

        takers.append(_Results(GradeJsonWriter(outputs.open(files.json, "JSON result"))))
    if files.csv is not None:
        from gearqa.results.csvio import GradeCsvWriter

        stream = outputs.open(files.csv, "CSV result")
        writer = GradeCsvWriter(stream, rows=files.csv_rows, style=files.csv_style)
        takers.append(_Results(writer))
    if files.html is not None or files.pdf is not None:
        takers.append(_Report(outputs, files, quiet=quiet))
    if files.sheet_folder is not None:
        from gearqa.cli.sheet_folder import SheetFolder

        takers.append(
            SheetFolder(outputs, files.sheet_folder, files.paper, stack, files.workers, files.scheduler)
        )
    return takers

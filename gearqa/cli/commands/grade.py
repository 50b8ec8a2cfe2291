"""`gearqa grade`: the main job."""

from __future__ import annotations

from itertools import tee
from typing import TYPE_CHECKING, Annotated

import typer

from gearqa.cli.exit_status import status_of
from gearqa.cli.grade_outputs import CsvRows, SheetChoice, Wanted, open_sinks
from gearqa.cli.options import (
    ColumnMap,
    CsvFile,
    CsvStyle,
    Folder,
    HtmlFile,
    JsonFile,
    PaperSize,
    PartFile,
    PdfFile,
    Quiet,
    Serials,
)

if TYPE_CHECKING:
    from gearqa.report.grading.words import LotCollector


def command(
    folder: Folder,
    part: PartFile = None,
    columns: ColumnMap = None,
    serial: Serials = None,
    json: JsonFile = None,
    csv: CsvFile = None,
    csv_rows: Annotated[
        CsvRows, typer.Option("--csv-rows", help="One CSV row a gear and parameter, or finer.")
    ] = "gear",
    csv_style: CsvStyle = "comma",
    html: HtmlFile = None,
    pdf: PdfFile = None,
    paper: PaperSize = "a4",
    sheets: Annotated[
        SheetChoice,
        typer.Option(
            "--sheets",
            help="Gears of a lot whose charts the report holds; auto: all of up to 100, else the worst 10.",
        ),
    ] = "auto",
    sheet_folder: Annotated[
        str | None,
        typer.Option("--sheet-folder", metavar="DIR", help="Write one PDF a gear into this folder."),
    ] = None,
    quiet: Quiet = False,
) -> int:
    """Grade an inspection folder: classes, conformity, master quality.

    Reads part.toml and all CSV tables of FOLDER, evaluates every trace, grades every parameter by
    ISO 1328-1, and says whether each gear conforms to the drawing and whether it, and the job, reached
    master quality.

    Exit status: 0 every gear conforms; 1 some gear does not or cannot be decided; 2 bad input or usage.
    """
    from gearqa.cli.console import tell_notices, terminal
    from gearqa.cli.progress import Progress
    from gearqa.evaluation.evaluate import LotCounter, evaluate, grade_header
    from gearqa.jobs.folders import open_folder, require_folder
    from gearqa.results.outputs import Outputs

    wanted = Wanted(json, csv, csv_rows, csv_style, html, pdf, paper, sheets, sheet_folder)
    wanted.check()
    shown = not quiet and not wanted.standard_output
    seen: LotCollector | None = None
    if shown:
        from gearqa.report.grading.words import LotCollector

        seen = LotCollector()
    require_folder(folder)
    with Outputs() as outputs:
        sinks = open_sinks(outputs, wanted, quiet=quiet)
        with open_folder(folder, part=part, columns=columns, serials=serial) as inspection:
            drawing = inspection.part
            header = grade_header(drawing, inspection.inputs, inspection.simulated, inspection.notices)
            outputs.keep_clear_of(folder / file.file for file in header.inputs)
            counter = LotCounter()
            for sink in sinks:
                sink.begin(header, drawing)
            source, gears = tee(inspection)
            with Progress("grading", "gears", quiet=quiet) as progress:
                results = zip(evaluate(source, drawing), gears, strict=True)
                for result, measured in progress.over(results):
                    counter.add(result)
                    if seen is not None:
                        seen.add(result)
                    for sink in sinks:
                        sink.gear(result, measured)
        lot = counter.summary()
        for sink in sinks:
            sink.end(lot)
    if not quiet:
        tell_notices(header.warnings)
    if seen is not None:
        from gearqa.report.grading.words import WIDE, lot_blocks

        screen = terminal()
        span = drawing.evaluation.slope_span
        screen.blocks(lot_blocks(header, lot, seen, span, wide=screen.width >= WIDE))
    return status_of(lot.conforms)

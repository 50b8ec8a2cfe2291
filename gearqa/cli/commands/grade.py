"""`gearqa grade`: the main job."""

from __future__ import annotations

from contextlib import ExitStack
from typing import Annotated

import typer

from gearqa.cli.exit_status import status_of
from gearqa.cli.grade_outputs import CsvRows, GradeFiles, Screen, SheetChoice, open_files
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
    Scheduler,
    Serials,
    Workers,
)


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
    workers: Workers = None,
    scheduler: Scheduler = None,
    quiet: Quiet = False,
) -> int:
    """Grade an inspection folder: classes, conformity, master quality.

    Reads part.toml and all tables of FOLDER, evaluates every trace, grades every parameter by
    ISO 1328-1, and says whether each gear conforms to the drawing and whether it, and the job, reached
    master quality.

    Exit status: 0 every gear conforms; 1 some gear does not or cannot be decided; 2 bad input or usage.
    """
    from gearqa.cli.console import put_out, tell_notices, terminal
    from gearqa.cli.progress import JobProgress
    from gearqa.jobs.folders import open_folder, require_folder
    from gearqa.jobs.grade import grade_each
    from gearqa.results.outputs import Outputs

    files = GradeFiles(
        json, csv, csv_rows, csv_style, html, pdf, paper, sheets, sheet_folder, workers, scheduler
    )
    files.check()
    require_folder(folder)
    screen = None if quiet or files.take_standard_output else Screen()
    with Outputs() as outputs, ExitStack() as stack:
        takers = open_files(outputs, files, stack, quiet=quiet)
        if screen is not None:
            takers.append(screen)
        with open_folder(folder, part=part, columns=columns, serials=serial) as inspection:
            outputs.keep_clear_of(folder / file.file for file in inspection.inputs)
            header, lot = grade_each(inspection, takers, JobProgress(quiet=quiet), workers=workers)
        shown = "" if screen is None else screen.laid_out(terminal())
    if not quiet:
        tell_notices(header.warnings)
    put_out(shown)
    return status_of(lot.conforms)

"""`gearqa diagnose`: what keeps gears from a better class, and what on the grinder causes it."""

from __future__ import annotations

from typing import Annotated

import typer

from gearqa.cli.exit_status import ExitStatus
from gearqa.cli.options import (
    ColumnMap,
    Folder,
    HtmlFile,
    JsonFile,
    PaperSize,
    PartFile,
    PdfFile,
    Quiet,
    Serials,
)


def command(
    folder: Folder,
    part: PartFile = None,
    columns: ColumnMap = None,
    serial: Serials = None,
    threads: Annotated[
        int | None,
        typer.Option("--threads", metavar="N", help="Threads of the grinding wheel."),
    ] = None,
    store: Annotated[
        str | None,
        typer.Option(
            "--store", metavar="URL", help="History store whose recorded corrections give the gains."
        ),
    ] = None,
    json: JsonFile = None,
    html: HtmlFile = None,
    pdf: PdfFile = None,
    paper: PaperSize = "a4",
    quiet: Quiet = False,
) -> int:
    """Show what keeps gears from master quality, what causes it, and which correction gains most.

    Deviations are split into physical errors: eccentricity, tilt, lobes, lead, taper, pressure angle,
    crowning, twist, ripple and more; each is taken out of the data and the gear graded again. The measured
    class stays the one that counts. Corrections are checked by a qualified setter before use.

    Exit status: 0 done; 2 bad input or usage.
    """
    from gearqa.cli.console import put_out, tell_notices, terminal
    from gearqa.cli.progress import JobProgress
    from gearqa.cli.report_files import write_report
    from gearqa.jobs.diagnose import diagnose
    from gearqa.results.diagnosis_json import DIAGNOSIS
    from gearqa.results.outputs import Outputs

    with Outputs() as outputs:
        result = diagnose(
            folder, part=part, columns=columns, serial=serial, threads=threads, store=store,
            progress=JobProgress(quiet=quiet),
        )  # fmt: skip
        if json is not None:
            outputs.open(json, "JSON result").write(DIAGNOSIS.json(result, pretty=True))
        if html is not None or pdf is not None:
            from gearqa.report.diagnosis.page import diagnosis_document

            write_report(outputs, lambda: diagnosis_document(result), html=html, pdf=pdf, paper=paper)
        read = [one for one in (part, columns) if one is not None]
        outputs.keep_clear_of([*read, *(folder / file.file for file in result.inputs)])
        shown = ""
        if not quiet and "-" not in (json, html, pdf):
            from gearqa.report.diagnosis.screen import diagnosis_blocks

            screen = terminal()
            shown = screen.laid_out(diagnosis_blocks(result, wide=screen.wide))
    if not quiet:
        tell_notices(result.warnings)
    put_out(shown)
    return ExitStatus.CONFORMS

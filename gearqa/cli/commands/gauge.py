"""`gearqa gauge`: a study of the measuring instrument."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from gearqa.cli.exit_status import ExitStatus
from gearqa.cli.options import ColumnMap, HtmlFile, JsonFile, PaperSize, Parameters, PartFile, PdfFile, Quiet

POOL_ABOVE = 0.25
"""As in the job; here so that the command line starts without numpy."""


def command(
    path: Annotated[
        Path,
        typer.Argument(
            metavar="STUDY.csv|FOLDER",
            help="Table of the study, or measured gears with --study.",
            show_default=False,
        ),
    ],
    study: Annotated[
        Path | None,
        typer.Option(
            "--study", metavar="TABLE", help="serial, item, operator, trial of the gears in FOLDER."
        ),
    ] = None,
    part: PartFile = None,
    columns: ColumnMap = None,
    parameter: Parameters = None,
    factor: Annotated[
        str,
        typer.Option("--factor", metavar="WORD", help="What the operators are: set-ups, days, instruments."),
    ] = "operators",
    pool_above: Annotated[
        float,
        typer.Option(
            "--pool-above", metavar="P", help="Pool the interaction if the p of its F test is larger."
        ),
    ] = POOL_ABOVE,
    json: JsonFile = None,
    html: HtmlFile = None,
    pdf: PdfFile = None,
    paper: PaperSize = "a4",
    quiet: Quiet = False,
) -> int:
    """Study a gear measuring instrument: spread, bias, uncertainty.

    Crossed study: item, operator, trial, parameter, value_um (operators may be set-ups, days or
    instruments). Study on a calibrated gear: trial, parameter, value_um, reference_um,
    reference_uncertainty_um. With FOLDER and --study the values come from measured gears. Limits come
    from --part. The result ends with an [uncertainty_um] table for part.toml.

    Exit status: 0 done, and good enough where --part or FOLDER gives limits; 1 not good enough, or not
    judged by them; 2 bad input or usage.
    """
    from gearqa.cli.console import put_out, tell_notices, terminal
    from gearqa.cli.report_files import write_report
    from gearqa.jobs.gauge import study_gauge
    from gearqa.results.gauge_json import GAUGE
    from gearqa.results.outputs import Outputs

    with Outputs() as outputs:
        result = study_gauge(
            path, study=study, part=part, columns=columns, parameter=parameter, factor=factor,
            pool_above=pool_above,
        )  # fmt: skip
        if json is not None:
            outputs.open(json, "JSON result").write(GAUGE.json(result, pretty=True))
        if html is not None or pdf is not None:
            from gearqa.report.gauge.page import gauge_document

            write_report(outputs, lambda: gauge_document(result), html=html, pdf=pdf, paper=paper)
        read = [one for one in (path, study, part, columns) if one is not None]
        outputs.keep_clear_of([*read, *(path / file.file for file in result.inputs if path.is_dir())])
        shown = ""
        if not quiet and "-" not in (json, html, pdf):
            from gearqa.report.gauge.screen import gauge_blocks

            screen = terminal()
            shown = screen.laid_out(gauge_blocks(result, wide=screen.wide))
    if not quiet:
        tell_notices(result.warnings)
    put_out(shown)
    judged = result.suitable if result.part is not None else True
    return ExitStatus.CONFORMS if judged else ExitStatus.DOES_NOT_CONFORM

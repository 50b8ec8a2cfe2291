"""`gearqa drift`: what the grinder does over parts and dress cycles."""

from __future__ import annotations

from contextlib import AbstractContextManager, nullcontext
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from gearqa.cli.exit_status import ExitStatus
from gearqa.cli.options import (
    ColumnMap,
    CsvFile,
    CsvStyle,
    HtmlFile,
    JsonFile,
    PaperSize,
    Parameters,
    PartFile,
    PdfFile,
    Quiet,
    Serials,
)
from gearqa.cli.stores import CommandStore, Grinder, PartNumber, Store, Until

if TYPE_CHECKING:
    from gearqa.model.drift import DriftReport
    from gearqa.report.blocks.document import Document


def command(
    folders: Annotated[
        list[Path] | None,
        typer.Argument(
            metavar="FOLDER",
            help="Inspection folders; without any the history store is analysed.",
            show_default=False,
        ),
    ] = None,
    store: Store = None,
    part_number: PartNumber = None,
    grinder: Grinder = None,
    parameter: Parameters = None,
    since: Annotated[
        str | None,
        typer.Option(
            "--since",
            metavar="T",
            help="Signals from then on count for the exit status, not only those of the current cycle.",
        ),
    ] = None,
    until: Until = None,
    last_cycles: Annotated[
        int | None, typer.Option("--last-cycles", metavar="N", help="Only the last N dress cycles.")
    ] = None,
    reference: Annotated[
        str | None,
        typer.Option(
            "--reference",
            metavar="FROM..TO",
            help="Cycles that the control limits come from: numbers, dress "
            "labels or times. Else the frozen ones of the store, else the first that fit.",
        ),
    ] = None,
    risk: Annotated[
        float,
        typer.Option("--risk", metavar="P", help="Risk of a part beyond the limit at the end of a cycle."),
    ] = 0.01,
    cycle_time: Annotated[
        float | None,
        typer.Option(
            "--cycle-time",
            metavar="S",
            help="Seconds per gear on the grinder; estimates parts since dress "
            "where they are missing, marked as estimate.",
        ),
    ] = None,
    measuring_time: Annotated[
        float | None,
        typer.Option(
            "--measuring-time",
            metavar="S",
            help="Seconds to measure a gear; the sampling advice keeps to "
            "what the gauge can do; needs --cycle-time.",
        ),
    ] = None,
    escaped_parts: Annotated[
        int | None,
        typer.Option(
            "--escaped-parts",
            metavar="K",
            help="Parts that may be made before a change is seen; default: one dress cycle.",
        ),
    ] = None,
    part: PartFile = None,
    columns: ColumnMap = None,
    serial: Serials = None,
    json: JsonFile = None,
    csv: CsvFile = None,
    csv_style: CsvStyle = "comma",
    html: HtmlFile = None,
    pdf: PdfFile = None,
    paper: PaperSize = "a4",
    quiet: Quiet = False,
) -> int:
    """Show how a grinder drifts, when it leaves the limits, and how often to dress.

    Per grinder, part and parameter: wear between dresses, level after each dress, level changes, control
    charts, forecast to the limit, dress interval for a chosen risk, and which parts to measure. What the
    words mean: gearqa explain drift

    Exit status: 0 no signal that counts, no limit ahead, nothing to hold; 1 a signal in the current dress
    cycle (or since --since), gears to hold, a correction that did something else than was meant, or a limit
    that is reached within the usual dress interval; 2 bad input or usage.
    """  # fmt: skip
    from gearqa.cli.console import put_out, tell_notices, terminal
    from gearqa.cli.progress import JobProgress
    from gearqa.cli.report_files import write_report
    from gearqa.jobs.drift import analyse_drift
    from gearqa.report.drift.screen import drift_blocks
    from gearqa.results.outputs import Outputs

    with Outputs() as outputs, _source(folders, store) as source:
        drift = analyse_drift(
            folders, store=source, part_number=part_number, grinder=grinder, parameter=parameter, since=since,
            until=until, last_cycles=last_cycles, reference=reference, risk=risk, cycle_time=cycle_time,
            measuring_time=measuring_time, escaped_parts=escaped_parts, part=part, columns=columns,
            serial=serial, progress=JobProgress(quiet=quiet),
        )  # fmt: skip
        if not quiet:
            tell_notices(drift.header.warnings)
        names = {Path(one.file).name for one in drift.header.inputs}
        read = [folder / name for folder in folders or () for name in names]
        given = [path for path in (part, columns) if path is not None]
        stored = source.files if isinstance(source, CommandStore) else []
        outputs.keep_clear_of([*read, *given, *stored])
        if json is not None:
            from gearqa.results.drift_json import DRIFT

            outputs.open(json, "JSON result").write(DRIFT.json(drift))
        if csv is not None:
            from gearqa.results.drift_json import drift_csv

            outputs.open(csv, "CSV result").write(drift_csv(drift.result, style=csv_style))
        write_report(outputs, lambda: _document(drift), html=html, pdf=pdf, paper=paper)
        shown = ""
        if not quiet and "-" not in (json, csv, html, pdf):
            screen = terminal()
            shown = screen.laid_out(drift_blocks(drift.result, drift.header, wide=screen.wide))
    put_out(shown)
    return ExitStatus.DOES_NOT_CONFORM if drift.result.alarm else ExitStatus.CONFORMS


def _source(
    folders: list[Path] | None, store: str | None
) -> AbstractContextManager[CommandStore | str | None]:
    """The store that opens when the job needs it, where no folder is named."""
    return nullcontext(store) if folders else CommandStore(store)


def _document(drift: DriftReport) -> Document:
    from gearqa.report.drift.page import build_drift_document

    return build_drift_document(drift.result, drift.header)

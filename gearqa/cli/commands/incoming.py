"""`gearqa incoming`: a supplier's report against our measurement."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Annotated, Any, Literal

import typer

from gearqa.cli.exit_status import status_of
from gearqa.cli.options import (
    ColumnMap,
    CsvFile,
    CsvStyle,
    HtmlFile,
    JsonFile,
    LotSize,
    PaperSize,
    PartFile,
    PdfFile,
    PlanFile,
    Quiet,
    Scheduler,
    Serials,
    Workers,
)


def command(
    paths: Annotated[
        list[Path],
        typer.Argument(
            metavar="REPORTED.csv [FOLDER]",
            help="Reported values, and our inspection folder; in either order. With --recursive: trees.",
            show_default=False,
        ),
    ],
    part: PartFile = None,
    columns: ColumnMap = None,
    serial: Serials = None,
    their_folder: Annotated[
        Path | None, typer.Option("--their-folder", metavar="DIR", help="The supplier's raw traces.")
    ] = None,
    their_part: Annotated[
        Path | None,
        typer.Option(
            "--their-part", metavar="FILE", help="Part file to read their tables with [default: ours]."
        ),
    ] = None,
    their_columns: Annotated[
        Path | None, typer.Option("--their-columns", metavar="MAP", help="Column map for their tables.")
    ] = None,
    supplier: Annotated[str, typer.Option("--supplier", metavar="NAME", help="Who made the report.")] = "",
    plan: PlanFile = None,
    lot_size: LotSize = None,
    decide_on: Annotated[
        Literal["ours", "theirs", "both"] | None,
        typer.Option("--decide-on", help="Whose values decide the lot [default: ours, if measured]"),
    ] = None,
    text: Annotated[
        str | None,
        typer.Option("--text", metavar="FILE", help="Write plain text for a mail; - is standard output."),
    ] = None,
    store: Annotated[
        str | None,
        typer.Option(
            "--store",
            metavar="URL",
            help="Keep what was found in this history store, with --supplier: a file, or "
            "postgresql://USER@HOST/DATABASE.",
        ),
    ] = None,
    delivered: Annotated[
        str | None,
        typer.Option(
            "--delivered",
            metavar="T",
            help="When the delivery came (ISO 8601, or a date); else now, with --recursive the date in "
            "the name of its folder.",
        ),
    ] = None,
    replace: Annotated[
        bool,
        typer.Option(
            "--replace", help="A report stored with other findings is superseded (kept and logged)."
        ),
    ] = False,
    json: JsonFile = None,
    csv: CsvFile = None,
    csv_style: CsvStyle = "comma",
    html: HtmlFile = None,
    pdf: PdfFile = None,
    paper: PaperSize = "a4",
    recursive: Annotated[
        bool,
        typer.Option("--recursive", help="Check every delivery below, each for itself; failures are listed."),
    ] = False,
    reports: Annotated[
        str | None,
        typer.Option(
            "--reports",
            metavar="PATTERN",
            help="With --recursive: name of the report in the folder of its delivery [default: report*.csv].",
        ),
    ] = None,
    review_folder: Annotated[
        str | None,
        typer.Option(
            "--review-folder", metavar="DIR", help="With --recursive: write JSON and page of each delivery."
        ),
    ] = None,
    workers: Workers = None,
    scheduler: Scheduler = None,
    quiet: Quiet = False,
) -> int:
    """Check a supplier's report against our measurement, and explain the difference.

    REPORTED.csv holds serial, parameter, value_um and any of flank, tooth, basis (worst or mean), class,
    standard, uncertainty_um, our_serial; an empty sheet: gearqa new --reported. Claimed classes are judged
    on our values. To explain the difference the traces are evaluated again under the settings that
    laboratories use. Without FOLDER, but with --part, the reported values alone are checked.

    With --recursive the paths are trees or patterns of deliveries: folders that hold the report and, where
    we measured, our tables. One line each says what counts against it.

    Exit status: 0 the figures agree and no claim is refused; 1 they differ or cannot be compared, or a claim
    is refused; 2 bad input or usage, or a delivery of many could not be checked.
    """
    _require_store(store, delivered, replace=replace)
    if recursive:
        single: dict[str, Any] = {
            "--serial": serial or None, "--their-folder": their_folder, "--their-part": their_part,
            "--their-columns": their_columns, "--text": text, "--json": json, "--csv": csv, "--html": html,
            "--pdf": pdf,
        }  # fmt: skip
        _refuse(single, "does not go with --recursive")
        from gearqa.cli.delivery_reviews import review_all

        return review_all(
            paths, store, review_folder, quiet=quiet, reports=reports, part=part, columns=columns,
            supplier=supplier, plan=plan, lot_size=lot_size, decide_on=decide_on, delivered=delivered,
            replace=replace, workers=workers, scheduler=scheduler,
        )  # fmt: skip
    many = {"--reports": reports, "--review-folder": review_folder, "--scheduler": scheduler}
    _refuse({**many, "--workers": workers}, "goes with --recursive")
    from gearqa.cli.console import put_out, tell, tell_notices, terminal
    from gearqa.cli.progress import JobProgress
    from gearqa.cli.report_files import write_report
    from gearqa.cli.stores import CommandStore
    from gearqa.jobs.incoming import check_report
    from gearqa.results.incoming_json import INCOMING, incoming_csv
    from gearqa.results.outputs import Outputs

    report, folder = _report_and_folder(paths)
    with CommandStore(store) as history, Outputs() as outputs:
        result = check_report(
            report, folder, part=part, columns=columns, serial=serial, their_folder=their_folder,
            their_part=their_part, their_columns=their_columns, supplier=supplier, plan=plan,
            lot_size=lot_size, decide_on=decide_on, progress=JobProgress(quiet=quiet),
        )  # fmt: skip
        if json is not None:
            outputs.open(json, "JSON result").write(INCOMING.json(result, pretty=True))
        if csv is not None:
            outputs.open(csv, "CSV result").write(incoming_csv(result, csv_style))
        if text is not None:
            from gearqa.report.incoming.mail import incoming_text

            outputs.open(text, "mail text").write(incoming_text(result).encode("utf-8"))
        if html is not None or pdf is not None:
            from gearqa.report.incoming.page import incoming_document

            write_report(outputs, lambda: incoming_document(result), html=html, pdf=pdf, paper=paper)
        alone = (report, part, columns, plan, their_part, their_columns)
        outputs.keep_clear_of(one for one in alone if one is not None)
        folders = [one for one in (folder, their_folder) if one is not None]
        outputs.keep_clear_of(one / file.file for one in folders for file in result.inputs)
        shown = ""
        if not quiet and "-" not in (text, json, csv, html, pdf):
            from gearqa.report.incoming.screen import incoming_blocks

            screen = terminal()
            shown = screen.laid_out(incoming_blocks(result, wide=screen.wide))
        if store is not None:
            from gearqa.jobs.suppliers import keep_delivery

            outputs.keep_clear_of(history.files)
            kept = keep_delivery(result, delivered=delivered, replace=replace, store=history)
    if not quiet:
        tell_notices(result.warnings)
    put_out(shown)
    if store is not None and not quiet:
        from gearqa.report.suppliers.words import kept_sentence

        tell(kept_sentence(kept))
    return status_of(result.agrees)


def _refuse(options: Mapping[str, Any], why: str) -> None:
    for option, value in options.items():
        if value is not None:
            raise typer.BadParameter(why, param_hint=option)


def _require_store(store: str | None, delivered: str | None, *, replace: bool) -> None:
    if store is None and (delivered is not None or replace):
        option = "--delivered" if delivered is not None else "--replace"
        raise typer.BadParameter("needs --store, where the check is kept", param_hint=option)


def _report_and_folder(paths: Sequence[Path]) -> tuple[Path, Path | None]:
    """The report and the folder, given in either order."""
    if len(paths) > 2:
        raise typer.BadParameter(f"{len(paths)} paths; one report and one folder", param_hint="REPORTED.csv")
    folders = [path for path in paths if path.is_dir()]
    files = [path for path in paths if not path.is_dir()]
    if len(folders) > 1:
        raise typer.BadParameter("two folders; their raw traces: --their-folder DIR", param_hint="FOLDER")
    if not files:
        message = f"only the folder {folders[0]}; the table of reported values is missing"
        raise typer.BadParameter(message, param_hint="REPORTED.csv")
    if len(files) > 1:
        missing = [path for path in files if not path.exists()]
        if missing:
            raise typer.BadParameter(f"'{missing[-1]}' does not exist", param_hint="FOLDER")
        raise typer.BadParameter("two files; one report and one folder", param_hint="REPORTED.csv")
    return files[0], folders[0] if folders else None

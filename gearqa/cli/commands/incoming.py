"""`gearqa incoming`: a supplier's report against our measurement."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Literal

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
    Serials,
)

if TYPE_CHECKING:
    from gearqa.incoming.check import MeasuredGears
    from gearqa.model.incoming import IncomingResult
    from gearqa.model.lot import LotResult
    from gearqa.model.measurement import InputFile
    from gearqa.model.part import Part
    from gearqa.model.results import GearResult, GradeHeader
    from gearqa.results.outputs import Outputs


def command(
    paths: Annotated[
        list[Path],
        typer.Argument(
            metavar="REPORTED.csv [FOLDER]",
            help="Reported values, and our inspection folder; in either order.",
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
            "--their-part", metavar="FILE", help="Part file to read their tables with; ours is default."
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
    json: JsonFile = None,
    csv: CsvFile = None,
    csv_style: CsvStyle = "comma",
    html: HtmlFile = None,
    pdf: PdfFile = None,
    paper: PaperSize = "a4",
    quiet: Quiet = False,
) -> int:
    """Check a supplier's report against our measurement, and explain the difference.

    REPORTED.csv holds serial, parameter, value_um and any of flank, tooth, basis (worst or mean), class,
    standard, uncertainty_um, our_serial; an empty sheet: gearqa new --reported. Claimed classes are judged
    on our values. The difference is explained by evaluating the traces again as laboratories may really
    have set them. Without FOLDER, but with --part, the reported values alone are checked.

    Exit status: 0 everything agrees, claims are confirmed and the lot is released; 1 something is not
    confirmed, not explained or not released; 2 bad input or usage.
    """
    from gearqa.cli.console import tell_notices, terminal
    from gearqa.incoming.check import check_report
    from gearqa.reading.values.reported import read_reported
    from gearqa.results.outputs import Outputs

    reported, folder = _report_and_folder(paths)
    _check_usage(folder, part, their_folder, their_part, their_columns, decide_on, lot_size)
    with Outputs() as outputs:
        drawing, ours, theirs, files = _sides(
            folder, part, columns, serial, their_folder, their_part, their_columns, quiet
        )
        table = read_reported(reported, teeth=drawing.gear.teeth, columns=columns, name=reported.name)
        decide, plan_files = _decision(plan, lot_size, reported)
        result = check_report(
            table, drawing, decide=decide, ours=ours, theirs=theirs, decide_on=decide_on, supplier=supplier,
            inputs=(*files, *plan_files),
        )  # fmt: skip
        _write(
            outputs, result, text=text, json=json, csv=csv, style=csv_style, html=html, pdf=pdf, paper=paper
        )
        inputs = [reported, *(p for p in (part, columns, plan, their_part, their_columns) if p is not None)]
        if folder is not None:
            inputs += [folder / file.file for file in ours.inputs] if ours is not None else []
        outputs.keep_clear_of(inputs)
    if not quiet:
        tell_notices(result.warnings)
    if not quiet and "-" not in (text, json, csv, html, pdf):
        from gearqa.report.incoming.page import incoming_blocks

        screen = terminal()
        screen.blocks(incoming_blocks(result, wide=screen.wide))
    return status_of(result.agrees)


def _report_and_folder(paths: Sequence[Path]) -> tuple[Path, Path | None]:
    """Tell the report from the folder, in whichever order they stand."""
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


def _check_usage(
    folder: Path | None,
    part: Path | None,
    their_folder: Path | None,
    their_part: Path | None,
    their_columns: Path | None,
    decide_on: str | None,
    lot_size: int | None,
) -> None:
    if folder is None and part is None and their_part is None and not _has_part(their_folder):
        raise typer.BadParameter(
            "the drawing is missing: give our FOLDER, or --part FILE to check the reported values alone",
            param_hint="--part",
        )
    if folder is None and decide_on in {"ours", "both"}:
        raise typer.BadParameter("nothing was measured by us; give our FOLDER", param_hint="--decide-on")
    for name, value in (("--their-part", their_part), ("--their-columns", their_columns)):
        if value is not None and their_folder is None:
            raise typer.BadParameter("needs --their-folder", param_hint=name)
    if their_folder is not None and not their_folder.is_dir():
        raise typer.BadParameter(f"'{their_folder}' is no folder", param_hint="--their-folder")
    if lot_size is not None and lot_size < 1:
        raise typer.BadParameter(f"{lot_size}; expected 1 or more", param_hint="--lot-size")


def _has_part(folder: Path | None) -> bool:
    return folder is not None and (folder / "part.toml").is_file()


def _sides(
    folder: Path | None,
    part: Path | None,
    columns: Path | None,
    serial: Sequence[str] | None,
    their_folder: Path | None,
    their_part: Path | None,
    their_columns: Path | None,
    quiet: bool,
) -> tuple[Part, MeasuredGears | None, MeasuredGears | None, tuple[InputFile, ...]]:
    """The drawing, both sides' gears, and part files read by themselves."""
    from gearqa.model.measurement import InputFile
    from gearqa.reading.rows.digests import sha256_of
    from gearqa.reading.settings.part_file import read_part

    drawing: Part | None = None
    ours = theirs = None
    files: tuple[InputFile, ...] = ()
    if folder is not None:
        drawing, ours = _measured(folder, part, columns, serial, None, quiet)
    elif part is not None:
        drawing = read_part(part)
        files = (InputFile(part.name, sha256_of(part)),)
    if their_folder is not None:
        reading: Path | Part | None = their_part
        if reading is None and not _has_part(their_folder):
            reading = drawing
        their_drawing, theirs = _measured(their_folder, reading, their_columns, None, drawing, quiet)
        drawing = drawing or their_drawing
    assert drawing is not None
    return drawing, ours, theirs, files


def _measured(
    folder: Path,
    part: Path | Part | None,
    columns: Path | None,
    serial: Sequence[str] | None,
    drawing: Part | None,
    quiet: bool,
) -> tuple[Part, MeasuredGears]:
    """Read and grade a folder, by a drawing other than the one it is read with where that is given."""
    from gearqa.cli.progress import Progress
    from gearqa.evaluation.evaluate import evaluate
    from gearqa.incoming.check import MeasuredGears
    from gearqa.reading.folder.passes import read_folder

    with read_folder(folder, part=part, columns=columns, serials=tuple(serial or ())) as inspection:
        wanted = drawing or inspection.part
        gears = tuple(inspection)
        with Progress("grading", "gears", quiet=quiet, total=len(gears)) as progress:
            results = tuple(progress.over(evaluate(gears, wanted)))
        notices = inspection.notices
        return wanted, MeasuredGears(gears, results, inspection.inputs, inspection.simulated, notices)


def _decision(
    plan: Path | None, lot_size: int | None, reported: Path
) -> tuple[Callable[[GradeHeader, Part, Sequence[GearResult]], LotResult], tuple[InputFile, ...]]:
    """How a lot is decided, and the plan file as an input."""
    from gearqa.model.measurement import InputFile
    from gearqa.model.plan import Plan
    from gearqa.reading.rows.digests import sha256_of
    from gearqa.reading.settings.toml_file import load_toml
    from gearqa.signoff.lot import sign_off

    loaded = None if plan is None else load_toml(plan, Plan)
    files = () if plan is None else (InputFile(plan.name, sha256_of(plan)),)

    def decide(header: GradeHeader, part: Part, gears: Sequence[GearResult]) -> LotResult:
        return sign_off(header, part, gears, loaded, lot_size=lot_size, lot_id=reported.stem)

    return decide, files


def _write(
    outputs: Outputs,
    result: IncomingResult,
    *,
    text: str | None,
    json: str | None,
    csv: str | None,
    style: Literal["comma", "semicolon"],
    html: str | None,
    pdf: str | None,
    paper: Literal["a4", "letter"],
) -> None:
    document: Any = None
    if json is not None:
        from gearqa.results.incoming_json import INCOMING

        outputs.open(json).write(INCOMING.json(result, pretty=True))
    if csv is not None:
        from gearqa.results.incoming_json import incoming_csv

        outputs.open(csv).write(incoming_csv(result, style))
    if text is not None:
        from gearqa.report.incoming.page import incoming_text

        outputs.open(text).write(incoming_text(result).encode("utf-8"))
    if html is not None or pdf is not None:
        from gearqa.report.incoming.page import incoming_document

        document = incoming_document(result)
    if html is not None:
        from gearqa.report.render.html import write_html

        write_html(outputs.open(html), document)
    if pdf is not None:
        from gearqa.report.render.pdf import write_pdf

        write_pdf(outputs.open(pdf), document, paper=paper)

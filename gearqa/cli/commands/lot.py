"""`gearqa lot`: release, hold or reject a lot, and a record that can be checked again."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Literal

import typer

from gearqa.cli.exit_status import ExitStatus
from gearqa.cli.options import (
    ColumnMap,
    CsvFile,
    CsvStyle,
    Folder,
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
from gearqa.cli.report_files import write_report
from gearqa.errors import ArgumentError

if TYPE_CHECKING:
    from gearqa.jobs.lot import DecidedLot
    from gearqa.model.lot import LotResult
    from gearqa.report.blocks.document import Document
    from gearqa.results.csvio import Style
    from gearqa.results.outputs import Outputs


def command(
    folder: Folder,
    part: PartFile = None,
    columns: ColumnMap = None,
    serial: Serials = None,
    lot_size: LotSize = None,
    plan: PlanFile = None,
    lot_id: Annotated[
        str | None, typer.Option("--lot-id", metavar="ID", help="What the lot is called.")
    ] = None,
    order: Annotated[
        str, typer.Option("--order", metavar="TEXT", help="Order, for certificate and record.")
    ] = "",
    customer: Annotated[str, typer.Option("--customer", metavar="TEXT", help="Customer, likewise.")] = "",
    inspector: Annotated[str, typer.Option("--inspector", metavar="NAME", help="Who signs off.")] = "",
    date: Annotated[str, typer.Option("--date", metavar="ISO", help="Date of the sign-off.")] = "",
    remark: Annotated[str, typer.Option("--remark", metavar="TEXT", help="Anything else.")] = "",
    exclude: Annotated[
        list[str] | None,
        typer.Option(
            "--exclude", metavar="SERIAL=REASON", help="Leave a measured gear out; again for each one."
        ),
    ] = None,
    sorted_out: Annotated[
        list[str] | None,
        typer.Option(
            "--sorted-out",
            metavar="SERIAL=REASON",
            help="Gear that was taken out of the lot: left out of the sample, or after a census.",
        ),
    ] = None,
    disposition: Annotated[
        Literal["release", "hold", "reject"] | None,
        typer.Option("--disposition", help="What a person decided; the recommendation stays as it is."),
    ] = None,
    disposed_by: Annotated[str, typer.Option("--disposed-by", metavar="NAME", help="Who decided it.")] = "",
    disposed_on: Annotated[
        str, typer.Option("--disposed-on", metavar="ISO", help="Date of it; else --date.")
    ] = "",
    reason: Annotated[str, typer.Option("--reason", metavar="TEXT", help="Reason of the disposition.")] = "",
    concession: Annotated[
        str, typer.Option("--concession", metavar="TEXT", help="Concession that it rests on.")
    ] = "",
    record: Annotated[
        str | None,
        typer.Option(
            "--record", metavar="FILE", help="Write a record that gearqa verify checks; needs --lot-id."
        ),
    ] = None,
    replace: Annotated[bool, typer.Option("--replace", help="Replace the record file.")] = False,
    previous: Annotated[
        Path | None,
        typer.Option(
            "--previous", metavar="RECORD", help="Record before it, of the same part: makes a chain."
        ),
    ] = None,
    sign: Annotated[
        Path | None,
        typer.Option(
            "--sign", metavar="PRIVATE_KEY", help="Sign the record with this key file (gearqa keys)."
        ),
    ] = None,
    json: JsonFile = None,
    csv: CsvFile = None,
    csv_style: CsvStyle = "comma",
    html: HtmlFile = None,
    pdf: PdfFile = None,
    paper: PaperSize = "a4",
    quiet: Quiet = False,
) -> int:
    """Recommend release, hold or reject of a lot from a measured sample.

    Each gear is judged under the measurement uncertainty of part.toml, the sample by a sampling plan, the
    lot by a decision table (gearqa explain lot). Without --plan: guarded acceptance where the uncertainty
    is known, confidence 0.95, coverage 0.99, and a plan for one lot by limiting quality 5 %. --html and
    --pdf write the certificate. The tool recommends, a person decides.

    Exit status: 0 release; 1 hold or reject; 2 bad input or usage.
    """
    from gearqa.cli.console import put_out, tell_notices, terminal
    from gearqa.cli.progress import JobProgress
    from gearqa.jobs.folders import require_folder
    from gearqa.jobs.lot import decide_lot
    from gearqa.results.outputs import Outputs

    require_folder(folder)
    recorder = _Recorder(record, lot_id, replace=replace, previous=previous, sign=sign)
    with Outputs() as outputs:
        lot = decide_lot(
            folder, part=part, columns=columns, serial=serial, lot_size=lot_size, plan=plan, lot_id=lot_id,
            order=order, customer=customer, inspector=inspector, date=date, remark=remark, exclude=exclude,
            sorted_out=sorted_out,
            disposition=disposition, disposed_by=disposed_by, disposed_on=disposed_on, reason=reason,
            concession=concession, progress=JobProgress(quiet=quiet),
        )  # fmt: skip
        made = recorder.write(lot, outputs)
        _write_results(lot.result, outputs, json=json, csv=csv, csv_style=csv_style)
        write_report(outputs, lambda: _certificate(lot, made), html=html, pdf=pdf, paper=paper)
        read = (*(folder / one.file for one in lot.header.inputs), part, columns, plan, previous, sign)
        outputs.keep_clear_of([path for path in read if path is not None])
        shown = ""
        if not quiet and "-" not in (json, csv, html, pdf, record):
            from gearqa.report.lot.screen import lot_blocks

            screen = terminal()
            shown = screen.laid_out(lot_blocks(lot.result, wide=screen.wide))
    if not quiet:
        tell_notices(lot.header.warnings)
    put_out(shown)
    return ExitStatus.CONFORMS if lot.result.decision == "release" else ExitStatus.DOES_NOT_CONFORM


class _Recorder:
    """Writes the record; what it needs is checked and read before the work begins."""

    def __init__(
        self, file: str | None, lot_id: str | None, *, replace: bool, previous: Path | None, sign: Path | None
    ) -> None:
        self._file = file
        self._previous = self._key = self._place = None
        if file is None:
            for argument, given in (("replace", replace), ("previous", previous), ("sign", sign)):
                if given:
                    raise ArgumentError(argument, "needs --record FILE")
            return
        if not lot_id:
            raise ArgumentError("record", "a record needs --lot-id ID")
        from gearqa.cli.signing import private_key
        from gearqa.signoff.record import keep_existing, load_record

        if file != "-":
            keep_existing(file, replace=replace)
        self._previous = None if previous is None else load_record(previous)
        self._place = previous
        self._key = None if sign is None else private_key(sign)

    def write(self, lot: DecidedLot, outputs: Outputs) -> dict[str, Any] | None:
        """The record, written; None if none was asked for."""
        if self._file is None:
            return None
        from gearqa.jobs.lot import record_lot
        from gearqa.signoff.record import record_bytes, refuse_fork
        from gearqa.wording.sentences import some_of
        from gearqa.wording.visible import visible

        if self._previous is not None and self._place is not None:
            folders = (
                [self._place.parent] if self._file == "-" else [Path(self._file).parent, self._place.parent]
            )
            refuse_fork(self._previous, folders, but=Path(self._file).resolve())
        record = record_lot(lot, previous=self._previous, key=self._key)
        if record["previous"] and (again := record["previous"].get("repeated")):
            named = some_of([f"{one['serial']} (lot {one['lot_id']})" for one in again], 12)
            typer.echo(f"gearqa: in an earlier record of the chain too: {visible(named)}", err=True)
        outputs.open(self._file, "record").write(record_bytes(record))
        return record


def _write_results(
    result: LotResult, outputs: Outputs, *, json: str | None, csv: str | None, csv_style: Style
) -> None:
    if json is not None:
        from gearqa.results.lot_json import LOT

        outputs.open(json, "JSON result").write(LOT.json(result, pretty=True))
    if csv is not None:
        from gearqa.results.lot_json import lot_csv

        outputs.open(csv, "CSV result").write(lot_csv(result, csv_style))


def _certificate(lot: DecidedLot, record: dict[str, Any] | None) -> Document:
    from gearqa.report.grading.drawing_words import gear_words, required_words
    from gearqa.report.lot.page import certificate
    from gearqa.report.lot.words import classes_of, traced_text

    return certificate(
        lot.result, gear_words=gear_words(lot.part), required=required_words(lot.part),
        traced=traced_text(lot.gears), classes=classes_of(lot.gears), record=record,
    )  # fmt: skip

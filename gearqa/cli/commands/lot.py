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

if TYPE_CHECKING:
    from gearqa.model.lot import LotResult
    from gearqa.report.blocks.document import Document
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
    decided: Annotated[
        Literal["release", "hold", "reject"] | None,
        typer.Option("--disposition", help="What a person decided; stands beside the recommendation."),
    ] = None,
    disposed_by: Annotated[str, typer.Option("--disposed-by", metavar="NAME", help="Who decided it.")] = "",
    disposed_on: Annotated[str, typer.Option("--disposed-on", metavar="ISO", help="Date of it.")] = "",
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
    replace_record: Annotated[bool, typer.Option("--replace", help="Replace the record file.")] = False,
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
    from gearqa.cli import lot_inputs
    from gearqa.cli.console import tell_notices, terminal
    from gearqa.cli.progress import Progress
    from gearqa.evaluation.evaluate import evaluate, grade_header
    from gearqa.jobs.folders import open_folder, require_folder
    from gearqa.model.lot import LotOptions
    from gearqa.report.grading.words import WIDE
    from gearqa.results.outputs import Outputs
    from gearqa.signoff.lot import sign_off

    require_folder(folder)
    if lot_size is not None and lot_size < 1:
        raise typer.BadParameter(f"{lot_size}; expected 1 or more", param_hint="--lot-size")
    lot_inputs.check_exclusions(exclude or ())
    person = lot_inputs.disposition(
        decided, disposed_by, lot_inputs.iso_date(disposed_on, "--disposed-on"), reason, concession
    )
    options = LotOptions(
        order=order, customer=customer, inspector=inspector, date=lot_inputs.iso_date(date, "--date"),
        remark=remark, restricted_to=tuple(serial or ()),
    )  # fmt: skip
    recorder = _Recorder(record, replace_record, previous, sign, lot_id)
    rules = lot_inputs.load_plan(plan)
    with Outputs() as outputs:
        with open_folder(folder, part=part, columns=columns, serials=serial) as inspection:
            drawing = inspection.part
            files = lot_inputs.input_files(inspection.inputs, folder, (part, columns), plan)
            header = grade_header(drawing, files, inspection.simulated, inspection.notices)
            with Progress("grading", "gears", quiet=quiet) as progress:
                gears = tuple(progress.over(evaluate(inspection, drawing)))
            result = sign_off(
                header, drawing, gears, rules, lot_size=lot_size, lot_id=lot_id,
                excluded=lot_inputs.exclusions(exclude or (), inspection.serials), options=options,
                disposition=person, other_production=inspection.other_production,
            )  # fmt: skip
        made = recorder.make(
            result, drawing, rules, header, gears,
            settings={
                "part_file": lot_inputs.beside(part, folder),
                "columns_file": lot_inputs.beside(columns, folder),
                "plan_file": lot_inputs.beside(plan, folder),
                "serials": list(serial or ()),
            },
        )  # fmt: skip
        if record is not None:
            from gearqa.signoff.record import record_bytes

            outputs.open(record).write(record_bytes(made))
        if json is not None:
            from gearqa.results.jsonio import dumps
            from gearqa.signoff.lot_json import lot_table

            outputs.open(json).write(dumps(lot_table(result), pretty=True))
        if csv is not None:
            from gearqa.signoff.lot_csv import lot_csv

            outputs.open(csv).write(lot_csv(result, csv_style))
        if html is not None or pdf is not None:
            _write_certificate(outputs, _certificate(result, drawing, made), html, pdf, paper)
        others = (part, columns, plan, previous, sign)
        outputs.keep_clear_of(
            [*(folder / one.file for one in header.inputs), *(path for path in others if path is not None)]
        )
    if not quiet:
        tell_notices(header.warnings)
    if not quiet and "-" not in (json, csv, html, pdf, record):
        from gearqa.report.lot.screen import lot_blocks

        screen = terminal()
        screen.blocks(lot_blocks(result, wide=screen.width >= WIDE))
    return ExitStatus.CONFORMS if result.decision == "release" else ExitStatus.DOES_NOT_CONFORM


class _Recorder:
    """Makes the record; what it needs is checked and read before the work begins."""

    def __init__(
        self,
        target: str | None,
        replacing: bool,
        previous: Path | None,
        sign: Path | None,
        lot_id: str | None,
    ) -> None:
        self.wanted = target is not None
        self._previous = self._key = None
        if target is None:
            for option, given in (("--replace", replacing), ("--previous", previous), ("--sign", sign)):
                if given:
                    raise typer.BadParameter("needs --record FILE", param_hint=option)
            return
        if not lot_id:
            raise typer.BadParameter("a record needs --lot-id ID", param_hint="--record")
        from gearqa.cli.signing import private_key
        from gearqa.signoff.record import keep_existing, load_record

        if target != "-":
            keep_existing(Path(target), replace=replacing)
        self._previous = None if previous is None else load_record(previous)
        self._key = None if sign is None else private_key(sign)

    def make(self, *about: Any, settings: dict[str, Any]) -> dict[str, Any]:
        """The record; empty if none is wanted."""
        if not self.wanted:
            return {}
        from gearqa.signoff.record import make_record

        return make_record(*about, settings=settings, previous=self._previous, key=self._key)


def _certificate(result: LotResult, drawing: Any, record: dict[str, Any]) -> Document:
    from gearqa.report.grading.gear_sheet import gear_words
    from gearqa.report.lot.page import RecordFacts, TableRow, certificate
    from gearqa.signoff.decision import TABLE

    facts = None
    if record:
        signature = record.get("signature") or {}
        facts = RecordFacts(record["digest"], record["previous"], signature.get("fingerprint"))
    return certificate(
        result,
        decision_table=[TableRow(row.number, row.rule) for row in TABLE],
        gear_words=gear_words(drawing),
        record=facts,
    )


def _write_certificate(
    outputs: Outputs, document: Document, html: str | None, pdf: str | None, paper: Literal["a4", "letter"]
) -> None:
    if html is not None:
        from gearqa.report.render.html import write_html

        write_html(outputs.open(html), document)
    if pdf is not None:
        from gearqa.report.render.pdf import write_pdf

        write_pdf(outputs.open(pdf), document, paper=paper)

"""`gearqa grade`: the main job."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, Annotated, Literal, Protocol

import typer

from gearqa.cli.exit_status import status_of
from gearqa.cli.options import ColumnMap, CsvFile, Folder, JsonFile, PartFile, Quiet, Serials

if TYPE_CHECKING:
    from gearqa.io.atomic import Outputs
    from gearqa.model.results import GearResult, GradeHeader, LotSummary


class Sink(Protocol):
    """Something that takes in a grading result while it is being made."""

    def begin(self, header: GradeHeader) -> None:
        """Before the first gear."""

    def gear(self, gear: GearResult) -> None:
        """One gear."""

    def end(self, lot: LotSummary) -> None:
        """After the last gear."""


def command(
    folder: Folder,
    part: PartFile = None,
    columns: ColumnMap = None,
    serial: Serials = None,
    json: JsonFile = None,
    csv: CsvFile = None,
    csv_rows: Annotated[
        Literal["gear", "flank", "trace"],
        typer.Option("--csv-rows", help="One CSV row a gear and parameter, or finer."),
    ] = "gear",
    csv_style: Annotated[
        Literal["comma", "semicolon"],
        typer.Option("--csv-style", help="semicolon: decimal comma and BOM, for spreadsheets."),
    ] = "comma",
    quiet: Quiet = False,
) -> int:
    """Grade an inspection folder: classes, conformity, master quality.

    Reads part.toml and all CSV tables of FOLDER, evaluates every trace, grades every parameter by
    ISO 1328-1, and says whether each gear conforms to the drawing and whether it, and the job, reached
    master quality.

    Exit status: 0 every gear conforms, 1 some gear does not or cannot be decided, 2 bad input or usage.
    """
    from gearqa.cli.console import tell_notices, terminal  # noqa: PLC0415
    from gearqa.cli.progress import Progress  # noqa: PLC0415
    from gearqa.cli.reading import open_folder, require_folder  # noqa: PLC0415
    from gearqa.evaluate import LotCounter, evaluate, grade_header  # noqa: PLC0415
    from gearqa.io.atomic import Outputs  # noqa: PLC0415
    from gearqa.report.model import WIDE, LotCollector, lot_blocks  # noqa: PLC0415

    shown = not quiet and "-" not in (json, csv)
    require_folder(folder)
    with Outputs() as outputs:
        sinks = _sinks(outputs, json, csv, csv_rows, csv_style)
        with open_folder(folder, part=part, columns=columns, serials=serial) as inspection:
            drawing = inspection.part
            header = grade_header(drawing, inspection.inputs, inspection.simulated, inspection.notices)
            outputs.keep_clear_of(folder / file.file for file in header.inputs)
            counter, seen = LotCounter(), LotCollector()
            for sink in sinks:
                sink.begin(header)
            with Progress("grading", "gears", quiet=quiet) as progress:
                for gear in progress.over(evaluate(inspection, drawing)):
                    counter.add(gear)
                    if shown:
                        seen.add(gear)
                    for sink in sinks:
                        sink.gear(gear)
        lot = counter.summary()
        for sink in sinks:
            sink.end(lot)
    if not quiet:
        tell_notices(header.warnings)
    if shown:
        screen = terminal()
        span = drawing.evaluation.slope_span
        screen.blocks(lot_blocks(header, lot, seen, span, wide=screen.width >= WIDE))
    return status_of(lot.conforms)


def _sinks(
    outputs: Outputs,
    json: str | None,
    csv: str | None,
    rows: Literal["gear", "flank", "trace"],
    style: Literal["comma", "semicolon"],
) -> Iterable[Sink]:
    sinks: list[Sink] = []
    if json is not None:
        from gearqa.io.jsonio import GradeJsonWriter  # noqa: PLC0415

        sinks.append(GradeJsonWriter(outputs.open(json)))
    if csv is not None:
        from gearqa.io.csvio import GradeCsvWriter  # noqa: PLC0415

        sinks.append(GradeCsvWriter(outputs.open(csv), rows=rows, style=style))
    return sinks

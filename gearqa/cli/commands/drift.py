"""`gearqa drift`: what the grinder does over parts and dress cycles."""

from __future__ import annotations

import math
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, BinaryIO, Literal

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
from gearqa.cli.stores import Grinder, PartNumber, Store, Until, moment

if TYPE_CHECKING:
    from gearqa.cli.drift_gears import Gears
    from gearqa.model.drift import DriftHeader, DriftResult, DriftSettings


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
            help="Seconds to measure one gear; with --cycle-time the "
            "sampling advice keeps to what the gauge can do.",
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
    """Tell how a grinder drifts, when it leaves the limits, and how often to dress.

    Per grinder, part and parameter: wear between dresses, level after each dress, level changes, control
    charts, forecast to the limit, dress interval for a chosen risk, and which parts to measure. What the
    words mean: gearqa explain drift

    Exit status: 0 no signal that counts and no limit ahead; 1 a signal in the current dress cycle (or since
    --since) or a limit that is reached within the usual dress interval; 2 bad input or usage.
    """  # fmt: skip
    from gearqa.cli.console import tell_notices, terminal
    from gearqa.cli.drift_gears import from_folders, from_store, references_for
    from gearqa.drift import analyse_observations
    from gearqa.report.drift.screen import drift_blocks
    from gearqa.results.outputs import Outputs

    settings = _settings(
        risk=risk, parameters=parameter, since=since, until=until, last_cycles=last_cycles,
        cycle_time_s=cycle_time, measuring_time_s=measuring_time, escaped_parts=escaped_parts,
    )  # fmt: skip
    keys = settings.parameters
    targets = {"json": json, "csv": csv, "html": html, "pdf": pdf}
    with Outputs() as outputs:
        streams = {kind: outputs.open(file) for kind, file in targets.items() if file is not None}
        if folders:
            _not_with_folders(store)
            gears = from_folders(
                folders, part=part, columns=columns, serials=serial, part_number=part_number,
                grinder=grinder, parameters=keys, quiet=quiet,
            )  # fmt: skip
        else:
            _only_with_folders(part, columns, serial)
            gears = from_store(store, part_number=part_number, grinder=grinder, parameters=keys)
        settings, header = references_for(gears, settings, reference)
        result = analyse_observations(gears.observations, gears.events, settings)
        _require_series(result, gears)
        if not quiet:
            tell_notices(header.warnings)
        outputs.keep_clear_of(gears.input_paths)
        _write(streams, result, header, csv_style, paper)
    if not quiet and "-" not in targets.values():
        screen = terminal()
        screen.blocks(drift_blocks(result, wide=screen.wide))
    return ExitStatus.DOES_NOT_CONFORM if result.alarm else ExitStatus.CONFORMS


def _settings(
    *,
    risk: float,
    parameters: list[str] | None,
    since: str | None,
    until: str | None,
    last_cycles: int | None,
    cycle_time_s: float | None,
    measuring_time_s: float | None,
    escaped_parts: int | None,
) -> DriftSettings:
    """Options as settings; bad values are usage errors."""
    from gearqa.model.drift import DriftSettings

    if not 0 < risk < 0.5:
        raise typer.BadParameter(
            f"found {risk:g}, expected more than 0 and less than 0.5", param_hint="--risk"
        )
    for value, option in ((cycle_time_s, "--cycle-time"), (measuring_time_s, "--measuring-time")):
        if value is not None and not (value > 0 and math.isfinite(value)):
            raise typer.BadParameter(f"found {value:g}, expected more than 0 seconds", param_hint=option)
    for count, option in ((last_cycles, "--last-cycles"), (escaped_parts, "--escaped-parts")):
        if count is not None and count < 1:
            raise typer.BadParameter(f"found {count}, expected at least 1", param_hint=option)
    return DriftSettings(
        risk=risk,
        parameters=_parameters(parameters),
        since=moment(since, "--since"),
        until=moment(until, "--until", end_of_day=True),
        last_cycles=last_cycles,
        cycle_time_s=cycle_time_s,
        measuring_time_s=measuring_time_s,
        escaped_parts=escaped_parts,
    )


def _parameters(keys: list[str] | None) -> tuple[str, ...] | None:
    from difflib import get_close_matches

    from gearqa.model.drift import SIZE
    from gearqa.symbols import PARAMETERS

    known = (*PARAMETERS, SIZE)
    for key in keys or ():
        if key not in known:
            near = get_close_matches(key, known, n=1)
            nearest = f"; nearest: {near[0]}" if near else ""
            raise typer.BadParameter(
                f"'{key}' is no parameter{nearest}. Parameters: {', '.join(known)}", param_hint="--parameter"
            )
    return tuple(dict.fromkeys(keys)) if keys else None


def _not_with_folders(store: str | None) -> None:
    if store is not None:
        raise typer.BadParameter(
            "give folders, or a store: folders are analysed by themselves. To keep them: gearqa history add",
            param_hint="--store",
        )


def _only_with_folders(part: Path | None, columns: Path | None, serials: list[str] | None) -> None:
    for value, option in ((part, "--part"), (columns, "--columns"), (serials, "--serial")):
        if value:
            raise typer.BadParameter(
                "says how a folder is read; name the folder, or leave it out for the history store",
                param_hint=option,
            )


def _require_series(result: DriftResult, gears: Gears) -> None:
    """Nothing to analyse is no result."""
    if not result.series:
        from gearqa.errors import EvaluationError

        message, hint = gears.nothing()
        raise EvaluationError(message, hint=hint)


def _write(
    streams: Mapping[str, BinaryIO],
    result: DriftResult,
    header: DriftHeader,
    csv_style: Literal["comma", "semicolon"],
    paper: Literal["a4", "letter"],
) -> None:
    if "json" in streams:
        from gearqa.model.drift import DriftReport
        from gearqa.results.drift_json import DRIFT

        streams["json"].write(DRIFT.json(DriftReport(header, result)))
    if "csv" in streams:
        from gearqa.results.drift_json import drift_csv

        streams["csv"].write(drift_csv(result, style=csv_style))
    if "html" not in streams and "pdf" not in streams:
        return
    from gearqa.report.drift.page import build_drift_document

    document = build_drift_document(result, header)
    if "html" in streams:
        from gearqa.report.render.html import write_html

        write_html(streams["html"], document)
    if "pdf" in streams:
        from gearqa.report.render.pdf import write_pdf

        write_pdf(streams["pdf"], document, paper=paper)

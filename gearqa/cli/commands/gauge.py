"""`gearqa gauge`: a study of the measuring instrument."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Literal

import typer

from gearqa.cli.exit_status import ExitStatus
from gearqa.cli.options import ColumnMap, HtmlFile, JsonFile, PaperSize, Parameters, PartFile, PdfFile, Quiet

if TYPE_CHECKING:
    from gearqa.model.gauge import GaugeResult, StudyTable
    from gearqa.model.measurement import InputFile
    from gearqa.model.part import Part

ROUNDED_POOLING = 0.25


def command(
    study: Annotated[
        Path,
        typer.Argument(
            metavar="STUDY.csv|FOLDER",
            help="Table of the study, or measured gears with --study.",
            show_default=False,
        ),
    ],
    table: Annotated[
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
    ] = ROUNDED_POOLING,
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

    Exit status: 0 done, and good enough where limits are known; 1 not good enough; 2 bad input or usage.
    """
    from gearqa.cli.console import tell_notices, terminal
    from gearqa.gauge.analyse import analyse
    from gearqa.report.gauge.page import gauge_blocks
    from gearqa.report.grading.words import WIDE
    from gearqa.results.outputs import Outputs

    if not 0 <= pool_above <= 1:
        raise typer.BadParameter(f"{pool_above:g}; expected 0 to 1", param_hint="--pool-above")
    with Outputs() as outputs:
        values, drawing, files, notices = _values(study, table, part, columns, parameter)
        result = analyse(
            values, part=drawing, inputs=files, factor=factor, pool_above=pool_above, warnings=notices
        )
        _write(outputs, result, json, html, pdf, paper)
        outputs.keep_clear_of([p for p in (study, table, part, columns) if p is not None and p.is_file()])
    if not quiet:
        tell_notices(result.warnings)
    if not quiet and "-" not in (json, html, pdf):
        screen = terminal()
        screen.blocks(gauge_blocks(result, wide=screen.width >= WIDE))
    return ExitStatus.DOES_NOT_CONFORM if result.suitable is False else ExitStatus.CONFORMS


def _values(
    study: Path, table: Path | None, part: Path | None, columns: Path | None, parameters: list[str] | None
) -> tuple[StudyTable, Part | None, tuple[InputFile, ...], tuple[Any, ...]]:
    """The values of the study, the drawing, and further files read."""
    from dataclasses import replace

    from gearqa.model.measurement import InputFile
    from gearqa.reading.rows.digests import sha256_of
    from gearqa.reading.settings.part_file import read_part
    from gearqa.reading.values.study import read_study

    wanted = _parameters(parameters)
    if study.is_dir():
        if table is None:
            raise typer.BadParameter(
                "a folder needs --study TABLE (serial, item, operator, trial)", param_hint="--study"
            )
        return _measured(study, table, part, columns, wanted)
    if table is not None:
        raise typer.BadParameter(f"'{study}' is no folder; --study goes with FOLDER", param_hint="--study")
    values = read_study(study, columns=columns)
    if wanted:
        values = replace(
            values,
            crossed=tuple(one for one in values.crossed if one.parameter in wanted),
            references=tuple(one for one in values.references if one.parameter in wanted),
        )
        if not values.crossed and not values.references:
            raise typer.BadParameter("none of these is in the study", param_hint="--parameter")
    drawing = None if part is None else read_part(part)
    files = () if part is None else (InputFile(part.name, sha256_of(part)),)
    return values, drawing, files, ()


def _parameters(words: list[str] | None) -> tuple[str, ...]:
    """Keys of the parameters that were named."""
    from gearqa.reading.values.parameter_names import nearest_parameter, parameter_key

    keys = []
    for word in words or ():
        key = parameter_key(word)
        if not isinstance(key, str):
            hint = f"; {hint}" if (hint := nearest_parameter(word)) else ""
            raise typer.BadParameter(f"'{word}' is no parameter{hint}", param_hint="--parameter")
        keys.append(key)
    return tuple(keys)


def _measured(
    folder: Path, table: Path, part: Path | None, columns: Path | None, wanted: tuple[str, ...]
) -> tuple[StudyTable, Part, tuple[InputFile, ...], tuple[Any, ...]]:
    from gearqa.evaluation.evaluate import evaluate
    from gearqa.gauge.study_from_gears import study_from_gears
    from gearqa.reading.folder.passes import read_folder
    from gearqa.reading.values.study import read_measured_study

    with read_folder(folder, part=part, columns=columns) as inspection:
        which = read_measured_study(table, inspection.serials, name=table.name)
        drawing = inspection.part
        gears = evaluate((g for g in inspection if g.serial in which.place_of), drawing)
        keys = wanted or drawing.tolerance.required
        study = study_from_gears(gears, which, keys, simulated=inspection.simulated)
        return study, drawing, inspection.inputs, inspection.notices


def _write(
    outputs: Any,
    result: GaugeResult,
    json: str | None,
    html: str | None,
    pdf: str | None,
    paper: Literal["a4", "letter"],
) -> None:
    if json is not None:
        from gearqa.gauge.json_tables import gauge_table
        from gearqa.results.jsonio import dumps

        outputs.open(json).write(dumps(gauge_table(result), pretty=True))
    if html is None and pdf is None:
        return
    from gearqa.report.gauge.page import gauge_document

    document = gauge_document(result)
    if html is not None:
        from gearqa.report.render.html import write_html

        write_html(outputs.open(html), document)
    if pdf is not None:
        from gearqa.report.render.pdf import write_pdf

        write_pdf(outputs.open(pdf), document, paper=paper)

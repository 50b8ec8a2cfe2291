"""The job `gauge`: a study of a measuring instrument."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from gearqa.errors import ArgumentError, Notice
from gearqa.evaluation.evaluate import evaluate
from gearqa.gauge.study_analysis import analyse_study, study_from_gears
from gearqa.jobs.folders import input_file, open_folder
from gearqa.jobs.parameters import require_within
from gearqa.model.gauge import GaugeResult, StudyTable
from gearqa.model.measurement import InputFile, first_measurements
from gearqa.model.part import Part
from gearqa.model.ranges import Range
from gearqa.reading.settings.part_file import read_part
from gearqa.reading.values.parameter_names import nearest_parameter, parameter_key
from gearqa.reading.values.study import read_measured_study, read_study
from gearqa.statistics.gauge_study import POOL_ABOVE


def study_gauge(
    path: str | Path,
    *,
    study: str | Path | None = None,
    part: str | Path | None = None,
    columns: str | Path | None = None,
    parameter: Sequence[str] | None = None,
    factor: str = "operators",
    pool_above: float = POOL_ABOVE,
) -> GaugeResult:
    """Study a measuring instrument: its spread, its bias and the uncertainties that follow.

    Parameters
    ----------
    path : path
        Table of the study, crossed or on a calibrated gear; or an inspection folder of measured gears.
    study : path, optional
        With a folder: the table of its trials (serial, item, operator, trial).
    part : path, optional
        Part file, for limits and stated uncertainties; by default that of the folder.
    columns : path, optional
        Column map for tables of another layout.
    parameter : sequence of str, optional
        Keys or symbols of the parameters to study; by default all of the table, or all that the drawing
        asks for.
    factor : str
        What the operators of the study are: operators, set-ups, days, instruments.
    pool_above : float
        The interaction is pooled with the repeatability if the p of its F test is larger. [-]

    Returns
    -------
    GaugeResult
        By parameter; the uncertainty U only where a calibrated reference gives the bias.

    Raises
    ------
    ArgumentError
        If the arguments do not go together, or a parameter is not known.
    InputError
        If an input is at fault, with all problems.

    Examples
    --------
    >>> import gearqa
    >>> result = gearqa.study_gauge("sample_measurements/gauge_study/reference_gear.csv")
    >>> dict(result.uncertainty_um)
    {'profile_slope': 0.72, 'helix_slope': 1.13}
    """
    require_within("pool_above", pool_above, Range(0, 1))
    path, wanted = Path(path), _keys(parameter or ())
    drawing: Part | None = None
    files: tuple[InputFile, ...] = ()
    notices: tuple[Notice, ...] = ()
    if path.is_dir():
        values, drawing, files, notices = _of_folder(path, study, part, columns, wanted)
    elif study is not None:
        raise ArgumentError("study", f"'{path}' is no folder; a table of trials goes with a folder")
    else:
        values = _selected(read_study(path, columns=columns), wanted)
        if part is not None:
            drawing, files = read_part(part), (input_file(part),)
    return analyse_study(
        values, part=drawing, inputs=files, factor=factor, pool_above=pool_above, warnings=notices
    )


def _keys(words: Sequence[str]) -> tuple[str, ...]:
    """Keys of the parameters named."""
    keys = []
    for word in words:
        key = parameter_key(word)
        if not isinstance(key, str):
            hint = f"; {hint}" if (hint := nearest_parameter(word)) else ""
            raise ArgumentError("parameter", f"'{word}' is no parameter{hint}")
        keys.append(key)
    return tuple(keys)


def _selected(values: StudyTable, wanted: Sequence[str]) -> StudyTable:
    if not wanted:
        return values
    chosen = replace(
        values,
        crossed=tuple(one for one in values.crossed if one.parameter in wanted),
        references=tuple(one for one in values.references if one.parameter in wanted),
    )
    if not chosen.crossed and not chosen.references:
        raise ArgumentError("parameter", "none of these is in the study")
    return chosen


def _of_folder(
    folder: Path,
    table: str | Path | None,
    part: str | Path | None,
    columns: str | Path | None,
    wanted: Sequence[str],
) -> tuple[StudyTable, Part, tuple[InputFile, ...], tuple[Notice, ...]]:
    """Values of measured gears, the drawing, the files read and the notices."""
    if table is None:
        raise ArgumentError("study", "a folder needs the table of its trials: serial, item, operator, trial")
    with open_folder(folder, part=part, columns=columns) as inspection:
        trials = read_measured_study(table, inspection.serials, name=Path(table).name)
        drawing = inspection.part
        gears = evaluate(
            (gear for gear in first_measurements(inspection) if gear.serial in trials.place_of), drawing
        )
        keys = wanted or drawing.tolerance.required
        values = study_from_gears(gears, trials, keys, simulated=inspection.simulated)
        return values, drawing, inspection.inputs, inspection.notices

"""A crossed study from measured gears: which serial is which trial, and the values of each."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from gearqa.errors import MeasurementFileError, Problem, Reason
from gearqa.model.gauge import StudyTable
from gearqa.model.results import GearResult
from gearqa.reading.values.study import MeasuredStudy, Place, crossed_series
from gearqa.symbols import PARAMETERS, Flank


def study_from_gears(
    gears: Iterable[GearResult], table: MeasuredStudy, parameters: Sequence[str], *, simulated: bool
) -> StudyTable:
    """The crossed study that measured gears make.

    Slopes go by the mean over the traces of a flank, everything else by its value: the worst of the flank.

    Raises
    ------
    MeasurementFileError
        If the study is not complete and balanced, or a gear lacks a parameter that others have.
    """
    graded = {gear.serial: gear for gear in gears if gear.serial in table.place_of}
    rows: dict[tuple[str, Flank | None], list[tuple[Place, float, int]]] = {}
    for line, (serial, place) in enumerate(table.place_of.items(), 2):
        for key in parameters:
            result = graded[serial].parameters.get(key)
            if result is None:
                continue
            if not PARAMETERS[key].per_flank:
                rows.setdefault((key, None), []).append((place, result.value_um, line))
            for flank, one in result.flanks.items():
                value = one.mean_um if PARAMETERS[key].signed else one.value_um
                rows.setdefault((key, flank), []).append((place, value, line))
    if not rows:
        found = "no parameter that could be evaluated"
        raise MeasurementFileError([Problem(Reason.NOTHING_TO_GRADE, table.file.file, found, "at least one")])
    crossed = crossed_series(rows, table.file.file)
    return StudyTable(table.file, "crossed", crossed, (), table.notices, simulated)

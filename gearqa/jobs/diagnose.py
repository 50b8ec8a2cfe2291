"""The job `diagnose`: what keeps gears from a better class, what causes it, what to correct."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from gearqa.diagnosis.analysis import diagnose_gears
from gearqa.diagnosis.gains import with_gains
from gearqa.diagnosis.stroke import stroke_check
from gearqa.evaluation.part_setup import setup_of
from gearqa.jobs.folders import open_folder
from gearqa.jobs.parameters import require_within
from gearqa.jobs.progress import UNSEEN, Progress
from gearqa.jobs.recorded_corrections import (
    RecordedCourse,
    of_both_sides,
    recorded_in_folder,
    recorded_in_store,
)
from gearqa.model.diagnosis import DiagnosisResult
from gearqa.model.measurement import first_measurements
from gearqa.model.ranges import WHEEL_THREADS
from gearqa.model.results import MasterCriterion

if TYPE_CHECKING:
    from gearqa.jobs.stores import AnyStore


def diagnose(
    folder: str | Path,
    *,
    part: str | Path | None = None,
    columns: str | Path | None = None,
    serial: Sequence[str] | None = None,
    threads: int | None = None,
    store: AnyStore = None,
    progress: Progress = UNSEEN,
) -> DiagnosisResult:
    """Take the deviations of measured gears apart into physical errors.

    Parameters
    ----------
    folder : str or Path
        An inspection folder.
    part : str or Path, optional
        Part file to use instead of part.toml in the folder.
    columns : str or Path, optional
        Column map for tables of another layout.
    serial : sequence of str, optional
        Only these serials.
    threads : int, optional
        Threads of the grinding wheel, instead of those under `[grinder.NAME]`; patterns of other periods are
        then not looked for.
    store : HistoryStore, str or path, optional
        History store whose recorded corrections give the gains, instead of those of the folder. Of None
        only the folder counts.
    progress : Progress, optional
        Shows how far the work has come.

    Returns
    -------
    DiagnosisResult
        Components, the class without them, corrections and causes, by gear and for the lot.

    Raises
    ------
    ArgumentError
        `folder` is no folder.
    InputError
        All faults of the input, with file and line.

    Examples
    --------
    >>> import gearqa
    >>> result = gearqa.diagnose("sample_measurements/ring_faults", serial=["OT-0303"])
    >>> worst = result.gears[0].components[0]
    >>> worst.key, round(worst.amplitude_um), round(worst.phase_deg)
    ('eccentricity', 24, 75)
    """
    require_within("threads", threads, WHEEL_THREADS)
    with open_folder(folder, part=part, columns=columns, serials=serial) as inspection:
        setup = setup_of(inspection.part)
        first = first_measurements(inspection)
        measured = list(progress.over(first, "taking apart", "gears", total=len(inspection.serials)))
        gears, lot = diagnose_gears(measured, setup, threads=threads)
        drawing = inspection.part.part
        recorded = RecordedCourse()
        if store is not None:
            recorded = recorded_in_store(store, drawing.number)
        elif any(event.correction is not None for event in inspection.events):
            recorded = recorded_in_folder(Path(folder), part, columns)
        known = recorded.changes
        gears = tuple(replace(gear, corrections=with_gains(gear.corrections, known)) for gear in gears)
        lot = replace(lot, corrections=with_gains(lot.corrections, known))
        lot = replace(lot, corrections=of_both_sides(lot.corrections, measured, inspection.events))
        return DiagnosisResult(
            standard=inspection.part.tolerance.standard,
            part={"number": drawing.number, "name": drawing.name, "revision": drawing.revision},
            inputs=tuple(inspection.inputs),
            simulated=inspection.simulated,
            master_quality=MasterCriterion(
                inspection.part.master_quality.class_, inspection.part.master_parameters
            ),
            lot=lot,
            gears=gears,
            recorded=recorded.last,
            changes=known,
            stroke=stroke_check(measured, gears, inspection.part),
            warnings=tuple(inspection.notices),
        )

"""Grading a folder of measured gears: evaluated, graded, counted; whole, or gear by gear."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import AbstractContextManager, nullcontext
from dataclasses import replace
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, Protocol

from gearqa.evaluation.evaluate import (
    Counted,
    GearSource,
    LotCounter,
    counted,
    evaluate_with,
    grade_header,
)
from gearqa.evaluation.part_setup import PartSetup, setup_of
from gearqa.jobs.folders import open_folder
from gearqa.jobs.progress import UNSEEN, Progress
from gearqa.jobs.side_by_side import over_gears
from gearqa.model.measurement import GearMeasurement
from gearqa.model.part import Part
from gearqa.model.results import GearResult, GradeHeader, GradeResult, LotSummary

if TYPE_CHECKING:
    from gearqa.diagnosis.analysis import GearByGear
    from gearqa.model.curves import GearCurves
    from gearqa.model.diagnosis import GearDiagnosis

MOST_DIAGNOSED: Final = 20
"""Gears of a report whose sheets say what keeps them from conforming."""


class GradedGear:
    """One gear as it passes by: its result, and its curves for those who draw them."""

    def __init__(
        self,
        measured: GearMeasurement,
        result: GearResult,
        setup: PartSetup,
        apart: TakenApart,
        *,
        alone: bool = False,
    ) -> None:
        self.measured, self.result, self.alone = measured, result, alone
        self._setup, self._apart = setup, apart

    @cached_property
    def curves(self) -> GearCurves:
        """What charts show of the gear; made when first asked for."""
        from gearqa.evaluation.curves import gear_curves

        curves = gear_curves(self.measured, self.result, self._setup)
        return replace(curves, diagnosed=self._diagnosed if self.result.conforms is False else None)

    def _diagnosed(self) -> GearDiagnosis | None:
        return self._diagnosis

    @cached_property
    def _diagnosis(self) -> GearDiagnosis | None:
        return self._apart.gear(self.measured)


class TakenApart:
    """Takes gears of a part apart as they are asked for, at most so many: each takes about as long as its
    charts."""

    def __init__(self, setup: PartSetup, most: int | None = MOST_DIAGNOSED) -> None:
        self._setup, self._left = setup, most

    def gear(self, measured: GearMeasurement) -> GearDiagnosis | None:
        """A gear taken apart; None: too many were."""
        if self._left is not None:
            self._left -= 1
            if self._left < 0:
                return None
        return self._gears.of(measured)

    @cached_property
    def _gears(self) -> GearByGear:
        from gearqa.diagnosis.analysis import GearByGear

        return GearByGear(self._setup)


class GradeTaker(Protocol):
    """Takes in a grading result while it is being made, by this process and others."""

    shared: bool
    """Whether what it makes of a gear is little and plain, so that another process may make it."""

    def begin(self, header: GradeHeader, part: Part) -> None:
        """Before the first gear."""

    def made(self, gear: GradedGear) -> Any:
        """What it takes of a gear; made where the gear is graded, in any order."""

    def take(self, made: Any) -> None:
        """What was made of one gear, in the order of the gears."""

    def end(self, lot: LotSummary) -> None:
        """After the last gear."""


def grade(
    folder: str | Path | GearSource,
    *,
    part: str | Path | None = None,
    columns: str | Path | None = None,
    serial: Sequence[str] | None = None,
    progress: Progress = UNSEEN,
) -> GradeResult:
    """Grade an inspection folder and keep the result of every gear.

    Parameters
    ----------
    folder : str, Path or inspection
        An inspection folder, or one that `gearqa.read_folder` opened.
    part : str or Path, optional
        Part file to use instead of part.toml in the folder.
    columns : str or Path, optional
        Column map for tables of another layout.
    serial : sequence of str, optional
        Only these serials.
    progress : Progress, optional
        Shows how far the work has come.

    Returns
    -------
    GradeResult
        Every gear, graded, and the counts over all of them.

    Raises
    ------
    ArgumentError
        `folder` is no folder.
    InputError
        All faults of the input, with file and line.
    OutOfScopeError
        The gear lies outside the range of the tolerance standard.
    EvaluationError
        Profile traces of a part that gives no limits to evaluate them.

    Examples
    --------
    >>> from gearqa.jobs.grade import grade
    >>> result = grade("sample_measurements/pinion")
    >>> result.lot.gears, result.lot.conforms, result.gears[0].class_
    (4, True, 4)
    """
    kept = _Kept()
    opened: AbstractContextManager[GearSource] = (
        open_folder(folder, part=part, columns=columns, serials=serial)
        if isinstance(folder, str | Path)
        else nullcontext(folder)
    )
    with opened as inspection:
        header, lot = grade_each(inspection, [kept], progress)
    return GradeResult(header, tuple(kept.gears), lot)


def grade_each(
    inspection: GearSource,
    takers: Sequence[GradeTaker],
    progress: Progress = UNSEEN,
    *,
    workers: int | None = 1,
) -> tuple[GradeHeader, LotSummary]:
    """Grade gear by gear in bounded memory; `takers` get each gear as it comes.

    Parameters
    ----------
    inspection : GearSource
        An open inspection folder.
    takers : sequence of GradeTaker
        What is made of the gears: files, reports, counts.
    progress : Progress, optional
        Shows how far the work has come.
    workers : int, optional
        Processes at most that grade; None: one a core.

    Returns
    -------
    GradeHeader, LotSummary
        What is true of the whole inspection, and the counts over its gears.
    """
    drawing = inspection.part
    header = grade_header(drawing, inspection.inputs, inspection.simulated, inspection.notices)
    setup, counter = setup_of(drawing), LotCounter()
    apart, alone = TakenApart(setup), len(inspection) == 1

    def graded(some: range) -> list[tuple[Counted, list[Any]]]:
        found = []
        for measured, result in evaluate_with(inspection.some(some), setup):
            gear = GradedGear(measured, result, setup, apart, alone=alone)
            found.append((counted(result), [taker.made(gear) for taker in takers]))
        return found

    for taker in takers:
        taker.begin(header, drawing)
    workers = workers if all(taker.shared for taker in takers) else 1
    gears = over_gears(graded, len(inspection), workers=workers)
    for counts, made in progress.over(gears, "grading", "gears", total=len(inspection)):
        counter.add(counts)
        for taker, its in zip(takers, made, strict=True):
            taker.take(its)
    lot = counter.summary()
    for taker in takers:
        taker.end(lot)
    return header, lot


class _Kept:
    """Keeps every result."""

    shared = False

    def __init__(self) -> None:
        self.gears: list[GearResult] = []

    def begin(self, header: GradeHeader, part: Part) -> None:
        pass

    def made(self, gear: GradedGear) -> GearResult:
        return gear.result

    def take(self, made: GearResult) -> None:
        self.gears.append(made)

    def end(self, lot: LotSummary) -> None:
        pass

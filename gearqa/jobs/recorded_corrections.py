"""What recorded corrections did, as drift sees it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Final

from gearqa.diagnosis.gains import OF_QUANTITY
from gearqa.drift.ordering import seconds
from gearqa.errors import EvaluationError
from gearqa.jobs.drift import analyse_drift
from gearqa.model.diagnosis import Correction, RecordedChange, RecordedCorrection
from gearqa.model.drift import DriftReport
from gearqa.model.measurement import GearMeasurement, GrinderEvent
from gearqa.symbols import PARAMETERS

if TYPE_CHECKING:
    from gearqa.jobs.stores import AnyStore

MIXED: Final = (
    "this is of the mean of gears from before and after a correction, not of the level now: "
    "name those made since (--serial)"
)


@dataclass(frozen=True, slots=True)
class RecordedCourse:
    """What a history says of recorded changes."""

    last: tuple[RecordedCorrection, ...] = ()
    """Of each series."""
    changes: tuple[RecordedChange, ...] = ()


def recorded_in_folder(folder: Path, part: str | Path | None, columns: str | Path | None) -> RecordedCourse:
    """Recorded changes of a folder; none where the gears show no course."""
    try:
        return _recorded(analyse_drift(folder, part=part, columns=columns))
    except EvaluationError:
        return RecordedCourse()


def recorded_in_store(store: AnyStore, part_number: str) -> RecordedCourse:
    """Recorded changes of a part in a history store; none where it holds no such gears."""
    try:
        return _recorded(analyse_drift(store=store, part_number=part_number))
    except EvaluationError:
        return RecordedCourse()


def _recorded(report: DriftReport) -> RecordedCourse:
    last = tuple(
        RecordedCorrection(
            one.parameter, one.flank, one.grinder, last.words, last.intended, last.effect, last.low,
            last.high, last.verdict,
        )
        for one in report.result.series
        for last in one.corrections[-1:]
        if one.parameter in PARAMETERS
    )  # fmt: skip
    return RecordedCourse(last, tuple(change for one in report.result.diagnosis for change in one.changes))


def of_both_sides(
    suggested: Sequence[Correction], gears: Sequence[GearMeasurement], events: Sequence[GrinderEvent]
) -> tuple[Correction, ...]:
    """Suggestions for a lot; those of a mean over gears from before and after a correction say so."""
    made = [
        (one.production.grinder, seconds(one.production.finished_at))
        for one in gears
        if one.production is not None and one.production.finished_at is not None
    ]

    def mixed(event: GrinderEvent) -> bool:
        before = [at < seconds(event.at) for grinder, at in made if grinder == event.grinder]
        return any(before) and not all(before)

    parting = [event for event in events if event.correction is not None and mixed(event)]

    def told(one: Correction) -> Correction:
        if not any(_acts(event, one) for event in parting):
            return one
        return replace(one, basis=f"{one.basis}; {MIXED}")

    return tuple(map(told, suggested))


def _acts(event: GrinderEvent, one: Correction) -> bool:
    """Whether a recorded change acts on what a suggestion corrects."""
    key = OF_QUANTITY.get(event.parameter or "", event.parameter)
    return key == OF_QUANTITY.get(one.quantity) and (
        one.flank is None or event.flank is None or one.flank == event.flank
    )

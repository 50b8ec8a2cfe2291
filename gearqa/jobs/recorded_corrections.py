"""What recorded corrections did, as drift sees it, and the gains that suggestions take from them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Final

from gearqa.drift.ordering import seconds
from gearqa.errors import EvaluationError
from gearqa.jobs.drift import analyse_drift
from gearqa.model.diagnosis import Correction, RecordedCorrection
from gearqa.model.drift import DriftReport
from gearqa.model.measurement import GearMeasurement, GrinderEvent
from gearqa.symbols import PARAMETERS, Flank
from gearqa.wording.numbers import fixed_text, um_text

if TYPE_CHECKING:
    from gearqa.jobs.stores import AnyStore

OF_QUANTITY: Final = {
    "profile_slope": "profile_slope", "pressure_angle": "profile_slope", "helix_angle": "helix_slope",
    "twist_over_face_width": "helix_slope", "infeed_far_end": "helix_slope",
    "profile_crowning": "profile_crowning", "helix_crowning": "helix_crowning",
    "infeed_ends": "helix_crowning",
}  # fmt: skip
"""Parameter that shows what a change of a quantity does."""
LEARNED: Final = ("as intended", "smaller", "larger")
"""Verdicts from which a gain is taken."""

MIXED: Final = (
    "this is of the mean of gears from before and after a correction, not of the level now: "
    "name those made since (--serial)"
)


def recorded_in_folder(
    folder: Path, part: str | Path | None, columns: str | Path | None
) -> tuple[RecordedCorrection, ...]:
    """The last correction of each series of a folder; none where the gears show no course."""
    try:
        return _recorded(analyse_drift(folder, part=part, columns=columns))
    except EvaluationError:
        return ()


def recorded_in_store(store: AnyStore, part_number: str) -> tuple[RecordedCorrection, ...]:
    """The last correction of each series of a part in a history store; none where it holds no such gears."""
    try:
        return _recorded(analyse_drift(store=store, part_number=part_number))
    except EvaluationError:
        return ()


def _recorded(report: DriftReport) -> tuple[RecordedCorrection, ...]:
    return tuple(
        RecordedCorrection(
            one.parameter, one.flank, one.grinder, last.words, last.intended, last.effect, last.low,
            last.high, last.verdict,
        )
        for one in report.result.series
        for last in one.corrections[-1:]
        if one.parameter in PARAMETERS
    )  # fmt: skip


def with_gains(
    suggested: Sequence[Correction], recorded: Sequence[RecordedCorrection]
) -> tuple[Correction, ...]:
    """Suggestions with the gain of the last recorded correction of their kind, or with what it says."""
    return tuple(_with_gain(one, recorded) for one in suggested)


def _with_gain(one: Correction, recorded: Sequence[RecordedCorrection]) -> Correction:
    alike = [
        r for r in recorded if r.parameter == OF_QUANTITY.get(one.quantity) and _same(one.flank, r.flank)
    ]
    if len({r.grinder for r in alike}) != 1:
        return one
    if any(r.verdict == "opposite" for r in alike):
        text = "the last recorded correction went the opposite way: find out why before another one"
        return replace(one, basis=text)
    known = [r for r in alike if r.effect_um is not None and r.intended_um and r.verdict in LEARNED]
    if not known or len(known) < len(alike):
        return one
    gain = sum(r.effect_um / r.intended_um for r in known if r.effect_um is not None) / len(known)
    last = known[-1]
    did = (
        f"{um_text(last.intended_um, 1, signed=True)} meant, {um_text(last.effect_um or 0.0, 1, signed=True)}"
    )
    text = f"learned: the last recorded correction, {did} found; divide by the gain of {fixed_text(gain)}"
    return replace(one, basis=text, gain=gain)


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
        key = OF_QUANTITY.get(one.quantity)
        if not any(event.parameter == key and _same(one.flank, event.flank) for event in parting):
            return one
        return replace(one, basis=f"{one.basis}; {MIXED}")

    return tuple(map(told, suggested))


def _same(flank: Flank | None, other: Flank | None) -> bool:
    return flank is None or other is None or flank == other

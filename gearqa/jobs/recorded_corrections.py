"""What recorded corrections did, as drift sees it, and the gains that suggestions take from them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Final

from gearqa.errors import EvaluationError
from gearqa.jobs.drift import analyse_drift
from gearqa.model.diagnosis import Correction, RecordedCorrection
from gearqa.model.drift import DriftReport
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


def _same(flank: Flank | None, other: Flank | None) -> bool:
    return flank is None or other is None or flank == other

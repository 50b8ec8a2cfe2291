"""Readings in doubt are not taken apart: what `grade` does not assess is left out here as well."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Final

import numpy as np

from gearqa.errors import Notice, NoticeCode
from gearqa.evaluation.gaps import DOUBTS
from gearqa.evaluation.part_setup import PartSetup, setup_of
from gearqa.evaluation.pitch_sets import PitchSet, evaluate_pitch_sets
from gearqa.evaluation.trace_sets import TraceSet, evaluate_trace_sets
from gearqa.model.measurement import GearMeasurement, RunoutReadings
from gearqa.model.part import Confirmation
from gearqa.model.results import GearResult
from gearqa.symbols import PARAMETERS

TOLD: Final = frozenset(
    {
        NoticeCode.POSITION_DOUBTFUL, NoticeCode.INDEX_OR_PITCH_DOUBTFUL,
        NoticeCode.FLANKS_OR_NUMBERING_DOUBTFUL, NoticeCode.CONFIRMED,
    }
)  # fmt: skip
"""Warnings of grading that put a diagnosis in question."""


def trusted(gears: Sequence[GearMeasurement], setup: PartSetup) -> list[GearMeasurement]:
    """Gears less the readings that are in doubt and that nobody confirmed.

    Ball readings in doubt stay as missing ones: they are not replaced by those that pitch gives.
    """
    traces, pitch = evaluate_trace_sets(gears, setup), evaluate_pitch_sets(gears, setup)
    return [_less_doubts(*one, setup) for one in zip(gears, traces, pitch, strict=True)]


def _less_doubts(
    gear: GearMeasurement, traces: TraceSet, pitch: PitchSet, setup: PartSetup
) -> GearMeasurement:
    doubtful = {
        id(fault.trace)
        for fault in traces.faults
        if fault.code in DOUBTS and not setup.confirmed(fault.code, fault.trace.kind, gear.serial)
    }
    if not doubtful and not pitch.left_out:
        return gear
    runout = gear.runout
    if runout is not None and None in pitch.left_out:
        runout = RunoutReadings(np.full_like(runout.radial_um, np.nan))
    return replace(
        gear,
        traces=tuple(trace for trace in gear.traces if id(trace) not in doubtful),
        pitch={flank: one for flank, one in gear.pitch.items() if flank not in pitch.left_out},
        runout=runout,
    )


def warnings_of(raw: GearResult) -> tuple[Notice, ...]:
    """What was left out for doubt, and what puts the diagnosis in question."""
    return tuple(
        one if one.code in TOLD else Notice(one.code, f"left out of the diagnosis: {one.message}")
        for one in raw.warnings
        if one.code in TOLD or (one.code in DOUBTS and one.code != NoticeCode.TOO_FEW_TEETH)
    )


def as_they_stand(setup: PartSetup) -> PartSetup:
    """The part with every reading taken as it stands: for gears of trusted readings less their errors,
    of which little may be left."""
    families = sorted({one.family for one in PARAMETERS.values()})
    confirmed = tuple(
        Confirmation(code=code, parameter=family, serials="all", reason="what if", by="gearqa")
        for code in ("unit_doubt", "stuck", "clipped")
        for family in families
    )  # fmt: skip
    evaluation = setup.part.evaluation.model_copy(update={"confirmed": confirmed})
    return setup_of(setup.part.model_copy(update={"evaluation": evaluation}))

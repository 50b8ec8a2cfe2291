"""Parts and measured gears with values known beforehand.

The pinion (z 50, m_n 2, d 100, b 20) has the class-5 tolerances fp 6, Fp 19, Fr 17, F_alpha 8,
f_f_alpha 6, f_H_alpha 4.9, F_beta 9, f_f_beta 6.5, f_H_beta 6 (computed by hand, see tests/oracle).
Its filter is off and its slopes are rises over the evaluation length, so that traces say what they are.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from gearqa.evaluation.evaluate import evaluate
from gearqa.evaluation.part_setup import setup_of
from gearqa.model.decision_rule import DecisionTable
from gearqa.model.lot import LotGear
from gearqa.model.measurement import (
    GearMeasurement,
    PitchReadings,
    Production,
    RunoutReadings,
    SizeReading,
    Trace,
)
from gearqa.model.part import Part
from gearqa.model.results import GearResult
from gearqa.signoff.gear_states import judge_gear

Z = 50
TEETH = (1, 13, 26, 38)
ROLL = np.linspace(12.0, 24.0, 601)
FACE = np.linspace(0.0, 20.0, 401)
START, END = 13.0, 23.0


def merged(base: dict[str, Any], more: dict[str, Any]) -> dict[str, Any]:
    out = dict(base)
    for key, value in more.items():
        out[key] = (
            merged(out[key], value) if isinstance(value, dict) and isinstance(out.get(key), dict) else value
        )
    return out


PINION: dict[str, Any] = {
    "schema": "gearqa.part/1",
    "part": {"number": "OT-1", "name": "Sun pinion, orchard tractor final drive", "revision": "A"},
    "gear": {
        "kind": "external",
        "teeth": Z,
        "normal_module_mm": 2.0,
        "normal_pressure_angle_deg": 20.0,
        "helix_angle_deg": 0.0,
        "face_width_mm": 20.0,
    },
    "evaluation": {
        "profile": {"start_roll_length_mm": START, "end_roll_length_mm": END},
        "filter": {"enabled": False},
        "slope_span": "evaluation",
    },
    "tolerance": {"class": 5},
}

RING: dict[str, Any] = {
    "schema": "gearqa.part/1",
    "part": {"number": "OT-2"},
    "gear": {
        "kind": "internal",
        "teeth": 87,
        "normal_module_mm": 1.75,
        "normal_pressure_angle_deg": 20.0,
        "helix_angle_deg": 18.0,
        "helix_hand": "right",
        "face_width_mm": 32.0,
        "tip_diameter_mm": 156.7,
    },
    "evaluation": {"profile": {"control_diameter_mm": 163.4, "tip_form_diameter_mm": 157.0}},
    "tolerance": {"class": 6},
}


def part(base: dict[str, Any] = PINION, **tables: Any) -> Part:
    """A part; keyword arguments are merged into its tables."""
    return Part.model_validate(merged(base, tables))


def profile(flank: str, tooth: int, slope: float = 0.0, wave: float = 0.0, **more: Any) -> Trace:
    """Rise over the evaluation length and a wave of whole turns, which leaves total = 2 wave at slope 0."""
    t = (ROLL - START) / (END - START) - 0.5
    return Trace("profile", flank, tooth, ROLL, slope * t + wave * np.cos(8 * np.pi * t), **more)


def helix(flank: str, tooth: int, slope: float = 0.0, wave: float = 0.0, **more: Any) -> Trace:
    t = (FACE - 1.0) / 18.0 - 0.5
    return Trace("helix", flank, tooth, FACE, slope * t + wave * np.cos(8 * np.pi * t), **more)


def all_traces(teeth: tuple[int, ...] = TEETH, flanks: tuple[str, ...] = ("left", "right")) -> list[Trace]:
    return [make(flank, tooth) for make in (profile, helix) for flank in flanks for tooth in teeth]


def index(z: int = Z, **at: float) -> np.ndarray:
    """Index deviations, zero but at the teeth named t1, t2, ..."""
    values = np.zeros(z)
    for tooth, value in at.items():
        values[int(tooth[1:]) - 1] = value
    return values


def gear(
    traces: list[Trace] | None = None,
    *,
    left: np.ndarray | None = None,
    right: np.ndarray | None = None,
    runout: np.ndarray | None = None,
    sizes: tuple[SizeReading, ...] = (),
    without: tuple[str, ...] = (),
    instrument: str | None = None,
    serial: str = "OT-0001",
) -> GearMeasurement:
    """A perfect gear but for what is given; `without` names flanks that have no pitch."""
    pitch = {
        flank: PitchReadings(flank, np.zeros(Z) if values is None else values)
        for flank, values in (("left", left), ("right", right))
        if flank not in without
    }
    return GearMeasurement(
        serial,
        tuple(all_traces() if traces is None else traces),
        pitch,
        None if runout is None else RunoutReadings(runout),
        sizes,
        Production(instrument=instrument) if instrument else None,
    )


def with_trace(*traces: Trace) -> list[Trace]:
    """All traces of a perfect gear, these in place of their like."""
    replaced = {(t.kind, t.flank, t.tooth): t for t in traces}
    kept = [t for t in all_traces() if (t.kind, t.flank, t.tooth) not in replaced]
    return [*traces, *kept]


def graded(measured: GearMeasurement, /, **tables: object) -> GearResult:
    """A gear, graded by a part with these tables."""
    return next(evaluate([measured], part(**tables)))


def graded_traces(drawing: Part, *traces: Trace) -> GearResult:
    """A perfect gear but for these traces, graded by a part."""
    return next(evaluate([gear(with_trace(*traces))], drawing))


def judged(drawing: Part, trace: Trace, state: str, guarded: str, simple: str) -> tuple[GearResult, LotGear]:
    """A perfect gear but for a trace: its state under U, and how both decision rules count it."""
    result = graded_traces(drawing, trace)
    criteria = setup_of(drawing).criteria
    lot = judge_gear(result, drawing, criteria, DecisionTable())
    assert (lot.state, lot.counts_as) == (state, guarded)
    by_value = judge_gear(result, drawing, criteria, DecisionTable(rule="simple acceptance"))
    assert (by_value.state, by_value.counts_as) == (state, simple)
    ruled = graded_traces(drawing.model_copy(update={"decision": DecisionTable()}), trace)
    assert ruled.conforms is {"conforms": True, "not proven": None, "does not conform": False}[state]
    return result, lot

"""Parts and scenarios in memory for the tests of this folder."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from gearqa.model.measurement import GearMeasurement
from gearqa.model.part import Part
from gearqa.simulate import Scenario, simulate_gears

Array = NDArray[np.float64]


def part(
    *,
    kind: str = "internal",
    z: int = 80,
    m_n: float = 1.5,
    beta: float = 20.0,
    hand: str = "right",
    b: float = 30.0,
    x: float = 0.0,
    **more: Any,
) -> Part:
    """Default: the reference ring of the published test vector, profile range r - 1.2 .. r + 1.3 mm."""
    gear: dict[str, Any] = {
        "kind": kind, "teeth": z, "normal_module_mm": m_n, "normal_pressure_angle_deg": 20.0,
        "helix_angle_deg": beta, "face_width_mm": b, "profile_shift_coefficient": x,
    }  # fmt: skip
    if beta:
        gear["helix_hand"] = hand
    d = z * m_n / np.cos(np.radians(beta))
    d_b = d * np.cos(np.arctan(np.tan(np.radians(20.0)) / np.cos(np.radians(beta))))
    inner, outer = (d / 2 - 1.2 * m_n / 1.5, d / 2 + 1.3 * m_n / 1.5)
    inner = max(inner, d_b / 2 + 0.02)
    roll = [float(np.sqrt(r * r - d_b * d_b / 4)) for r in (outer, inner)]
    root, tip = roll if kind == "internal" else roll[::-1]
    document: dict[str, Any] = {
        "schema": "gearqa.part/1",
        "part": {"number": "T-1"},
        "gear": gear,
        "evaluation": {"profile": {"start_roll_length_mm": root, "end_roll_length_mm": tip}},
        "tolerance": {"class": 6},
    }
    for key, value in more.items():
        document[key] = {**document.get(key, {}), **value}
    return Part.model_validate(document)


def scenario(parts: int = 1, **more: Any) -> Scenario:
    """One gear without any error, profile and helix at four teeth, unless said otherwise."""
    document: dict[str, Any] = {
        "schema": "gearqa.scenario/1", "part": "part.toml", "lot": {"parts": parts},
        "measuring": {"profile_points": 201, "helix_points": 201, "profile_overrun_mm": 0.0},
    }  # fmt: skip
    for key, value in more.items():
        document[key] = {**document[key], **value} if isinstance(document.get(key), dict) else value
    return Scenario.model_validate(document)


def gear(drawing: Part, **more: Any) -> GearMeasurement:
    """The first gear of a scenario."""
    return next(iter(simulate_gears(scenario(**more), drawing)))


def traces(measured: GearMeasurement, kind: str, flank: str) -> tuple[Array, Array]:
    """Positions, and deviations of the measured teeth in order, shape (teeth, points)."""
    own = [t for t in measured.traces if t.kind == kind and t.flank == flank]
    return own[0].position_mm, np.stack([t.deviation_um for t in own])

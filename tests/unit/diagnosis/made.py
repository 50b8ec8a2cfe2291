"""Parts and simulated gears for the tests of the diagnosis."""

from __future__ import annotations

import math
from typing import Any

from gearqa.evaluation.part_setup import PartSetup, setup_of
from gearqa.model.measurement import GearMeasurement
from gearqa.model.part import Part
from gearqa.simulate.made_gears import simulate_gears
from gearqa.simulate.scenario import Scenario

GEARS = [
    ("internal", 18.0, "right"),
    ("external", 18.0, "left"),
    ("external", 0.0, ""),
    ("internal", 25.0, "left"),
]


def part(kind: str = "internal", beta: float = 18.0, hand: str = "right", z: int = 87, **tables: Any) -> Part:
    m_n = 1.75
    d, s = z * m_n / math.cos(math.radians(beta)), 1 if kind == "external" else -1
    gear = {
        "kind": kind, "teeth": z, "normal_module_mm": m_n, "normal_pressure_angle_deg": 20.0,
        "helix_angle_deg": beta, "face_width_mm": 32.0, "tip_diameter_mm": d + s * 3.0,
    }  # fmt: skip
    if beta:
        gear["helix_hand"] = hand
    limits = {"control_diameter_mm": d - s * 2.6, "tip_form_diameter_mm": d + s * 2.7}
    return Part.model_validate(
        {
            "schema": "gearqa.part/1",
            "part": {"number": "OT-1", "name": "ring", "revision": "A"},
            "gear": gear,
            "evaluation": {"profile": limits},
            "tolerance": {"standard": "ISO 1328-1:2013", "class": 6},
            **tables,
        }
    )


def gears(
    drawing: Part, seed: int = 1, parts: int = 1, noise: float = 1.0, measuring: Any = None, **tables: Any
) -> list[GearMeasurement]:
    """Simulated gears; `noise` 0 leaves only what the tables say."""
    process = tables.pop("process", {"tooth_scatter": {"both": {"profile_slope_um": 0.2 * noise}}})
    tables["pitch"] = {"scatter_um": 0.4 * noise, **tables.get("pitch", {})}
    scenario = Scenario.model_validate(
        {
            "schema": "gearqa.scenario/1",
            "part": "part.toml",
            "lot": {"parts": parts},
            "process": process,
            "measuring": {
                "teeth": 4, "trace_noise_um": 0.15 * noise, "pitch_noise_um": 0.2 * noise,
                "runout_noise_um": 0.3 * noise, "tables": ["profile", "helix", "pitch", "runout"],
                "profile_points": 300, "helix_points": 300, **(measuring or {}),
            },
            **tables,
        }
    )  # fmt: skip
    return list(simulate_gears(scenario, drawing, seed=seed))


def setup(drawing: Part) -> PartSetup:
    return setup_of(drawing)

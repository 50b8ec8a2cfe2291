"""The geometry that a part file describes: the bridge from drawing to formulas."""

from __future__ import annotations

import math

from gearqa.core.geometry import GearGeometry, gear_geometry
from gearqa.model.part import Gear, Part


def part_geometry(part: Part) -> GearGeometry:
    """Geometry of the part's gear; lengths in mm, angles in rad (ISO 21771)."""
    return drawn_geometry(part.gear)


def drawn_geometry(gear: Gear) -> GearGeometry:
    """Geometry of a `[gear]` table on its own; lengths in mm, angles in rad (ISO 21771)."""
    return gear_geometry(
        gear.teeth,
        gear.module_mm,
        math.radians(gear.normal_pressure_angle_deg),
        math.radians(gear.helix_angle_deg),
        gear.face_width_mm,
        s=1 if gear.kind == "external" else -1,
        H=-1 if gear.helix_hand == "left" else 1,
        x=gear.profile_shift_coefficient,
    )


def plane_factors(part: Part) -> tuple[float, float]:
    """What readings of a table are multiplied by: profile and helix into the transverse plane, pitch onto
    the reference circle (ISO 1328-1)."""
    geometry = part_geometry(part)
    measured = part.evaluation.pitch.measuring_diameter_mm
    return (
        1.0 / math.cos(geometry.beta_b) if part.evaluation.deviation_plane == "normal" else 1.0,
        1.0 if measured is None else geometry.d / measured,
    )

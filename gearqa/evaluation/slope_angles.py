"""What the mean slope of a flank amounts to as an angle: for the reader, nothing of it is graded."""

from __future__ import annotations

import math
from typing import NamedTuple

from gearqa.core.geometry import GearGeometry
from gearqa.core.slopes import (
    base_radius_deviation,
    helix_angle_deviation,
    helix_slope_by_angle,
    pressure_angle_deviation,
)
from gearqa.symbols import Flank, TraceKind


class SlopeAngles(NamedTuple):
    """Angles of a mean slope over the evaluation length; None where they do not apply."""

    pressure_angle_arcmin: float | None = None
    base_radius_um: float | None = None
    helix_angle_arcmin: float | None = None
    """Plus = larger helix angle; of a spur gear: plus = right-hand."""


def slope_angles(
    kind: TraceKind, flank: Flank, slope: float, length: float, geometry: GearGeometry
) -> SlopeAngles:
    """Angles of a slope that rises so many micrometres over an evaluation length in millimetres."""
    if kind == "profile":
        return SlopeAngles(
            pressure_angle_arcmin=_arcmin(pressure_angle_deviation(slope, length, geometry.alpha_t)),
            base_radius_um=1000 * base_radius_deviation(slope, length, geometry.d_b / 2),
        )
    by_angle = slope * twist_sign(flank, geometry)
    return SlopeAngles(
        helix_angle_arcmin=_arcmin(helix_angle_deviation(by_angle, length, geometry.beta, geometry.alpha_t))
    )


def twist_sign(flank: Flank, geometry: GearGeometry) -> float:
    """Sign that turns a raw helix slope into one by helix angle (spur: plus = right-hand)."""
    return helix_slope_by_angle(1.0, geometry.s, 1 if flank == "right" else -1, geometry.H or 1)


def _arcmin(angle: float) -> float:
    return 60 * math.degrees(angle)

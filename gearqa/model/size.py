"""Nominal size and limits of the teeth of a gear. Field names are the keys in JSON."""

from __future__ import annotations

from typing import Annotated, Literal

from gearqa.errors import Notice
from gearqa.late_dataclass import dataclass
from gearqa.model.declared import KNOWN

Positive = Annotated[float, {"exclusiveMinimum": 0}]
LimitsOf = Literal["thickness", "allowance", "balls", "span"]
Teeth = Literal["nominal", "thinnest", "thickest"]


def middle_mm(lower_mm: float, upper_mm: float) -> float:
    """Middle of the limits, from which a size is counted where it is followed in micrometres."""
    return (lower_mm + upper_mm) / 2


def half_um(lower_mm: float, upper_mm: float) -> float:
    """Distance of either limit from their middle."""
    return round(500 * (upper_mm - lower_mm), 6)


@dataclass(frozen=True, slots=True)
class SizedGear:
    """What the size of teeth depends on."""

    kind: Literal["external", "internal"]
    teeth: int
    normal_module_mm: Positive
    normal_pressure_angle_deg: Positive
    helix_angle_deg: float
    profile_shift_coefficient: float
    """With the sign of ISO 21771: plus thickens teeth, external and internal."""
    tip_diameter_mm: float | None
    root_diameter_mm: float | None
    face_width_mm: float | None
    control_diameter_mm: float | None = None
    tip_form_diameter_mm: float | None = None


@dataclass(frozen=True, slots=True)
class SizeRow:
    """One thickness of the teeth in all its measures."""

    teeth: Teeth
    thickness_mm: float
    """Normal tooth thickness at the reference circle."""
    chord_mm: float
    """Chordal thickness in the normal section, as a tooth caliper takes it."""
    chord_height_mm: float | None
    """Height of the tip over that chord; null without a tip diameter."""
    constant_chord_mm: Annotated[float | None, KNOWN]
    """Chord between the points where a rack touches both flanks of a tooth of an external gear."""
    constant_chord_height_mm: Annotated[float | None, KNOWN]
    """Height of the tip over that chord."""
    allowance_um: float
    """Thickness less the nominal one; backlash needs a minus."""
    shift_coefficient: float
    """Profile shift that would make this thickness, sign of ISO 21771."""
    balls_mm: float | None
    """Dimension over balls of an external gear, between balls of an internal one."""
    balls_contact_mm: float | None
    """Diameter at which the balls touch."""
    span_mm: float | None
    span_contact_mm: float | None
    """Diameter at which the span touches."""


@dataclass(frozen=True, slots=True)
class ToothSize:
    """Nominal size of the teeth, and the limits where some were given."""

    gear: SizedGear
    ball_diameter_mm: float | None
    teeth_spanned: int | None
    """None for internal gears, which have no span."""
    limits_of: LimitsOf | None
    """What the limits were given of."""
    rows: tuple[SizeRow, ...]
    cautions: tuple[Notice, ...]

"""Tolerances of a gear, by class. Field names are the keys in JSON."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated

Positive = Annotated[float, {"exclusiveMinimum": 0}]


@dataclass(frozen=True, slots=True)
class ToleranceGear:
    """What the tolerances of a gear depend on."""

    teeth: int | None
    normal_module_mm: Positive
    reference_diameter_mm: Positive
    face_width_mm: Positive
    helix_angle_deg: Annotated[float, {"minimum": 0}]


@dataclass(frozen=True, slots=True)
class ToleranceTable:
    """Rounded tolerances of a gear, a row a class; a slope's is its magnitude."""

    standard: str
    gear: ToleranceGear
    classes: Mapping[str, Mapping[str, float]]
    """By class and parameter, in micrometres."""

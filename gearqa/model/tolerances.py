"""Tolerances of a gear, by class. Field names are the keys in JSON."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated

from gearqa.late_dataclass import dataclass

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
class NearestClass:
    """The class of a system whose tolerance comes nearest to the one compared with."""

    class_: int
    tolerance_um: Positive


@dataclass(frozen=True, slots=True)
class ComparedTolerance:
    """One tolerance and what comes nearest to it in each system."""

    parameter: str
    class_: int
    """Of the standard compared with."""
    tolerance_um: Positive
    nearest: Mapping[str, NearestClass]
    """By system; one that has no tolerance near it, or none of this parameter, is left out."""


@dataclass(frozen=True, slots=True)
class ToleranceComparison:
    """Tolerances of one gear in all systems beside each other. A class of one is no class of another."""

    standard: str
    """Whose classes the others are compared with."""
    gear: ToleranceGear
    systems: tuple[str, ...]
    """Systems that have this gear, the standard compared with first; those of one text once."""
    outside: Mapping[str, str]
    """Systems whose range of application the gear is outside of, with the reason."""
    rows: tuple[ComparedTolerance, ...]


@dataclass(frozen=True, slots=True)
class ToleranceTable:
    """Rounded tolerances of a gear, a row a class; a slope's is its magnitude."""

    standard: str
    gear: ToleranceGear
    classes: Mapping[str, Mapping[str, float]]
    """By class and parameter, in micrometres."""

"""What all sheets of one inspection share."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

from gearqa.arrays import Array
from gearqa.model.measurement import GearMeasurement
from gearqa.model.part import Part
from gearqa.model.results import GearResult, GradeHeader, TraceCurves
from gearqa.report.grading.gear_figures import RunoutCurve

SheetChoice = Literal["auto", "all", "worst", "none"]
GearInput = tuple[GearMeasurement, GearResult, tuple[TraceCurves, ...]]


@dataclass(frozen=True, slots=True)
class SheetAids:
    """Numeric helpers that results do not carry; the caller takes them from core and standards."""

    diameter_at_roll: Callable[[Array], Array]
    """Length of roll -> diameter. [mm]"""
    single_pitches: Callable[[Array], Array]
    """Index deviations -> single pitch deviations. [um]"""
    class_of: Callable[[str, float], int | None]
    """Parameter key and value of one trace -> flank tolerance class, None beyond the last."""
    runout: Callable[[GearMeasurement], RunoutCurve | None]
    """Radial positions with their first harmonic, from readings or from pitch; None without either."""


@dataclass(frozen=True, slots=True)
class SheetJob:
    """The inspection, the drawing and the numeric helpers."""

    header: GradeHeader
    part: Part
    aids: SheetAids

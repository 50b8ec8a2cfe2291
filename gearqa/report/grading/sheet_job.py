"""What all sheets of one inspection share."""

from __future__ import annotations

from typing import Literal, NamedTuple

from gearqa.model.curves import GearCurves
from gearqa.model.part import Part
from gearqa.model.results import GearResult, GradeHeader

SheetChoice = Literal["auto", "all", "worst", "none"]


class SheetGear(NamedTuple):
    """One gear: graded, its curves ready to draw."""

    result: GearResult
    curves: GearCurves


class SheetJob(NamedTuple):
    """The inspection and the drawing."""

    header: GradeHeader
    part: Part

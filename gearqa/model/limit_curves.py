"""Curves by points in `part.toml`: limit curves of the drawing, and the points of a design trace."""

from __future__ import annotations

from itertools import pairwise
from typing import Annotated, Any, Literal, NamedTuple, Self

from gearqa.model.table import BeforeValidator, Field, TomlTable, fault, model_validator, optional, section
from gearqa.symbols import FLANKS, Flank, TraceKind
from gearqa.wording.numbers import short_text


def _as_tuple(value: Any) -> Any:
    return tuple(value) if isinstance(value, list) else value


Point = Annotated[tuple[float, float], BeforeValidator(_as_tuple)]
Points = Annotated[tuple[Point, ...], BeforeValidator(_as_tuple), Field(min_length=2)]
"""Position and deviation, by rising or falling position. [mm, um]"""
Over = Literal["roll_length_mm", "diameter_mm", "roll_angle_deg"]


def check_order(key: str, points: Points | None) -> None:
    """Raise a fault unless the positions of points all rise, or all fall."""
    steps = [after[0] - before[0] for before, after in pairwise(points or ())]
    for number, step in enumerate(steps, start=1):
        if step * steps[0] <= 0:
            found = f"position {short_text((points or ())[number][0])} after the point before"
            raise fault(f"{key}.{number}", found, "positions that all rise, or all fall")


class LimitPair(NamedTuple):
    """Upper and lower limit curve of one flank, as the drawing states them."""

    upper: Points
    lower: Points


class FlankCurves(TomlTable):
    """`upper_um` and `lower_um`: for both flanks, or for one of them in a table of its own."""

    upper_um: Points | None = optional(
        "upper limit curve: points [[position, deviation], ...], straight lines between; plus = more material"
    )
    lower_um: Points | None = optional("lower limit curve, likewise")

    @model_validator(mode="after")
    def _both_in_order(self) -> Self:
        if (self.upper_um is None) != (self.lower_um is None):
            missing, given = ("upper_um", "lower_um") if self.upper_um is None else ("lower_um", "upper_um")
            raise fault(missing, f"only {given}", "an upper and a lower curve")
        check_order("upper_um", self.upper_um)
        check_order("lower_um", self.lower_um)
        if (pair := self.pair) is not None:
            _check_apart(*pair)
        return self

    @property
    def pair(self) -> LimitPair | None:
        """Both curves; None where there are none."""
        if self.upper_um is None or self.lower_um is None:
            return None
        return LimitPair(self.upper_um, self.lower_um)


def _check_apart(upper: Points, lower: Points) -> None:
    """Raise a fault unless the upper curve lies above the lower one and both over some same positions."""
    above, below = sorted(upper), sorted(lower)
    start, end = max(above[0][0], below[0][0]), min(above[-1][0], below[-1][0])
    if start >= end:
        raise fault("upper_um", "positions beyond those of lower_um", "curves over the same positions")
    for place in sorted({start, end, *(x for x, _ in (*above, *below) if start < x < end)}):
        high, low = height_at(above, place), height_at(below, place)
        if high <= low:
            found = f"{short_text(high)} at position {short_text(place)}"
            raise fault("upper_um", found, f"more than lower_um there, {short_text(low)}")


def height_at(points: Any, place: float) -> float:
    """Height of a curve of points by rising position, inside them.

    >>> height_at([(0.0, 1.0), (10.0, 3.0)], 5.0)
    2.0
    """
    for (left, first), (right, second) in pairwise(points):
        if place <= right:
            return float(first + (place - left) / (right - left) * (second - first))
    return float(points[-1][1])


class LimitCurve(FlankCurves):
    """`[tolerance.curve.helix]`: over face position."""

    left: FlankCurves = section("for left flanks only")
    right: FlankCurves = section("for right flanks only")

    @model_validator(mode="after")
    def _some(self) -> Self:
        if all(self.for_flank(flank) is None for flank in FLANKS):
            raise fault("upper_um", "none", "the points of a curve")
        return self

    def for_flank(self, flank: Flank) -> LimitPair | None:
        """Curves of a flank: its own, else those of both."""
        own: FlankCurves = getattr(self, flank)
        return own.pair or self.pair


class ProfileCurve(LimitCurve):
    """`[tolerance.curve.profile]`: over length of roll, diameter or roll angle."""

    over: Over | None = optional("what the positions of the points are; roll_length_mm where absent")


class ToleranceCurves(TomlTable):
    """`[tolerance.curve]`: limit curves, beside the class or instead of it."""

    profile: ProfileCurve | None = optional("limit curves of profile traces")
    helix: LimitCurve | None = optional("limit curves of helix traces, over face position in mm")

    def of_kind(self, kind: TraceKind) -> LimitCurve | None:
        """The curves of one kind of trace."""
        return self.profile if kind == "profile" else self.helix

"""Stroke of a wheel at crossed axes in an internal gear: does it go far enough beyond the face?

Common practice, no source: every part of the contact has to pass both ends of the face, so the middle of
the wheel travels half its active width, as seen along the work axis, beyond each of them. Its body, a
cylinder inclined to the work axis, then reaches farther by half its diameter as seen along that axis, which
a closed bottom or a shoulder has to leave room for (derived).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Literal

from gearqa.diagnosis.machine import grinder_name
from gearqa.model.diagnosis import GearDiagnosis, StrokeEnd
from gearqa.model.measurement import GearMeasurement
from gearqa.model.part import GrinderData, Part

ENDS: tuple[Literal["datum", "far"], ...] = ("datum", "far")


def stroke_check(
    measured: Sequence[GearMeasurement], gears: Sequence[GearDiagnosis], part: Part
) -> tuple[StrokeEnd, ...]:
    """Both ends on each grinder whose wheel and crossed-axis angle are known; external gears: none."""
    if part.gear.kind != "internal":
        return ()
    found = []
    for name, machine in part.grinder.items():
        needed = needed_overtravel(machine)
        those = [
            gear for one, gear in zip(measured, gears, strict=True) if grinder_name(one, part) == name
        ]  # fmt: skip
        if needed is not None and those:
            found += [_end(name, end, machine, needed, those) for end in ENDS]
    return tuple(found)


def needed_overtravel(machine: GrinderData) -> float | None:
    """Travel of the wheel's middle beyond the face. [mm]

    >>> round(needed_overtravel(GrinderData(active_wheel_width_mm=20.0, crossed_axis_angle_deg=-25.0)), 3)
    9.063
    """
    if machine.active_wheel_width_mm is None or machine.crossed_axis_angle_deg is None:
        return None
    return machine.active_wheel_width_mm / 2 * math.cos(math.radians(machine.crossed_axis_angle_deg))


def wheel_reach(machine: GrinderData) -> float | None:
    """How far the wheel reaches beyond its middle along the work axis. [mm]

    >>> data = {"active_wheel_width_mm": 20.0, "crossed_axis_angle_deg": -25.0}
    >>> round(wheel_reach(GrinderData(**data, wheel_diameter_mm=84.0)), 3)
    26.813
    """
    half_width = needed_overtravel(machine)
    if half_width is None or machine.wheel_diameter_mm is None:
        return None
    assert machine.crossed_axis_angle_deg is not None
    return half_width + machine.wheel_diameter_mm / 2 * math.sin(
        math.radians(abs(machine.crossed_axis_angle_deg))
    )


def _end(
    name: str, end: Literal["datum", "far"], machine: GrinderData, needed: float, gears: list[GearDiagnosis]
) -> StrokeEnd:
    at_datum = end == "datum"
    overtravel = machine.overtravel_datum_mm if at_datum else machine.overtravel_far_mm
    clearance = machine.clearance_datum_mm if at_datum else machine.clearance_far_mm
    reach = wheel_reach(machine)
    room = None if clearance is None or reach is None else clearance - reach
    less_set, less_room = (None if given is None else needed - given for given in (overtravel, room))
    short = [lacks > 0 for lacks in (less_set, less_room) if lacks is not None]
    turned = sum(
        any(
            c.key == "overtravel" and c.end == end and c.significant and c.amplitude_um > 0
            for c in gear.components
        )
        for gear in gears
    )
    known = overtravel is not None and (room is not None or clearance is None)
    enough = False if any(short) else True if known else None
    return StrokeEnd(
        grinder=name,
        end=end,
        needed_mm=needed,
        overtravel_mm=overtravel,
        clearance_mm=clearance,
        reach_mm=reach,
        room_mm=room,
        needed_less_set_mm=less_set,
        needed_less_room_mm=less_room,
        enough=enough,
        turned_up=turned,
        gears=len(gears),
    )

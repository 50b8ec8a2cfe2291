"""What the data of a grinder say about components: threads, jaws, speed, natural twist."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from gearqa.diagnosis.components import Piece
from gearqa.diagnosis.points import ranges
from gearqa.evaluation.part_setup import PartSetup
from gearqa.model.diagnosis import Component
from gearqa.model.measurement import GearMeasurement
from gearqa.model.part import GrinderData, Part


def grinder_name(gear: GearMeasurement, part: Part) -> str | None:
    """Grinder of a gear that the part file describes; without a production row the only one described."""
    name = gear.production.grinder if gear.production is not None else None
    if name is None and len(part.grinder) == 1:
        return next(iter(part.grinder))
    return name if name in part.grinder else None


def machines_of(gears: Sequence[GearMeasurement], part: Part, threads: int | None) -> list[GrinderData]:
    """Data of the grinder of each gear; `threads` wins over what the part file says."""
    given = {} if threads is None else {"wheel_threads": threads}
    names = [grinder_name(gear, part) for gear in gears]
    return [
        (part.grinder[name] if name is not None else GrinderData()).model_copy(update=given) for name in names
    ]


def with_machine(pieces: Sequence[Piece], machine: GrinderData, setup: PartSetup) -> list[Piece]:
    """Components with what the grinder says about them."""
    z = setup.geometry.z
    crowning = {
        one.component.key: one.component.amplitude_um
        for one in pieces
        if one.component.key.startswith("helix_crowning") and one.component.significant
    }
    told = []
    for one in pieces:
        component = _with_origin(one.component, machine, z)
        if component.key == "twist" and component.flank is not None and machine.wheel_threads is not None:
            sign = 1 if component.flank == "right" else -1
            common = setup.part.design.helix.crowning_um + crowning.get("helix_crowning", 0.0)
            made = common + sign * crowning.get("helix_crowning_asymmetry", 0.0)
            component = replace(component, natural_um=natural_twist(made, sign, setup))
        told.append(replace(one, component=component))
    return told


def _with_origin(one: Component, machine: GrinderData, z: int) -> Component:
    threads = machine.wheel_threads
    if one.key == "lobes" and one.order and machine.jaws and one.order % machine.jaws == 0:
        return replace(one, origin="jaws")
    if one.key != "ripple" or one.order is None:
        return one
    frequency = None
    if threads is not None and machine.wheel_speed_rpm is not None:
        frequency = one.order * machine.wheel_speed_rpm / 60 * threads / z
    if one.order % z == 0:
        return replace(one, origin="mesh", frequency_hz=frequency)
    if threads is not None and one.order * threads % z == 0:
        turns = one.order * threads // z
        return replace(one, origin="wheel", wheel_turns=turns, frequency_hz=frequency)
    return replace(one, origin="ghost", frequency_hz=frequency)


def natural_twist(crowning_um: float, f: int, setup: PartSetup) -> float | None:
    """Twist of a crowning that a cylindrical worm made by radial motion alone; None: internal, or spur. [um]

    The contact runs along a straight line on the normal, so that the point at length of roll L is ground
    when the wheel stands L tan(beta_b) further along the face: the crowning, a parabola of the wheel's
    place, gets a mixed term (derived; the effect is published, the figure is not).
    """
    g = setup.geometry
    if g.s < 0 or not g.H:
        return None
    profile, helix = ranges(setup)
    ratio = abs(profile.end - profile.start) / abs(helix.end - helix.start)
    return -f * g.H * 8 * crowning_um * math.tan(g.beta_b) * ratio

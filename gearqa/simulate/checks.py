"""What a scenario says that does not fit its part: all of it at once, by key."""

from __future__ import annotations

from collections.abc import Iterator

from gearqa.core.geometry import GearGeometry
from gearqa.core.size import ball_contact, ball_touching_reference
from gearqa.errors import Problem, Reason
from gearqa.model.measurement import FIRST_MEASUREMENT
from gearqa.model.part import Part
from gearqa.simulate.process import is_measured, made_parts
from gearqa.simulate.scenario import Measuring, Scenario
from gearqa.simulate.surface import Ranges
from gearqa.wording.numbers import fixed_text, short_text

_RANGE, _CLASH = Reason.VALUE_OUT_OF_RANGE, Reason.CONTRADICTION


def measured_teeth(measuring: Measuring, z: int) -> tuple[int, ...]:
    """Numbers of the teeth with traces: as listed, or evenly spaced from tooth 1."""
    if isinstance(measuring.teeth, tuple):
        return measuring.teeth
    count = min(measuring.teeth, z)
    return tuple(1 + (k * z) // count for k in range(count))


def runout_ball(measuring: Measuring, g: GearGeometry) -> float:
    """Ball diameter of the runout table. [mm]"""
    return measuring.runout_ball_mm or ball_touching_reference(g)


def size_ball(measuring: Measuring, part: Part, g: GearGeometry) -> float:
    """Ball diameter of the size table. [mm]"""
    size = part.tolerance.size
    drawn = None if size is None else size.pin_diameter_mm
    return measuring.size_pin_mm or drawn or max(0.25, round(ball_touching_reference(g) * 4) / 4)


def contradictions(
    scenario: Scenario, part: Part, g: GearGeometry, ranges: Ranges | None
) -> Iterator[Problem]:
    """Everything of the scenario that the part does not allow."""
    if ranges is None:
        found = f"'{scenario.part}' without limits of the profile evaluation"
        wanted = "control_diameter_mm and tip_form_diameter_mm under [evaluation.profile] of the part file"
        yield _fault(Reason.NO_EVALUATION_LIMITS, "part", found, wanted)
    yield from _teeth(scenario, g.z)
    yield from _serials(scenario)
    yield from _repeats(scenario)
    yield from _places(scenario.measuring, g)
    yield from _balls(scenario.measuring, part, g)


def _fault(reason: Reason, key: str, found: str, expected: str) -> Problem:
    return Problem(reason, "scenario", found, expected, key=key)


def _teeth(scenario: Scenario, z: int) -> Iterator[Problem]:
    teeth = measured_teeth(scenario.measuring, z)
    numbered = [("measuring.teeth", t) for t in teeth]
    for own in scenario.gear:
        at = f"gear.{own.serial}"
        numbered += [(f"{at}.tooth_shift", t.tooth) for t in own.tooth_shift]
        numbered += [(f"{at}.missing_teeth", t) for t in own.missing_teeth.left + own.missing_teeth.right]
        numbered += [(f"{at}.missing_spaces", t) for t in own.missing_spaces]
    for key, number in numbered:
        if number > z:
            yield _fault(_RANGE, key, str(number), f"1 to {z}, the teeth of the part")
    if len(set(teeth)) != len(teeth):
        yield _fault(_CLASH, "measuring.teeth", "a tooth twice", "each tooth once")


def _serials(scenario: Scenario) -> Iterator[Problem]:
    named = [own.serial for own in scenario.gear]
    if not named:
        return
    made = {m.serial for m in made_parts(scenario, scenario.seed) if is_measured(scenario.measuring, m)}
    for i, serial in enumerate(named):
        if serial not in made:
            wanted = "the serial of a gear that is measured"
            yield _fault(Reason.UNKNOWN_SERIAL, "gear.serial", f"'{serial}'", wanted)
        if serial in named[:i]:
            yield _fault(_CLASH, "gear.serial", f"'{serial}' twice", "each serial once")


def _repeats(scenario: Scenario) -> Iterator[Problem]:
    if not scenario.repeat:
        return
    made = {m.serial for m in made_parts(scenario, scenario.seed) if is_measured(scenario.measuring, m)}
    taken = {FIRST_MEASUREMENT}
    for one in scenario.repeat:
        if one.label in taken and not one.serials:
            yield _fault(_CLASH, "repeat.label", f"'{one.label}' twice", "each label once for a gear")
        taken.add(one.label)
    for i, one in enumerate(scenario.repeat):
        earlier = [other for other in scenario.repeat[:i] if other.label == one.label]
        for serial in one.serials:
            if serial not in made:
                wanted = "the serial of a gear that is measured"
                yield _fault(Reason.UNKNOWN_SERIAL, "repeat.serials", f"'{serial}'", wanted)
            again = any(not other.serials or serial in other.serials for other in earlier)
            if again or one.label == FIRST_MEASUREMENT:
                found = f"'{one.label}' twice of '{serial}'"
                yield _fault(_CLASH, "repeat.label", found, "each label once for a gear")


def _places(measuring: Measuring, g: GearGeometry) -> Iterator[Problem]:
    for face in measuring.profile_face_positions_mm:
        if not 0 <= face <= g.b:
            key, wanted = "measuring.profile_face_positions_mm", f"0 to {short_text(g.b)}"
            yield _fault(_RANGE, key, short_text(face), wanted)
    for d in measuring.helix_diameters_mm:
        if d <= g.d_b:
            key, wanted = "measuring.helix_diameters_mm", f"above the base diameter {fixed_text(g.d_b, 4)}"
            yield _fault(Reason.BELOW_BASE_CIRCLE, key, short_text(d), wanted)
    if 2 * measuring.helix_end_gap_mm >= g.b:
        yield _fault(_RANGE, "measuring.helix_end_gap_mm", "no face left", f"below {short_text(g.b / 2)}")


def _balls(measuring: Measuring, part: Part, g: GearGeometry) -> Iterator[Problem]:
    wanted = "a ball that touches the involutes"
    if "runout" in measuring.tables and ball_contact(g, runout_ball(measuring, g)) is None:
        yield _fault(_RANGE, "measuring.runout_ball_mm", short_text(runout_ball(measuring, g)), wanted)
    if "size" not in measuring.tables:
        return
    if measuring.size_method == "span" and g.s < 0:
        yield _fault(_CLASH, "measuring.size_method", "span on an internal gear", "balls")
    if measuring.size_method == "balls" and ball_contact(g, size_ball(measuring, part, g)) is None:
        yield _fault(_RANGE, "measuring.size_pin_mm", short_text(size_ball(measuring, part, g)), wanted)

"""Places of a part file against its gear: limit curves, zones, and the points of design traces."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from gearqa.core.geometry import GearGeometry, roll_length
from gearqa.core.limit_curves import Points
from gearqa.errors import Problem, Reason
from gearqa.evaluation.trace_specs import over_roll, trace_spec, zone_specs
from gearqa.model.limit_curves import FlankCurves, LimitCurve, Over, ProfileCurve
from gearqa.model.part import Gear, Part
from gearqa.model.zones import ToleranceZone
from gearqa.reading.settings.toml_faults import table_as_far_as_known
from gearqa.reading.settings.toml_file import TomlFile
from gearqa.symbols import FLANKS, TraceKind
from gearqa.wording.numbers import fixed_text, range_text, short_text

_ROUNDED_MM = 1e-3
"""Drawings round positions."""
Place = tuple[str, float]
"""Key and position."""


def point_problems(file: TomlFile[Part], gear: Gear, geometry: GearGeometry) -> Iterator[Problem]:
    """Points where the gear has no flank, and design points that leave some of the range open."""
    tolerance = _table(file.document, "tolerance")
    curves = _table(tolerance, "curve")
    profile = table_as_far_as_known(curves.get("profile"), ProfileCurve)
    helix = table_as_far_as_known(curves.get("helix"), LimitCurve)
    if profile is not None:
        places = _all_points("tolerance.curve.profile", profile)
        yield from _roll_problems(file, places, profile.over, gear, geometry)
    if helix is not None:
        yield from _face_problems(file, _all_points("tolerance.curve.helix", helix), gear)
    given = tolerance.get("zone")
    for number, raw in enumerate(given if isinstance(given, list) else ()):
        zone = table_as_far_as_known(raw, ToleranceZone)
        if zone is None:
            continue
        key = f"tolerance.zone.{number}"
        ends = iter(((f"{key}.from", zone.from_), (f"{key}.to", zone.to)))
        if zone.kind == "profile":
            yield from _roll_problems(file, ends, zone.over, gear, geometry)
        else:
            yield from _face_problems(file, ends, gear)
    part = file.model
    if part is not None:
        design = part.design.profile
        if design.points:
            places = _numbered("design.profile.points", design.points)
            yield from _roll_problems(file, places, design.points_over, gear, geometry)
        yield from _open_range(file, part, "profile")
        yield from _open_range(file, part, "helix")


def _table(document: Any, key: str) -> Any:
    found = document.get(key)
    return found if isinstance(found, dict) else {}


def _all_points(key: str, curve: LimitCurve) -> Iterator[Place]:
    tables: list[tuple[str, FlankCurves]] = [
        (key, curve),
        *((f"{key}.{side}", getattr(curve, side)) for side in FLANKS),
    ]
    for inside, table in tables:
        for name in ("upper_um", "lower_um"):
            yield from _numbered(f"{inside}.{name}", getattr(table, name) or ())


def _numbered(key: str, points: Points) -> Iterator[Place]:
    for number, (position, _) in enumerate(points):
        yield f"{key}.{number}", position


def _roll_problems(
    file: TomlFile[Part], places: Iterator[Place], over: Over | None, gear: Gear, geometry: GearGeometry
) -> Iterator[Problem]:
    d_b, tip = geometry.d_b, gear.tip_diameter_mm
    for key, position in places:
        found = short_text(position, 12)
        if over == "diameter_mm" and position < d_b:
            expected = f"at least the base diameter {fixed_text(d_b, 4)}"
            yield file.problem(key, found, expected, reason=Reason.BELOW_BASE_CIRCLE)
            continue
        roll = over_roll([(position, 0.0)], over, d_b)[0][0]
        beyond = tip is not None and tip >= d_b and geometry.s * (roll - roll_length(tip, d_b)) > _ROUNDED_MM
        if roll < 0 or beyond:
            expected = "a place on the flank, not beyond the tip"
            yield file.problem(key, found, expected, reason=Reason.VALUE_OUT_OF_RANGE)


def _face_problems(file: TomlFile[Part], places: Iterator[Place], gear: Gear) -> Iterator[Problem]:
    for key, position in places:
        if not -_ROUNDED_MM <= position <= gear.face_width_mm + _ROUNDED_MM:
            expected = f"0 to face_width_mm = {short_text(gear.face_width_mm)}"
            found = short_text(position, 12)
            yield file.problem(key, found, expected, reason=Reason.VALUE_OUT_OF_RANGE)


def _open_range(file: TomlFile[Part], part: Part, kind: TraceKind) -> Iterator[Problem]:
    spec = trace_spec(part, kind)
    if spec is None or not spec.design.points:
        return
    first, last = spec.design.points[0][0], spec.design.points[-1][0]
    zones = [
        end for zone, _ in zone_specs(part) if zone.kind == kind for end in (zone.span.low, zone.span.high)
    ]
    ends = (spec.low, spec.high, *(() if spec.zone_end is None else (spec.zone_end,)), *zones)
    low, high = min(ends), max(ends)
    if first > low + _ROUNDED_MM or last < high - _ROUNDED_MM:
        yield file.problem(
            f"design.{kind}.points", f"points from {range_text(first, last, 4)} mm",
            f"points over all that is evaluated, {range_text(low, high, 4)} mm",
            reason=Reason.VALUE_OUT_OF_RANGE,
        )  # fmt: skip

"""How the traces of a part are evaluated: the bridge from drawing to trace formulas."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from typing import Final

from gearqa.core.geometry import roll_length
from gearqa.core.limit_curves import Points
from gearqa.core.traces import Relief, TraceDesign, TraceSpec, default_cutoff, helix_range, profile_range
from gearqa.evaluation.part_geometry import part_geometry
from gearqa.late_dataclass import dataclass
from gearqa.model.limit_curves import Over, ProfileCurve
from gearqa.model.part import Part
from gearqa.model.results import ZoneParameter, zone_key
from gearqa.symbols import FLANKS, Flank, TraceKind


def trace_spec(part: Part, kind: TraceKind) -> TraceSpec | None:
    """Range, spans, filter and design of one kind of trace; None for profiles without limits."""
    return profile_spec(part) if kind == "profile" else helix_spec(part)


def profile_spec(part: Part) -> TraceSpec | None:
    """How profile traces are evaluated; None if the drawing names no limits.

    Explicit roll lengths are the range ends themselves and leave no tip zone. The full slope span
    ends at the tip diameter, without it at the tip form diameter, without both at the range end.
    """
    d_b = part_geometry(part).d_b
    limits = part.evaluation.profile
    control, tip_form = limits.control_diameter_mm, limits.tip_form_diameter_mm
    zone_end: float | None = None
    if limits.start_roll_length_mm is not None and limits.end_roll_length_mm is not None:
        start, end = limits.start_roll_length_mm, limits.end_roll_length_mm
    elif control is not None and tip_form is not None:
        start, end, zone_end = profile_range(control, tip_form, d_b, part.edition.profile_share)
    else:
        return None
    root = start if control is None else roll_length(control, d_b)
    form = end if tip_form is None else roll_length(tip_form, d_b)
    d_a = part.gear.tip_diameter_mm
    design = part.design.profile
    reliefs = (
        Relief(design.tip_relief_um, design.tip_relief_start_roll_length_mm, form),
        Relief(design.root_relief_um, design.root_relief_start_roll_length_mm, root),
    )
    return TraceSpec(
        start=start,
        end=end,
        full_start=root,
        full_end=form if d_a is None else roll_length(d_a, d_b),
        zone_end=zone_end,
        cutoff=_cutoff(part, part.evaluation.filter.profile_cutoff_mm, abs(end - start)),
        design=TraceDesign(
            design.crowning_um,
            design.slope_um,
            tuple(relief for relief in reliefs if relief.amount),
            over_roll(design.points, design.points_over, d_b) if design.points else (),
        ),
        missing_in_zone=part.edition.missing_in_tip_zone,
    )


def helix_spec(part: Part) -> TraceSpec:
    """How helix traces are evaluated; the full slope span is the whole face width."""
    geometry = part_geometry(part)
    limits = part.evaluation.helix
    if limits.start_face_position_mm is not None and limits.end_face_position_mm is not None:
        start, end = limits.start_face_position_mm, limits.end_face_position_mm
    else:
        start, end = helix_range(geometry.b, geometry.m_n)
    return TraceSpec(
        start=start,
        end=end,
        full_start=0.0,
        full_end=geometry.b,
        zone_end=None,
        cutoff=_cutoff(part, part.evaluation.filter.helix_cutoff_mm, end - start),
        design=TraceDesign(
            part.design.helix.crowning_um,
            part.design.helix.slope_um,
            points=tuple(sorted(part.design.helix.points or ())),
        ),
    )


@dataclass(frozen=True, slots=True)
class CurveSpec:
    """Limit curves of one flank over the positions of its traces, by rising position."""

    upper: Points
    lower: Points
    span: TraceSpec
    """What a trace must cover, and its filter."""
    keys: tuple[str, ...]
    """What stands for a parameter in a gap."""
    name: str = "limit curves"
    required: bool = True


@dataclass(frozen=True, slots=True)
class ZoneSpec:
    """One zone over the positions of traces."""

    number: int
    kind: TraceKind
    span: TraceSpec
    """What a trace must cover, and its filter."""
    whole: TraceSpec
    """Of the whole trace, for its design."""
    total_um: float | None
    form_um: float | None
    required: bool

    @property
    def name(self) -> str:
        """The zone in words."""
        return f"zone {self.number}"

    @property
    def tolerances(self) -> dict[ZoneParameter, float]:
        """Deviation within the zone -> its tolerance. [um]"""
        total: ZoneParameter = "profile_total" if self.kind == "profile" else "helix_total"
        form: ZoneParameter = "profile_form" if self.kind == "profile" else "helix_form"
        given = ((total, self.total_um), (form, self.form_um))
        return {parameter: value for parameter, value in given if value is not None}

    @property
    def keys(self) -> tuple[str, ...]:
        """What stands for a parameter in a gap."""
        return tuple(zone_key(parameter, self.number) for parameter in self.tolerances)


Apart = CurveSpec | ZoneSpec
"""What a trace is judged by beside its class."""


def specs_apart(part: Part) -> dict[tuple[TraceKind, Flank], tuple[Apart, ...]]:
    """Limit curves and zones of the graded flanks that have any."""
    found: dict[tuple[TraceKind, Flank], tuple[Apart, ...]] = {
        place: (curve,) for place, curve in curve_specs(part).items()
    }
    for spec, flanks in zone_specs(part):
        for flank in flanks:
            found[spec.kind, flank] = (*found.get((spec.kind, flank), ()), spec)
    return found


def zone_specs(part: Part) -> Iterator[tuple[ZoneSpec, tuple[Flank, ...]]]:
    """Zones, each with the graded flanks that it is of; it has no design without a range for its kind."""
    d_b = part_geometry(part).d_b
    for number, zone in enumerate(part.tolerance.zone, start=1):
        whole = trace_spec(part, zone.kind)
        (low, _), (high, _) = over_roll([(zone.from_, 0.0), (zone.to, 0.0)], zone.over, d_b)
        span = TraceSpec(low, high, low, high, None, None if whole is None else whole.cutoff)
        spec = ZoneSpec(number, zone.kind, span, whole or span, zone.total_um, zone.form_um, zone.required)
        yield spec, zone.flanks(part.tolerance.flanks)


CURVE_OF: Final[Mapping[TraceKind, str]] = {"profile": "profile_curve", "helix": "helix_curve"}
"""Stands for the parameter in a gap: a limit curve has no class."""


def curve_specs(part: Part) -> dict[tuple[TraceKind, Flank], CurveSpec]:
    """Limit curves of the graded flanks that have any."""
    d_b = part_geometry(part).d_b
    specs: dict[tuple[TraceKind, Flank], CurveSpec] = {}
    kinds: tuple[TraceKind, ...] = ("profile", "helix")
    for kind in kinds:
        curve, traces = part.tolerance.curve.of_kind(kind), trace_spec(part, kind)
        if curve is None:
            continue
        over = curve.over if isinstance(curve, ProfileCurve) else None
        for flank in (flank for flank in FLANKS if flank in part.tolerance.flanks):
            pair = curve.for_flank(flank)
            if pair is not None:
                upper, lower = (over_roll(points, over, d_b) for points in pair)
                low, high = min(upper[0][0], lower[0][0]), max(upper[-1][0], lower[-1][0])
                span = TraceSpec(low, high, low, high, None, None if traces is None else traces.cutoff)
                specs[kind, flank] = CurveSpec(upper, lower, span, (CURVE_OF[kind],))
    return specs


def over_roll(points: Sequence[tuple[float, float]], over: Over | None, d_b: float) -> Points:
    """Points over length of roll (profile) or face position (helix), by rising position. [mm, um]"""

    def position(given: float) -> float:
        if over == "diameter_mm":
            return roll_length(given, d_b)
        return math.radians(given) * d_b / 2 if over == "roll_angle_deg" else given

    return tuple(sorted((position(x), height) for x, height in points))


def _cutoff(part: Part, given: float | None, length: float) -> float | None:
    if not part.evaluation.filter.enabled:
        return None
    return default_cutoff(length) if given is None else given

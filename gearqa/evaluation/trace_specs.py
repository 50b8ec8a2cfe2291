"""How the traces of a part are evaluated: the bridge from drawing to trace formulas."""

from __future__ import annotations

from gearqa.core.geometry import roll_length
from gearqa.core.traces import Relief, TraceDesign, TraceSpec, default_cutoff, helix_range, profile_range
from gearqa.evaluation.part_geometry import part_geometry
from gearqa.model.part import Part
from gearqa.symbols import TraceKind


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
            design.crowning_um, design.slope_um, tuple(relief for relief in reliefs if relief.amount)
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
        design=TraceDesign(part.design.helix.crowning_um, part.design.helix.slope_um),
    )


def _cutoff(part: Part, given: float | None, length: float) -> float | None:
    if not part.evaluation.filter.enabled:
        return None
    return default_cutoff(length) if given is None else given

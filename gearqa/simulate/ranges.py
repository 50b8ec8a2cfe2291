"""Where on the flank a part is evaluated and what its design is: the frame of the shapes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from gearqa.core.geometry import GearGeometry, roll_length
from gearqa.core.traces import (
    Design,
    Relief,
    TraceSpec,
    design_trace,
    helix_range,
    profile_range,
    range_fraction,
)
from gearqa.model.part import Part

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Ranges:
    """Evaluation ranges, design and slope spans of a part's traces."""

    profile: TraceSpec
    helix: TraceSpec
    full_slopes: bool
    """Slopes are stated over the full span, not over the evaluation length."""

    @property
    def middle_roll(self) -> float:
        """Length of roll in the middle of the evaluated profile. [mm]"""
        return (self.profile.start + self.profile.end) / 2

    @property
    def form_roll(self) -> float:
        """Length of roll where the profile ends at the tip. [mm]"""
        return self.profile.end if self.profile.zone_end is None else self.profile.zone_end

    def profile_t(self, L: Array) -> Array:
        """Position over the profile evaluation length, -1/2 at the root side, 1/2 at the tip side."""
        return range_fraction(L, self.profile)

    def helix_t(self, face: Array) -> Array:
        """Position over the helix evaluation length, growing away from the datum face."""
        return range_fraction(face, self.helix)

    @property
    def profile_slope_scale(self) -> float:
        """Rise over the evaluation length that a profile slope of 1 makes."""
        return _slope_scale(self.profile) if self.full_slopes else 1.0

    @property
    def helix_slope_scale(self) -> float:
        """Rise over the evaluation length that a helix slope of 1 makes."""
        return _slope_scale(self.helix) if self.full_slopes else 1.0

    def design(self, L: Array, face: Array) -> Array:
        """Design of the flank: profile design plus helix design. [um]"""
        return np.asarray(design_trace(L, self.profile) + design_trace(face, self.helix))


def _slope_scale(spec: TraceSpec) -> float:
    return spec.length / abs(spec.full_end - spec.full_start)


def ranges_of(part: Part, geometry: GearGeometry) -> Ranges | None:
    """Evaluation ranges of a part (ISO 1328-1:2013, from memory); None without profile limits."""
    limits, gear = part.evaluation.profile, part.gear
    zone_end: float | None = None
    if limits.start_roll_length_mm is not None and limits.end_roll_length_mm is not None:
        start, end = limits.start_roll_length_mm, limits.end_roll_length_mm
    elif limits.control_diameter_mm is not None and limits.tip_form_diameter_mm is not None:
        start, end, zone_end = profile_range(
            limits.control_diameter_mm, limits.tip_form_diameter_mm, geometry.d_b
        )
    else:
        return None
    control, tip = limits.control_diameter_mm, gear.tip_diameter_mm or limits.tip_form_diameter_mm
    design = part.design.profile
    form = end if zone_end is None else zone_end
    profile = TraceSpec(
        start=start,
        end=end,
        full_start=start if control is None else roll_length(control, geometry.d_b),
        full_end=end if tip is None else roll_length(tip, geometry.d_b),
        zone_end=zone_end,
        cutoff=None,
        design=Design(
            design.crowning_um,
            design.slope_um,
            tuple(
                Relief(amount, begin, stop)
                for amount, begin, stop in (
                    (design.tip_relief_um, design.tip_relief_start_roll_length_mm, form),
                    (design.root_relief_um, design.root_relief_start_roll_length_mm, start),
                )
                if amount > 0
            ),
        ),
    )
    low, high = helix_range(geometry.b, geometry.m_n)
    own = part.evaluation.helix
    helix = TraceSpec(
        start=low if own.start_face_position_mm is None else own.start_face_position_mm,
        end=high if own.end_face_position_mm is None else own.end_face_position_mm,
        full_start=0.0,
        full_end=geometry.b,
        zone_end=None,
        cutoff=None,
        design=Design(part.design.helix.crowning_um, part.design.helix.slope_um),
    )
    return Ranges(profile, helix, part.evaluation.slope_span == "full")

"""Where on the flank a part is evaluated and what its design is: the frame of the shapes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from gearqa.arrays import Array
from gearqa.core.traces import TraceSpec, design_trace, range_fraction
from gearqa.evaluation.trace_specs import helix_spec, profile_spec
from gearqa.model.part import Part


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


def ranges_of(part: Part) -> Ranges | None:
    """Evaluation ranges of a part; None where the drawing has no profile limits."""
    profile = profile_spec(part)
    if profile is None:
        return None
    return Ranges(profile, helix_spec(part), part.evaluation.slope_span == "full")

"""Where a gear was looked at: points on its flanks, with everything components need to know of them."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from gearqa.arrays import Array, IntArray
from gearqa.core.flank_frame import base_tangent_angle, flank_angle
from gearqa.core.flank_shapes import full_span_scale
from gearqa.core.geometry import roll_length
from gearqa.core.traces import TraceSpec
from gearqa.evaluation.part_setup import PartSetup
from gearqa.model.measurement import Trace
from gearqa.symbols import FLANKS, Flank, TraceKind

FLANK_SIGN = {"left": -1.0, "right": 1.0}


@dataclass(frozen=True, eq=False)
class FlankPoints:
    """Points on the flanks of a part; arrays of one shape. Make them with `flank_points`."""

    setup: PartSetup
    f: Array
    """+1 right, -1 left."""
    tooth: IntArray
    L: Array
    """Length of roll. [mm]"""
    face: Array
    """Face position. [mm]"""

    @cached_property
    def theta_T(self) -> Array:
        """Angle of the base tangent through the point. [rad]"""
        return base_tangent_angle(self.setup.geometry, self.f, self.tooth, self.L, self.face)

    @cached_property
    def flank_angle(self) -> Array:
        """Angle of the whole flank: at the reference circle in the middle of the face. [rad]"""
        return flank_angle(self.setup.geometry, self.f, self.tooth)

    @cached_property
    def section_angle(self) -> Array:
        """Angle of the flank at the reference circle of the point's own transverse section. [rad]"""
        g = self.setup.geometry
        twist = g.H * math.tan(g.beta_b) / (g.d_b / 2)
        return np.asarray(self.flank_angle + (self.face - g.b / 2) * twist)

    @cached_property
    def table_angle(self) -> Array:
        """Turn of the gear at which the point was generated, counted so that it is `flank_angle` at the
        reference circle in the middle of the face: the base tangent then lies in the line of action. [rad]"""
        return np.asarray(self.theta_T + self.f * self.setup.geometry.alpha_t)

    @property
    def is_flank(self) -> Iterator[tuple[Flank, Array]]:
        """Each flank, with 1 at the points on it and 0 elsewhere."""
        return ((flank, np.asarray(self.f == FLANK_SIGN[flank], dtype=np.float64)) for flank in FLANKS)


def flank_points(
    setup: PartSetup, f: Array | float, tooth: IntArray | int, L: Array | float, face: Array | float
) -> FlankPoints:
    """Points on flanks; arguments broadcast against each other."""
    return FlankPoints(setup, *np.broadcast_arrays(f, tooth, L, face))


def trace_points(trace: Trace, position: Array, setup: PartSetup) -> FlankPoints:
    """Points along a trace; a profile without label lies in the middle of the face, a helix without
    one in the middle of the evaluated profile."""
    g = setup.geometry
    f = FLANK_SIGN[trace.flank]
    if trace.kind == "profile":
        face = g.b / 2 if trace.label_mm is None else trace.label_mm
        return flank_points(setup, f, trace.tooth, position, face)
    roll = middle_roll(setup) if trace.label_mm is None else roll_length(trace.label_mm, g.d_b)
    return flank_points(setup, f, trace.tooth, roll, position)


def pitch_points(setup: PartSetup, *, measured: bool) -> FlankPoints:
    """All teeth in the middle of the face, shape (2, z), left and right: on the circle where pitch is
    `measured`, or on the reference circle."""
    g = setup.geometry
    d = setup.part.evaluation.pitch.measuring_diameter_mm if measured else None
    roll = roll_length(d or g.d, g.d_b)
    tooth = np.arange(1, g.z + 1)
    f = np.array([[FLANK_SIGN[flank]] for flank in FLANKS])
    return flank_points(setup, f, tooth, roll, g.b / 2)


def middle_roll(setup: PartSetup) -> float:
    """Length of roll in the middle of the evaluated profile; without limits at the reference circle."""
    spec = setup.specs["profile"]
    return roll_length(setup.geometry.d, setup.geometry.d_b) if spec is None else (spec.start + spec.end) / 2


def graded_rise(setup: PartSetup, kind: TraceKind) -> float:
    """Slope as it is graded that a rise of one over the full span makes: components are over that."""
    spec = setup.specs[kind]
    return 1.0 if spec is None or setup.part.slope_span == "full" else full_span_scale(spec)


def ranges(setup: PartSetup) -> tuple[TraceSpec, TraceSpec]:
    """Ranges of profile and helix; shapes of a profile without limits are never asked for."""
    helix = setup.specs["helix"]
    assert helix is not None
    profile = setup.specs["profile"]
    if profile is None:
        middle = middle_roll(setup)
        profile = TraceSpec(middle - 1, middle + 1, middle - 1, middle + 1, None, None)
    return profile, helix

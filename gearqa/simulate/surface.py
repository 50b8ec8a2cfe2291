"""The true flank surfaces of one gear, and the points at which they are looked at.

One function, `FlankSurface.deviation`, gives the deviation of any point of any flank; traces,
pitch, ball readings, dimensions and spans are all taken from it, so that they agree.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

from gearqa.arrays import Array, IntArray
from gearqa.core.flank_frame import base_tangent_angle, flank_angle, rigid_deviation
from gearqa.core.flank_shapes import flank_shapes, full_span_scale, ring_lobes
from gearqa.core.geometry import GearGeometry
from gearqa.core.traces import TraceSpec, design_trace
from gearqa.evaluation.trace_specs import helix_spec, profile_spec
from gearqa.model.part import Part

FLANK_SIGNS: Array = np.array([-1.0, 1.0])
"""+1 right, -1 left, in the order in which arrays hold the flanks (left, right)."""


@dataclass(frozen=True, slots=True)
class Ranges:
    """Evaluation ranges, design and slope spans of a part's traces: the frame of the shapes."""

    profile: TraceSpec
    helix: TraceSpec
    full_slopes: bool
    """Slopes are stated over the full span, not over the evaluation length."""


def ranges_of(part: Part) -> Ranges | None:
    """Evaluation ranges of a part; None where the drawing has no profile limits."""
    profile = profile_spec(part)
    if profile is None:
        return None
    return Ranges(profile, helix_spec(part), part.slope_span == "full")


class SurfacePoints:
    """Points on flanks, with everything about them that is the same for every gear of the part.

    Arguments broadcast against each other: +1 right, -1 left flank; tooth number from 1; length of roll
    and face position in mm.
    """

    def __init__(
        self,
        geometry: GearGeometry,
        ranges: Ranges,
        *,
        f: Array,
        tooth: IntArray,
        L: Array | float,
        face: Array | float,
    ) -> None:
        self.geometry = geometry
        self.f, self.tooth, self.L, self.face = f, tooth, np.asarray(L), np.asarray(face)
        self.theta_T = base_tangent_angle(geometry, f, tooth, self.L, self.face)
        r_b = geometry.d_b / 2
        self.reference_angle = flank_angle(geometry, f, tooth)
        """Of the whole flank, at the reference circle in the middle of the face."""
        self.section_angle = self.reference_angle + (self.face - geometry.b / 2) * (
            geometry.H * math.tan(geometry.beta_b) / r_b
        )
        """The flank at the reference circle of the point's own transverse section."""
        self.table_angle = self.theta_T + f * geometry.alpha_t
        """Turn of the gear at which a point was generated: its base tangent lies in the line of action."""
        self.design = np.asarray(design_trace(self.L, ranges.profile) + design_trace(self.face, ranges.helix))
        """Of the flank: profile and helix design together. [um]"""
        self._basis = _shape_basis(ranges, self.L, self.face)
        self._waves: dict[float, tuple[Array, Array]] = {}
        self._index = (np.asarray((f > 0), dtype=np.intp), np.asarray(tooth, dtype=np.intp) - 1)

    def wave(self, order: float) -> tuple[Array, Array]:
        """Cosine and sine of a wave of the base tangent angle, kept for the next gear."""
        if order not in self._waves:
            self._waves[order] = (np.cos(order * self.theta_T), np.sin(order * self.theta_T))
        return self._waves[order]

    def shape(self, coefficients: Array) -> Array:
        """Common shape of the flanks. coefficients [um], shape (2, z, 8) or (2, 1, 8) -> [um]"""
        f_index, tooth_index = self._index
        if coefficients.shape[1] == 1:
            tooth_index = np.zeros_like(tooth_index)
        own = coefficients[f_index, tooth_index]
        total = np.zeros(np.broadcast_shapes(self.theta_T.shape))
        for k in np.flatnonzero(np.any(coefficients != 0, axis=(0, 1))):
            total = total + own[..., k] * self._basis[k]
        return total

    def per_tooth(self, values: Array) -> Array:
        """A value for each flank of each tooth. values shape (2, z) -> broadcastable to the points."""
        return np.asarray(values[self._index])


def _shape_basis(ranges: Ranges, L: Array, face: Array) -> tuple[Array, ...]:
    """Unit shapes in the order of the scenario: uniform material, then `SHAPES`."""
    shapes = flank_shapes(L, face, ranges.profile, ranges.helix)
    if not ranges.full_slopes:
        shapes[0] /= full_span_scale(ranges.profile)
        shapes[3] /= full_span_scale(ranges.helix)
    return (np.ones(()), *shapes)


@dataclass(frozen=True, slots=True)
class Lobe:
    """n-lobed spring-back of a thin ring. um, rad, mm"""

    n: int
    amplitude_um: float
    phase: float
    neutral_radius_mm: float


@dataclass(frozen=True, slots=True)
class Wave:
    """Ripple of the base tangent angle on the flanks whose weight is 1. um, rad"""

    order: float
    amplitude_um: float
    phase: float
    flanks: tuple[float, float] = (1.0, 1.0)
    """Weights of the left and the right flank."""


@dataclass(frozen=True, slots=True)
class TableError:
    """Of the work table while flanks are generated, arc at the reference circle. um, rad"""

    order: int = 1
    amplitude_um: float = 0.0
    phase: float = 0.0


@dataclass(frozen=True, eq=False, slots=True)
class FlankSurface:
    """All flank deviations of one gear."""

    geometry: GearGeometry
    shape: Array
    """Shape coefficients. [um], shape (2, z, 8) or (2, 1, 8), left and right"""
    e_um: tuple[float, float] = (0.0, 0.0)
    omega_mrad: tuple[float, float] = (0.0, 0.0)
    lobes: tuple[Lobe, ...] = ()
    waves: tuple[Wave, ...] = ()
    tooth_index_um: Array = field(default_factory=lambda: np.zeros((2, 1)))
    """Index of each flank of each tooth on its own, arc at the reference circle. [um], shape (2, z)"""
    tangential_um: float = 0.0
    tangential_phase: float = 0.0
    table: TableError = TableError()

    def deviation(self, points: SurfacePoints) -> Array:
        """Transverse deviation along the base tangent, plus = material. [um]"""
        g, f = self.geometry, points.f
        total = points.design + points.shape(self.shape)
        if self.e_um != (0.0, 0.0) or self.omega_mrad != (0.0, 0.0):
            total = total + rigid_deviation(
                g, f, points.theta_T, points.L, points.face, e=self.e_um, omega=self.omega_mrad
            )
        for lobe in self.lobes:
            cos, sin = ring_lobes(g, f, points.theta_T, points.section_angle, lobe.n, lobe.neutral_radius_mm)
            turned = lobe.n * lobe.phase
            total = total + lobe.amplitude_um * (math.cos(turned) * cos + math.sin(turned) * sin)
        for wave in self.waves:
            cos, sin = points.wave(wave.order)
            weight = np.where(f > 0, wave.flanks[1], wave.flanks[0]) * wave.amplitude_um
            total = total + weight * (math.cos(wave.phase) * cos - math.sin(wave.phase) * sin)
        index = self.tangential_um * np.cos(points.reference_angle - self.tangential_phase)
        if self.table.amplitude_um:
            of_table: Array = self.table.order * (points.table_angle - self.table.phase)
            index = index + self.table.amplitude_um * np.cos(of_table)
        if self.tooth_index_um.any():
            index = index + points.per_tooth(self.tooth_index_um)
        return np.asarray(total + g.s * f * math.cos(g.alpha_t) * index)

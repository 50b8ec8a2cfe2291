"""Exact involute helicoids and balls, by brute force and in the viewer's own frame.

Nothing here comes from gearqa: x right, y up, z towards the viewer who looks onto the datum face,
angles counter-clockwise, flanks named as he sees them with the tooth tip up. A flank is the curve
phi(r) of its transverse section, turned along z by its helix.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True)
class ExactGear:
    """Nominal gear. mm, degrees; `internal` and `hand` (+1 right, -1 left) in words of the drawing."""

    z: int
    m_n: float
    alpha_n: float
    beta: float
    b: float
    internal: bool
    hand: int
    x: float = 0.0
    more_helix_deg: float = 0.0
    """How much larger the true helix angle at the reference circle is."""

    @property
    def alpha_t(self) -> float:
        return math.atan(math.tan(math.radians(self.alpha_n)) / math.cos(math.radians(self.beta)))

    @property
    def r(self) -> float:
        return self.z * self.m_n / math.cos(math.radians(self.beta)) / 2

    @property
    def r_b(self) -> float:
        return self.r * math.cos(self.alpha_t)

    @property
    def lead_angle_per_mm(self) -> float:
        """Counter-clockwise turn of the teeth per mm towards the viewer: right-hand teeth climb."""
        return self.hand * math.tan(math.radians(self.beta + self.more_helix_deg)) / self.r

    def _inv(self, r: float) -> float:
        alpha = math.acos(min(1.0, self.r_b / r))
        return math.tan(alpha) - alpha

    def tooth_half_angle(self, r: float, material_mm: float = 0.0) -> float:
        """Half tooth angle at a radius; material (transverse, along the base tangent) thickens it."""
        inv_t = math.tan(self.alpha_t) - self.alpha_t
        half = (math.pi / 2 + 2 * self.x * math.tan(math.radians(self.alpha_n))) / self.z
        half += (self._inv(r) - inv_t) if self.internal else (inv_t - self._inv(r))
        return half + material_mm / self.r_b

    def side(self, flank: str) -> int:
        """+1 if the flank lies counter-clockwise of its tooth."""
        # tooth at the top, tip up: right = clockwise; internal tooth at the bottom, tip up: right = ccw
        return (1 if self.internal else -1) * (1 if flank == "right" else -1)

    def phi(self, flank: str, tooth: int, r: float, z: float, material_mm: float = 0.0) -> float:
        """Counter-clockwise angle of a flank point; z towards the viewer from mid-face."""
        centre = -2 * math.pi * (tooth - 1) / self.z + self.lead_angle_per_mm * z
        return centre + self.side(flank) * self.tooth_half_angle(r, material_mm)

    def point(self, flank: str, tooth: int, r: float, z: float, material_mm: float = 0.0) -> Array:
        phi = self.phi(flank, tooth, r, z, material_mm)
        return np.array([r * math.cos(phi), r * math.sin(phi), z])

    def base_tangent(self, flank: str, tooth: int, r: float, z: float) -> Array:
        """Unit vector out of the material, square to the transverse section of the flank."""
        h = 1e-5
        along = self.point(flank, tooth, r + h, z) - self.point(flank, tooth, r - h, z)
        across = np.array([-along[1], along[0], 0.0]) / np.linalg.norm(along)
        here = self.point(flank, tooth, r, z)
        turn = self.side(flank) * np.array([-here[1], here[0], 0.0])
        return across * np.sign(across @ turn)


@dataclass(frozen=True)
class Displacement:
    """Shift [mm] and rotation vector [rad] in the viewer's frame, about the axis at mid-face."""

    shift: Array
    rotation: Array

    def __call__(self, p: Array) -> Array:
        angle = float(np.linalg.norm(self.rotation))
        if angle > 0:
            k = self.rotation / angle
            p = p * math.cos(angle) + np.cross(k, p) * math.sin(angle) + k * (k @ p) * (1 - math.cos(angle))
        return p + self.shift


def clockwise(length: float, degrees: float) -> Array:
    """Vector of a clockwise direction from tooth 1 (which stands at +x)."""
    return np.array(
        [length * math.cos(math.radians(degrees)), -length * math.sin(math.radians(degrees)), 0.0]
    )


def deviation_um(
    gear: ExactGear,
    moved: Displacement,
    flank: str,
    tooth: int,
    r: float,
    face: float,
    material_mm: float = 0.0,
) -> float:
    """Where the base tangent through a nominal point meets the displaced flank, um out of the material."""
    z = gear.b / 2 - face
    start = gear.point(flank, tooth, r, z)
    direction = gear.base_tangent(flank, tooth, r, z)

    def miss(u: Array) -> Array:
        on_flank = moved(gear.point(flank, tooth, r + u[0], z + u[1], material_mm))
        return on_flank - start - u[2] * direction

    return float(_solve(miss, np.zeros(3), 1e-12)[2]) * 1000


def index_um(gear: ExactGear, moved: Displacement, flank: str, tooth: int) -> float:
    """Clockwise arc to the displaced flank, at the reference circle in the middle section."""

    def miss(u: Array) -> Array:
        p = moved(gear.point(flank, tooth, gear.r + u[0], u[1]))
        return np.array([math.hypot(p[0], p[1]) - gear.r, p[2]])

    u = _solve(miss, np.zeros(2), 1e-12)
    p = moved(gear.point(flank, tooth, gear.r + u[0], u[1]))
    turn = math.atan2(p[1], p[0]) - gear.phi(flank, tooth, gear.r, 0.0)
    return -math.remainder(turn, 2 * math.pi) * gear.r * 1000


def ball_radius_mm(
    gear: ExactGear, moved: Displacement, space: int, diameter: float, start: float, material_mm: float = 0.0
) -> float:
    """Distance from the axis to the centre of a ball at mid-face that touches both flanks of a space.

    Solved: both feet are perpendicular to the surface and at half the diameter.
    """
    following = space % gear.z + 1
    bounds = (
        [("left", space), ("right", following)] if gear.internal else [("right", space), ("left", following)]
    )
    middle = -2 * math.pi * (space - 0.5) / gear.z
    h = 1e-4

    def miss(u: Array) -> Array:
        radius, turn = start + u[0], middle + u[1]
        centre = np.array([radius * math.cos(turn), radius * math.sin(turn), 0.0])
        out = []
        for (flank, tooth), (a, b) in zip(bounds, (u[2:4], u[4:6]), strict=True):

            def at(r: float, z: float, flank: str = flank, tooth: int = tooth) -> Array:
                return moved(gear.point(flank, tooth, gear.r + r, z, material_mm))

            reach = at(a, b) - centre
            out += [
                float(np.linalg.norm(reach)) - diameter / 2,
                float(reach @ (at(a + h, b) - at(a - h, b))) / (2 * h),
                float(reach @ (at(a, b + h) - at(a, b - h))) / (2 * h),
            ]
        return np.array(out)

    return start + float(_solve(miss, np.zeros(6), 1e-9)[0])


def _solve(miss: Callable[[Array], Array], u: Array, good: float) -> Array:
    """Newton's method with a numerical Jacobian."""
    for _ in range(40):
        here = miss(u)
        step = 1e-6
        jacobian = np.stack(
            [(miss(u + step * k) - miss(u - step * k)) / (2 * step) for k in np.eye(u.size)], axis=1
        )
        u = u - np.linalg.solve(jacobian, here)
        if float(np.max(np.abs(miss(u)))) < good:
            return u
    raise AssertionError("no solution")

"""Exact involute helicoids by geometry alone; shares nothing with gearqa.

Clockwise angles, looking onto the datum face; `y` grows away from the datum face; mm and radians.
A right-hand tooth turns clockwise on its way away from the viewer.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from scipy.optimize import brentq, fsolve


@dataclass(frozen=True)
class Gear:
    z: int
    r: float
    """Reference radius."""
    alpha_t: float
    beta: float
    internal: bool = False
    hand: int = 1
    half_tooth: float = 0.0
    """Half tooth angle at the reference circle; 0: half of a half pitch."""

    @property
    def r_b(self) -> float:
        return self.r * math.cos(self.alpha_t)

    def side(self, flank: str) -> int:
        """+1 for the clockwise side of a tooth: right on an external, left on an internal gear."""
        return 1 if (flank == "right") != self.internal else -1

    def flank_angle(self, flank: str, radius: float, y: float = 0.0) -> float:
        """Clockwise angle of a flank of tooth 1 (centre at 0 on the datum face)."""

        def inv(r: float) -> float:
            alpha = math.acos(self.r_b / r)
            return math.tan(alpha) - alpha

        half = self.half_tooth or math.pi / 2 / self.z
        thinner_outwards = inv(radius) - inv(self.r)
        half += thinner_outwards if self.internal else -thinner_outwards
        return self.side(flank) * half + self.hand * math.tan(self.beta) / self.r * y

    def material(self, nominal: Gear, flank: str, roll: float, y: float = 0.0) -> float:
        """Excess of this flank over the nominal one, along the nominal base tangent. [mm]"""
        radius = math.hypot(nominal.r_b, roll)
        theta = nominal.flank_angle(flank, radius, y)
        start = radius * np.array([math.cos(theta), math.sin(theta)])
        # The base tangent through the nominal point: its direction is the flank's normal.
        xi = roll / nominal.r_b
        normal_out = -nominal._turn(flank) * (math.pi / 2 - math.atan(xi)) + theta
        out = self._sign_of_material(nominal, flank, start, normal_out, y)
        direction = out * np.array([math.cos(normal_out), math.sin(normal_out)])

        def gap(step: float) -> float:
            px, py = start + step * direction
            return math.atan2(py, px) - self.flank_angle(flank, math.hypot(px, py), y)

        return float(brentq(gap, -0.1, 0.1, xtol=1e-15))

    def _turn(self, flank: str) -> int:
        """+1 where a flank runs clockwise with growing radius."""
        return -self.side(flank) if not self.internal else self.side(flank)

    def _sign_of_material(self, nominal: Gear, flank: str, start: np.ndarray, normal: float, y: float) -> int:
        """+1 if walking along `normal` leads out of the tooth."""
        px, py = start + 1e-4 * np.array([math.cos(normal), math.sin(normal)])
        outside = math.atan2(py, px) - nominal.flank_angle(flank, math.hypot(px, py), y)
        return 1 if outside * nominal.side(flank) > 0 else -1


def involute_point(r_b: float, origin: float, turn: int, xi: float) -> tuple[np.ndarray, np.ndarray]:
    """Point and tangent direction of an involute that leaves the base circle at angle `origin`."""
    a = origin + turn * xi
    radial, around = np.array([math.cos(a), math.sin(a)]), np.array([-math.sin(a), math.cos(a)])
    return r_b * (radial - turn * xi * around), radial


def pin_radius_and_centre(gear: Gear, widening_left_mm: float, widening_right_mm: float, pin: float) -> float:
    """Radial position of a pin that touches both flanks of space 1, by solving the contact.

    The flanks of the space are moved clockwise along the reference arc by the two amounts: first
    the one on the anticlockwise side of the space, then the one on its clockwise side.
    """
    half_space = math.pi / gear.z - (gear.half_tooth or math.pi / 2 / gear.z)
    inv_t = math.tan(gear.alpha_t) - gear.alpha_t
    # An external space opens outwards, an internal one closes outwards.
    opening = -1 if gear.internal else 1
    at_base = half_space - opening * inv_t
    origins = (-at_base + widening_left_mm / gear.r, at_base + widening_right_mm / gear.r)
    turns = (-opening, opening)

    def equations(unknown: np.ndarray) -> list[float]:
        radius, angle, xi_1, xi_2 = unknown
        centre = radius * np.array([math.cos(angle), math.sin(angle)])
        out = []
        for origin, turn, xi in zip(origins, turns, (xi_1, xi_2), strict=True):
            point, tangent = involute_point(gear.r_b, origin, turn, xi)
            reach = centre - point
            out += [float(reach @ tangent), float(reach @ reach - pin**2) / pin]
        return out

    xi_t = math.tan(gear.alpha_t)
    start = gear.r + opening * 0.3 * pin
    solution, info, success, message = fsolve(
        equations, [start, 0.0, xi_t, xi_t], xtol=1e-13, full_output=True
    )
    assert np.abs(info["fvec"]).max() < 1e-11, message
    assert success
    return float(solution[0])


def touching_at_reference_circle(gear: Gear) -> float:
    """Radius of the pin that touches both flanks of the nominal space at the reference circle."""
    half_space = math.pi / gear.z - (gear.half_tooth or math.pi / 2 / gear.z)
    opening = -1 if gear.internal else 1
    # The normal at the contact meets the middle of the space.
    working = gear.alpha_t + opening * half_space
    return gear.r * math.sin(half_space) / math.cos(working)


def turned_helix(gear: Gear, d_beta: float) -> Gear:
    return replace(gear, beta=gear.beta + d_beta)

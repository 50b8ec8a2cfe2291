"""Balls in tooth spaces and spans over teeth: what touches a displaced flank surface, and where.

The nominal contact follows from the involute (ISO 21771, dimension over and between balls; from
memory, checked against printed handbook values and a brute-force ball). A flank with the
deviation delta at its contact is an involute turned by delta / r_b, so the ball centre is exact
for a deviation that is the same on all flanks; the slope of the flank enters only in second order.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from gearqa.arrays import Array
from gearqa.core.flank_frame import involute
from gearqa.core.geometry import GearGeometry
from gearqa.core.runout import half_space_angle


def inverse_involute(value: Array | float) -> Array:
    """Pressure angle of an involute polar angle, not negative; Newton's method. [rad]

    Examples
    --------
    Handbook value: inv alpha = 0.0268197 gives 24.1350 degrees.

    >>> round(float(np.degrees(inverse_involute(0.02681968))), 4)
    24.135
    """
    value = np.asarray(value, dtype=np.float64)
    root = np.cbrt(3 * np.maximum(value, 1e-18))
    alpha = np.minimum(root / (1 + 0.12 * root * root), 1.45)
    for _ in range(30):
        tan = np.tan(alpha)
        step = (tan - alpha - value) / (tan * tan)
        alpha = np.clip(alpha - step, 1e-6, 1.57)
        if np.all(np.abs(step) < 1e-14):
            break
    return np.asarray(np.where(value < 0, np.nan, alpha))


@dataclass(frozen=True, slots=True)
class BallContact:
    """A ball of one diameter in a nominal space. mm, rad"""

    diameter: float
    inv_alpha: float
    """Involute polar angle at the ball centre."""
    contact_roll: float
    """Length of roll of the contact on either flank."""
    contact_offset: float
    """Face position of the contact on the right flank less that of the ball centre; left: opposite."""


def ball_contact(geometry: GearGeometry, diameter: float) -> BallContact | None:
    """Nominal contact of a ball; None if it does not touch the involutes."""
    g = geometry
    inv = involute(g.alpha_t) - g.s * half_space_angle(g) + g.s * diameter / (g.d_b * math.cos(g.beta_b))
    if not inv > 0:
        return None
    alpha_K = float(inverse_involute(inv))
    contact = g.d_b / 2 * math.tan(alpha_K) - g.s * diameter / 2 * math.cos(g.beta_b)
    if contact <= 0:
        return None
    return BallContact(diameter, float(inv), contact, g.s * g.H * math.sin(g.beta_b) * diameter / 2)


def ball_touching_reference(geometry: GearGeometry) -> float:
    """Diameter of the ball that meets the base tangents of the reference circle. [mm]

    In a transverse section it touches both flanks at the reference circle; on a helical gear the
    ball itself touches a little off that section, on the same base tangent planes.
    """
    g = geometry
    half = half_space_angle(g)
    opening = involute(g.alpha_t + g.s * half) - involute(g.alpha_t) + g.s * half
    return float(g.s * opening * g.d_b * math.cos(g.beta_b))


def ball_centres(
    geometry: GearGeometry, contact: BallContact, left_um: Array, right_um: Array
) -> tuple[Array, Array]:
    """Radial position and tangential (clockwise) shift of the balls in all spaces. [mm], shape (z,)

    `left_um` and `right_um`, shape (z,), are the deviations at the contacts of both flanks of each space.
    The mean of the material is taken exactly, what differs from space to space in first order, so that a
    rigid displacement of the gear displaces the balls rigidly.
    """
    r_b, s = geometry.d_b / 2, geometry.s
    material = (left_um + right_um) / 2000
    alpha_K = inverse_involute(contact.inv_alpha + s * material.mean() / r_b)
    radial = r_b / np.cos(alpha_K) + s * (material - material.mean()) / np.sin(alpha_K)
    return np.asarray(radial), np.asarray(s * (right_um - left_um) / 2000 / np.cos(alpha_K))


def nominal_span(geometry: GearGeometry, k: int) -> float:
    """Span over k teeth of an external gear (ISO 21771, from memory). [mm]

    Examples
    --------
    Handbook example: m 3, z 24, x 0.4, k 4: 32.8266 mm.

    >>> from gearqa.core.geometry import gear_geometry
    >>> g = gear_geometry(24, 3.0, math.radians(20), 0.0, 30.0, s=1, H=0, x=0.4)
    >>> round(nominal_span(g, 4), 4)
    32.8266
    """
    g = geometry
    rack = math.pi * (k - 0.5) + g.z * float(involute(g.alpha_t))
    return g.m_n * (math.cos(g.alpha_n) * rack + 2 * g.x * math.sin(g.alpha_n))


def teeth_to_span(geometry: GearGeometry) -> int:
    """Number of teeth whose span touches near the reference circle (ISO 21771, from memory)."""
    g = geometry
    wanted = 2 * g.d_b / 2 * math.tan(g.alpha_t) / math.cos(g.beta_b)
    return max(1, min(range(1, g.z // 2 + 1), key=lambda k: abs(nominal_span(g, k) - wanted)))

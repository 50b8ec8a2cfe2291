"""Geometry of involute cylindrical gears, external and internal, spur and helical (ISO 21771).

Angles in radians, lengths in millimetres. Diameters and tooth numbers are positive for internal
gears too; the sign `s` (+1 external, -1 internal) tells them apart.
"""

from __future__ import annotations

import math
from typing import overload

import numpy as np

from gearqa.arrays import Array
from gearqa.late_dataclass import dataclass


@dataclass(frozen=True, slots=True)
class GearGeometry:
    """Basic quantities of a gear and what follows from them. Make it with `gear_geometry`."""

    z: int
    m_n: float
    alpha_n: float
    beta: float
    b: float
    x: float
    s: int
    """+1 external, -1 internal."""
    H: int
    """+1 right-hand, -1 left-hand, 0 spur."""
    alpha_t: float
    d: float
    d_b: float
    beta_b: float


def gear_geometry(
    z: int, m_n: float, alpha_n: float, beta: float, b: float, *, s: int, H: int, x: float = 0.0
) -> GearGeometry:
    r"""Transverse pressure angle, reference and base diameter, base helix angle.

    ISO 21771:2007, clause 4 (from memory).

    .. math::
        \tan\alpha_t = \tan\alpha_n/\cos\beta,\; d = z m_n/\cos\beta,\; d_b = d\cos\alpha_t,\;
        \sin\beta_b = \sin\beta\cos\alpha_n

    Parameters
    ----------
    z : int
        Number of teeth, positive. [-]
    m_n : float
        Normal module. [mm]
    alpha_n, beta : float
        Normal pressure angle; helix angle, not negative. [rad]
    b : float
        Face width. [mm]
    s, H : int
        +1 external, -1 internal; +1 right-hand, -1 left-hand, 0 spur. [-]
    x : float
        Profile shift coefficient, ISO 21771 sign. [-]

    Returns
    -------
    GearGeometry
        Lengths in mm, angles in rad. [mm, rad]

    Examples
    --------
    >>> ring = gear_geometry(97, 3.0, math.radians(20), math.radians(12.5), 40.0, s=-1, H=1)
    >>> round(ring.d, 6), round(ring.d_b, 6), round(math.degrees(ring.beta_b), 8)
    (298.065339, 279.288096, 11.73507475)
    """
    alpha_t = math.atan(math.tan(alpha_n) / math.cos(beta))
    d = z * m_n / math.cos(beta)
    return GearGeometry(
        z=z, m_n=m_n, alpha_n=alpha_n, beta=beta, b=b, x=x, s=s, H=H if beta else 0, alpha_t=alpha_t,
        d=d, d_b=d * math.cos(alpha_t), beta_b=math.asin(math.sin(beta) * math.cos(alpha_n)),
    )  # fmt: skip


@overload
def roll_length(d_y: float, d_b: float) -> float: ...
@overload
def roll_length(d_y: Array, d_b: float) -> Array: ...
def roll_length(d_y: float | Array, d_b: float) -> float | Array:
    r"""Length of roll from the base circle to a diameter.

    ISO 21771:2007, clause 5 (from memory): :math:`L_y = \sqrt{d_y^2 - d_b^2}/2`.

    Parameters
    ----------
    d_y : float or ndarray
        Diameter, not below the base diameter (NaN below it). [mm]
    d_b : float
        Base diameter. [mm]

    Returns
    -------
    float or ndarray
        Length of roll. [mm]

    Examples
    --------
    Internal gear z 97, m_n 3, beta 12.5 degrees; computed values, certain.

    >>> round(roll_length(293.0, 279.288096465), 6)
    44.292096
    """
    if isinstance(d_y, np.ndarray):
        with np.errstate(invalid="ignore", over="ignore"):
            return np.asarray(np.sqrt(d_y * d_y - d_b * d_b) / 2)
    return math.sqrt(d_y * d_y - d_b * d_b) / 2 if d_y >= d_b else math.nan


@overload
def diameter_at_roll(L: float, d_b: float) -> float: ...
@overload
def diameter_at_roll(L: Array, d_b: float) -> Array: ...
def diameter_at_roll(L: float | Array, d_b: float) -> float | Array:
    r"""Diameter at a length of roll, the inverse of `roll_length`.

    ISO 21771:2007, clause 5 (from memory): :math:`d_y = \sqrt{d_b^2 + 4 L_y^2}`.

    Parameters
    ----------
    L : float or ndarray
        Length of roll. [mm]
    d_b : float
        Base diameter. [mm]

    Returns
    -------
    float or ndarray
        Diameter. [mm]

    Examples
    --------
    >>> round(diameter_at_roll(44.292096, 279.288096465), 6)
    293.0
    """
    if isinstance(L, np.ndarray):
        return np.asarray(np.sqrt(d_b * d_b + 4 * L * L))
    return math.sqrt(d_b * d_b + 4 * L * L)

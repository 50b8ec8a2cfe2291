"""Where a flank point sits and which way its normal points: the frame all flank effects share.

Right-handed frame: z = face position (away from the viewer who looks onto the datum face), angles
grow clockwise for him. `f` is +1 for a right and -1 for a left flank.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from gearqa.arrays import Array
from gearqa.core.geometry import GearGeometry


def involute(alpha: Array | float) -> Array:
    r"""Involute function.

    ISO 21771:2007, clause 5 (from memory): :math:`\mathrm{inv}\,\alpha = \tan\alpha - \alpha`.

    Parameters
    ----------
    alpha : float or ndarray
        Transverse pressure angle. [rad]

    Returns
    -------
    ndarray
        Involute polar angle. [rad]

    Examples
    --------
    Table of involute functions, 20 degrees (common handbook value 0.014904).

    >>> round(float(involute(math.radians(20.0))), 6)
    0.014904
    """
    return np.asarray(np.tan(alpha) - alpha, dtype=np.float64)


def flank_angle(geometry: GearGeometry, f: Array, tooth: NDArray[np.number]) -> Array:
    r"""Polar angle of a flank at the reference circle in the middle of the face.

    ISO 21771:2007, tooth thickness (from memory): the flanks lie
    :math:`(\pi/2 + 2 x \tan\alpha_n)/z` either side of the tooth centre at :math:`2\pi (i-1)/z`.

    Parameters
    ----------
    geometry : GearGeometry
        The gear. [-]
    f, tooth : ndarray
        +1 right flank, -1 left flank; tooth number from 1, clockwise. [-]

    Returns
    -------
    ndarray
        Clockwise angle, shape as broadcast. [rad]

    Examples
    --------
    Right flank of tooth 1, external gear of 20 teeth: a quarter pitch clockwise of the tooth centre.

    >>> from gearqa.core.geometry import gear_geometry
    >>> pinion = gear_geometry(20, 2.0, math.radians(20), 0.0, 30.0, s=1, H=0)
    >>> round(float(np.degrees(flank_angle(pinion, np.array(1.0), np.array(1)))), 6)
    4.5
    """
    half = (math.pi / 2 + 2 * geometry.x * math.tan(geometry.alpha_n)) / geometry.z
    return np.asarray(2 * math.pi * (np.asarray(tooth) - 1) / geometry.z + geometry.s * f * half)


def base_tangent_angle(
    geometry: GearGeometry, f: Array, tooth: NDArray[np.number], L: Array, face: Array
) -> Array:
    r"""Polar angle of the point where the base tangent through a flank point touches the base circle.

    Derived from the involute helicoid (checked against an exact surface):
    :math:`\theta_T = \theta_b - f L/r_b + H (z - b/2) \tan\beta_b/r_b`. It is at once the phase of
    every rigid displacement, the rotation angle for order analysis and the rotation at which a
    generating process made the point.

    Parameters
    ----------
    geometry : GearGeometry
        The gear. [-]
    f, tooth : ndarray
        +1 right flank, -1 left flank; tooth number from 1, clockwise. [-]
    L, face : ndarray
        Length of roll from the base circle; face position from the datum face. [mm]

    Returns
    -------
    ndarray
        Clockwise angle, shape as broadcast. [rad]

    Examples
    --------
    At the reference circle the base tangent touches one pressure angle before a right flank.

    >>> from gearqa.core.geometry import gear_geometry, roll_length
    >>> pinion = gear_geometry(20, 2.0, math.radians(20), 0.0, 30.0, s=1, H=0)
    >>> right = np.array(1.0), np.array(1)
    >>> L = np.array(roll_length(pinion.d, pinion.d_b))
    >>> theta = base_tangent_angle(pinion, *right, L, np.array(15.0))
    >>> round(float(np.degrees(flank_angle(pinion, *right) - theta)), 6)
    20.0
    """
    r_b = geometry.d_b / 2
    theta_b = flank_angle(geometry, f, tooth) + f * involute(geometry.alpha_t)
    twist = geometry.H * math.tan(geometry.beta_b) / r_b
    return np.asarray(theta_b - f * np.asarray(L) / r_b + (np.asarray(face) - geometry.b / 2) * twist)


def rigid_deviation(
    geometry: GearGeometry,
    f: Array,
    theta_T: Array,
    L: Array,
    face: Array,
    *,
    e: tuple[float, float],
    omega: tuple[float, float],
) -> Array:
    r"""Deviation that a small displacement of the whole gear leaves on its flanks.

    General rigid-body law :math:`\delta_n = n \cdot (e + \omega \times p)`, transverse
    :math:`\delta_t = \delta_n/\cos\beta_b` (derived; checked against a displaced exact helicoid). The pivot
    of the tilt is the gear axis in the middle of the face.

    Parameters
    ----------
    geometry : GearGeometry
        The gear. [-]
    f : ndarray
        +1 right flank, -1 left flank. [-]
    theta_T : ndarray
        From `base_tangent_angle`. [rad]
    L, face : ndarray
        Length of roll from the base circle; face position from the datum face. [mm]
    e : tuple of float
        Displacement along the directions of angle 0 and of angle 90 degrees (clockwise). [um]
    omega : tuple of float
        Rotation vector along the same two directions. [mrad]

    Returns
    -------
    ndarray
        Deviation along the base tangent, transverse, plus = material, shape as broadcast. [um]

    Examples
    --------
    A pure shift seen square to the base tangent leaves nothing.

    >>> from gearqa.core.geometry import gear_geometry
    >>> pinion = gear_geometry(20, 2.0, math.radians(20), 0.0, 30.0, s=1, H=0)
    >>> one = np.array(1.0)
    >>> round(float(rigid_deviation(pinion, one, 0 * one, one, one, e=(7.0, 2.0), omega=(0.0, 0.0))), 6)
    2.0
    """
    sin, cos = np.sin(theta_T), np.cos(theta_T)
    shift = e[1] * cos - e[0] * sin
    if omega != (0.0, 0.0):
        along = omega[0] * cos + omega[1] * sin
        across = omega[1] * cos - omega[0] * sin
        lead = geometry.H * math.tan(geometry.beta_b)
        shift = shift - (np.asarray(face) - geometry.b / 2) * along
        shift = shift - lead * (f * np.asarray(L) * along - geometry.d_b / 2 * across)
    return np.asarray(geometry.s * f * shift)

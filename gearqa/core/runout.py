"""Runout and tooth thickness variation from pitch of both flanks, or runout from readings.

Arrays have teeth or spaces last, shape (..., z), number i at index i - 1. Going clockwise, an
external tooth shows its left flank, then its right flank; an internal one its right flank, then its
left flank. Space i lies clockwise of tooth i.
"""

from __future__ import annotations

import math

import numpy as np

from gearqa.arrays import Array
from gearqa.core.geometry import GearGeometry
from gearqa.core.pitch import Worst, value_range


def space_widening(index_left: Array, index_right: Array, s: int) -> Array:
    """Widening of each tooth space along the arc.

    House definition, flanks as ISO 1328-1 names them: external space i lies between the right
    flank of tooth i and the left flank of tooth i + 1, internal space i between the left flank of
    tooth i and the right flank of tooth i + 1.

    Parameters
    ----------
    index_left, index_right : ndarray, shape (..., z)
        Index deviations of the left and of the right flanks, clockwise plus. [um]
    s : int
        +1 external, -1 internal. [-]

    Returns
    -------
    ndarray, shape (..., z)
        Index of the clockwise-side flank less index of the other; one unknown constant. [um]

    Examples
    --------
    >>> left, right = np.array([0.0, 5.0, 0.0]), np.array([1.0, 0.0, 0.0])
    >>> space_widening(left, right, s=1).tolist(), space_widening(left, right, s=-1).tolist()
    ([4.0, 0.0, 0.0], [0.0, -5.0, 1.0])
    """
    if s > 0:
        return np.roll(index_left, -1, axis=-1) - index_right
    return np.roll(index_right, -1, axis=-1) - index_left


def half_space_angle(geometry: GearGeometry) -> float:
    r"""Half the nominal angle of a tooth space at the reference circle.

    ISO 21771:2007 (from memory): :math:`\eta = (\pi/2 - 2x\tan\alpha_n)/z`.

    Parameters
    ----------
    geometry : GearGeometry
        The gear. [-]

    Returns
    -------
    float
        Half space angle. [rad]

    Examples
    --------
    >>> from gearqa.core.geometry import gear_geometry
    >>> gear = gear_geometry(20, 2.0, math.radians(20), 0.0, 20.0, s=1, H=0)
    >>> round(math.degrees(half_space_angle(gear)), 9)
    4.5
    """
    return (math.pi / 2 - 2 * geometry.x * math.tan(geometry.alpha_n)) / geometry.z


def radial_positions(index_left: Array, index_right: Array, geometry: GearGeometry) -> Array:
    r"""Radial shift of a ball or pin in each space that touches both flanks at the reference circle.

    Derived, and checked against an exact pin between two involutes:
    :math:`dr_i = -s E_i \cos\alpha_t / (2\sin(\alpha_t + s\eta))`.

    Parameters
    ----------
    index_left, index_right : ndarray, shape (..., z)
        Index deviations of the left and of the right flanks at the reference circle, clockwise plus. [um]
    geometry : GearGeometry
        The gear. [-]

    Returns
    -------
    ndarray, shape (..., z)
        Shift, plus = away from the gear axis; one unknown constant. [um]

    Examples
    --------
    A wider space lets the ball sink towards the root, on an internal gear outwards:
    cos 20 over 2 sin 18.5 degrees.

    >>> from gearqa.core.geometry import gear_geometry
    >>> ring = gear_geometry(60, 2.0, math.radians(20), 0.0, 20.0, s=-1, H=0)
    >>> left, right = np.zeros(60), np.zeros(60)
    >>> right[1] = 1.0
    >>> round(float(radial_positions(left, right, ring)[0]), 6)
    1.480742
    """
    E = space_widening(index_left, index_right, geometry.s)
    working_angle = geometry.alpha_t + geometry.s * half_space_angle(geometry)
    return E * (-geometry.s * math.cos(geometry.alpha_t) / (2 * math.sin(working_angle)))


def F_r(radial: Array) -> Worst:
    """Runout: range of the radial ball positions over all spaces.

    ISO 1328-1:2013, annex on runout, informative (from memory).

    Parameters
    ----------
    radial : ndarray, shape (..., z)
        Radial readings, or positions from pitch. [um]

    Returns
    -------
    Worst
        Value, the space of the maximum and the space of the minimum. [um]

    Examples
    --------
    >>> worst = F_r(np.array([3.0, -2.0, 1.0]))
    >>> float(worst.value), int(worst.tooth), int(worst.tooth_to)
    (5.0, 1, 2)
    """
    return value_range(radial)


def tooth_thickness(index_left: Array, index_right: Array, s: int) -> Array:
    """Deviation of the thickness of each tooth along the arc, one unknown constant.

    House definition: index of the clockwise-side flank less index of the other side's.

    Parameters
    ----------
    index_left, index_right : ndarray, shape (..., z)
        Index deviations of the left and of the right flanks, clockwise plus. [um]
    s : int
        +1 external, -1 internal. [-]

    Returns
    -------
    ndarray, shape (..., z)
        Thickness deviation, thicker is plus. [um]

    Examples
    --------
    >>> tooth_thickness(np.array([1.0, 0.0]), np.array([3.0, 0.0]), s=1).tolist()
    [2.0, 0.0]
    """
    return s * (index_right - index_left)


def R_s(index_left: Array, index_right: Array, s: int) -> Worst:
    """Tooth thickness variation: range of the thickness over all teeth.

    House definition; common practice, no source.

    Parameters
    ----------
    index_left, index_right : ndarray, shape (..., z)
        Index deviations of the left and of the right flanks, clockwise plus. [um]
    s : int
        +1 external, -1 internal. [-]

    Returns
    -------
    Worst
        Value, the thickest and the thinnest tooth. [um]

    Examples
    --------
    >>> float(R_s(np.array([1.0, 0.0, 0.0]), np.array([3.0, 0.0, -1.0]), s=-1).value)
    3.0
    """
    return value_range(tooth_thickness(index_left, index_right, s))

"""Balls in the spaces of a displaced flank surface: where their centres lie.

A flank with the deviation delta at its contact is an involute turned by delta / r_b, so the ball centre is
exact for a deviation that is the same on all flanks; the slope of the flank enters only in second order.
"""

from __future__ import annotations

import numpy as np

from gearqa.arrays import Array
from gearqa.core.geometry import GearGeometry
from gearqa.core.size import BallContact, inverse_involute


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

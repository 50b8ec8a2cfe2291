"""What errors of making and clamping do to the flanks: unit deviations at flank points.

Everything here is linear in its amplitude, so the same functions make true flanks and the columns
of the fit that finds the amplitudes in measured ones. Deviations are transverse, along the base
tangent, plus = material, in micrometres for an amplitude of one micrometre.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from gearqa.arrays import Array
from gearqa.core.geometry import GearGeometry
from gearqa.core.traces import TraceSpec, range_fraction

SHAPES: Final = (
    "profile_slope", "profile_crowning", "profile_s_shape",
    "helix_slope", "helix_crowning", "helix_s_shape", "twist",
)  # fmt: skip
"""Shapes that all teeth of a flank have in common, in the order of `flank_shapes`."""


def third_order(t: Array) -> Array:
    r"""S-shape of width 1 from end to end, free of a straight line.

    Definition: third Legendre polynomial over the range, :math:`P_3(2t)/2`.

    Parameters
    ----------
    t : ndarray
        Place in the range, -1/2 to 1/2. [-]

    Returns
    -------
    ndarray
        Deviation, shape as given. [um]

    Examples
    --------
    >>> third_order(np.array([-0.5, 0.0, 0.5])).tolist()
    [-0.5, 0.0, 0.5]
    """
    x = 2 * t
    return np.asarray((5 * x**3 - 3 * x) / 4)


def full_span_scale(spec: TraceSpec) -> float:
    """Rise over the evaluation length that a rise of one over the full span makes.

    House definition.

    Parameters
    ----------
    spec : TraceSpec
        Range and full span. [mm]

    Returns
    -------
    float
        Ratio of the lengths. [-]

    Examples
    --------
    >>> full_span_scale(TraceSpec(1.6, 30.4, 0.0, 32.0, None, 0.96))
    0.9
    """
    return spec.length / abs(spec.full_end - spec.full_start)


def flank_shapes(L: Array, face: Array, profile: TraceSpec, helix: TraceSpec) -> Array:
    """Unit shapes of a flank, in the order of `SHAPES`.

    House definition. Slopes rise over their full span towards the tip or away from the datum face,
    crowning is the height of the middle over the chord, the S-shape rises from end to end, twist is
    the profile slope at the far end of the range less that at the datum end, over the ranges.

    Parameters
    ----------
    L, face : ndarray
        Length of roll; face position; broadcast against each other. [mm]
    profile, helix : TraceSpec
        Evaluation ranges. [mm]

    Returns
    -------
    ndarray, shape (7, ...)
        Deviation for an amplitude of one. [um]

    Examples
    --------
    Half a crowning less at the ends than in the middle, of a spur gear as of any other:

    >>> roll = TraceSpec(10.0, 20.0, 10.0, 20.0, None, None)
    >>> wide = TraceSpec(1.0, 9.0, 0.0, 10.0, None, None)
    >>> flank_shapes(np.array(20.0), np.array(9.0), roll, wide).tolist()
    [0.5, -1.0, 0.5, 0.4, -1.0, 0.5, 0.25]
    """
    p, h = np.broadcast_arrays(range_fraction(L, profile), range_fraction(face, helix))
    return np.stack(
        [
            p * full_span_scale(profile), -4 * p**2, third_order(p),
            h * full_span_scale(helix), -4 * h**2, third_order(h), p * h,
        ]
    )  # fmt: skip


def ring_lobes(
    geometry: GearGeometry, f: Array, theta_T: Array, section_angle: Array, n: int, neutral_radius: float
) -> tuple[Array, Array]:
    r"""n-lobed spring-back of a thin ring that was clamped out of round.

    Thin inextensional ring (derived): a section moves by
    :math:`u_r = \cos n\theta`, :math:`u_t = -\sin(n\theta)/n` and turns by
    :math:`\psi = (n - 1/n)\sin(n\theta)/R` about the neutral fibre; each flank goes with the section
    below it as a rigid body. n = 1 is a shift of the ring.

    Parameters
    ----------
    geometry : GearGeometry
        The gear. [-]
    f : ndarray
        +1 right flank, -1 left flank. [-]
    theta_T, section_angle : ndarray
        From `base_tangent_angle`; angle of the flank at the reference circle of the same transverse
        section. [rad]
    n : int
        Number of lobes. [-]
    neutral_radius : float
        Radius of the neutral fibre. [mm]

    Returns
    -------
    tuple of ndarray
        Deviation for a crest of one micrometre at angle 0, and for one at a quarter wave. [um]

    Examples
    --------
    One lobe is a shift of the gear:

    >>> import math
    >>> from gearqa.core.flank_frame import rigid_deviation
    >>> from gearqa.core.geometry import gear_geometry
    >>> ring = gear_geometry(60, 2.0, math.radians(20), 0.0, 20.0, s=-1, H=0)
    >>> f, theta, zero = np.array(1.0), np.array(0.7), np.array(0.0)
    >>> cos, sin = ring_lobes(ring, f, theta, theta + 0.2, 1, 60.0)
    >>> shifted = rigid_deviation(ring, f, theta, zero, zero, e=(1.0, 0.0), omega=(0.0, 0.0))
    >>> round(float(cos - shifted), 12)
    0.0
    """
    ahead = section_angle - theta_T
    sin_a, cos_a = np.sin(ahead), np.cos(ahead)
    cos, sin = np.cos(n * section_angle), np.sin(n * section_angle)
    turn = (n - 1 / n) / neutral_radius * (geometry.d_b / 2 - neutral_radius * cos_a)
    of_sine = turn - cos_a / n
    sign = geometry.s * f
    return np.asarray(sign * (cos * sin_a + sin * of_sine)), np.asarray(sign * (sin * sin_a - cos * of_sine))

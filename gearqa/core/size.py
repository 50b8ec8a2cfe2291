"""Size of teeth: dimension over or between balls, span, normal tooth thickness, each from the other.

A thickness other than the nominal one is a generating profile shift: the gear with the coefficient x_E has
that thickness, and balls and spans follow from it. For pins the figures of balls hold on spur gears, and on
helical external gears with an even number of teeth; in helical internal gears pins do not seat.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from gearqa.arrays import Array
from gearqa.core.flank_frame import involute
from gearqa.core.geometry import GearGeometry
from gearqa.core.runout import half_space_angle


def inverse_involute(value: Array | float) -> Array:
    """Pressure angle of an involute polar angle, not negative; Newton's method.

    ISO 21771:2007, clause 5 (from memory), solved for the angle.

    Parameters
    ----------
    value : float or ndarray
        Involute polar angle; NaN comes of a negative one. [rad]

    Returns
    -------
    ndarray
        Pressure angle. [rad]

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
    r"""Nominal contact of a ball.

    ISO 21771:2007, dimension over and between balls (from memory):
    :math:`\mathrm{inv}\,\alpha_K = \mathrm{inv}\,\alpha_t - s\eta + s D_M/(z m_n \cos\alpha_n)`.

    Parameters
    ----------
    geometry : GearGeometry
        The gear. [-]
    diameter : float
        Ball diameter. [mm]

    Returns
    -------
    BallContact or None
        None if the ball does not touch the involutes. [mm, rad]

    Examples
    --------
    Handbook table, spur gear m 1, z 20, pin 1.7: inv 0.0268197.

    >>> from gearqa.core.geometry import gear_geometry
    >>> gear = gear_geometry(20, 1.0, math.radians(20), 0.0, 10.0, s=1, H=0)
    >>> round(ball_contact(gear, 1.7).inv_alpha, 7)
    0.0268197
    """
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
    """Diameter of the ball that meets the base tangents of the reference circle.

    Derived: in a transverse section it touches both flanks at the reference circle; on a helical gear the
    ball itself touches a little off that section, on the same base tangent planes.

    Parameters
    ----------
    geometry : GearGeometry
        The gear. [-]

    Returns
    -------
    float
        Ball diameter. [mm]

    Examples
    --------
    Ring of module 2: close to 1.65 m, which is common practice for internal gears, and it does touch there.

    >>> from gearqa.core.geometry import gear_geometry, roll_length
    >>> ring = gear_geometry(60, 2.0, math.radians(20), 0.0, 20.0, s=-1, H=0)
    >>> ball = ball_touching_reference(ring)
    >>> round(ball, 1), round(ball_contact(ring, ball).contact_roll - roll_length(ring.d, ring.d_b), 9)
    (3.3, 0.0)
    """
    g = geometry
    half = half_space_angle(g)
    opening = involute(g.alpha_t + g.s * half) - involute(g.alpha_t) + g.s * half
    return float(g.s * opening * g.d_b * math.cos(g.beta_b))


def _opposite(z: int) -> float:
    """Share of two centre radii that lies between balls as nearly opposite as the spaces are."""
    return 1.0 if z % 2 == 0 else math.cos(math.pi / (2 * z))


def ball_dimension(geometry: GearGeometry, diameter: float) -> float | None:
    r"""Dimension over two balls of an external gear, between two of an internal one.

    ISO 21771:2007 (from memory): :math:`M = d_K + s D_M`, and
    :math:`d_K \cos(\pi/2z) + s D_M` for an odd number of teeth.

    Parameters
    ----------
    geometry : GearGeometry
        The gear. [-]
    diameter : float
        Ball diameter. [mm]

    Returns
    -------
    float or None
        Dimension; None if the balls do not touch the involutes. [mm]

    Examples
    --------
    Handbook table, internal gear m 1, z 40, pin 1.7: 37.5951 mm.

    >>> from gearqa.core.geometry import gear_geometry
    >>> ring = gear_geometry(40, 1.0, math.radians(20), 0.0, 10.0, s=-1, H=0)
    >>> round(ball_dimension(ring, 1.7), 4)
    37.5951
    """
    contact = ball_contact(geometry, diameter)
    if contact is None:
        return None
    alpha_K = float(inverse_involute(contact.inv_alpha))
    centres = geometry.d_b / math.cos(alpha_K) * _opposite(geometry.z)
    return centres + geometry.s * diameter


def shift_of_balls(geometry: GearGeometry, diameter: float, dimension: float) -> float | None:
    """Generating profile shift coefficient of a dimension over or between balls.

    ISO 21771:2007 (from memory), the dimension over and between balls solved for the thickness.

    Parameters
    ----------
    geometry : GearGeometry
        The gear; its own profile shift is not used. [-]
    diameter, dimension : float
        Ball diameter, and the dimension over or between two of them. [mm]

    Returns
    -------
    float or None
        Coefficient, ISO 21771 sign; None where the centres would lie inside the base circle. [-]

    Examples
    --------
    >>> from gearqa.core.geometry import gear_geometry
    >>> ring = gear_geometry(40, 1.0, math.radians(20), 0.0, 10.0, s=-1, H=0, x=0.2)
    >>> round(shift_of_balls(ring, 1.7, ball_dimension(ring, 1.7)), 12)
    0.2
    """
    g = geometry
    ratio = g.d_b * _opposite(g.z) / (dimension - g.s * diameter)
    if not 0 < ratio <= 1:
        return None
    inv = float(involute(math.acos(ratio)))
    half = g.s * (float(involute(g.alpha_t)) - inv) + diameter / (g.d_b * math.cos(g.beta_b))
    return (math.pi / 2 - g.z * half) / (2 * math.tan(g.alpha_n))


def nominal_span(geometry: GearGeometry, k: int) -> float:
    r"""Span over k teeth of an external gear.

    ISO 21771:2007 (from memory):
    :math:`W_k = m_n \cos\alpha_n (\pi (k - 1/2) + z\,\mathrm{inv}\,\alpha_t) + 2 x m_n \sin\alpha_n`.

    Parameters
    ----------
    geometry : GearGeometry
        The gear, external. [-]
    k : int
        Teeth spanned. [-]

    Returns
    -------
    float
        Span. [mm]

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


def shift_of_span(geometry: GearGeometry, k: int, span: float) -> float:
    """Generating profile shift coefficient of a span.

    ISO 21771:2007 (from memory), the span solved for the thickness.

    Parameters
    ----------
    geometry : GearGeometry
        The gear, external; its own profile shift is not used. [-]
    k : int
        Teeth spanned. [-]
    span : float
        Span. [mm]

    Returns
    -------
    float
        Coefficient, ISO 21771 sign. [-]

    Examples
    --------
    >>> from gearqa.core.geometry import gear_geometry
    >>> g = gear_geometry(24, 3.0, math.radians(20), 0.0, 30.0, s=1, H=0)
    >>> round(shift_of_span(g, 4, 32.8266), 4)
    0.4
    """
    unshifted = nominal_span(replace(geometry, x=0.0), k)
    return (span - unshifted) / (2 * geometry.m_n * math.sin(geometry.alpha_n))


def teeth_to_span(geometry: GearGeometry) -> int:
    """Number of teeth whose span touches near the reference circle.

    ISO 21771:2007 (from memory).

    Parameters
    ----------
    geometry : GearGeometry
        The gear, external. [-]

    Returns
    -------
    int
        Teeth spanned. [-]

    Examples
    --------
    >>> from gearqa.core.geometry import gear_geometry
    >>> teeth_to_span(gear_geometry(24, 3.0, math.radians(20), 0.0, 30.0, s=1, H=0))
    3
    """
    g = geometry
    wanted = 2 * g.d_b / 2 * math.tan(g.alpha_t) / math.cos(g.beta_b)
    return max(1, min(range(1, g.z // 2 + 1), key=lambda k: abs(nominal_span(g, k) - wanted)))


def span_contact_diameter(geometry: GearGeometry, span: float) -> float:
    r"""Diameter at which a span touches the flanks, in the middle of the span.

    ISO 21771:2007 (from memory): :math:`\sqrt{d_b^2 + (W \cos\beta_b)^2}`.

    Parameters
    ----------
    geometry : GearGeometry
        The gear, external. [-]
    span : float
        Span. [mm]

    Returns
    -------
    float
        Diameter. [mm]

    Examples
    --------
    By hand: base diameter 67.6579, span 32.8266.

    >>> from gearqa.core.geometry import gear_geometry
    >>> g = gear_geometry(24, 3.0, math.radians(20), 0.0, 30.0, s=1, H=0)
    >>> round(span_contact_diameter(g, 32.8266), 3)
    75.2
    """
    return math.hypot(geometry.d_b, span * math.cos(geometry.beta_b))


def thickness_of_shift(geometry: GearGeometry, x_E: float) -> float:
    r"""Normal tooth thickness at the reference circle, external and internal.

    ISO 21771:2007 (from memory): :math:`s_n = m_n (\pi/2 + 2 x_E \tan\alpha_n)`.

    Parameters
    ----------
    geometry : GearGeometry
        The gear; its own profile shift is not used. [-]
    x_E : float
        Generating profile shift coefficient, ISO 21771 sign. [-]

    Returns
    -------
    float
        Thickness. [mm]

    Examples
    --------
    Elements of Metric Gear Technology, table 10-1: m 10, z 12, x 0.3: 17.8918 mm.

    >>> from gearqa.core.geometry import gear_geometry
    >>> g = gear_geometry(12, 10.0, math.radians(20), 0.0, 30.0, s=1, H=0)
    >>> round(thickness_of_shift(g, 0.3), 4)
    17.8918
    """
    return geometry.m_n * (math.pi / 2 + 2 * x_E * math.tan(geometry.alpha_n))


def shift_of_thickness(geometry: GearGeometry, s_n: float) -> float:
    """Generating profile shift coefficient of a normal tooth thickness.

    ISO 21771:2007 (from memory), the thickness solved for the coefficient.

    Parameters
    ----------
    geometry : GearGeometry
        The gear; its own profile shift is not used. [-]
    s_n : float
        Normal tooth thickness at the reference circle. [mm]

    Returns
    -------
    float
        Coefficient, ISO 21771 sign. [-]

    Examples
    --------
    >>> from gearqa.core.geometry import gear_geometry
    >>> g = gear_geometry(12, 10.0, math.radians(20), 0.0, 30.0, s=1, H=0)
    >>> round(shift_of_thickness(g, 17.891785), 6)
    0.3
    """
    return (s_n / geometry.m_n - math.pi / 2) / (2 * math.tan(geometry.alpha_n))


@dataclass(frozen=True, slots=True)
class Chord:
    """Tooth measured across its chord at the reference circle, in the normal section. mm"""

    thickness: float
    sagitta: float
    """Height of the reference circle over the chord; plus lengthens the height from the tip."""


def chord_of_thickness(geometry: GearGeometry, s_n: float) -> Chord:
    r"""Chordal tooth thickness at the reference circle, and what its height from the tip gains by the arc.

    Elements of Metric Gear Technology, table 10-1: :math:`\bar s_n = 2 r_n \sin\psi` and
    :math:`r_n (1 - \cos\psi)` with :math:`\psi = s_n / 2 r_n`. A helical tooth is taken in the normal section
    on the radius of curvature :math:`r_n = d / 2\cos^2\beta` (teeth of a virtual spur gear). On an internal
    gear the chord lies on the side of the tip, so the height gets shorter (derived).

    Parameters
    ----------
    geometry : GearGeometry
        The gear; its own profile shift is not used. [-]
    s_n : float
        Normal tooth thickness at the reference circle. [mm]

    Returns
    -------
    Chord
        Chord and sagitta. [mm]

    Examples
    --------
    Table 10-1: m 10, z 12, x 0.3, addendum 13: chord 17.8256, height 13.6657 mm.

    >>> from gearqa.core.geometry import gear_geometry
    >>> g = gear_geometry(12, 10.0, math.radians(20), 0.0, 30.0, s=1, H=0)
    >>> chord = chord_of_thickness(g, thickness_of_shift(g, 0.3))
    >>> round(chord.thickness, 4), round(13 + chord.sagitta, 4)
    (17.8256, 13.6657)
    """
    r_n = geometry.d / (2 * math.cos(geometry.beta) ** 2)
    half = s_n / (2 * r_n)
    return Chord(2 * r_n * math.sin(half), geometry.s * r_n * (1 - math.cos(half)))


def constant_chord(geometry: GearGeometry, s_n: float) -> Chord:
    r"""Chord between the points where a rack, both of its flanks on one tooth, touches.

    Handbook formula (from memory), normal section: :math:`\bar s_c = s_n \cos^2\alpha_n`, and it lies
    :math:`\tfrac12 s_n \sin\alpha_n \cos\alpha_n` outside the reference circle. It depends on the thickness
    alone, not on the number of teeth. External gears; the profile shift is in the thickness.

    Parameters
    ----------
    geometry : GearGeometry
        The gear; its own profile shift is not used. [-]
    s_n : float
        Normal tooth thickness at the reference circle. [mm]

    Returns
    -------
    Chord
        Chord, and the height of the reference circle over it, which is negative. [mm]

    Examples
    --------
    Teeth of module 1 without profile shift, 20 degrees: chord 1.3870 m, height below the tip 0.7476 m.

    >>> from gearqa.core.geometry import gear_geometry
    >>> g = gear_geometry(30, 1.0, math.radians(20), 0.0, 30.0, s=1, H=0)
    >>> chord = constant_chord(g, math.pi / 2)
    >>> round(chord.thickness, 4), round(1 + chord.sagitta, 4)
    (1.387, 0.7476)
    """
    cos = math.cos(geometry.alpha_n)
    return Chord(s_n * cos**2, -s_n * cos * math.sin(geometry.alpha_n) / 2)

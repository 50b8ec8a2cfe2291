"""What a slope deviation means: base radius, pressure angle, helix angle.

Slopes here are rises over the evaluation length. For the reader; nothing of this is graded.
"""

from __future__ import annotations

import math


def base_radius_deviation(f_H_alpha: float, L_alpha: float, r_b: float) -> float:
    r"""Deviation of the base radius that a profile slope amounts to.

    Derived: :math:`dr_b/r_b = f_{H\alpha}/(1000 L_\alpha)`; the same for external and internal gears.

    Parameters
    ----------
    f_H_alpha : float
        Profile slope over the evaluation length, plus = more material towards the tip. [um]
    L_alpha, r_b : float
        Evaluation length and base radius. [mm]

    Returns
    -------
    float
        Deviation of the base radius. [mm]

    Examples
    --------
    >>> round(base_radius_deviation(5.0, 6.954, 59.5404), 4)
    0.0428
    """
    return r_b * f_H_alpha / (1000 * L_alpha)


def pressure_angle_deviation(f_H_alpha: float, L_alpha: float, alpha_t: float) -> float:
    r"""Deviation of the transverse pressure angle that a profile slope amounts to.

    Derived: :math:`d\alpha_t = -f_{H\alpha}/(1000 L_\alpha \tan\alpha_t)`; the same for external and
    internal gears.

    Parameters
    ----------
    f_H_alpha : float
        Profile slope over the evaluation length, plus = more material towards the tip. [um]
    L_alpha : float
        Evaluation length. [mm]
    alpha_t : float
        Transverse pressure angle at the reference circle. [rad]

    Returns
    -------
    float
        Deviation, minus = pressure angle too small. [rad]

    Examples
    --------
    >>> round(math.degrees(pressure_angle_deviation(5.0, 6.954, math.radians(21.173))) * 60, 2)
    -6.38
    """
    return -f_H_alpha / (1000 * L_alpha * math.tan(alpha_t))


def helix_slope_by_angle(f_H_beta: float, s: int, f: int, H: int) -> float:
    r"""Helix slope signed by the helix angle.

    ISO 1328-1:2013 (sign rule, from memory), derived from raw signs: :math:`s f H f_{H\beta}`.

    Parameters
    ----------
    f_H_beta : float
        Helix slope, plus = more material away from the datum face. [um]
    s, f : int
        +1 external, -1 internal; +1 right flank, -1 left flank. [-]
    H : int
        +1 right-hand, -1 left-hand; for a spur gear +1 gives plus for a right-hand deviation. [-]

    Returns
    -------
    float
        Helix slope, plus = helix angle too large. [um]

    Examples
    --------
    Right-hand gear with too large a helix angle: the right flank of an external gear gains material
    away from the datum face, that of an internal gear loses it.

    >>> helix_slope_by_angle(5.0, s=1, f=1, H=1), helix_slope_by_angle(-5.0, s=-1, f=1, H=1)
    (5.0, 5.0)
    """
    return s * f * H * f_H_beta


def helix_angle_deviation(f_H_beta_by_angle: float, L_beta: float, beta: float, alpha_t: float) -> float:
    r"""Deviation of the helix angle that a helix slope amounts to.

    Derived: :math:`d\beta = f_{H\beta}\cos^2\beta/(1000 L_\beta\cos\alpha_t)`.

    Parameters
    ----------
    f_H_beta_by_angle : float
        Helix slope over the evaluation length, signed by the helix angle. [um]
    L_beta : float
        Evaluation length. [mm]
    beta, alpha_t : float
        Helix angle and transverse pressure angle at the reference circle. [rad]

    Returns
    -------
    float
        Deviation, plus = helix angle too large. [rad]

    Examples
    --------
    >>> d_beta = helix_angle_deviation(5.0, 27.0, math.radians(20), math.radians(21.173))
    >>> round(math.degrees(d_beta) * 3600, 1)
    36.2
    """
    return f_H_beta_by_angle * math.cos(beta) ** 2 / (1000 * L_beta * math.cos(alpha_t))

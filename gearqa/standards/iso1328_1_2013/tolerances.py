r"""Tolerances of ISO 1328-1:2013, one function per clause, unrounded.

Each is that of class 5; that of class A is it times :math:`(\sqrt 2)^{A-5}`. The constants, clause and annex
numbers are recalled ("from memory"). Range of application: see `scope`; it is checked where a table is made.
"""

from __future__ import annotations

import math
from typing import Final

from gearqa.standards.terms import Terms

# Class 5; d, m_n and b in mm give micrometres. ISO 1328-1:2013, clause 5 and annexes (from memory).
SINGLE_PITCH: Final = Terms(d=0.001, m=0.4, constant=5)
CUMULATIVE_PITCH: Final = Terms(d=0.002, root_d=0.55, m=0.7, constant=12)
SECTOR_PITCH: Final = Terms(d=0.001, root_d=0.55, m=0.3, constant=7)
PROFILE_SLOPE: Final = Terms(d=0.001, m=0.4, constant=4)
PROFILE_FORM: Final = Terms(m=0.55, constant=5)
HELIX_SLOPE: Final = Terms(root_d=0.05, root_b=0.35, constant=4)
HELIX_FORM: Final = Terms(root_d=0.07, root_b=0.45, constant=4)
RUNOUT_SHARE: Final = 0.9
"""Of the total cumulative pitch tolerance."""


def step_factor(A: float) -> float:
    r"""Ratio of a tolerance of class A to that of class 5.

    ISO 1328-1:2013, clause 5 (from memory): :math:`(\sqrt 2)^{A-5}`.

    Parameters
    ----------
    A : float
        Flank tolerance class, 1 to 11. [-]

    Returns
    -------
    float
        Factor. [-]

    Examples
    --------
    >>> step_factor(5), step_factor(7), step_factor(1)
    (1.0, 2.0, 0.25)
    """
    return math.exp2((A - 5) / 2)


@SINGLE_PITCH.shown
def f_p_T(d: float, m_n: float) -> float:
    r"""Single pitch tolerance, unrounded.

    ISO 1328-1:2013, clause 5 (from memory).

    .. math:: f_{pT} = <d>\,d + <m>\,m_n + <constant>

    Parameters
    ----------
    d, m_n : float
        Reference diameter and normal module. [mm]

    Returns
    -------
    float
        Tolerance before rounding. [um]

    Examples
    --------
    Computed by hand: 0.1 + 0.8 + 5.

    >>> round(f_p_T(d=100, m_n=2), 9)
    5.9
    """
    return SINGLE_PITCH.at(d, m_n)


@CUMULATIVE_PITCH.shown
def F_p_T(d: float, m_n: float) -> float:
    r"""Total cumulative pitch tolerance, unrounded.

    ISO 1328-1:2013, clause 5 (from memory).

    .. math:: F_{pT} = <d>\,d + <root_d>\sqrt d + <m>\,m_n + <constant>

    Parameters
    ----------
    d, m_n : float
        Reference diameter and normal module. [mm]

    Returns
    -------
    float
        Tolerance before rounding. [um]

    Examples
    --------
    Computed by hand: 0.2 + 5.5 + 1.4 + 12.

    >>> round(F_p_T(d=100, m_n=2), 9)
    19.1
    """
    return CUMULATIVE_PITCH.at(d, m_n)


@PROFILE_SLOPE.shown
def f_H_alpha_T(d: float, m_n: float) -> float:
    r"""Profile slope tolerance (magnitude), unrounded.

    ISO 1328-1:2013, clause 5 (from memory).

    .. math:: f_{H\alpha T} = <m>\,m_n + <d>\,d + <constant>

    Parameters
    ----------
    d, m_n : float
        Reference diameter and normal module. [mm]

    Returns
    -------
    float
        Tolerance before rounding. [um]

    Examples
    --------
    Computed by hand: 0.8 + 0.1 + 4.

    >>> round(f_H_alpha_T(d=100, m_n=2), 9)
    4.9
    """
    return PROFILE_SLOPE.at(d, m_n)


@PROFILE_FORM.shown
def f_f_alpha_T(m_n: float) -> float:
    r"""Profile form tolerance, unrounded.

    ISO 1328-1:2013, clause 5 (from memory).

    .. math:: f_{f\alpha T} = <m>\,m_n + <constant>

    Parameters
    ----------
    m_n : float
        Normal module. [mm]

    Returns
    -------
    float
        Tolerance before rounding. [um]

    Examples
    --------
    Computed by hand: 1.1 + 5.

    >>> round(f_f_alpha_T(m_n=2), 9)
    6.1
    """
    return PROFILE_FORM.at(m=m_n)


def F_alpha_T(d: float, m_n: float) -> float:
    r"""Total profile tolerance, unrounded, from unrounded parts.

    ISO 1328-1:2013, clause 5 (from memory).

    .. math:: F_{\alpha T} = \sqrt{f_{H\alpha T}^2 + f_{f\alpha T}^2}

    Parameters
    ----------
    d, m_n : float
        Reference diameter and normal module. [mm]

    Returns
    -------
    float
        Tolerance before rounding. [um]

    Examples
    --------
    Computed by hand: the root of 4.9 squared plus 6.1 squared.

    >>> round(F_alpha_T(d=100, m_n=2), 4)
    7.8243
    """
    return math.hypot(f_H_alpha_T(d, m_n), f_f_alpha_T(m_n))


@HELIX_SLOPE.shown
def f_H_beta_T(d: float, b: float) -> float:
    r"""Helix slope tolerance (magnitude), unrounded.

    ISO 1328-1:2013, clause 5 (from memory).

    .. math:: f_{H\beta T} = <root_d>\sqrt d + <root_b>\sqrt b + <constant>

    Parameters
    ----------
    d, b : float
        Reference diameter and face width. [mm]

    Returns
    -------
    float
        Tolerance before rounding. [um]

    Examples
    --------
    Computed by hand: 0.5 + 1.75 + 4.

    >>> round(f_H_beta_T(d=100, b=25), 9)
    6.25
    """
    return HELIX_SLOPE.at(d, b=b)


@HELIX_FORM.shown
def f_f_beta_T(d: float, b: float) -> float:
    r"""Helix form tolerance, unrounded.

    ISO 1328-1:2013, clause 5 (from memory).

    .. math:: f_{f\beta T} = <root_d>\sqrt d + <root_b>\sqrt b + <constant>

    Parameters
    ----------
    d, b : float
        Reference diameter and face width. [mm]

    Returns
    -------
    float
        Tolerance before rounding. [um]

    Examples
    --------
    Computed by hand: 0.7 + 2.25 + 4.

    >>> round(f_f_beta_T(d=100, b=25), 9)
    6.95
    """
    return HELIX_FORM.at(d, b=b)


def F_beta_T(d: float, b: float) -> float:
    r"""Total helix tolerance, unrounded, from unrounded parts.

    ISO 1328-1:2013, clause 5 (from memory).

    .. math:: F_{\beta T} = \sqrt{f_{H\beta T}^2 + f_{f\beta T}^2}

    Parameters
    ----------
    d, b : float
        Reference diameter and face width. [mm]

    Returns
    -------
    float
        Tolerance before rounding. [um]

    Examples
    --------
    Computed by hand: the root of 6.25 squared plus 6.95 squared.

    >>> round(F_beta_T(d=100, b=25), 4)
    9.3470
    """
    return math.hypot(f_H_beta_T(d, b), f_f_beta_T(d, b))


def F_r_T(d: float, m_n: float) -> float:
    r"""Runout tolerance, unrounded.

    ISO 1328-1:2013, informative annex on runout (from memory).

    .. math:: F_{rT} = \mathtt{RUNOUT\_SHARE}\,F_{pT}

    Parameters
    ----------
    d, m_n : float
        Reference diameter and normal module. [mm]

    Returns
    -------
    float
        Tolerance before rounding. [um]

    Examples
    --------
    Computed by hand: 0.9 times 19.1.

    >>> round(F_r_T(d=100, m_n=2), 9)
    17.19
    """
    return RUNOUT_SHARE * F_p_T(d, m_n)


def sector_span(z: int) -> int:
    r"""Number of pitches of the sector z/8 over which the sector pitch deviation is taken.

    ISO 1328-1:2013, annex on sector pitch (from memory): the whole number nearest to z/8, at least 2.

    Parameters
    ----------
    z : int
        Number of teeth. [-]

    Returns
    -------
    int
        Pitches k; halves are rounded up. [-]

    Examples
    --------
    >>> [sector_span(z) for z in (12, 20, 80, 87, 92)]
    [2, 3, 10, 11, 12]
    """
    return max(2, math.floor(z / 8 + 0.5))


@SECTOR_PITCH.shown
def F_pk_T(d: float, m_n: float, k: int, z: int) -> float:
    r"""Sector pitch tolerance over k pitches, unrounded.

    ISO 1328-1:2013, annex on sector pitch (from memory).

    .. math::
        F_{pkT} = f_{pT}
        + \frac{4k}{z}(<d>\,d + <root_d>\sqrt d + <m>\,m_n + <constant>)

    Parameters
    ----------
    d, m_n : float
        Reference diameter and normal module. [mm]
    k, z : int
        Number of pitches of the sector and number of teeth. [-]

    Returns
    -------
    float
        Tolerance before rounding. [um]

    Examples
    --------
    Over a quarter of the gear it equals the total cumulative pitch tolerance.

    >>> round(F_pk_T(d=100, m_n=2, k=10, z=40), 9), round(F_p_T(d=100, m_n=2), 9)
    (19.1, 19.1)
    """
    share = 4 * k / z
    return f_p_T(d, m_n) + share * SECTOR_PITCH.at(d, m_n)


def f_u_T(d: float, m_n: float) -> float:
    r"""Tolerance of the difference of adjacent single pitches, unrounded.

    ISO 1328-1:2013, annex on adjacent pitch difference (from memory).

    .. math:: f_{uT} = \sqrt 2\,f_{pT}

    Parameters
    ----------
    d, m_n : float
        Reference diameter and normal module. [mm]

    Returns
    -------
    float
        Tolerance before rounding. [um]

    Examples
    --------
    Computed by hand: 1.41421 times 5.9.

    >>> round(f_u_T(d=100, m_n=2), 4)
    8.3439
    """
    return math.sqrt(2) * f_p_T(d, m_n)

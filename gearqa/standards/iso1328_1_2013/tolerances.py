r"""Tolerances of ISO 1328-1:2013, one function per clause, unrounded.

Each is its class-5 value times :math:`(\sqrt 2)^{A-5}`. The constants, clause and annex numbers are
recalled ("from memory"). Range of application: see `scope`; it is checked where a table is made.
"""

from __future__ import annotations

import math


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


def f_p_T(d: float, m_n: float, A: float = 5) -> float:
    r"""Single pitch tolerance, unrounded.

    ISO 1328-1:2013, clause 5 (from memory).

    .. math:: f_{pT} = (0.001\,d + 0.4\,m_n + 5)\,(\sqrt 2)^{A-5}

    Parameters
    ----------
    d : float
        Reference diameter. [mm]
    m_n : float
        Normal module. [mm]
    A : float
        Flank tolerance class. [-]

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
    return (0.001 * d + 0.4 * m_n + 5) * step_factor(A)


def F_p_T(d: float, m_n: float, A: float = 5) -> float:
    r"""Total cumulative pitch tolerance, unrounded.

    ISO 1328-1:2013, clause 5 (from memory).

    .. math:: F_{pT} = (0.002\,d + 0.55\sqrt d + 0.7\,m_n + 12)\,(\sqrt 2)^{A-5}

    Parameters
    ----------
    d : float
        Reference diameter. [mm]
    m_n : float
        Normal module. [mm]
    A : float
        Flank tolerance class. [-]

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
    return (0.002 * d + 0.55 * math.sqrt(d) + 0.7 * m_n + 12) * step_factor(A)


def f_H_alpha_T(d: float, m_n: float, A: float = 5) -> float:
    r"""Profile slope tolerance (magnitude), unrounded.

    ISO 1328-1:2013, clause 5 (from memory).

    .. math:: f_{H\alpha T} = (0.4\,m_n + 0.001\,d + 4)\,(\sqrt 2)^{A-5}

    Parameters
    ----------
    d : float
        Reference diameter. [mm]
    m_n : float
        Normal module. [mm]
    A : float
        Flank tolerance class. [-]

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
    return (0.4 * m_n + 0.001 * d + 4) * step_factor(A)


def f_f_alpha_T(m_n: float, A: float = 5) -> float:
    r"""Profile form tolerance, unrounded.

    ISO 1328-1:2013, clause 5 (from memory).

    .. math:: f_{f\alpha T} = (0.55\,m_n + 5)\,(\sqrt 2)^{A-5}

    Parameters
    ----------
    m_n : float
        Normal module. [mm]
    A : float
        Flank tolerance class. [-]

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
    return (0.55 * m_n + 5) * step_factor(A)


def F_alpha_T(d: float, m_n: float, A: float = 5) -> float:
    r"""Total profile tolerance, unrounded, from unrounded parts.

    ISO 1328-1:2013, clause 5 (from memory).

    .. math:: F_{\alpha T} = \sqrt{f_{H\alpha T}^2 + f_{f\alpha T}^2}

    Parameters
    ----------
    d : float
        Reference diameter. [mm]
    m_n : float
        Normal module. [mm]
    A : float
        Flank tolerance class. [-]

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
    return math.hypot(f_H_alpha_T(d, m_n, A), f_f_alpha_T(m_n, A))


def f_H_beta_T(d: float, b: float, A: float = 5) -> float:
    r"""Helix slope tolerance (magnitude), unrounded.

    ISO 1328-1:2013, clause 5 (from memory).

    .. math:: f_{H\beta T} = (0.05\sqrt d + 0.35\sqrt b + 4)\,(\sqrt 2)^{A-5}

    Parameters
    ----------
    d : float
        Reference diameter. [mm]
    b : float
        Face width. [mm]
    A : float
        Flank tolerance class. [-]

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
    return (0.05 * math.sqrt(d) + 0.35 * math.sqrt(b) + 4) * step_factor(A)


def f_f_beta_T(d: float, b: float, A: float = 5) -> float:
    r"""Helix form tolerance, unrounded.

    ISO 1328-1:2013, clause 5 (from memory).

    .. math:: f_{f\beta T} = (0.07\sqrt d + 0.45\sqrt b + 4)\,(\sqrt 2)^{A-5}

    Parameters
    ----------
    d : float
        Reference diameter. [mm]
    b : float
        Face width. [mm]
    A : float
        Flank tolerance class. [-]

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
    return (0.07 * math.sqrt(d) + 0.45 * math.sqrt(b) + 4) * step_factor(A)


def F_beta_T(d: float, b: float, A: float = 5) -> float:
    r"""Total helix tolerance, unrounded, from unrounded parts.

    ISO 1328-1:2013, clause 5 (from memory).

    .. math:: F_{\beta T} = \sqrt{f_{H\beta T}^2 + f_{f\beta T}^2}

    Parameters
    ----------
    d : float
        Reference diameter. [mm]
    b : float
        Face width. [mm]
    A : float
        Flank tolerance class. [-]

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
    return math.hypot(f_H_beta_T(d, b, A), f_f_beta_T(d, b, A))


def F_r_T(d: float, m_n: float, A: float = 5) -> float:
    r"""Runout tolerance, unrounded.

    ISO 1328-1:2013, informative annex on runout (from memory).

    .. math:: F_{rT} = 0.9\,F_{pT}

    Parameters
    ----------
    d : float
        Reference diameter. [mm]
    m_n : float
        Normal module. [mm]
    A : float
        Flank tolerance class. [-]

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
    return 0.9 * F_p_T(d, m_n, A)


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


def F_pk_T(d: float, m_n: float, k: int, z: int, A: float = 5) -> float:
    r"""Sector pitch tolerance over k pitches, unrounded.

    ISO 1328-1:2013, annex on sector pitch (from memory).

    .. math::
        F_{pkT} = \left(0.001\,d + 0.4\,m_n + 5
        + \frac{4k}{z}(0.001\,d + 0.55\sqrt d + 0.3\,m_n + 7)\right)(\sqrt 2)^{A-5}

    Parameters
    ----------
    d : float
        Reference diameter. [mm]
    m_n : float
        Normal module. [mm]
    k : int
        Number of pitches of the sector. [-]
    z : int
        Number of teeth. [-]
    A : float
        Flank tolerance class. [-]

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
    return f_p_T(d, m_n, A) + share * (0.001 * d + 0.55 * math.sqrt(d) + 0.3 * m_n + 7) * step_factor(A)


def f_u_T(d: float, m_n: float, A: float = 5) -> float:
    r"""Tolerance of the difference of adjacent single pitches, unrounded.

    ISO 1328-1:2013, annex on adjacent pitch difference (from memory).

    .. math:: f_{uT} = \sqrt 2\,f_{pT}

    Parameters
    ----------
    d : float
        Reference diameter. [mm]
    m_n : float
        Normal module. [mm]
    A : float
        Flank tolerance class. [-]

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
    return math.sqrt(2) * f_p_T(d, m_n, A)

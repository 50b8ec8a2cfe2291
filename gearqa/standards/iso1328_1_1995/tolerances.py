r"""Tolerances of ISO 1328-1:1995 and the runout of ISO 1328-2:1997 (all from memory).

Each function gives grade 5 from range means, unrounded; grade Q is that times
:math:`2^{(Q-5)/2}`, rounded after the step.
"""

from __future__ import annotations

import math
from typing import Final

from gearqa.standards.iso1328_1_1995.scope import B_LIMITS, D_LIMITS, M_LIMITS, range_mean, violations
from gearqa.standards.terms import Terms, half_up

CLASSES: Final = range(13)
"""Accuracy grades 0 to 12."""

# Grade 5; means of the ranges of d, m and b in mm give micrometres. ISO 1328-1:1995, clause 6 and
# annex B; runout: ISO 1328-2:1997, annex B (all from memory).
SINGLE_PITCH: Final = Terms(root_d=0.4, m=1)
SINGLE_PITCH_FACTOR: Final = 0.3
SINGLE_PITCH_CONSTANT: Final = 4
SECTOR_PITCH_FACTOR: Final = 1.6
CUMULATIVE_PITCH: Final = Terms(root_d=1.25, m=0.3, constant=7)
PROFILE_TOTAL: Final = Terms(root_d=0.22, root_m=3.2, constant=0.7)
PROFILE_FORM: Final = Terms(root_d=0.17, root_m=2.5, constant=0.5)
PROFILE_SLOPE: Final = Terms(root_d=0.14, root_m=2, constant=0.5)
HELIX_TOTAL: Final = Terms(root_d=0.1, root_b=0.63, constant=4.2)
HELIX_FORM: Final = Terms(root_d=0.07, root_b=0.45, constant=3)
RUNOUT_SHARE: Final = 0.8
"""Of the total cumulative pitch deviation."""


@SINGLE_PITCH.shown
def f_pt(d: float, m: float) -> float:
    r"""Single pitch deviation, grade 5.

    ISO 1328-1:1995, clause 6 (from memory): SINGLE_PITCH_FACTOR times :math:`m + <root_d>\sqrt d`,
    plus SINGLE_PITCH_CONSTANT.

    Parameters
    ----------
    d, m : float
        Means of the diameter range and of the module range. [mm]

    Returns
    -------
    float
        Limit deviation before rounding. [um]

    Examples
    --------
    >>> round(f_pt(10, 1), 4)
    4.6795
    """
    return SINGLE_PITCH_FACTOR * SINGLE_PITCH.at(d, m) + SINGLE_PITCH_CONSTANT


def F_pk(d: float, m: float, k: int) -> float:
    r"""Cumulative pitch deviation over k pitches, grade 5.

    ISO 1328-1:1995, clause 6 (from memory): :math:`f_{pt}` plus SECTOR_PITCH_FACTOR times
    :math:`\sqrt{(k-1)m}`.

    Parameters
    ----------
    d, m : float
        Means of the diameter range and of the module range. [mm]
    k : int
        Number of pitches. [-]

    Returns
    -------
    float
        Limit deviation before rounding. [um]

    Examples
    --------
    >>> round(F_pk(10, 1, k=5) - f_pt(10, 1), 6)
    3.2
    """
    return f_pt(d, m) + SECTOR_PITCH_FACTOR * math.sqrt((k - 1) * m)


@CUMULATIVE_PITCH.shown
def F_p(d: float, m: float) -> float:
    r"""Total cumulative pitch deviation, grade 5.

    ISO 1328-1:1995, clause 6 (from memory): :math:`<m> m + <root_d>\sqrt d + <constant>`.

    Parameters
    ----------
    d, m : float
        Means of the diameter range and of the module range. [mm]

    Returns
    -------
    float
        Tolerance before rounding. [um]

    Examples
    --------
    >>> round(F_p(10, 1), 4)
    11.2528
    """
    return CUMULATIVE_PITCH.at(d, m)


@PROFILE_TOTAL.shown
def F_alpha(d: float, m: float) -> float:
    r"""Total profile deviation, grade 5.

    ISO 1328-1:1995, clause 6 (from memory): :math:`<root_m>\sqrt m + <root_d>\sqrt d + <constant>`.

    Parameters
    ----------
    d, m : float
        Means of the diameter range and of the module range. [mm]

    Returns
    -------
    float
        Tolerance before rounding. [um]

    Examples
    --------
    >>> round(F_alpha(10, 1), 4)
    4.5957
    """
    return PROFILE_TOTAL.at(d, m)


@PROFILE_FORM.shown
def f_f_alpha(d: float, m: float) -> float:
    r"""Profile form deviation, grade 5.

    ISO 1328-1:1995, annex B (from memory): :math:`<root_m>\sqrt m + <root_d>\sqrt d + <constant>`.

    Parameters
    ----------
    d, m : float
        Means of the diameter range and of the module range. [mm]

    Returns
    -------
    float
        Tolerance before rounding. [um]

    Examples
    --------
    >>> round(f_f_alpha(10, 1), 4)
    3.5376
    """
    return PROFILE_FORM.at(d, m)


@PROFILE_SLOPE.shown
def f_H_alpha(d: float, m: float) -> float:
    r"""Profile slope deviation, grade 5.

    ISO 1328-1:1995, annex B (from memory): :math:`<root_m>\sqrt m + <root_d>\sqrt d + <constant>`.

    Parameters
    ----------
    d, m : float
        Means of the diameter range and of the module range. [mm]

    Returns
    -------
    float
        Limit deviation before rounding. [um]

    Examples
    --------
    >>> round(f_H_alpha(10, 1), 4)
    2.9427
    """
    return PROFILE_SLOPE.at(d, m)


@HELIX_TOTAL.shown
def F_beta(d: float, b: float) -> float:
    r"""Total helix deviation, grade 5.

    ISO 1328-1:1995, clause 6 (from memory): :math:`<root_d>\sqrt d + <root_b>\sqrt b + <constant>`.

    Parameters
    ----------
    d, b : float
        Means of the diameter range and of the face width range. [mm]

    Returns
    -------
    float
        Tolerance before rounding. [um]

    Examples
    --------
    >>> round(F_beta(10, math.sqrt(40)), 4)
    6.1006
    """
    return HELIX_TOTAL.at(d, b=b)


@HELIX_FORM.shown
def f_f_beta(d: float, b: float) -> float:
    r"""Helix form deviation, grade 5; the helix slope deviation has the same limit.

    ISO 1328-1:1995, annex B (from memory): :math:`<root_d>\sqrt d + <root_b>\sqrt b + <constant>`.

    Parameters
    ----------
    d, b : float
        Means of the diameter range and of the face width range. [mm]

    Returns
    -------
    float
        Tolerance before rounding. [um]

    Examples
    --------
    >>> round(f_f_beta(10, math.sqrt(40)), 4)
    4.3530
    """
    return HELIX_FORM.at(d, b=b)


def F_r(d: float, m: float) -> float:
    r"""Runout, grade 5.

    ISO 1328-2:1997, annex B (from memory): RUNOUT_SHARE of :math:`F_p`.

    Parameters
    ----------
    d, m : float
        Means of the diameter range and of the module range. [mm]

    Returns
    -------
    float
        Tolerance before rounding. [um]

    Examples
    --------
    >>> round(F_r(10, 1), 4)
    9.0023
    """
    return RUNOUT_SHARE * F_p(d, m)


def round_part_1(value: float) -> float:
    """Round a tolerance: from 10 to 1, from 5 to below 10 to 0.5, below 5 to 0.1; halves go up.

    ISO 1328-1:1995, clause 6 (from memory).

    Parameters
    ----------
    value : float
        Calculated tolerance, not negative. [um]

    Returns
    -------
    float
        Rounded tolerance. [um]

    Examples
    --------
    >>> [round_part_1(v) for v in (3.2497, 4.95, 9.771, 34.503)]
    [3.2, 5.0, 10.0, 35.0]
    """
    return half_up(value, 10 if value < 5 else 2 if value < 10 else 1)


def round_part_2(value: float) -> float:
    """Round a runout tolerance: above 10 to 1, else to 0.5; halves go up.

    ISO 1328-2:1997, clause 6 (from memory).

    Parameters
    ----------
    value : float
        Calculated tolerance, not negative. [um]

    Returns
    -------
    float
        Rounded tolerance. [um]

    Examples
    --------
    >>> [round_part_2(v) for v in (1.59, 2.25, 9.74, 18.501)]
    [1.5, 2.5, 9.5, 19.0]
    """
    return half_up(value, 2 if value <= 10 else 1)


def grade_5_tolerances(z: int | None, m_n: float, d: float, b: float) -> dict[str, float]:
    """Unrounded tolerances of grade 5 at the range means in which a gear lies.

    ISO 1328-1:1995, clause 6 and annex B; ISO 1328-2:1997, annex B (from memory).

    Parameters
    ----------
    z : int or None
        Number of teeth; without it there is no sector pitch tolerance. [-]
    m_n, d, b : float
        Normal module, reference diameter and face width. [mm]

    Returns
    -------
    dict of str to float
        Parameter key -> tolerance; the edition has none for the adjacent pitch difference. [um]

    Raises
    ------
    OutOfScopeError
        If a quantity lies outside the tabled ranges.

    Examples
    --------
    >>> round(grade_5_tolerances(None, 1.75, 160.1, 32)["single_pitch"], 4)
    5.9413
    """
    for violation in violations(m_n=m_n, d=d, b=b):
        raise violation
    d_, m_, b_ = range_mean(d, D_LIMITS), range_mean(m_n, M_LIMITS), range_mean(b, B_LIMITS)
    sector = {} if z is None else {"sector_pitch": F_pk(d_, m_, max(2, math.floor(z / 8 + 0.5)))}
    return {
        "single_pitch": f_pt(d_, m_),
        "cumulative_pitch": F_p(d_, m_),
        **sector,
        "runout": F_r(d_, m_),
        "profile_total": F_alpha(d_, m_),
        "profile_form": f_f_alpha(d_, m_),
        "profile_slope": f_H_alpha(d_, m_),
        "helix_total": F_beta(d_, b_),
        "helix_form": f_f_beta(d_, b_),
        "helix_slope": f_f_beta(d_, b_),
    }


def rounded_tolerances(key: str, T_5: float) -> tuple[float, ...]:
    """Rounded tolerances of the grades 0 to 12 from the unrounded one of grade 5.

    ISO 1328-1:1995, clause 6; runout: ISO 1328-2:1997 (from memory).

    Parameters
    ----------
    key : str
        Parameter key; the runout rounds by its own rule. [-]
    T_5 : float
        Tolerance of grade 5 before rounding. [um]

    Returns
    -------
    tuple of float
        Tolerance of grade Q at index Q. [um]

    Examples
    --------
    >>> rounded_tolerances("single_pitch", f_pt(10, 1))[:7]
    (0.8, 1.2, 1.7, 2.3, 3.3, 4.7, 6.5)
    """
    rounding = round_part_2 if key == "runout" else round_part_1
    return tuple(rounding(T_5 * math.exp2((Q - 5) / 2)) for Q in CLASSES)


def tolerance_table(
    z: int | None, m_n: float, d: float, b: float, beta_deg: float = 0.0
) -> dict[int, dict[str, float]]:
    """Rounded tolerances of every grade and parameter.

    ISO 1328-1:1995, clause 6 and annex B; ISO 1328-2:1997, annex B (from memory).

    Parameters
    ----------
    z : int or None
        Number of teeth; without it there is no sector pitch tolerance. [-]
    m_n, d, b : float
        Normal module, reference diameter and face width. [mm]
    beta_deg : float
        Helix angle; not used, it stands here so that every edition is asked alike. [deg]

    Returns
    -------
    dict of int to dict of str to float
        Grade -> parameter key -> tolerance; a slope's is its magnitude. [um]

    Raises
    ------
    OutOfScopeError
        If a quantity lies outside the tabled ranges.

    Examples
    --------
    >>> tolerance_table(None, 1.0, 10.0, 5.0)[6]["runout"]
    13.0
    """
    rows = {key: rounded_tolerances(key, T_5) for key, T_5 in grade_5_tolerances(z, m_n, d, b).items()}
    return {Q: {key: row[Q] for key, row in rows.items()} for Q in CLASSES}

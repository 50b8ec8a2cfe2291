r"""Tolerances of ISO 1328-1:1995 and the runout of ISO 1328-2:1997 (all from memory).

Grade 5 comes from range means, unrounded; grade Q is that times
:math:`2^{(Q-5)/2}`, rounded after the step.
"""

from __future__ import annotations

import math
from typing import Final

from gearqa.standards.iso1328_1_1995.scope import B_LIMITS, D_LIMITS, M_LIMITS, range_mean, violations
from gearqa.standards.rows import ToleranceRow, geometric_row
from gearqa.standards.terms import Terms, half_up

CLASSES: Final = range(13)
"""Accuracy grades 0 to 12."""

# Grade 5; means of the ranges of d, m and b in mm give micrometres. ISO 1328-1:1995, clause 6 and
# annex B; runout: ISO 1328-2:1997, annex B (all from memory).
HELIX_FORM: Final = Terms(root_d=0.07, root_b=0.45, constant=3)
TERMS: Final = {
    "cumulative_pitch": Terms(root_d=1.25, m=0.3, constant=7),
    "profile_total": Terms(root_d=0.22, root_m=3.2, constant=0.7),
    "profile_form": Terms(root_d=0.17, root_m=2.5, constant=0.5),
    "profile_slope": Terms(root_d=0.14, root_m=2, constant=0.5),
    "helix_total": Terms(root_d=0.1, root_b=0.63, constant=4.2),
    "helix_form": HELIX_FORM,
    "helix_slope": HELIX_FORM,
}
SINGLE_PITCH: Final = Terms(root_d=0.4, m=1)
SINGLE_PITCH_FACTOR: Final = 0.3
SINGLE_PITCH_CONSTANT: Final = 4
SECTOR_PITCH_FACTOR: Final = 1.6
RUNOUT_SHARE: Final = 0.8
"""Of the total cumulative pitch deviation."""


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
    r"""Unrounded tolerances of grade 5 at the range means in which a gear lies.

    ISO 1328-1:1995, clause 6 and annex B; ISO 1328-2:1997, annex B (from memory): the sums of `TERMS`;
    the single pitch is SINGLE_PITCH_FACTOR times `SINGLE_PITCH` plus SINGLE_PITCH_CONSTANT, over k
    pitches SECTOR_PITCH_FACTOR times :math:`\sqrt{(k-1)m}` is added.

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
    sums = {key: terms.at(d_, m_, b_) for key, terms in TERMS.items()}
    single = SINGLE_PITCH_FACTOR * SINGLE_PITCH.at(d_, m_) + SINGLE_PITCH_CONSTANT
    pitch = {"single_pitch": single, "cumulative_pitch": sums.pop("cumulative_pitch")}
    if z is not None:
        k = max(2, math.floor(z / 8 + 0.5))
        pitch["sector_pitch"] = single + SECTOR_PITCH_FACTOR * math.sqrt((k - 1) * m_)
    return pitch | {"runout": RUNOUT_SHARE * pitch["cumulative_pitch"]} | sums


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
    >>> rounded_tolerances("single_pitch", 4.6795)[:7]
    (0.8, 1.2, 1.7, 2.3, 3.3, 4.7, 6.5)
    """
    rounding = round_part_2 if key == "runout" else round_part_1
    return tuple(rounding(T_5 * math.exp2((Q - 5) / 2)) for Q in CLASSES)


def rows(z: int | None, m_n: float, d: float, b: float, beta_deg: float = 0.0) -> dict[str, ToleranceRow]:
    """Tolerances of every parameter over the grades.

    ISO 1328-1:1995, clause 6 and annex B; ISO 1328-2:1997, annex B (from memory).

    Parameters
    ----------
    z : int or None
        Number of teeth; without it there is no sector pitch tolerance. [-]
    m_n, d, b : float
        Normal module, reference diameter and face width. [mm]
    beta_deg : float
        Helix angle; not used, every system is asked alike. [deg]

    Returns
    -------
    dict of str to ToleranceRow
        By parameter key; there is none for the adjacent pitch difference. [um]

    Raises
    ------
    OutOfScopeError
        If a quantity lies outside the tabled ranges.

    Examples
    --------
    >>> rows(None, 1.0, 10.0, 5.0)["runout"].tolerance(6)
    13.0
    """
    del beta_deg
    return {
        key: geometric_row(CLASSES[0], rounded_tolerances(key, T_5), T_5)
        for key, T_5 in grade_5_tolerances(z, m_n, d, b).items()
    }

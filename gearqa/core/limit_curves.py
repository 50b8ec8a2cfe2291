"""Limit curves: a trace between an upper and a lower curve, shifted along the deviation axis, not tilted.

From memory: common in North American practice. Traces and curves are straight between their points, so
the clearance is smallest at a point of one of them, and the best shift is exact.
"""

from __future__ import annotations

import numpy as np

from gearqa.arrays import Array
from gearqa.late_dataclass import dataclass

Points = tuple[tuple[float, float], ...]
"""Position and deviation, by rising position. [mm, um]"""


@dataclass(frozen=True, eq=False, slots=True)
class CurveFit:
    """Traces of one sampling pattern between their curves at the best shift, each of shape (traces,)."""

    margin: Array
    """Smallest distance to either curve; negative: no shift brings the trace inside. [um]"""
    shift: Array
    """What is added to the deviations. [um]"""
    upper_at: Array
    """Position where the trace comes nearest to the upper curve. [mm]"""
    lower_at: Array
    """The same for the lower curve. [mm]"""


def fit_between(x: Array, y: Array, upper: Points, lower: Points) -> CurveFit:
    r"""Shift that maximises the smallest margin of each trace, and that margin.

    From memory: common in North American practice. With a the smallest clearance below the upper
    curve and b that above the lower one, a shift c leaves min(a - c, b + c), which is largest for
    c = (a - b)/2 and then (a + b)/2.

    Parameters
    ----------
    x : ndarray, shape (n,)
        Positions, rising. [mm]
    y : ndarray, shape (traces, n)
        Deviations. [um]
    upper, lower : tuple of pairs
        Curves, each compared over its own length as far as it was measured. [mm, um]

    Returns
    -------
    CurveFit
        Margin, shift and places, arrays of shape (traces,). [um, mm]

    Examples
    --------
    A straight rise from 1 to 5 between curves at 0 and 6: 2 of 6 are left, 1 on each side.

    >>> x = np.array([0.0, 5.0, 10.0])
    >>> fit = fit_between(x, 11 + 0.4 * x[None], ((0.0, 6.0), (10.0, 6.0)), ((0.0, 0.0), (10.0, 0.0)))
    >>> [v.round(9).tolist() for v in (fit.margin, fit.shift, fit.upper_at, fit.lower_at)]
    [[1.0], [-10.0], [10.0], [0.0]]
    """
    above, upper_at = _least_clearance(x, y, upper, 1.0)
    below, lower_at = _least_clearance(x, y, lower, -1.0)
    return CurveFit((above + below) / 2, (above - below) / 2, upper_at, lower_at)


def _least_clearance(x: Array, y: Array, curve: Points, side: float) -> tuple[Array, Array]:
    """Least of side * (curve - trace), and where."""
    places, heights = np.array(curve).T
    at, trace = heights_between(x, y, places[0], places[-1], places)
    clearance = side * (np.interp(at, places, heights) - trace)
    worst = clearance.argmin(axis=1)
    return clearance[np.arange(len(y)), worst], at[worst]


def heights_between(
    x: Array, y: Array, low: float, high: float, corners: Array | None = None
) -> tuple[Array, Array]:
    """Traces between two positions, as far as they were measured there.

    Elementary (straight lines between samples): both ends and the corners are interpolated.

    Parameters
    ----------
    x : ndarray, shape (n,)
        Positions, rising. [mm]
    y : ndarray, shape (traces, n)
        Deviations. [um]
    low, high : float
        Ends. [mm]
    corners : ndarray, shape (k,), optional
        Positions to be looked at beside the samples. [mm]

    Returns
    -------
    tuple of ndarray, shapes (m,) and (traces, m)
        Positions from end to end, and the deviations there. [mm, um]

    Examples
    --------
    >>> heights_between(np.array([0.0, 1.0, 2.0]), np.array([[0.0, 4.0, 4.0]]), 0.5, 2.0)
    (array([0.5, 1. , 2. ]), array([[2., 4., 4.]]))
    """
    low, high = max(low, x[0]), min(high, x[-1])
    wanted = x if corners is None else np.concatenate((x, corners))
    at = np.unique(np.concatenate(([low], wanted[(wanted > low) & (wanted < high)], [high])))
    left = np.clip(np.searchsorted(x, at, "right") - 1, 0, len(x) - 2)
    way = (at - x[left]) / (x[left + 1] - x[left])
    return at, y[:, left] + way * (y[:, left + 1] - y[:, left])

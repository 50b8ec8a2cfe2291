"""Zones of a trace: its width in a stretch of its own, about the design trace and about the line there."""

from __future__ import annotations

import numpy as np

from gearqa.arrays import Array
from gearqa.core.filtering import share_of_length
from gearqa.core.limit_curves import heights_between
from gearqa.core.traces import TraceSpec, design_trace, mean_line
from gearqa.late_dataclass import dataclass


@dataclass(frozen=True, eq=False, slots=True)
class Widths:
    """Width of traces over a stretch, and where it is taken; arrays of shape (traces,) but for the middle."""

    width: Array
    """Highest less lowest. [um]"""
    highest_at: Array
    """Position. [mm]"""
    lowest_at: Array
    """Position. [mm]"""
    at: Array
    """Positions of the stretch, shape (m,). [mm]"""
    middle: Array
    """Half way between highest and lowest, along what the width is taken about, shape (traces, m). [um]"""


def zone_widths(x: Array, y: Array, low: float, high: float, spec: TraceSpec) -> tuple[Widths, Widths]:
    r"""Total and form deviation of traces within a zone.

    House rule, after the title of an informative annex of ISO 1328-1:2013 on zones (its text was not seen):
    the zone is evaluated as the evaluation range is, total about the design trace, form about the weighted
    least squares line through the zone alone. What lies outside changes nothing but through the filter.

    Parameters
    ----------
    x : ndarray, shape (n,)
        Positions, rising. [mm]
    y : ndarray, shape (traces, n)
        Filtered deviations. [um]
    low, high : float
        Ends of the zone; where up to two steps are missing the last sample stands for the end. [mm]
    spec : TraceSpec
        Of the whole trace, for its design. [mm, um]

    Returns
    -------
    tuple of Widths
        Total, then form. [um, mm]

    Examples
    --------
    A straight rise of 4 over 10 mm: the zone from 0 to 5 mm holds half of it, and no form deviation.

    >>> spec = TraceSpec(0.0, 10.0, 0.0, 10.0, None, None)
    >>> x = np.linspace(0.0, 10.0, 1001)
    >>> total, form = zone_widths(x, (0.4 * x)[None], 0.0, 5.0, spec)
    >>> float(total.width[0]), float(total.highest_at[0]), abs(float(form.width[0])) < 1e-12
    (2.0, 5.0, True)
    """
    at, heights = heights_between(x, y, low, high)
    design = np.tile(design_trace(at, spec), (len(y), 1))
    t = (at - at[0]) / (at[-1] - at[0]) - 0.5
    level, rise = mean_line(t, heights - design, share_of_length(at))
    return _widths(at, heights, design), _widths(at, heights, design + level[:, None] + rise[:, None] * t)


def _widths(at: Array, heights: Array, about: Array) -> Widths:
    u, rows = heights - about, np.arange(len(heights))
    highest, lowest = u.argmax(axis=1), u.argmin(axis=1)
    top, bottom = u[rows, highest], u[rows, lowest]
    return Widths(top - bottom, at[highest], at[lowest], at, about + (top + bottom)[:, None] / 2)

"""What a measuring plan sees: gauge against grinder, parts that escape."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtri

from gearqa.statistics.run_lengths import ewma_run_length_quantile, shewhart_run_length


@dataclass(frozen=True, slots=True)
class PlanPower:
    """What measuring these parts of every dress cycle sees of a lasting level change."""

    positions: tuple[int, ...]
    """Parts since dress that are measured, 1 for the first."""
    mean_parts: float
    """Mean parts made from the change up to and with the signal."""
    bound_parts: int
    """The same, kept in 95 of 100 changes."""


def parts_per_measurement(measuring_time: float, cycle_time: float) -> int:
    r"""Fewest parts made while one gear is measured.

    Own reasoning, no published source.

    .. math:: \lceil \tau_m/\tau_p \rceil

    Parameters
    ----------
    measuring_time, cycle_time : float
        Time to measure one gear; floor-to-floor time of one gear. [s]

    Returns
    -------
    int
        One gear in this many can be measured. [parts]

    Examples
    --------
    >>> parts_per_measurement(300.0, 100.0), parts_per_measurement(600.0, 90.0)
    (3, 7)
    """
    return max(1, math.ceil(measuring_time / cycle_time - 1e-9))


def plan_positions(parts: int, m: int) -> tuple[int, ...]:
    """Parts of a cycle to measure: the first, the last, the others evenly between.

    D-optimal for a straight line where m = 2; e.g. Montgomery, Design and Analysis of Experiments.

    Parameters
    ----------
    parts, m : int
        Parts per dress cycle and parts to measure in each. [parts]

    Returns
    -------
    tuple of int
        Positions, 1 for the first after dress. [parts]

    Notes
    -----
    One part: the first, because a change at the dress shows at once.

    Examples
    --------
    >>> plan_positions(40, 3)
    (1, 20, 40)
    """
    if m <= 1 or parts <= 1:
        return (1,)
    return tuple(sorted({int(v) for v in np.floor(np.linspace(1, parts, min(m, parts)) + 1e-9)}))


def escaped_parts(run_length: float, interval: float, backlog: float = 0.0) -> float:
    r"""Mean parts made from a change up to and with the part that signals.

    Own reasoning; the change falls anywhere between two measured parts.

    .. math:: h(ARL - 1) + (h + 1)/2 + \text{backlog}

    Parameters
    ----------
    run_length : float
        Mean run length of the chart after the change. [points]
    interval : float
        Parts h from one charted point to the next. [parts]
    backlog : float
        Parts made while a measured gear waits and is measured. [parts]

    Returns
    -------
    float
        Parts. [parts]

    Notes
    -----
    A mean: for "before more than k parts escape" take `bound_parts` of `plan_power`.

    Examples
    --------
    >>> escaped_parts(5.0, 10.0)
    45.5
    """
    return interval * (run_length - 1) + (interval + 1) / 2 + backlog


def plan_power(
    parts: int, m: int, shift: float, *, sd_part: float, sd_cycle: float, rate: float = 0.0027,
    backlog: float = 0.0,
) -> PlanPower:  # fmt: skip
    r"""Power of a plan against a lasting change of the level, seen by the chart of cycle levels.

    Run length of an individuals chart of independent levels.

    .. math:: \sigma_x^2 = \sigma_{cycle}^2 + \sigma_{part}^2/m

    Parameters
    ----------
    parts, m : int
        Parts per dress cycle and parts measured in each. [parts]
    shift : float
        Change of the level that should be seen. [um]
    sd_part, sd_cycle : float
        Standard deviation within cycles, and of the true level from dress to dress. [um]
    rate : float
        Chance of a false alarm per cycle. [-]
    backlog : float
        Parts made while a measured gear waits and is measured. [parts]

    Returns
    -------
    PlanPower
        Positions, parts that escape. [parts]

    Notes
    -----
    Limits known; with limits from few cycles the delay is longer.

    Examples
    --------
    >>> power = plan_power(40, 2, 2.0, sd_part=0.6, sd_cycle=0.3)
    >>> power.positions, power.bound_parts
    ((1, 40), 80)
    """
    positions = plan_positions(parts, m)
    level_sd = math.sqrt(sd_cycle**2 + sd_part**2 / len(positions))
    factor = float(ndtri(1 - rate / 2))
    standardised = abs(shift) / level_sd if level_sd > 0 else math.inf
    bound, mean = 1, 1.0
    if math.isfinite(standardised):
        mean = shewhart_run_length(standardised, factor)
        bound = ewma_run_length_quantile(1.0, factor, standardised)
    # the bound is for a change right behind a measured part, the worst place
    return PlanPower(positions, escaped_parts(mean, parts, backlog), math.ceil(bound * parts + backlog))

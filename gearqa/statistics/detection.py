"""What a measuring plan sees: gauge against grinder, parts that escape."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.special import chdtri, ndtri

from gearqa.arrays import Array
from gearqa.statistics.control_charts import future_factor
from gearqa.statistics.counting import smallest_count
from gearqa.statistics.run_lengths import shewhart_run_length

NODES = 101
"""Quantiles of centre and of standard deviation over which the run length is averaged."""
MOST_POINTS = 1 << 30


@dataclass(frozen=True, slots=True)
class PlanPower:
    """What measuring these parts of every dress cycle sees of a lasting level change."""

    positions: tuple[int, ...]
    """Parts since dress that are measured, 1 for the first."""
    half_parts: int
    """Parts made from the change up to and with the signal in half of the cases, at the most."""
    bound_parts: int
    """The same in 95 of 100 cases."""


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


def plan_power(
    parts: int, m: int, shift: float, *, sd_part: float, sd_cycle: float, rate: float = 0.0027,
    reference: int = 25, backlog: float = 0.0,
) -> PlanPower:  # fmt: skip
    r"""Parts made before a plan shows a lasting change of the level on the chart of cycle levels.

    Run length of an individuals chart whose centre and standard deviation come from a few cycles: given
    both it is geometric; averaged over their distribution.

    .. math::
        \sigma_x^2 = \sigma_{cycle}^2 + \sigma_{part}^2/m,\quad
        P(RL > n) = E\left[(1 - P_{signal}(\bar x, s))^n\right]

    Parameters
    ----------
    parts, m : int
        Parts per dress cycle and parts measured in each. [parts]
    shift : float
        Change of the level that should be seen. [um]
    sd_part, sd_cycle : float
        Standard deviation within cycles, and of the true level from dress to dress. [um]
    rate : float
        Chance of a false alarm of the chart per cycle. [-]
    reference : int
        Cycles that the control limits come from. [-]
    backlog : float
        Parts made while a measured gear waits and is measured. [parts]

    Returns
    -------
    PlanPower
        Positions, parts within which the change shows. [parts]

    Notes
    -----
    The change is taken right behind a measured part, the worst place; its size in standard deviations of
    a level.

    Examples
    --------
    >>> power = plan_power(40, 2, 2.0, sd_part=0.6, sd_cycle=0.3)
    >>> power.positions, power.half_parts, power.bound_parts
    ((1, 40), 40, 160)
    """
    positions = plan_positions(parts, m)
    level_sd = math.sqrt(sd_cycle**2 + sd_part**2 / len(positions))
    if level_sd <= 0:
        return PlanPower(positions, *(math.ceil(parts + backlog),) * 2)
    nodes = (np.arange(NODES) + 0.5) / NODES
    centre = ndtri(nodes)[:, None] / math.sqrt(reference)
    own_sd = np.sqrt(chdtri(reference - 1, 1 - nodes) / (reference - 1))[None, :]
    run_length = shewhart_run_length(abs(shift) / level_sd - centre, future_factor(reference, rate) * own_sd)
    silent = np.log1p(-np.minimum(1 / run_length, 1 - 1e-12))
    half, bound = (_points(silent, probability) for probability in (0.5, 0.95))
    return PlanPower(positions, math.ceil(half * parts + backlog), math.ceil(bound * parts + backlog))


def _points(silent: Array, probability: float) -> int:
    """Fewest points within which a chart signals; `silent` is the log chance of no signal of one point."""

    def signals(points: int) -> bool:
        return float(np.mean(np.exp(points * silent))) <= 1 - probability

    most = 1
    while not signals(most) and most < MOST_POINTS:
        most *= 2
    return smallest_count(signals, 0, most)

"""Ends of traces that turn up or down: overtravel that is too short, tip and root effects.

The height at an end is fitted to each trace beside line, crowning and S-shape, and believed when the teeth
agree. How long the end is comes from the fit that takes out most.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from gearqa.arrays import Array

LENGTHS: Final = (0.04, 0.06, 0.08, 0.1, 0.13, 0.16, 0.2)
"""Lengths of an end that are tried, as shares of the range."""
DEGREE: Final = 3
FEWEST_TEETH: Final = 4


@dataclass(frozen=True, slots=True)
class EndFound:
    """An end that turns: +1 at the end of the range, -1 at its start."""

    side: int
    length: float
    """Share of the range."""
    height: float
    se: float
    freedom: float
    p: float


def end_shape(t: Array, side: int, length: float) -> Array:
    """Parabola from 0 to 1 over the last `length` of t = -1/2 .. 1/2, at the end that `side` names; beyond
    the range it goes on as a straight line."""
    x = (side * t - (0.5 - length)) / length
    return np.asarray(np.where(x <= 1, np.maximum(x, 0.0) ** 2, 2 * x - 1))


def find_ends(t: Sequence[Array], deviations: Sequence[Array], risk: float) -> list[EndFound]:
    """Ends that turn on the traces of one flank; `risk` of naming one where there is none."""
    if len(t) < FEWEST_TEETH:
        return []
    lines = [np.linalg.qr(np.polynomial.legendre.legvander(2 * one, DEGREE))[0] for one in t]
    free = [y - Q @ (Q.T @ y) for Q, y in zip(lines, deviations, strict=True)]
    found: list[EndFound] = []
    for _ in range(2):
        tried = []
        for side in (-1, 1):
            if any(one.side == side for one in found):
                continue
            for length in LENGTHS:
                shapes = []
                for one, Q in zip(t, lines, strict=True):
                    shape = end_shape(one, side, length)
                    shapes.append(shape - Q @ (Q.T @ shape))
                each = np.array([s @ y / (s @ s) for s, y in zip(shapes, free, strict=True)])
                gain = float(each.mean() ** 2 * sum(s @ s for s in shapes))
                tried.append((gain, side, length, each, shapes))
        gain, side, length, each, shapes = max(tried, key=lambda one: one[0])
        height, se, p = _mean_test(each)
        if p > risk / len(LENGTHS) / 2:
            break
        found.append(EndFound(side, length, height, se, len(t) - 1, p))
        free = [y - height * s for y, s in zip(free, shapes, strict=True)]
    return found


def _mean_test(values: Array) -> tuple[float, float, float]:
    """Mean, its standard error, and the chance of it where the true mean is 0."""
    from scipy import special

    n = len(values)
    se = max(float(values.std(ddof=1)) / n**0.5, 1e-9)
    return float(values.mean()), se, float(2 * special.stdtr(n - 1, -abs(float(values.mean())) / se))

"""Scales and sizes of charts: round steps, ticks, the micrometre bar, positions to drawing units."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from gearqa.arrays import Array
from gearqa.wording.numbers import fixed_text, short_text

WIDTH = 720.0
HALF = 352.0
"""Two charts side by side; one unit is a quarter of a millimetre on paper."""
LABELS = 50.0
"""Width of the column with the names of the rows."""
GAP = 8.0
LARGEST_SCALE = 10.0
"""Units per micrometre: 1 um is never drawn taller than 2.5 mm."""
RATIO_OF_UNIT = 250.0
"""Magnification on paper of one unit per micrometre."""
RATIOS = (1.0, 1.25, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 8.0)
"""Steps of the ratio of magnification, in each power of ten."""


def nice(value: float) -> float:
    """The smallest of 1, 2, 5 x 10^n that is not smaller than `value`.

    >>> nice(3.2), nice(0.07), nice(10.0)
    (5.0, 0.1, 10.0)
    """
    power = math.floor(math.log10(value) + 1e-12)
    for factor in (1, 2, 5, 10):
        step = float(f"{factor}e{power}")
        if step >= value * (1 - 1e-9):
            return step
    return float(f"1e{power + 1}")


def step_label(value: float, step: float) -> str:
    """A tick with the digits that its step needs.

    >>> step_label(2.0, 0.5), step_label(150.0, 10.0)
    ('2.0', '150')
    """
    digits = max(0, -math.floor(math.log10(step) + 1e-12))
    return fixed_text(value, digits)


def ticks(low: float, high: float, parts: int = 5) -> tuple[tuple[float, str], ...]:
    """Round values from `low` to `high`, about `parts` of them, with their labels.

    >>> ticks(20.2, 28.4, 4)
    ((22.0, '22'), (24.0, '24'), (26.0, '26'), (28.0, '28'))
    """
    low, high = min(low, high), max(low, high)
    if not math.isfinite(high - low) or high - low <= 1e-9 * max(1.0, abs(high)):
        return ((low, short_text(low)),)
    step = nice(0.75 * (high - low) / parts)
    first, last = math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9)
    return tuple((k * step, step_label(k * step, step)) for k in range(first, last + 1))


@dataclass(frozen=True, slots=True)
class Scale:
    """A linear scale from values to drawing units; either may run backwards."""

    low: float
    high: float
    start: float
    end: float

    @property
    def units(self) -> float:
        """Drawing units per value, signed."""
        return (self.end - self.start) / (self.high - self.low)

    def at(self, value: float) -> float:
        """Place of one value."""
        return self.start + (value - self.low) * self.units

    def of(self, values: Array) -> Array:
        """Places of many values."""
        return np.asarray(self.start + (values - self.low) * self.units)


def micrometre_bar(units_per_um: float, shortest: float = 13.0) -> float:
    """Length of the scale bar of a chart: a round number of micrometres. [um]

    >>> micrometre_bar(3.0), micrometre_bar(0.4)
    (5.0, 50.0)
    """
    return nice(shortest / units_per_um)


def even_ratio(units_per_um: float) -> float:
    """The scale, no larger, whose ratio of magnification on paper is a round number. [units/um]

    >>> even_ratio(4.4) * RATIO_OF_UNIT, even_ratio(0.0799) * RATIO_OF_UNIT
    (1000.0, 15.0)
    """
    ratio = units_per_um * RATIO_OF_UNIT
    power = 10.0 ** math.floor(math.log10(ratio * (1 + 1e-9)))
    return power * max(one for one in RATIOS if one * power <= ratio * (1 + 1e-9)) / RATIO_OF_UNIT


def ratio_text(units_per_um: float) -> str:
    """The ratio of magnification on paper.

    >>> ratio_text(4.0)
    '1000:1'
    """
    return f"{short_text(round(units_per_um * RATIO_OF_UNIT, 6))}:1"

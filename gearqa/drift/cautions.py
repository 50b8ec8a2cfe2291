"""What the reader of a report has to keep in mind: limits of the method, where they apply."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

import numpy as np

from gearqa.arrays import Array
from gearqa.drift import phrases
from gearqa.errors import Notice, NoticeCode
from gearqa.model.drift import DriftSeries
from gearqa.statistics.level_search import MINIMUM_CYCLES
from gearqa.statistics.wear import LEAST_VARIANCE
from gearqa.wording.numbers import count_text

THIN = 15
"""Up to so many cycles a change must be large to be named."""
FRESH = 6
"""A level change of so many cycles ago, or fewer, was just found."""


SKEWED = 2.58
"""Score from which values count as skewed: beyond it lies 1 % of samples of normal values."""


def skewness_score(residual: Array) -> float:
    """Skewness over its standard error for normal values, sqrt(6/n); without a sign.

    Large-sample form, e.g. D'Agostino and Stephens, Goodness-of-Fit Techniques (1986), from memory.

    >>> skewness_score(np.array([-1.0, 1.0])), round(skewness_score(np.array([0.0, 0.0, 0.0, 4.0])), 3)
    (0.0, 0.943)
    """
    off = residual - residual.mean()
    spread = float(np.mean(off**2))
    if spread <= LEAST_VARIANCE:
        return 0.0
    return abs(float(np.mean(off**3))) / (spread * math.sqrt(spread)) / math.sqrt(6 / len(off))


def cautions(series: Sequence[DriftSeries]) -> Iterator[Notice]:
    """Cautions that apply to these series, the same one once. Rates: tests/benchmarks/drift_claims.py."""
    searched = [one for one in series if one.cycles >= MINIMUM_CYCLES]
    if searched:
        text = (
            "a change of less than about three standard deviations of a level is mostly not claimed in its "
            "first two cycles"
        )
        fewest = min(one.cycles for one in searched)
        if fewest <= THIN:
            text += f", and with {count_text(fewest, 'cycle')} it takes about eight to name one reliably"
        yield Notice(NoticeCode.CHANGE_MAY_HIDE, text)
    if any(one.dress_interval_parts is not None for one in series):
        text = "a risk is an average over histories like this one, not a promise for the next cycle"
        yield Notice(NoticeCode.RISK_IS_AVERAGE, text)
    steps = [(one, step) for one in series for step in one.steps]
    if any(step.provisional for _, step in steps):
        text = (
            "a single odd last cycle is the usual false level change: measure the next one before correcting"
        )
        yield Notice(NoticeCode.STEP_PROVISIONAL, text)
    if any(one.current_cycle - step.cycle < FRESH for one, step in steps):
        text = "the size of a level change that was just found is overstated on average"
        yield Notice(NoticeCode.SIZE_OVERSTATED, text)
    skewed = [one for one, _ in steps if skewness_score(one.charts.value_um - one.charts.fitted_um) > SKEWED]
    if skewed:
        names = ", ".join(dict.fromkeys(phrases.name_of(one) for one in skewed))
        text = f"values of {names} are skewed: chance makes a level change there two to three times as often"
        yield Notice(NoticeCode.SKEWED_VALUES, text)
    if any(one.corrections for one in series):
        text = "a correction that was recorded two cycles late may still read as intended"
        yield Notice(NoticeCode.CORRECTION_LATE, text)

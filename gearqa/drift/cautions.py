"""What the reader of a report has to keep in mind: limits of the method, where they apply."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from gearqa.errors import Notice, NoticeCode
from gearqa.model.drift import DriftSeries
from gearqa.statistics.level_search import MINIMUM_CYCLES
from gearqa.wording.numbers import count_text

THIN = 15
"""Up to so many cycles a change must be large to be named."""
FRESH = 6
"""A level change of so many cycles ago, or fewer, was just found."""


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
    if any(one.corrections for one in series):
        text = "a correction that was recorded two cycles late may still read as intended"
        yield Notice(NoticeCode.CORRECTION_LATE, text)

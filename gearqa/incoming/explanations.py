"""Which change of settings, or pair of changes, reproduces what was reported; and whether it is a cause.

Single changes and pairs are ranked by the root mean square of what they leave unexplained. No cause is
named where several fit alike: see `_cause`.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import combinations
from typing import Final

import numpy as np

from gearqa.arrays import Array, BoolArray
from gearqa.incoming.predictions import Predictor, chosen, rms
from gearqa.incoming.setting_words import changes_text, setting_changes
from gearqa.incoming.settings import Setup, alternatives, changed_fields, combined
from gearqa.model.incoming import SAME_UM, Basis, Explanation, ExplanationResult, Side

ENOUGH_VALUES: Final = 12
"""Chance halves the difference in 44 % of cases with 4 values, in 0.03 % with 12 (computed)."""
HALVED: Final = 0.5
IDENTICAL_UM: Final = 1e-6
MOST_LISTED: Final = 12
SMALLEST_UM: Final = 0.01
"""Remaining differences are not compared below this."""
CLEARLY: Final = 3.0
"""Logarithm of the likelihood ratio (about 20 to 1) from which one of two explanations with as many
changes is better."""
CLEARLY_MORE: Final = 6.0
"""The same for one more change: there are many to choose it from."""


@dataclass(frozen=True, eq=False, slots=True)
class _Trial:
    """One explanation that was tried."""

    setup: Setup
    count: int
    fields: frozenset[str]
    values: Array
    """Predicted values of the rows compared. [um]"""
    rms: float
    bases: dict[str, Basis]

    def worse_than(self, other: _Trial, n: int) -> float:
        """Logarithm of the likelihood ratio against another explanation of the same n values."""
        return n * math.log(max(self.rms, SMALLEST_UM) / max(other.rms, SMALLEST_UM))

    def distance(self, other: _Trial) -> float:
        """Largest difference of both predictions. [um]"""
        return float(np.max(np.abs(self.values - other.values)))


@dataclass(frozen=True, eq=False, slots=True)
class Explained:
    """The outcome, and what follows from it for the rows."""

    result: ExplanationResult
    after: Array
    """Predicted by the explanation, NaN where there is none. [um], shape (values,)"""
    bases: dict[str, Basis]
    """By parameter, where the table does not say and the values show it."""
    setup: Setup | None = None
    """Of the supplier, where it is explained."""


def explain(predictor: Predictor, base: Setup, data: Side) -> Explained:
    """Try every change and pair of changes of our settings (`base`); `data`: whose traces they are."""
    targets = predictor.targets
    reported = np.array([abs(one.reported_um) if one.by_magnitude else one.reported_um for one in targets])
    found = predictor.predict(base)
    compared = found.known | _reached_by_numbering(predictor, base)
    start = found.with_guesses(compared)
    compared &= start.known
    counted, bases = chosen(start, targets, reported)
    n = int(compared.sum())
    digits = np.array([one.digit_um for one in targets])[compared]
    after = np.full(len(targets), np.nan)
    if n == 0:
        return Explained(_nothing("no_raw_data", data, 0, None), after, bases)
    differences = (reported - counted)[compared]
    rms_before = rms(differences) or 0.0
    if rms_before <= SAME_UM or bool(np.all(np.abs(differences) <= digits / 2 + 1e-9)):
        return Explained(_nothing("no_difference", data, n, rms_before), after, bases)

    none = _Trial(base, 0, frozenset(), counted[compared], rms_before, bases)
    tried = _Search(predictor, base, none, reported, compared).trials()
    if not tried:
        result = ExplanationResult(False, "nothing_fits", data, n, rms_before, (), n < ENOUGH_VALUES, 0)
        return Explained(result, after, bases)
    best = _best(tried, n)
    listed, explained, reason = _cause(best, tried, none, n, rms(digits / 2) or 0.0)
    shown = tuple(_explanation(trial, best, none) for trial in listed)
    few_values = n < ENOUGH_VALUES
    result = ExplanationResult(explained, reason, data, n, rms_before, shown, few_values, len(tried))
    if not explained:
        return Explained(result, after, bases)
    after[compared] = best.values
    return Explained(result, after, best.bases, best.setup)


def _reached_by_numbering(predictor: Predictor, base: Setup) -> BoolArray:
    """Values on teeth that were measured under another number."""
    reached = np.zeros(len(predictor.targets), dtype=np.bool_)
    if any(one.tooth is not None for one in predictor.targets):
        for backwards in (False, True):
            for shift in (0, *predictor.tooth_shifts(reverse=backwards)):
                reached |= predictor.predict(replace(base, reversed=backwards, shift=shift)).known
    return reached


def _nothing(reason: str, data: Side, n: int, rms_before: float | None) -> ExplanationResult:
    return ExplanationResult(None, reason, data if n else None, n, rms_before, (), n < ENOUGH_VALUES, 0)


@dataclass(frozen=True, eq=False, slots=True)
class _Search:
    """Tries changes of settings on the values compared."""

    predictor: Predictor
    base: Setup
    none: _Trial
    reported: Array
    compared: BoolArray

    def trials(self) -> list[_Trial]:
        """Every change and pair that predicts all values compared and makes a difference of its own."""
        shifts = self.predictor.tooth_shifts()
        changes = list(alternatives(self.base, self.predictor.part, tooth_shifts=shifts))
        singles = [one for setup in changes if (one := self._trial(setup, 1)) is not None]
        return [*singles, *self._pairs(changes, singles)]

    def _pairs(self, changes: Sequence[Setup], singles: Sequence[_Trial]) -> Iterator[_Trial]:
        candidates = [combined(self.base, a, b) for a, b in combinations(changes, 2)]
        candidates += [
            replace(self.base, reversed=True, shift=shift)
            for shift in self.predictor.tooth_shifts(reverse=True)
        ]
        for setup in dict.fromkeys(one for one in candidates if one is not None):
            parts = [one for one in singles if len(changed_fields(one.setup, setup)) == 1]
            renumbered = (setup.reversed, setup.shift) != (self.base.reversed, self.base.shift)
            if not parts and not renumbered:
                continue  # neither change makes a difference alone: in pairs only tooth numbers do
            pair = self._trial(setup, 2)
            if pair is not None and all(pair.distance(one) > IDENTICAL_UM for one in parts):
                yield pair

    def _trial(self, setup: Setup, count: int) -> _Trial | None:
        """None where a value is not predicted, or none differs from what no change predicts."""
        prediction = self.predictor.predict(setup).with_guesses(self.compared)
        if not prediction.known[self.compared].all():
            return None
        values, bases = chosen(prediction, self.predictor.targets, self.reported)
        left = rms((self.reported - values)[self.compared]) or 0.0
        fields = frozenset(changed_fields(self.base, setup))
        trial = _Trial(setup, count, fields, values[self.compared], left, bases)
        return trial if trial.distance(self.none) > IDENTICAL_UM else None


def _best(tried: Sequence[_Trial], n: int) -> _Trial:
    """The one that leaves least; of those not clearly worse the one with the fewest changes."""
    least = min(tried, key=lambda e: e.rms)
    alike = [e for e in tried if e.worse_than(least, n) < CLEARLY_MORE or e.distance(least) <= SAME_UM]
    return min(alike, key=lambda e: (e.count, e.rms))


def _cause(
    best: _Trial, tried: Sequence[_Trial], none: _Trial, n: int, half_digit: float
) -> tuple[list[_Trial], bool, str]:
    """What is listed, whether the best is a cause to name, and why (not)."""
    rest = sorted((e for e in tried if e is not best and not _adds_nothing(e, best)), key=lambda e: e.rms)
    listed = [best, *rest][:MOST_LISTED]
    listed += [e for e in rest[MOST_LISTED - 1 :] if e.distance(best) <= SAME_UM]
    within_digit = max(SAME_UM, half_digit)
    fits = best.rms <= within_digit < none.rms
    halved = best.rms <= HALVED * none.rms and n >= ENOUGH_VALUES
    if not fits and not halved:
        return listed, False, "too_few_values" if n < ENOUGH_VALUES else "nothing_fits"
    same = [e for e in rest if e.distance(best) <= IDENTICAL_UM]
    if any(_rivals(e, best, n) for e in rest if e not in same):
        return listed, False, "several_fit_alike"
    return listed, True, "explained_either_way" if same else "explained"


def _rivals(entry: _Trial, best: _Trial, n: int) -> bool:
    """Whether the values cannot tell an explanation from the best one."""
    alike = entry.count <= best.count and entry.worse_than(best, n) < CLEARLY
    return alike or entry.distance(best) <= SAME_UM


def _adds_nothing(entry: _Trial, best: _Trial) -> bool:
    """The best explanation with one more change that nobody can see."""
    if not best.fields < entry.fields or entry.distance(best) > SAME_UM:
        return False
    return len(changed_fields(best.setup, entry.setup)) == entry.count - best.count


def _explanation(trial: _Trial, best: _Trial, none: _Trial) -> Explanation:
    distance = trial.distance(best)
    return Explanation(
        changes=setting_changes(none.setup, trial.setup),
        rms_before_um=none.rms,
        rms_after_um=trial.rms,
        equivalent=trial is not best and distance <= SAME_UM,
        same_predictions=trial is not best and distance <= IDENTICAL_UM,
        sentence=changes_text(none.setup, trial.setup),
    )

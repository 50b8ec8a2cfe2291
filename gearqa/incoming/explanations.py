"""Which change of settings, or pair of changes, reproduces what was reported; and whether it is a cause.

Single changes and pairs are ranked by the root mean square of what they leave unexplained. No cause is
named where several fit alike: see `_judged`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import combinations
from typing import Final

import numpy as np

from gearqa.arrays import Array, BoolArray
from gearqa.incoming.predictions import Predictor, chosen, rms
from gearqa.incoming.settings import Setup, alternatives, changes, combined
from gearqa.incoming.words import changes_text
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
class _Entry:
    """One explanation that was tried."""

    setup: Setup
    count: int
    fields: frozenset[str]
    values: Array
    """Predicted values of the rows compared. [um]"""
    rms: float
    bases: dict[str, Basis]

    def worse_than(self, other: _Entry, n: int) -> float:
        """Logarithm of the likelihood ratio against another explanation of the same n values."""
        return n * math.log(max(self.rms, SMALLEST_UM) / max(other.rms, SMALLEST_UM))

    def distance(self, other: _Entry) -> float:
        """Largest difference of both predictions. [um]"""
        return float(np.max(np.abs(self.values - other.values)))


@dataclass(frozen=True, eq=False, slots=True)
class Explained:
    """The outcome, and what follows from it for the rows."""

    result: ExplanationResult
    before: Array
    """Found under our settings, NaN where nothing was. [um], shape (values,)"""
    after: Array
    """Predicted by the explanation, NaN where there is none. [um], shape (values,)"""
    bases: dict[str, Basis]
    """By parameter, where the table does not say and the values tell."""
    setup: Setup | None = None
    """Of the supplier, where it is explained."""


def explain(predictor: Predictor, base: Setup, data: Side) -> Explained:
    """Try every change and pair of changes of settings.

    Parameters
    ----------
    predictor : Predictor
        Raw data and the values that were reported.
    base : Setup
        How our side evaluates.
    data : {"ours", "theirs"}
        Whose raw data they are.
    """
    wanted = predictor.wanted
    reported = np.array([abs(w.reported_um) if w.by_magnitude else w.reported_um for w in wanted])
    found = predictor.predict(base)
    before, bases = chosen(found, wanted, reported)
    compared = found.known | _reached_by_numbering(predictor, base)
    start = found.with_guesses(compared)
    compared &= start.known
    counted, bases = chosen(start, wanted, reported)
    n = int(compared.sum())
    digits = np.array([w.digit_um for w in wanted])[compared]
    nowhere = np.full(len(wanted), np.nan)
    if n == 0:
        return Explained(_nothing("no_raw_data", data, 0, None), before, nowhere, bases)
    differences = (reported - counted)[compared]
    rms_before = rms(differences) or 0.0
    if rms_before <= SAME_UM or bool(np.all(np.abs(differences) <= digits / 2 + 1e-9)):
        return Explained(_nothing("no_difference", data, n, rms_before), before, nowhere, bases)

    none = _Entry(base, 0, frozenset(), counted[compared], rms_before, bases)
    tried = _tried(predictor, base, none, reported, compared)
    if not tried:
        result = ExplanationResult(False, "nothing_fits", data, n, rms_before, (), n < ENOUGH_VALUES, 0)
        return Explained(result, before, nowhere, bases)
    best = _best(tried, n)
    listed, explained, reason = _judged(best, tried, none, n, rms(digits / 2) or 0.0)
    result = ExplanationResult(
        explained=explained,
        reason=reason,
        data=data,
        n=n,
        rms_before_um=rms_before,
        explanations=tuple(_explanation(entry, best, none, base) for entry in listed),
        few_values=n < ENOUGH_VALUES,
        tried=len(tried),
    )
    if not explained:
        return Explained(result, before, nowhere, bases)
    after = np.full(len(wanted), np.nan)
    after[compared] = best.values
    return Explained(result, before, after, best.bases, best.setup)


def _numberings(predictor: Predictor, base: Setup) -> list[Setup]:
    """Other ways to number teeth under which every reported tooth was measured."""
    turned = [replace(base, shift=shift) for shift in predictor.tooth_shifts()]
    turned += [replace(base, reversed=True, shift=shift) for shift in predictor.tooth_shifts(reverse=True)]
    return [replace(base, reversed=True), *turned]


def _reached_by_numbering(predictor: Predictor, base: Setup) -> BoolArray:
    """Values on teeth that were measured under another number."""
    reached = np.zeros(len(predictor.wanted), dtype=np.bool_)
    if any(one.tooth is not None for one in predictor.wanted):
        for setup in _numberings(predictor, base):
            reached |= predictor.predict(setup).known
    return reached


def _nothing(reason: str, data: Side, n: int, rms_before: float | None) -> ExplanationResult:
    return ExplanationResult(None, reason, data if n else None, n, rms_before, (), n < ENOUGH_VALUES, 0)


def _tried(
    predictor: Predictor, base: Setup, none: _Entry, reported: Array, compared: BoolArray
) -> list[_Entry]:
    """Every change and pair that predicts all values compared and makes a difference of its own."""

    def entry(setup: Setup, count: int, fields: frozenset[str]) -> _Entry | None:
        prediction = predictor.predict(setup).with_guesses(compared)
        if not prediction.known[compared].all():
            return None
        values, told = chosen(prediction, predictor.wanted, reported)
        left = rms((reported - values)[compared]) or 0.0
        return _Entry(setup, count, fields, values[compared], left, told)

    singles: list[_Entry] = []
    shifts = predictor.tooth_shifts()
    for setup in alternatives(base, predictor.part, tooth_shifts=shifts):
        one = entry(setup, 1, _fields(base, setup))
        if one is not None and one.distance(none) > IDENTICAL_UM:
            singles.append(one)
    pairs: list[_Entry] = []
    setups = [*alternatives(base, predictor.part, tooth_shifts=shifts)]
    reverse_shifts = predictor.tooth_shifts(reverse=True)
    by_fields = {(s.setup): s for s in singles}
    candidates = [combined(base, a, b) for a, b in combinations(setups, 2)]
    candidates += [
        combined(base, a, b)
        for a in alternatives(base, predictor.part) if a.reversed
        for b in alternatives(base, predictor.part, tooth_shifts=reverse_shifts) if b.shift
    ]  # fmt: skip
    for setup in dict.fromkeys(c for c in candidates if c is not None):
        if not _worth_trying(setup, base, by_fields):
            continue
        one = entry(setup, 2, _fields(base, setup))
        if one is None or one.distance(none) <= IDENTICAL_UM:
            continue
        parts = [s for s in singles if s.fields < one.fields and _agrees(s.setup, one)]
        if all(one.distance(part) > IDENTICAL_UM for part in parts):
            pairs.append(one)
    return [*singles, *pairs]


def _worth_trying(setup: Setup, base: Setup, singles: dict[Setup, _Entry]) -> bool:
    """A pair of which neither change makes a difference alone makes none, but for tooth numbers."""
    numbered = setup.reversed != base.reversed or setup.shift != base.shift
    if numbered:
        return True
    mine = _fields(base, setup)
    return any(single.fields < mine for single in singles.values() if _agrees_setup(single, setup))


def _fields(base: Setup, setup: Setup) -> frozenset[str]:
    return frozenset(change.setting for change in changes(base, setup))


def _agrees(part: Setup, whole: _Entry) -> bool:
    """Whether a single change is one of the two of a pair."""
    return len(changes(part, whole.setup)) == 1


def _agrees_setup(single: _Entry, setup: Setup) -> bool:
    return len(changes(single.setup, setup)) == 1


def _best(tried: Sequence[_Entry], n: int) -> _Entry:
    """Least left over; but fewer changes first where more of them are not clearly better."""
    least = min(tried, key=lambda e: e.rms)
    alike = [e for e in tried if e.worse_than(least, n) < CLEARLY_MORE or e.distance(least) <= SAME_UM]
    return min(alike, key=lambda e: (e.count, e.rms))


def _judged(
    best: _Entry, tried: Sequence[_Entry], none: _Entry, n: int, half_digit: float
) -> tuple[list[_Entry], bool, str]:
    """What is listed, whether the best is a cause to name, and why (not)."""
    rest = sorted((e for e in tried if e is not best and not _adds_nothing(e, best)), key=lambda e: e.rms)
    listed = [best, *rest][:MOST_LISTED]
    listed += [e for e in rest[MOST_LISTED - 1 :] if e.distance(best) <= SAME_UM]
    within_digit = max(SAME_UM, half_digit)
    fits = best.rms <= within_digit < none.rms
    halved = best.rms <= HALVED * none.rms and n >= ENOUGH_VALUES
    if not fits and not halved:
        return listed, False, "too_few_values" if n < ENOUGH_VALUES else "nothing_fits"
    rivals = [
        e for e in rest
        if e.distance(best) > IDENTICAL_UM
        and (
            e.distance(best) <= SAME_UM
            or (e.count <= best.count and e.worse_than(best, n) < CLEARLY)
        )
    ]  # fmt: skip
    if rivals:
        return listed, False, "several_fit_alike"
    same = any(e.distance(best) <= IDENTICAL_UM for e in rest)
    return listed, True, "explained_either_way" if same else "explained"


def _adds_nothing(entry: _Entry, best: _Entry) -> bool:
    """The best explanation with one more change that nobody can see."""
    contains = (
        best.fields < entry.fields and len(changes(best.setup, entry.setup)) == entry.count - best.count
    )
    return contains and entry.distance(best) <= SAME_UM


def _explanation(entry: _Entry, best: _Entry, none: _Entry, base: Setup) -> Explanation:
    distance = entry.distance(best)
    changed = changes(base, entry.setup)
    return Explanation(
        changes=changed,
        rms_before_um=none.rms,
        rms_after_um=entry.rms,
        equivalent=entry is not best and distance <= SAME_UM,
        same_predictions=entry is not best and distance <= IDENTICAL_UM,
        sentence=changes_text(changed),
    )

"""Which changes of settings the reported values show: what every explanation that fits has in common.

Single changes and pairs are compared by the evidence of what they leave, constant biases and a scatter of
its own for every parameter allowed for. Named is what all fitting ones share, if the change that it
predicts shows in the figures to its full size: see `_named`.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import combinations
from typing import Final

import numpy as np

from gearqa.arrays import Array, BoolArray
from gearqa.incoming.predictions import Predictor, chosen, possible_bases, rms
from gearqa.incoming.setting_words import changes_text, setting_changes
from gearqa.incoming.settings import (
    IDENTIFYING,
    ROUNDING_STEPS_UM,
    Setup,
    alternatives,
    changed_fields,
    combined,
)
from gearqa.model.incoming import SAME_UM, Basis, Explanation, ExplanationResult, Side
from gearqa.statistics.paired_evidence import SCATTERS_UM, Scatter

ENOUGH_VALUES: Final = 12
"""Chance halves the difference in 44 % of cases with 4 values, in 0.03 % with 12 (computed)."""
IDENTICAL_UM: Final = 1e-6
ON_STEP: Final = 1e-6
MOST_LISTED: Final = 12
CERTAIN: Final = 100.0
"""Odds for what is named; before, all single changes together are as likely as none, pairs as singles."""
DEPENDENT: Final = 1.5
"""Values of one trace share its scatter: evidence counts for so much less (by simulation)."""
PREFERRED: Final = 6.0
"""Evidence by which names of flanks and teeth other than the given ones must be better to be considered."""
SHOWN_WITHIN: Final = 0.15
SHOWN_ERRORS: Final = 4.0
SHOWN_AT_MOST: Final = 0.35
"""The predicted change shows if its share is 1 within the first or so many errors, never beyond the last."""
LARGEST_ERROR: Final = 0.125
"""Of the share that shows: eight errors from nothing (by simulation)."""
WORTH_NAMING: Final = 0.8
"""A nearest explanation that leaves more than this of the difference is not worth a line."""


@dataclass(frozen=True, eq=False, slots=True)
class _Trial:
    """One explanation that was tried, on one basis."""

    setup: Setup
    fields: frozenset[str]
    bases: Mapping[str, Basis]
    values: Array
    """Predicted values of the rows compared. [um]"""
    rms: float

    @property
    def count(self) -> int:
        """Settings changed; teeth counted the other way from another start are one change."""
        return len(self.fields) - (self.fields >= {"reversed", "shift"})

    def distance(self, other: _Trial) -> float:
        """Largest difference of both predictions. [um]"""
        return float(np.max(np.abs(self.values - other.values)))


@dataclass(frozen=True, eq=False, slots=True)
class Explained:
    """The outcome, and what follows from it for the rows."""

    result: ExplanationResult
    after: Array
    """Predicted by what is named, NaN where nothing is. [um], shape (values,)"""
    bases: dict[str, Basis]
    """By parameter, where the table does not say and the values show it."""
    setup: Setup | None = None
    """Of the supplier, as far as it is named."""
    names: tuple[Setup, ...] = ()
    """Setups with other names of flanks and teeth that fit as well: what holds for one may not for all."""


def explain(predictor: Predictor, base: Setup, data: Side) -> Explained:
    """Try every change and pair of changes of our settings (`base`); `data`: whose traces they are."""
    targets = predictor.targets
    reported = np.array([abs(one.reported_um) if one.by_magnitude else one.reported_um for one in targets])
    found = predictor.predict(base)
    compared = found.known | _reached_by_numbering(predictor, base)
    start = found.with_guesses(compared)
    compared &= start.known
    n = int(compared.sum())
    after = np.full(len(targets), np.nan)
    search = _Search(predictor, base, reported, compared, possible_bases(start, targets))
    if n == 0:
        return Explained(_nothing("no_raw_data", data, 0, None), after, {})
    plain = min(search.trials(base), key=lambda one: one.rms)
    half_digits = np.array([one.digit_um for one in targets])[compared] / 2
    to_the_digit = np.abs(reported[compared] - plain.values) <= half_digits + 1e-9
    if plain.rms <= SAME_UM or bool(to_the_digit.all()):
        return Explained(_nothing("no_difference", data, n, plain.rms), after, dict(plain.bases))
    tried = [one for setup in search.setups() for one in search.trials(setup)]
    return _Choice(search, [*search.trials(base), *tried]).outcome(data, after)


def _reached_by_numbering(predictor: Predictor, base: Setup) -> BoolArray:
    """Values on teeth that were measured under another number."""
    reached = np.zeros(len(predictor.targets), dtype=np.bool_)
    if any(one.tooth is not None for one in predictor.targets):
        for backwards in (False, True):
            for shift in (0, *predictor.tooth_shifts(reverse=backwards)):
                reached |= predictor.predict(replace(base, reversed=backwards, shift=shift)).known
        if predictor.may_be_in_order():
            reached |= predictor.predict(replace(base, in_order=True)).known
    return reached


def _nothing(reason: str, data: Side, n: int, rms_before: float | None) -> ExplanationResult:
    return ExplanationResult(None, reason, data if n else None, n, rms_before, (), n < ENOUGH_VALUES, 0, ())


@dataclass(frozen=True, eq=False, slots=True)
class _Search:
    """Tries changes of settings on the values compared."""

    predictor: Predictor
    base: Setup
    reported: Array
    compared: BoolArray
    bases: Sequence[Mapping[str, Basis]]
    """Bases that the values may have."""

    def setups(self) -> list[Setup]:
        """Every change and pair that predicts all values compared and makes a difference of its own."""
        shifts = self.predictor.tooth_shifts()
        in_order = self.predictor.may_be_in_order()
        changes = list(alternatives(self.base, self.predictor.part, tooth_shifts=shifts, in_order=in_order))
        plain = self._predicted(self.base)
        assert plain is not None
        singles = {
            setup: values for setup in changes if (values := self._predicted(setup)) is not None
            and _apart(values, plain)
        }  # fmt: skip
        return [*singles, *self._pairs(changes, singles, plain)]

    def _pairs(
        self, changes: Sequence[Setup], singles: Mapping[Setup, Array], plain: Array
    ) -> Iterator[Setup]:
        candidates = [combined(self.base, a, b) for a, b in combinations(changes, 2)]
        candidates += [
            replace(self.base, reversed=True, shift=shift)
            for shift in self.predictor.tooth_shifts(reverse=True)
        ]
        for setup in dict.fromkeys(one for one in candidates if one is not None):
            parts = [values for one, values in singles.items() if len(changed_fields(one, setup)) == 1]
            renumbered = (setup.numbering, setup.in_order) != (self.base.numbering, self.base.in_order)
            if not parts and not renumbered:
                continue  # neither change makes a difference alone: in pairs only tooth numbers do
            values = self._predicted(setup)
            if values is not None and all(_apart(values, one) for one in (plain, *parts)):
                yield setup

    def _predicted(self, setup: Setup) -> Array | None:
        """Worst and mean values; None where a value is not predicted."""
        prediction = self.predictor.predict(setup).with_guesses(self.compared)
        if not prediction.known[self.compared].all():
            return None
        return np.stack([prediction.worst[self.compared], prediction.mean[self.compared]])

    def trials(self, setup: Setup) -> list[_Trial]:
        """What a setup predicts, on every basis that the values may have."""
        prediction = self.predictor.predict(setup).with_guesses(self.compared)
        fields = frozenset(changed_fields(self.base, setup))
        found = []
        for bases in self.bases:
            values = chosen(prediction, self.predictor.targets, self.reported, bases)[self.compared]
            left = rms(self.reported[self.compared] - values) or 0.0
            found.append(_Trial(setup, fields, bases, values, left))
        return found


def _apart(one: Array, other: Array) -> bool:
    return bool(np.max(np.abs(one - other)) > IDENTICAL_UM)


class _Choice:
    """What the evidence says of all that was tried."""

    def __init__(self, search: _Search, trials: Sequence[_Trial]) -> None:
        self.search = search
        self.reported = search.reported[search.compared]
        targets = [one for one, kept in zip(search.predictor.targets, search.compared, strict=True) if kept]
        self.scatter = Scatter.of([(one.parameter, one.flank) for one in targets])
        residuals = self.reported - np.stack([one.values for one in trials])
        singles = len({one.setup for one in trials if one.count == 1})
        of_one = math.log(max(singles, 1))
        step = _rounding_step(self.reported, np.array([one.digit_um for one in targets]))
        to_the_digit = np.abs(residuals).max(axis=1) <= max(one.digit_um for one in targets) / 2 + 1e-9
        least = np.where(to_the_digit, 0.0, min(step / math.sqrt(12), SCATTERS_UM[-1]))
        found_evidence = self.scatter.log_evidence(residuals, least) / DEPENDENT
        evidence = found_evidence - [one.count * of_one for one in trials]
        by_trial = sorted(zip(evidence.tolist(), trials, strict=True), key=lambda e: -e[0])
        best_basis: dict[Setup, tuple[float, _Trial]] = {}
        for found, trial in by_trial:
            best_basis.setdefault(trial.setup, (found, trial))
        self.trials = [trial for _, trial in best_basis.values()]
        self.evidence = {id(trial): found for found, trial in best_basis.values()}
        self.none = best_basis[search.base][1]
        self.best = self.trials[0]
        top = self.evidence[id(self.best)]
        self.fitting = [
            trial
            for trial in self.trials
            if top - self.evidence[id(trial)] < math.log(CERTAIN) or trial.distance(self.best) <= SAME_UM
        ]

    def outcome(self, data: Side, after: Array) -> Explained:
        """What is named, why, and what follows."""
        trial, reason = self._named()
        base, compared = self.none.setup, self.search.compared
        n, few = len(self.reported), len(self.reported) < ENOUGH_VALUES
        changed = sorted((e for e in self.trials if e is not self.none), key=lambda e: (e.rms, e.count))
        best = trial or next(iter(changed), self.none)
        listed: list[_Trial] = []
        if trial is not None or best.rms <= WORTH_NAMING * self.none.rms:
            rest = [e for e in changed if e.setup != best.setup and not _adds_nothing(e, best)]
            listed = [best, *rest][:MOST_LISTED]
        shown = tuple(self._explanation(one, best) for one in listed)
        explained = trial is not None and reason != "partly_explained"
        shared = setting_changes(base, trial.setup) if trial is not None else ()
        result = ExplanationResult(
            explained, reason, data, n, self.none.rms, shown, few, len(self.trials) - 1, shared
        )
        names = self._names(trial)
        if trial is None:
            return Explained(result, after, dict(self.none.bases), None, names)
        after[compared] = trial.values
        return Explained(result, after, dict(trial.bases), trial.setup, names)

    def _named(self) -> tuple[_Trial | None, str]:
        """What all fitting explanations share, and whether it is all that there is to name."""
        if self.none in self.fitting:
            few = len(self.reported) < ENOUGH_VALUES
            return None, "too_few_values" if few else "nothing_fits"
        simplest = min(self.fitting, key=lambda e: (e.count, -self.evidence[id(e)]))
        alike = [e for e in self.fitting if e.count == simplest.count]
        if all(e.distance(simplest) <= IDENTICAL_UM for e in alike) and all(
            any(_holds(e, one) for one in alike) for e in self.fitting
        ):
            if not all(self._shows(simplest, name) for name in simplest.fields):
                return None, "nothing_fits"
            return simplest, "explained" if len(alike) == 1 else "explained_either_way"
        base = self.none.setup
        common = {name: getattr(self.best.setup, name) for name in self.best.fields}
        for one in self.fitting:
            common = {name: value for name, value in common.items() if getattr(one.setup, name) == value}
        common = {name: value for name, value in common.items() if self._shows(self.best, name)}
        if not common:
            return None, "several_fit_alike"
        return self._of(replace(base, **common), self.best.bases), "partly_explained"

    def _of(self, setup: Setup, bases: Mapping[str, Basis]) -> _Trial:
        """What a setup predicts on one basis."""
        return next(one for one in self.search.trials(setup) if one.bases == bases)

    def _shows(self, trial: _Trial, name: str) -> bool:
        """Whether a change of an explanation shows to its full size in the figures."""
        share, error = self._share(trial, name)
        off = abs(share - 1)
        within = min(max(SHOWN_WITHIN, SHOWN_ERRORS * error), SHOWN_AT_MOST)
        return error <= LARGEST_ERROR and off <= within

    def _share(self, trial: _Trial, name: str) -> tuple[float, float]:
        """Share of a change that shows beside the other changes of an explanation, and its error."""
        without = replace(trial.setup, **{name: getattr(self.none.setup, name)})
        other = self._of(without, trial.bases)
        residual = self.reported - other.values
        likely = self.scatter.likely(self.reported - trial.values)
        return self.scatter.share_shown(trial.values - other.values, residual, likely)

    def _names(self, trial: _Trial | None) -> tuple[Setup, ...]:
        """Setups that differ in how flanks and teeth are named and cannot be told apart."""
        base = self.none.setup if trial is None else trial.setup
        best: dict[tuple[object, ...], _Trial] = {}
        for one in self.fitting:
            best.setdefault(tuple(getattr(one.setup, name) for name in IDENTIFYING[:4]), one)
        given = tuple(getattr(base, name) for name in IDENTIFYING[:4])
        if given in best:
            level = self.evidence[id(best[given])]
            best = {k: e for k, e in best.items() if k == given or self.evidence[id(e)] > level + PREFERRED}
        return tuple(e.setup for e in best.values()) if len(best) > 1 else ()

    def _explanation(self, trial: _Trial, best: _Trial) -> Explanation:
        distance = trial.distance(best)
        return Explanation(
            changes=setting_changes(self.none.setup, trial.setup),
            rms_before_um=self.none.rms,
            rms_after_um=trial.rms,
            equivalent=trial is not best and distance <= SAME_UM,
            same_predictions=trial is not best and distance <= IDENTICAL_UM,
            sentence=changes_text(self.none.setup, trial.setup),
        )


def _rounding_step(reported: Array, digits: Array) -> float:
    """Step on which all reported values lie. [um]"""
    for step in sorted(ROUNDING_STEPS_UM, reverse=True):
        if np.all(np.abs(reported / step - np.round(reported / step)) < ON_STEP):
            return max(step, float(digits.max()))
    return float(digits.max())


def _holds(entry: _Trial, part: _Trial) -> bool:
    """Whether an explanation holds all changes of another."""
    return all(getattr(entry.setup, name) == getattr(part.setup, name) for name in part.fields)


def _adds_nothing(entry: _Trial, best: _Trial) -> bool:
    """The best explanation with one more change that nobody can see."""
    return entry.count > best.count and _holds(entry, best) and entry.distance(best) <= SAME_UM

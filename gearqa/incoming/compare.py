"""Compares reported values with measured gears and explains the difference.

No lot is decided here: `conclude` takes the decisions from outside.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from gearqa.arrays import Array
from gearqa.incoming.explanations import Explained, explain
from gearqa.incoming.predictions import Predictor, chosen, rms
from gearqa.incoming.sides import MeasuredGears, Sides
from gearqa.model.incoming import DifferenceSplit, ExplanationResult, GearAlignment, ReportedTable, Side
from gearqa.model.part import Part
from gearqa.symbols import PARAMETERS


@dataclass(frozen=True, eq=False, slots=True)
class ReportComparison:
    """What raw data give for the reported values, before any lot is decided."""

    sides: Sides
    found: Array
    """By our settings, NaN where nothing was found. [um], shape (values,)"""
    explained: Explained
    unsigned: frozenset[str] = frozenset()
    """Parameters whose slopes were reported without sign."""
    follows_from_theirs: bool = False
    """The report follows from the supplier's own raw data."""

    def compared(self, rows: Sequence[int]) -> Array:
        """Reported values of some rows, magnitudes where those are compared. [um]"""
        values = [self.sides.values[row] for row in rows]
        return np.array([abs(v.value_um) if v.parameter in self.unsigned else v.value_um for v in values])


def compare_report(
    report: ReportedTable,
    part: Part,
    *,
    ours: MeasuredGears | None = None,
    theirs: MeasuredGears | None = None,
) -> ReportComparison:
    """Compare reported values with our gears, or the supplier's raw data, and explain the difference."""
    sides = Sides.of(report, part, ours, theirs)
    data = sides.compared
    if data is None or not sides.partner:
        none = ExplanationResult(None, "no_raw_data", None, 0, None, (), True, 0)
        nothing = np.full(len(sides.values), np.nan)
        return ReportComparison(sides, nothing, Explained(none, nothing, {}))
    side: Side = "ours" if sides.ours is not None else "theirs"
    base = data.setup(part)
    plain, _ = sides.predictor(side)
    unsigned = _unsigned(plain, plain.predict(base).worst)
    explained, follows = _explained(sides, unsigned)
    settled, rows = sides.predictor(side, unsigned, explained.bases)
    reported = np.array([target.reported_um for target in settled.targets])
    values = chosen(settled.predict(base), settled.targets, reported, explained.bases)
    return ReportComparison(sides, sides.over_all(values, rows), explained, unsigned, follows)


def difference_split(
    comparison: ReportComparison, alignments: Sequence[GearAlignment]
) -> DifferenceSplit | None:
    """What their evaluation adds to their traces, and what their traces differ from ours.

    Values are laid over each other by the names of flanks that the pitch curves show.
    """
    sides, unsigned = comparison.sides, comparison.unsigned
    if sides.ours is None or sides.theirs is None:
        return None
    predicted = []
    both_sides: tuple[tuple[Side, MeasuredGears], ...] = (("ours", sides.ours), ("theirs", sides.theirs))
    turned = [one.flanks_swapped for one in alignments if one.same and one.flanks_swapped is not None]
    for side, data in both_sides:
        predictor, rows = sides.predictor(side, unsigned, comparison.explained.bases)
        setup = data.setup(sides.part)
        if side == "ours":
            setup = replace(setup, swapped=bool(turned) and all(turned))
        reported = comparison.compared(rows)
        values = chosen(predictor.predict(setup), predictor.targets, reported, {})
        predicted.append(sides.over_all(values, rows))
    ours, theirs = predicted
    evaluation, measurement = comparison.compared(range(len(sides.values))) - theirs, theirs - ours
    both = np.isfinite(evaluation) & np.isfinite(measurement)
    if not both.any():
        return None
    return DifferenceSplit(int(both.sum()), rms(evaluation[both]) or 0.0, rms(measurement[both]) or 0.0)


def _explained(sides: Sides, unsigned: frozenset[str]) -> tuple[Explained, bool]:
    """The explanation from the supplier's raw data, from ours where those explain nothing.

    Also whether the report follows from the supplier's raw data as they are.
    """
    first: Explained | None = None
    named = {value.serial for value in sides.values}
    if sides.theirs is not None and named & set(sides.theirs.places()):
        first = _explained_by(sides, "theirs", unsigned)
    follows = first is not None and first.result.reason == "no_difference"
    if first is not None and (first.result.explained or sides.ours is None):
        return first, follows
    return _explained_by(sides, "ours", unsigned), follows


def _explained_by(sides: Sides, side: Side, unsigned: frozenset[str]) -> Explained:
    """The explanation from one side's raw data, spread over all values."""
    data = sides.ours if side == "ours" else sides.theirs
    assert data is not None
    predictor, rows = sides.predictor(side, unsigned)
    outcome = explain(predictor, data.setup(sides.part), side)
    return replace(outcome, after=sides.over_all(outcome.after, rows))


def _unsigned(predictor: Predictor, found: Array) -> frozenset[str]:
    """Slopes that were reported without sign: never negative, although ours are."""
    keys = set()
    for key in {one.parameter for one in predictor.targets}:
        if not PARAMETERS[key].signed:
            continue
        own = [place for place, one in enumerate(predictor.targets) if one.parameter == key]
        reported = [predictor.targets[place].reported_um for place in own]
        ours = [found[place] for place in own if np.isfinite(found[place])]
        if ours and min(reported) >= 0 and min(ours) < -predictor.targets[own[0]].digit_um:
            keys.add(key)
    return frozenset(keys)

"""Compares reported values with measured gears: explanation, values, agreement, the same gears or not.

No lot is decided here: `conclude` takes the decisions from outside.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from gearqa.arrays import Array
from gearqa.evaluation.criteria import criteria_of
from gearqa.incoming.alignment import align, same_gears
from gearqa.incoming.compared_values import Meaning, compared_values
from gearqa.incoming.editions import Edition, editions_of
from gearqa.incoming.explanations import ENOUGH_VALUES, Explained, explain
from gearqa.incoming.predictions import Predictor, chosen
from gearqa.incoming.report_agreement import agreements
from gearqa.incoming.sides import MeasuredGears, Sides
from gearqa.model.incoming import (
    SAME_UM,
    Agreement,
    Basis,
    ComparedValue,
    Comparison,
    CurvePair,
    ExplanationResult,
    GearAlignment,
    PlaceKey,
    ReportedTable,
    Side,
)
from gearqa.model.part import Part
from gearqa.symbols import PARAMETERS

DIGIT_OF_REPEATS_UM: Final = 0.1
"""Only values typed at least so finely can tell the same data from a second measurement."""


@dataclass(frozen=True, eq=False, slots=True)
class ReportComparison:
    """What a comparison found, before any lot is decided."""

    sides: Sides
    editions: Mapping[str, Edition]
    unsigned: frozenset[str]
    """Parameters whose slopes were reported without sign."""
    bases: Mapping[str, Basis]
    """By parameter, where the table does not say and the values tell."""
    explanation: ExplanationResult
    follows_from_theirs: bool
    """The report follows from the supplier's own raw data."""
    kind: Comparison | None
    kind_reason: str
    rows: tuple[ComparedValue, ...]
    agreement: Mapping[str, Mapping[PlaceKey, Agreement]]
    agreement_explained: Mapping[str, Mapping[PlaceKey, Agreement]]
    alignments: tuple[GearAlignment, ...]
    curves: tuple[CurvePair, ...]
    same_gears: bool | None
    same_gears_reason: str


def compare_report(
    report: ReportedTable,
    part: Part,
    *,
    ours: MeasuredGears | None = None,
    theirs: MeasuredGears | None = None,
) -> ReportComparison:
    """Compare reported values with our gears and the supplier's raw data, and explain the difference."""
    sides = Sides.of(report, part, ours, theirs)
    criteria, editions = criteria_of(part), editions_of(part)
    found = _found(sides)
    explained = found.explained
    alignments, curves = _aligned(sides)
    kind, kind_reason = _kind(sides, explained.result, alignments)
    same, same_reason = same_gears(alignments)
    rows = compared_values(
        sides, Meaning.of(explained, alignments, part.gear.teeth), criteria, editions,
        found_um=found.values, explained_um=explained.after, bases=explained.bases, unsigned=found.unsigned,
        measured_again=kind == "re-measured",
    )  # fmt: skip
    return ReportComparison(
        sides=sides,
        editions=editions,
        unsigned=found.unsigned,
        bases=explained.bases,
        explanation=explained.result,
        follows_from_theirs=found.follows_from_theirs,
        kind=kind,
        kind_reason=kind_reason,
        rows=rows,
        agreement=agreements(rows, criteria),
        agreement_explained=agreements(_against_explained(rows), criteria),
        alignments=alignments,
        curves=curves,
        same_gears=same,
        same_gears_reason=same_reason,
    )


@dataclass(frozen=True, eq=False, slots=True)
class _Found:
    """What the raw data give for the reported values."""

    unsigned: frozenset[str]
    values: Array
    """By our settings, NaN where nothing was found. [um], shape (values,)"""
    explained: Explained
    follows_from_theirs: bool


def _found(sides: Sides) -> _Found:
    data = sides.compared
    if data is None or not sides.partner:
        none = ExplanationResult(None, "no_raw_data", None, 0, None, (), True, 0)
        nothing = np.full(len(sides.values), np.nan)
        return _Found(frozenset(), nothing, Explained(none, nothing, {}), follows_from_theirs=False)
    side: Side = "ours" if sides.ours is not None else "theirs"
    base = data.setup(sides.part)
    plain, _ = sides.predictor(side)
    unsigned = _unsigned(plain, plain.predict(base).worst)
    explained, follows = _explained(sides, unsigned)
    settled, rows = sides.predictor(side, unsigned, explained.bases)
    reported = np.array([target.reported_um for target in settled.targets])
    values, _ = chosen(settled.predict(base), settled.targets, reported)
    return _Found(unsigned, sides.over_all(values, rows), explained, follows)


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


def _aligned(sides: Sides) -> tuple[tuple[GearAlignment, ...], tuple[CurvePair, ...]]:
    if sides.ours is None or sides.theirs is None:
        return (), ()
    theirs = {gear.serial: gear for gear in sides.theirs.gears}
    ours = {gear.serial: gear for gear in sides.ours.gears}
    partner = {serial: name for serial, name in sides.partner.items() if serial in theirs}
    gear = sides.part.gear
    return align(theirs, ours, partner, gear.teeth, gear.face_width_mm)


def _kind(
    sides: Sides, explanation: ExplanationResult, alignments: Sequence[GearAlignment]
) -> tuple[Comparison | None, str]:
    """Whether both sides hold one measurement or two, and why, as a stable code."""
    if not sides.partner:
        return None, "nothing_measured"
    if sides.ours is None:
        return "same data", "their_data_only"
    if alignments:
        identical = all(one.identical for one in alignments)
        return ("same data", "identical_curves") if identical else ("re-measured", "values_differ")
    left = explanation.rms_before_um
    if explanation.explained and explanation.explanations:
        left = explanation.explanations[0].rms_after_um
    fine = max(sides.digits.values(), default=1.0) <= DIGIT_OF_REPEATS_UM
    if left is not None and left <= SAME_UM and explanation.n >= ENOUGH_VALUES and fine:
        return "same data", "agrees_to_the_digit"
    return "re-measured", "values_differ"


def _against_explained(rows: Sequence[ComparedValue]) -> tuple[ComparedValue, ...]:
    """Rows with the prediction of the best explanation in place of the found value."""
    return tuple(
        replace(row, found_um=row.explained_um, difference_um=row.compared_um - row.explained_um)
        for row in rows
        if row.explained_um is not None
    )

"""The result of an incoming check: a comparison, the same gears or not, and the lots decided on it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Final

from gearqa.evaluation.criteria import criteria_of
from gearqa.incoming.alignment import align, same_gears
from gearqa.incoming.biases import biases_of
from gearqa.incoming.compare import ReportComparison, difference_split
from gearqa.incoming.compared_values import compared_values
from gearqa.incoming.editions import editions_of
from gearqa.incoming.explanations import ENOUGH_VALUES
from gearqa.incoming.gear_claims import lot_claim
from gearqa.incoming.plausibility.questions import plausibility
from gearqa.incoming.reasons import reasons_of
from gearqa.incoming.report_agreement import agreements
from gearqa.incoming.report_cautions import cautions_of
from gearqa.incoming.sides import Sides
from gearqa.incoming.verdict import agreed
from gearqa.model.incoming import (
    SAME_UM,
    AlignedCurves,
    ComparedValue,
    Comparison,
    DecideOn,
    ExplanationResult,
    GearAlignment,
    IncomingResult,
    Side,
)
from gearqa.model.lot import LotDecision, LotResult
from gearqa.model.measurement import InputFile

DIGIT_OF_REPEATS_UM: Final = 0.1
"""Only values typed at least so finely can tell the same data from a second measurement."""
_STRICTER: Final[Mapping[LotDecision, int]] = {"release": 0, "hold": 1, "reject": 2}


def conclude(
    comparison: ReportComparison,
    lots: Mapping[Side, LotResult],
    *,
    decided_on: DecideOn,
    supplier: str = "",
    inputs: Sequence[InputFile] = (),
) -> IncomingResult:
    """Put comparison and lot decisions together; of two decisions the stricter one counts."""
    sides, explanation = comparison.sides, comparison.explained.result
    part, measured = sides.part, [side for side in (sides.ours, sides.theirs) if side is not None]
    criteria, editions = criteria_of(part), editions_of(part)
    alignments, curves = _aligned(sides)
    kind, kind_reason = _kind(sides, explanation, alignments)
    same, same_reason = same_gears(alignments)
    rows, by_gear = compared_values(
        comparison, alignments, criteria, editions, measured_again=kind == "re-measured"
    )
    verdict = agreed(rows, measured=sides.ours is not None, same_gears=same)
    notices = (*sides.report.notices, *(one for side in measured for one in side.notices))
    result = IncomingResult(
        supplier=supplier,
        part=part.part.model_dump(),
        standard=part.tolerance.standard,
        inputs=(sides.report.file, *inputs, *(file for side in measured for file in side.inputs)),
        simulated=sides.report.simulated or any(side.simulated for side in measured),
        measured=sides.ours is not None,
        comparison=kind,
        comparison_reason=kind_reason,
        verdict=verdict.verdict,
        verdict_reason=verdict.reason,
        values_judged=verdict.judged,
        values_beyond=verdict.beyond,
        values_beyond_allowed=verdict.allowed,
        gear_claims=by_gear,
        lot_claim=lot_claim(by_gear),
        biases=biases_of(rows, _instruments(sides)),
        split=difference_split(comparison, alignments),
        rows=rows,
        agreement=agreements(rows, criteria),
        agreement_explained=agreements(_against_explained(rows), criteria),
        explanation=explanation,
        same_gears=same,
        same_gears_reason=same_reason,
        alignments=alignments,
        curves=curves,
        decision=max((lot.decision for lot in lots.values()), key=lambda one: _STRICTER[one]),
        decided_on=decided_on,
        lots=lots,
        reasons=(),
        unmatched=sides.unmatched(),
        not_reported=sides.not_reported(),
        cautions=(),
        plausibility=plausibility(sides.values, part, editions, sides.digits),
        warnings=tuple(dict.fromkeys(notices)),
    )
    cautions = tuple(cautions_of(result, comparison, editions))
    return replace(result, reasons=tuple(reasons_of(result)), cautions=cautions)


def _aligned(sides: Sides) -> tuple[tuple[GearAlignment, ...], tuple[AlignedCurves, ...]]:
    if sides.ours is None or sides.theirs is None:
        return (), ()
    theirs = {gear.serial: gear for gear in sides.theirs.gears}
    ours = {gear.serial: gear for gear in sides.ours.gears}
    partner = {serial: name for serial, name in sides.partner.items() if serial in theirs}
    gear = sides.part.gear
    return align(theirs, ours, partner, gear.teeth, gear.face_width_mm)


def _instruments(sides: Sides) -> dict[str, str | None]:
    """Our instrument, by reported serial."""
    return {
        serial: gear.production.instrument if gear.production else None
        for serial, gear in sides.gears_by_serial().items()
    }


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

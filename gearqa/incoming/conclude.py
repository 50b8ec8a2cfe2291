"""The result of an incoming check: a comparison, and the lots decided on it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Final

from gearqa.incoming.compare import ReportComparison
from gearqa.incoming.reasons import reasons_of
from gearqa.incoming.report_cautions import cautions_of
from gearqa.model.incoming import DecideOn, IncomingResult, Side
from gearqa.model.lot import LotDecision, LotResult
from gearqa.model.measurement import InputFile

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
    sides = comparison.sides
    measured = [side for side in (sides.ours, sides.theirs) if side is not None]
    result = IncomingResult(
        supplier=supplier,
        part=sides.part.part.model_dump(),
        standard=sides.part.tolerance.standard,
        inputs=(sides.report.file, *inputs, *(file for side in measured for file in side.inputs)),
        simulated=sides.report.simulated or any(side.simulated for side in measured),
        measured=sides.ours is not None,
        comparison=comparison.kind,
        comparison_reason=comparison.kind_reason,
        rows=comparison.rows,
        agreement=comparison.agreement,
        agreement_explained=comparison.agreement_explained,
        explanation=comparison.explanation,
        same_gears=comparison.same_gears,
        same_gears_reason=comparison.same_gears_reason,
        alignments=comparison.alignments,
        curves=comparison.curves,
        decision=max((lot.decision for lot in lots.values()), key=lambda one: _STRICTER[one]),
        decided_on=decided_on,
        lots=lots,
        reasons=(),
        unmatched=sides.unmatched(),
        not_reported=sides.not_reported(),
        cautions=tuple(cautions_of(comparison)),
        warnings=tuple(
            dict.fromkeys((*sides.report.notices, *(one for side in measured for one in side.notices)))
        ),
    )
    return replace(result, reasons=tuple(reasons_of(result)))

"""A diagnosis on the terminal."""

from __future__ import annotations

from gearqa.model.diagnosis import DiagnosisResult, GearDiagnosis, LotDiagnosis
from gearqa.report.blocks import document as doc
from gearqa.report.diagnosis.words import (
    causes_table,
    changes_list,
    components_table,
    corrections_table,
    doubts_list,
    hidden_list,
    ladder_table,
    recorded_list,
    shared_list,
    stroke_table,
    summary_rows,
    title,
    verdict,
)
from gearqa.wording.safety import CAUTIONS


def diagnosis_blocks(result: DiagnosisResult, *, wide: bool) -> list[doc.Block]:
    """What `gearqa diagnose` prints: the lot, or the one gear."""
    blocks = [*doc.banner(result.simulated), doc.Paragraph(title(result), "lead")]
    one: GearDiagnosis | LotDiagnosis = result.gears[0] if len(result.gears) == 1 else result.lot
    if len(result.gears) > 1:
        blocks.append(summary_rows(result))
    blocks += [
        *doubts_list(result.gears),
        verdict(one),
        components_table(one.components, wide=wide),
        *(shared_list(one.shared_by) if isinstance(one, LotDiagnosis) else ()),
        ladder_table(one.ladder),
    ]
    if one.corrections:
        blocks.append(corrections_table(one.corrections, one.corrected))
    blocks += [*recorded_list(result.recorded), *changes_list(result.changes), *stroke_table(result.stroke)]
    if one.causes and wide:
        blocks.append(causes_table(one.causes))
    if one.not_identifiable:
        blocks += [doc.Paragraph("Cannot be told from these measurements"), hidden_list(one.not_identifiable)]
    return [*blocks, doc.Cautions(CAUTIONS)]

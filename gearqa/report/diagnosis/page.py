"""A diagnosis as page and PDF: the lot first, then a sheet a gear."""

from __future__ import annotations

from gearqa.model.diagnosis import DiagnosisResult, GearDiagnosis, LotDiagnosis
from gearqa.report.blocks import document as doc
from gearqa.report.blocks.inputs import inputs_table
from gearqa.report.diagnosis.figures import gear_figures, ladder_chart, share_chart
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
from gearqa.version import __version__
from gearqa.wording.safety import CAUTIONS

MOST_SHEETS = 20
"""Gears that get a sheet of their own."""


def diagnosis_document(result: DiagnosisResult) -> doc.Document:
    """The printed page."""
    name, master = title(result), result.master_quality.class_
    if len(result.gears) == 1:
        gear = result.gears[0]
        sections = [*_sections(gear, "result", master), _foot(result)]
        return _document(result, name, (doc.Sheet(name, tuple(sections), id="diagnosis"),))
    first = [
        doc.Section("", (summary_rows(result), *doubts_list(result.gears)), id="gears"),
        *_sections(result.lot, "lot", master),
        _foot(result),
    ]
    sheets = [doc.Sheet(name, tuple(first), id="diagnosis")]
    worst = sorted(result.gears, key=lambda gear: -(gear.ladder[0].class_exact or 0.0))[:MOST_SHEETS]
    for number, gear in enumerate(worst, 1):
        sheets.append(
            doc.Sheet(
                f"Gear {gear.serial}", tuple(_sections(gear, f"gear-{number}", master)), id=f"sheet-{number}"
            )
        )
    return _document(result, name, tuple(sheets))


def _document(result: DiagnosisResult, name: str, sheets: tuple[doc.Sheet, ...]) -> doc.Document:
    return doc.Document(
        name, name, f"gearqa {__version__}", sheets, simulated=result.simulated, keywords=("diagnosis",)
    )


def _sections(one: GearDiagnosis | LotDiagnosis, name: str, master: int) -> list[doc.Section]:
    blocks: list[doc.Block] = [verdict(one), components_table(one.components), ladder_table(one.ladder)]
    if isinstance(one, GearDiagnosis):
        blocks = [*doubts_list([one]), *blocks]
        blocks += gear_figures(one, master)
    else:
        blocks[2:2] = shared_list(one.shared_by)
        blocks += [*share_chart(one), *ladder_chart(one, master)]
    sections = [doc.Section("", tuple(blocks), id=name)]
    if one.corrections:
        sections.append(
            doc.Section("", (corrections_table(one.corrections, one.corrected),), id=f"{name}-corrections")
        )
    if one.causes:
        sections.append(doc.Section("", (causes_table(one.causes),), id=f"{name}-causes"))
    if one.not_identifiable:
        blocks = [hidden_list(one.not_identifiable)]
        sections.append(
            doc.Section("Cannot be told from these measurements", tuple(blocks), id=f"{name}-hidden")
        )
    return sections


def _foot(result: DiagnosisResult) -> doc.Section:
    signature = doc.Signature(("Studied by", "Checked by the setter"))
    known = [
        *recorded_list(result.recorded),
        *changes_list(result.changes),
        *stroke_table(result.stroke),
        inputs_table(result.inputs),
    ]
    return doc.Section("", (*known, doc.Cautions(CAUTIONS), signature))

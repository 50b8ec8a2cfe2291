"""A diagnosis as JSON."""

from __future__ import annotations

from typing import Final

from gearqa.model.diagnosis import DiagnosisResult, GearDiagnosis
from gearqa.results.document import ResultDocument
from gearqa.results.entries import names_of

DIAGNOSIS: Final = ResultDocument(
    "gearqa.diagnose/1",
    "gearqa diagnosis: components of the deviations, what the class would be without them, corrections",
    DiagnosisResult,
    {GearDiagnosis: names_of(GearDiagnosis, "views")},
)

"""Tolerances of a gear as JSON."""

from __future__ import annotations

from typing import Final

from gearqa.model.tolerances import ToleranceComparison, ToleranceTable
from gearqa.results.codec import Table
from gearqa.results.document import ResultDocument
from gearqa.symbols import GRADABLE

TOLERANCES: Final = ResultDocument(
    "gearqa.tolerances/1",
    "Rounded tolerances of a gear, micrometres; a slope's is its magnitude",
    ToleranceTable,
)
COMPARISON: Final = ResultDocument(
    "gearqa.tolerance_comparison/1",
    "Rounded tolerances of a gear in all systems; classes of different systems are not the same",
    ToleranceComparison,
)


def tolerances_json_schema() -> Table:
    """Schema of `tolerances --json`: a row a class, with what the standard has for the gear."""
    from gearqa.results.json_schema import table

    tolerance = {"type": "number", "exclusiveMinimum": 0, "unit": "micrometre"}
    row = table(dict.fromkeys(GRADABLE, tolerance), required=[])
    classes = {
        "type": "object",
        "patternProperties": {"^([0-9]|1[0-2])$": row},
        "additionalProperties": False,
        "minProperties": 1,
    }
    return TOLERANCES.json_schema(classes=classes)

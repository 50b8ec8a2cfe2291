"""The record of a sign-off and its verification as JSON."""

from __future__ import annotations

from typing import Final, get_args

from gearqa.model.record import SUBJECTS, Record, Status, Verification
from gearqa.results.codec import Table
from gearqa.results.document import ResultDocument
from gearqa.results.grade_json import result_json_schema
from gearqa.results.lot_json import lot_json_schema

RECORD: Final = ResultDocument("gearqa.record/1", "gearqa record of a lot sign-off", Record)
ADDED: Final = ("cycle_coverage", "left_out", "risks", "sorted", "sorted_out")
"""Keys of a sign-off that records of versions before 0.3.0 do not have."""
VERIFY: Final = ResultDocument(
    "gearqa.verify/1",
    "gearqa check of a record",
    Verification,
    {Verification: ("lot_id", "digest", "consistent", "subjects", "findings")},
)


def verify_json_schema() -> Table:
    """Schema of `verify --json`."""
    from gearqa.results.json_schema import table

    status = {"enum": list(get_args(Status))}
    return VERIFY.json_schema(subjects=table(dict.fromkeys(SUBJECTS, status)))


def record_json_schema() -> Table:
    """Schema of a record: it holds the grading (but for the summary) and the sign-off whole."""
    from gearqa.results.json_schema import table

    grade, lot = result_json_schema(), lot_json_schema()
    del grade["properties"]["lot"]
    grade["required"].remove("lot")
    lot["required"] = [key for key in lot["required"] if key not in ADDED]
    graded, decided = (table(one["properties"], required=one["required"]) for one in (grade, lot))
    whole = RECORD.json_schema(grade=graded, lot=decided)
    return {**whole, "$defs": {**grade["$defs"], **lot["$defs"]}}

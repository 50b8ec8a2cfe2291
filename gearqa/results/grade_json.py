"""A graded folder as JSON, streamed gear by gear."""

from __future__ import annotations

from dataclasses import fields
from typing import BinaryIO, Final

from gearqa.model.results import (
    FlankResult,
    GearResult,
    GradeHeader,
    GradeResult,
    LotSummary,
    ParameterResult,
    PitchResult,
    TraceResult,
)
from gearqa.results.codec import Table
from gearqa.results.document import ResultDocument
from gearqa.symbols import FLANKS, PARAMETERS

HEADER: Final = tuple(f"{one.name}=header.{one.name}" for one in fields(GradeHeader))
GRADE: Final = ResultDocument(
    "gearqa.result/1", "gearqa grading result", GradeResult, {GradeResult: (*HEADER, "gears", "lot")}
)


class GradeJsonWriter:
    """Writes a grading result to a binary stream while it is being made: one gear a line.

    Memory holds one gear at a time. Call `begin`, then `made` and `take` for each one, then `end`.
    """

    def __init__(self, stream: BinaryIO) -> None:
        self._write = stream.write
        self._separator = b"\n"

    def begin(self, header: GradeHeader) -> None:
        """Write everything before the gears."""
        self._write(GRADE.dumps(GRADE.table(header))[:-1])
        self._write(b',"gears":[')

    def made(self, gear: GearResult) -> bytes:
        """One gear as it is written; another process may make it."""
        return GRADE.dumps(gear)

    def take(self, made: bytes) -> None:
        """Write one gear."""
        self._write(self._separator)
        self._write(made)
        self._separator = b",\n"

    def end(self, lot: LotSummary) -> None:
        """Write the summary and close the document."""
        self._write(b'\n],"lot":')
        self._write(GRADE.dumps(lot))
        self._write(b"}\n")


def result_json_schema() -> Table:
    """Schema of `grade --json`; parameters and traces are definitions."""
    from gearqa.results.json_schema import Schemas, described

    schemas = Schemas(GRADE.views, {GearResult: "gear"})
    return described(GRADE.schema, GRADE.title, schemas.of(GradeResult), definitions())


def definitions() -> Table:
    """Definitions of gears, their traces and every parameter."""
    from gearqa.results.json_schema import Schemas, array, reference, some_of

    schemas = Schemas()
    parameters = some_of({key: reference(key) for key in PARAMETERS})
    found = {
        "gear": schemas.of(GearResult, parameters=parameters, traces=reference("traces")),
        "traces": array({"anyOf": [schemas.of(TraceResult), schemas.of(PitchResult)]}),
    }
    sides = {key: f"{key}_of_a_flank" for key, one in PARAMETERS.items() if one.per_flank}
    for key, one in PARAMETERS.items():
        flanks = some_of(dict.fromkeys(FLANKS, reference(sides[key])) if key in sides else {})
        found[key] = schemas.of(ParameterResult, one.symbol, flanks=flanks)
    for key, name in sides.items():
        found[name] = schemas.of(FlankResult, PARAMETERS[key].symbol)
    return found

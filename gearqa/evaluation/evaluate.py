"""From measurement to grading result: `evaluate`, `grade` and what goes with them.

`gearqa.evaluation` is the only place where core, standards and model meet.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from itertools import islice
from typing import Protocol

from gearqa.errors import Notice
from gearqa.evaluation.gear_result import gear_result
from gearqa.evaluation.lots import LotCounter, grade_header
from gearqa.evaluation.part_setup import PartSetup, setup_of
from gearqa.evaluation.pitch_sets import evaluate_pitch_sets
from gearqa.evaluation.trace_sets import evaluate_trace_sets
from gearqa.model.measurement import GearMeasurement, InputFile
from gearqa.model.part import Part
from gearqa.model.results import GearResult, GradeResult

__all__ = ["GearSource", "LotCounter", "evaluate", "evaluate_with", "grade", "grade_header"]


BATCH_GEARS = 64
"""Gears that are evaluated together."""


class GearSource(Protocol):
    """What `grade` needs of an inspection folder that was read."""

    @property
    def part(self) -> Part:
        """The drawing."""

    @property
    def inputs(self) -> Sequence[InputFile]:
        """Files read and files left out."""

    @property
    def simulated(self) -> bool:
        """Whether any file says that it is simulated."""

    @property
    def notices(self) -> Sequence[Notice]:
        """What the reader noticed about the folder."""

    def __iter__(self) -> Iterator[GearMeasurement]:
        """Measured gears, as first met in the input."""


def evaluate(
    gears: Iterable[GearMeasurement], part: Part, *, batch_gears: int = BATCH_GEARS
) -> Iterator[GearResult]:
    """Grade gears one after another, in their order; `batch_gears` of them are held at once.

    Raises OutOfScopeError for a part outside the range of its tolerance standard and
    EvaluationError for profile traces of a part that names no limits to evaluate them.
    """
    for _, result in evaluate_with(gears, setup_of(part), batch_gears=batch_gears):
        yield result


def evaluate_with(
    gears: Iterable[GearMeasurement], setup: PartSetup, *, batch_gears: int = BATCH_GEARS
) -> Iterator[tuple[GearMeasurement, GearResult]]:
    """Grade gears one after another, each given back with its result."""
    source = iter(gears)
    while batch := list(islice(source, batch_gears)):
        traces = evaluate_trace_sets(batch, setup)
        pitch = evaluate_pitch_sets(batch, setup)
        for gear, of_traces, of_pitch in zip(batch, traces, pitch, strict=True):
            yield gear, gear_result(gear, of_traces, of_pitch, setup)


def grade(inspection: GearSource) -> GradeResult:
    """Grade a whole inspection folder and keep every gear's result."""
    lot = LotCounter()
    gears = []
    for gear in evaluate(inspection, inspection.part):
        lot.add(gear)
        gears.append(gear)
    header = grade_header(inspection.part, inspection.inputs, inspection.simulated, inspection.notices)
    return GradeResult(header, tuple(gears), lot.summary())

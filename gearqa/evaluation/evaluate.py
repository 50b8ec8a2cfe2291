"""From measured gears to a grading result: gear by gear, and counted over the lot.

`gearqa.evaluation` is the only place where core, standards and model meet.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from itertools import islice
from operator import attrgetter
from typing import Final, NamedTuple, Protocol

from gearqa.errors import Notice
from gearqa.evaluation.criteria import all_of
from gearqa.evaluation.gear_result import gear_result
from gearqa.evaluation.part_setup import PartSetup, setup_of
from gearqa.evaluation.pitch_sets import evaluate_pitch_sets
from gearqa.evaluation.trace_sets import evaluate_trace_sets
from gearqa.model.decision_rule import DecisionRuleName, DecisionTable
from gearqa.model.measurement import GearMeasurement, InputFile, Seen
from gearqa.model.part import Part
from gearqa.model.results import (
    GearResult,
    GradeHeader,
    GradeResult,
    LotSummary,
    MasterCriterion,
    State,
)

BATCH_GEARS: Final = 64
"""Gears that are evaluated together."""
DECISION_RULE: Final[DecisionRuleName] = "simple acceptance"
"""Where the part file states no decision rule, or no uncertainty that one could take into account."""


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

    def __len__(self) -> int:
        """How many gears there are."""

    def some(self, places: range) -> Iterator[GearMeasurement]:
        """The gears at some places."""


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
    gears = tuple(evaluate(inspection, inspection.part))
    for gear in gears:
        lot.add(gear)
    header = grade_header(inspection.part, inspection.inputs, inspection.simulated, inspection.notices)
    return GradeResult(header, gears, lot.summary())


class Counted(NamedTuple):
    """What counts of a gear."""

    serial: str
    measurement: str
    conforms: bool | None
    master_quality: bool | None
    state: State
    class_: int | None
    beyond: bool


_counted: Final = attrgetter(*Counted._fields)


def counted(gear: GearResult) -> Counted:
    """What counts of a gear, without the rest."""
    return Counted._make(_counted(gear))


class LotCounter:
    """Counts gears as they are graded, so that none has to be kept; of each serial the first measurement."""

    def __init__(self) -> None:
        self._conforms: dict[bool | None, int] = {True: 0, False: 0, None: 0}
        self._master: dict[bool | None, int] = {True: 0, False: 0, None: 0}
        self._not_proven = 0
        self._worst_class: int | None = None
        self._beyond = 0
        self._seen = Seen()

    def add(self, gear: GearResult | Counted) -> None:
        """Count one gear; measurements of one serial follow each other."""
        if self._seen.again(gear):
            return
        self._conforms[gear.conforms] += 1
        self._master[gear.master_quality] += 1
        self._not_proven += gear.state == "not proven"
        if gear.class_ is not None:
            self._worst_class = max(self._worst_class or 0, gear.class_)
        self._beyond += gear.beyond

    def summary(self) -> LotSummary:
        """Counts so far; the class is the worst gear's, none if a gear is beyond every class."""
        return LotSummary(
            gears=sum(self._conforms.values()),
            conforming=self._conforms[True],
            not_conforming=self._conforms[False],
            undecided=self._conforms[None],
            master_quality=self._master[True],
            master_quality_undecided=self._master[None],
            class_=None if self._beyond else self._worst_class,
            beyond=self._beyond,
            conforms=all_of([verdict for verdict, count in self._conforms.items() if count]),
            reached_master_quality=all_of([verdict for verdict, count in self._master.items() if count]),
            not_proven=self._not_proven,
        )


def grade_header(
    part: Part, inputs: Sequence[InputFile], simulated: bool, notices: Sequence[Notice] = ()
) -> GradeHeader:
    """What is true of the whole inspection, known before the first gear."""
    return GradeHeader(
        standard=part.tolerance.standard,
        part={"number": part.part.number, "name": part.part.name, "revision": part.part.revision},
        inputs=tuple(inputs),
        simulated=simulated,
        decision_rule=part.decision.rule if part.decision and part.uncertainty_um else DECISION_RULE,
        decision_confidence=(part.decision or DecisionTable()).confidence,
        master_quality=MasterCriterion(part.master_quality.class_, part.master_parameters),
        warnings=tuple(notices),
    )

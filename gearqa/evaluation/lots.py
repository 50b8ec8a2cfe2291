"""The lot of gears of one folder: counts and the two answers for the whole job."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from gearqa.errors import Notice
from gearqa.evaluation.criteria import all_of
from gearqa.model.measurement import InputFile
from gearqa.model.part import Part
from gearqa.model.results import GearResult, GradeHeader, LotSummary, MasterCriterion

DECISION_RULE: Final = "simple acceptance"


class LotCounter:
    """Counts gears as they are graded, so that none has to be kept."""

    def __init__(self) -> None:
        self._conforms: dict[bool | None, int] = {True: 0, False: 0, None: 0}
        self._master: dict[bool | None, int] = {True: 0, False: 0, None: 0}
        self._worst_class = 0
        self._beyond = 0

    def add(self, gear: GearResult) -> None:
        """Count one gear."""
        self._conforms[gear.conforms] += 1
        self._master[gear.master_quality] += 1
        self._worst_class = max(self._worst_class, gear.class_ or 0)
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
            class_=None if self._beyond else self._worst_class or None,
            beyond=self._beyond,
            conforms=all_of([verdict for verdict, count in self._conforms.items() if count]),
            reached_master_quality=all_of([verdict for verdict, count in self._master.items() if count]),
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
        decision_rule=DECISION_RULE,
        master_quality=MasterCriterion(part.master_quality.class_, part.master_parameters),
        warnings=tuple(notices),
    )

"""One PDF a gear in a folder, drawn and typeset by as many workers as pay."""

from __future__ import annotations

from collections import deque
from contextlib import ExitStack
from dataclasses import dataclass
from typing import TYPE_CHECKING, BinaryIO, Literal

from gearqa.jobs.spread import Promise, crew
from gearqa.model.measurement import measured_name

if TYPE_CHECKING:
    from gearqa.evaluation.part_setup import PartSetup
    from gearqa.jobs.grade import GradedGear, TakenApart
    from gearqa.model.measurement import GearMeasurement
    from gearqa.model.part import Part
    from gearqa.model.results import GearResult, GradeHeader, LotSummary
    from gearqa.results.outputs import Outputs

Paper = Literal["a4", "letter"]


_latest: list[tuple[Part, PartSetup, TakenApart]] = []


@dataclass(frozen=True, slots=True)
class _Sheet:
    """All that one sheet is made of; can be sent to another process."""

    header: GradeHeader
    part: Part
    measured: GearMeasurement
    result: GearResult
    paper: Paper


def sheet_bytes(sheet: _Sheet) -> bytes:
    """The PDF of one gear."""
    from gearqa.jobs.grade import GradedGear
    from gearqa.report.grading.page import gear_document
    from gearqa.report.render.pdf import pdf_bytes

    curves = GradedGear(sheet.measured, sheet.result, *_of_part(sheet.part)).curves
    return pdf_bytes(gear_document(sheet.header, sheet.result, curves, part=sheet.part), sheet.paper)


def _of_part(part: Part) -> tuple[PartSetup, TakenApart]:
    """What all gears of a part share, kept from sheet to sheet; each sheet stands alone, so that every gear
    may be taken apart."""
    from gearqa.evaluation.part_setup import setup_of
    from gearqa.jobs.grade import TakenApart

    if not _latest or _latest[0][0] != part:
        setup = setup_of(part)
        _latest[:] = [(part, setup, TakenApart(setup, None))]
    return _latest[0][1:]


class SheetFolder:
    """Takes graded gears and writes their sheets."""

    shared = False

    def __init__(
        self,
        outputs: Outputs,
        folder: str,
        paper: Paper,
        stack: ExitStack,
        workers: int | None,
        scheduler: str | None,
    ) -> None:
        self._outputs, self._paper = outputs, paper
        self._folder = outputs.folder(folder)
        self._setting: deque[tuple[BinaryIO, Promise]] = deque()
        self._crew = stack.enter_context(crew(sheet_bytes, workers, scheduler))

    def begin(self, header: GradeHeader, part: Part) -> None:
        """Before the first gear."""
        from gearqa.report.grading.page import FileNames

        self._header, self._part, self._names = header, part, FileNames()

    def made(self, gear: GradedGear) -> GradedGear:
        """The gear itself: its sheet is made by workers of its own."""
        return gear

    def take(self, gear: GradedGear) -> None:
        """One gear."""
        name = f"{self._names.next(measured_name(gear.result.serial, gear.result.measurement))}.pdf"
        stream = self._outputs.open(str(self._folder / name), "PDF")
        sheet = _Sheet(self._header, self._part, gear.measured, gear.result, self._paper)
        self._setting.append((stream, self._crew.submit(sheet)))
        while self._setting and (self._setting[0][1].done() or len(self._setting) >= self._crew.most):
            self._finish_one()

    def _finish_one(self) -> None:
        stream, done = self._setting.popleft()
        stream.write(done.result())
        self._outputs.close(stream)

    def end(self, lot: LotSummary) -> None:
        """After the last gear."""
        del lot
        while self._setting:
            self._finish_one()

"""The first page of a lot: all gears, their values against the limits, the worst, ways to each sheet."""

from __future__ import annotations

import heapq
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from gearqa.model.results import LotSummary
from gearqa.report.blocks import document as doc
from gearqa.report.blocks.verdicts import conformity_cell
from gearqa.report.grading.gear_sheet import (
    ROLES,
    SHORT,
    cautions,
    document_of,
    folder_warnings,
    gear_id,
    gear_sheet,
    input_files,
    sheet_facts,
)
from gearqa.report.grading.lot_figures import LotValues
from gearqa.report.grading.lot_words import GearRow, LotCollector, lot_verdict, not_all_note
from gearqa.report.grading.notes import decision_line
from gearqa.report.grading.sheet_job import SheetChoice, SheetGear, SheetJob
from gearqa.report.grading.values import INCOMPLETE_NOTE, shown_value
from gearqa.symbols import PARAMETERS
from gearqa.wording.numbers import DASH, count_text, percent_text
from gearqa.wording.verdicts import MASTER_QUALITY
from gearqa.wording.visible import clip

WORST_ROWS = 10
"""Gears in the table of the worst."""
MOST_ALL = 100
"""Gears of a lot that all get a sheet with the choice "auto"; of more only the worst do."""
MOST_ROWS = 1000
"""Gears that the table of a lot lists."""
LONG_SERIAL = 16
"""Characters of a serial from which its column may be broken."""
LOT_ID = "lot"


@dataclass(slots=True)
class LotSheets:
    """What stays of the gears while they stream by."""

    job: SheetJob
    choice: SheetChoice
    most: int
    """Gears that get a sheet where only the worst do."""
    words: LotCollector = field(default_factory=LotCollector)
    rows: list[GearRow] = field(default_factory=list)
    values: list[dict[str, tuple[str, bool]]] = field(default_factory=list)
    """Per gear: key -> printed value, fails."""
    spread: LotValues = field(default_factory=LotValues)
    sheets: dict[int, doc.Sheet] = field(default_factory=dict)
    _heap: list[tuple[tuple[int, float, int], int, SheetGear]] = field(default_factory=list)
    """The worst gears so far, the least bad first."""

    def add(self, number: int, gear: SheetGear) -> None:
        """Take in one gear."""
        result = gear.result
        row = self.words.add(result)
        self.rows.append(row)
        self.values.append(
            {
                key: (shown_value(key, one, one.master_tolerance_um), one.conforms is False)
                for key, one in result.parameters.items()
                if one.conforms is not None or one.master_tolerance_um is not None
            }
        )
        self.spread.add(result)
        if self.choice == "all" or (self.choice == "auto" and number <= MOST_ALL):
            self.sheets[number] = self._sheet(gear, number)
        elif self.choice == "auto" and number == MOST_ALL + 1:
            self.sheets.clear()
        if self.choice in ("auto", "worst") and self.most > 0:
            heapq.heappush(self._heap, (row.badness, number, gear))
            if len(self._heap) > self.most:
                heapq.heappop(self._heap)

    def _sheet(self, gear: SheetGear, number: int) -> doc.Sheet:
        title = f"Gear {clip(gear.result.serial, SHORT)}"
        return gear_sheet(self.job, gear, number, title=title, alone=False)

    def document(self, lot: LotSummary) -> doc.Document:
        """The lot's page and the sheets, in the order of the input."""
        for _, number, gear in self._heap:
            if number not in self.sheets and (self.choice == "worst" or len(self.rows) > MOST_ALL):
                self.sheets[number] = self._sheet(gear, number)
        self._heap.clear()
        ranked = sorted(self.rows, key=lambda row: row.badness, reverse=True)
        sheets = []
        for number in sorted(self.sheets):
            sheet = self.sheets[number]
            if ranked and number == ranked[0].place:
                sheet = replace(sheet, worst=True)
            sheets.append(sheet)
        header = self.job.header
        title = f"Inspection report, part {clip(header.part.get('number', DASH), SHORT)}"
        return document_of(header, title, (self._lot_sheet(lot, title, ranked), *sheets))

    def _lot_sheet(self, lot: LotSummary, title: str, ranked: Sequence[GearRow]) -> doc.Sheet:
        header = self.job.header
        graded = tuple(key for key in PARAMETERS if any(key in values for values in self.values))
        sections = [
            doc.Section(
                "",
                (
                    sheet_facts(self.job, None, None, None),
                    lot_verdict(header, lot, self.words),
                    doc.Paragraph(decision_line(header, self.words.near_limit), "note"),
                ),
            ),
            doc.Section("Worst gears", (self._worst_table(ranked[:WORST_ROWS]),)),
            doc.Section("Values against their limits", self.spread.figures()),
            doc.Section("All gears", (self._all_table(ranked, graded),)),
        ]
        if remarks := self.words.warning_lines():
            sections.append(doc.Section("Warnings", (doc.Bullets(tuple(remarks)),)))
        sections += folder_warnings(header.warnings)
        sections += input_files(header)
        sections.append(doc.Section("", (cautions(graded), doc.Signature(ROLES))))
        head = count_text(lot.gears, "gear")
        return doc.Sheet(title=title, sections=tuple(sections), id=LOT_ID, head=head)

    def _serial(self, row: GearRow) -> doc.Text:
        target = gear_id(row.place) if row.place in self.sheets else ""
        return (doc.Span(clip(row.serial, SHORT), target=target),)

    def _gear_column(self) -> doc.Column:
        """Serials; long ones take what room there is, short ones no more than they need."""
        longest = max((len(row.serial) for row in self.rows), default=0)
        return doc.Column("gear", "left", weight=1 if longest > LONG_SERIAL else 0)

    def _worst_table(self, rows: Sequence[GearRow]) -> doc.Table:
        columns = (
            self._gear_column(), doc.Column("class"), doc.Column("parameter", "left"),
            doc.Column("value\nµm"), doc.Column("allowed\nµm"), doc.Column("used"),
            doc.Column("place", "left"), doc.Column("drawing", "left"), doc.Column("master quality", "left"),
        )  # fmt: skip
        body = []
        for row in rows:
            one = row.worst
            cells: tuple[doc.Text, ...] = (DASH,) * 5
            if one is not None:
                cells = (doc.symbol(one.key), one.value, one.allowed, percent_text(one.use), one.place)
            body.append((self._serial(row), row.grade, *cells, *self._words(row)))
        notes = ["Each with the value that uses up most of what is allowed."]
        if 0 < len(self.sheets) < len(self.rows):
            notes.append("Only gears with a link have a sheet with charts in this file.")
        return doc.Table("", columns, tuple(body), notes=tuple(notes))

    @staticmethod
    def _words(row: GearRow) -> tuple[doc.Cell, str]:
        return conformity_cell(row.conforms), MASTER_QUALITY[row.master_quality]

    def _all_table(self, ranked: Sequence[GearRow], keys: Sequence[str]) -> doc.Table:
        """Every gear in the order of the input; of a very large lot the worst, worst first."""
        rows = self.rows if len(self.rows) <= MOST_ROWS else ranked[:MOST_ROWS]
        columns = (
            self._gear_column(), doc.Column("class"), doc.Column("drawing", "left"),
            doc.Column("master\nquality", "left"), *(doc.Column(doc.symbol(key)) for key in keys),
        )  # fmt: skip
        body = []
        for row in rows:
            values, cells = self.values[row.place - 1], []
            for key in keys:
                text, fails = values.get(key, (DASH, False))
                cells.append(doc.Cell(text, "bad") if fails else doc.Cell(text))
            body.append((self._serial(row), row.grade, *self._words(row), *cells))
        notes = ["Values in µm, the worst of both flanks and all traces."]
        if len(rows) < len(self.rows):
            notes.insert(0, not_all_note(len(rows), len(self.rows)))
        if any(row.grade.endswith("*") for row in self.rows):
            notes.append(INCOMPLETE_NOTE)
        return doc.Table("", columns, tuple(body), notes=tuple(notes), dense=True)

"""Inspection reports: one gear's sheet, or a lot's page and its gears' sheets, built gear by gear."""

from __future__ import annotations

import heapq
from collections.abc import Sequence
from dataclasses import replace
from typing import Literal

from gearqa.model.curves import GearCurves
from gearqa.model.measurement import measured_name
from gearqa.model.part import Part
from gearqa.model.results import GearResult, GradeHeader, LotSummary
from gearqa.report.blocks import document as doc
from gearqa.report.blocks.explained import explained
from gearqa.report.blocks.inputs import input_files
from gearqa.report.blocks.section_file import SectionFile
from gearqa.report.blocks.verdicts import conformity_cell
from gearqa.report.grading.gear_sheet import (
    ROLES,
    SHORT,
    cautions,
    document_of,
    folder_warnings,
    gear_id,
    gear_sheet,
    sheet_facts,
)
from gearqa.report.grading.lot_figures import LotValues
from gearqa.report.grading.lot_words import (
    GearRow,
    LotCollector,
    again_lines,
    guarded_lot,
    lot_verdict,
    not_all_note,
    noted,
)
from gearqa.report.grading.notes import decision_line
from gearqa.report.grading.values import INCOMPLETE_NOTE, shown_value
from gearqa.symbols import PARAMETERS
from gearqa.wording.numbers import DASH, count_text, percent_text
from gearqa.wording.verdicts import MASTER_QUALITY
from gearqa.wording.visible import clip

SheetChoice = Literal["auto", "all", "worst", "none"]

WORST_SHEETS = 10
"""Gears that get their charts where only the worst do."""
WORST_ROWS = 10
"""Gears in the table of the worst."""
MOST_ALL = 100
"""Gears of a lot that all get a sheet with the choice "auto"; of more only the worst do."""
MOST_ROWS = 1000
"""Gears that the table of a lot lists."""
LONG_SERIAL = 16
"""Characters of a serial from which its column may be broken."""


def gear_document(header: GradeHeader, result: GearResult, curves: GearCurves, *, part: Part) -> doc.Document:
    """The inspection sheet of one gear.

    Parameters
    ----------
    header : GradeHeader
        What is true of the whole inspection.
    result : GearResult
        The gear, graded.
    curves : GearCurves
        What its charts show.
    part : Part
        The drawing.

    Returns
    -------
    Document
        For `write_html` and `write_pdf`.
    """
    title = f"Inspection sheet, gear {clip(measured_name(result.serial, result.measurement), SHORT)}"
    sheet = gear_sheet(header, part, result, curves, 1, title=title, alone=True)
    return document_of(header, title, (sheet,))


class SheetBuilder:
    """Builds the report of an inspection while gears come in one after another.

    What stays of each gear is its row, its values and, where it gets charts, its finished sheet.

    Parameters
    ----------
    header : GradeHeader
        What is true of the whole inspection.
    part : Part
        The drawing.
    sheets : {"auto", "all", "worst", "none"}
        Which gears of a lot get a sheet with charts; "auto": all of up to 100 gears, of more the worst.
        One gear alone always gets it, except with "none".
    worst : int
        Number of gears where only the worst get a sheet.
    """

    def __init__(
        self, header: GradeHeader, *, part: Part, sheets: SheetChoice = "auto", worst: int = WORST_SHEETS
    ) -> None:
        self._header, self._part = header, part
        self._choice: SheetChoice = sheets
        self._most = worst
        self._only: tuple[GearResult, GearCurves] | None = None
        """The only gear so far: its sheet differs if it stays alone."""
        self._words = LotCollector()
        self._rows: list[GearRow] = []
        self._values: list[dict[str, tuple[str, bool]]] = []
        """Per gear: key -> printed value, fails."""
        self._spread = LotValues()
        self._sheets: dict[int, doc.Sheet] = {}
        self._aside = SectionFile()
        self._heap: list[tuple[tuple[int, float, int], int, GearResult, GearCurves]] = []
        """The worst gears so far, the least bad first."""

    def add(self, result: GearResult, curves: GearCurves) -> None:
        """Take in one gear."""
        if not self._rows and self._only is None:
            self._only = result, curves
            return
        if self._only is not None:
            self._take(*self._only)
            self._only = None
        self._take(result, curves)

    def _take(self, result: GearResult, curves: GearCurves) -> None:
        row = self._words.add(noted(result))
        self._rows.append(row)
        self._values.append(
            {
                key: (shown_value(key, one, one.master_tolerance_um), one.conforms is False)
                for key, one in result.parameters.items()
                if one.conforms is not None or one.master_tolerance_um is not None
            }
        )
        if not row.again:
            self._spread.add(result)
        if self._choice == "all" or (self._choice == "auto" and row.place <= MOST_ALL):
            self._draw(row.place, result, curves)
        elif self._choice == "auto" and row.place == MOST_ALL + 1:
            self._sheets.clear()
        if self._choice in ("auto", "worst") and self._most > 0:
            heapq.heappush(self._heap, (row.badness, row.place, result, curves))
            if len(self._heap) > self._most:
                heapq.heappop(self._heap)

    def _draw(self, number: int, result: GearResult, curves: GearCurves) -> None:
        title = f"Gear {clip(measured_name(result.serial, result.measurement), SHORT)}"
        sheet = gear_sheet(self._header, self._part, result, curves, number, title=title, alone=False)
        self._sheets[number] = replace(sheet, sections=self._aside.put(sheet.sections))

    def document(self, lot: LotSummary) -> doc.Document:
        """The report of all gears taken in; sheets in the order of the input."""
        if self._only is not None:
            if self._choice != "none":
                return gear_document(self._header, *self._only, part=self._part)
            self._take(*self._only)
        for _, number, result, curves in self._heap:
            if number not in self._sheets and (self._choice == "worst" or len(self._rows) > MOST_ALL):
                self._draw(number, result, curves)
        self._heap.clear()
        ranked = sorted(self._rows, key=lambda row: row.badness, reverse=True)
        sheets = [
            replace(sheet, worst=True) if number == ranked[0].place else sheet
            for number, sheet in sorted(self._sheets.items())
        ]
        title = f"Inspection report, part {clip(self._header.part.get('number', DASH), SHORT)}"
        return document_of(self._header, title, (self._lot_sheet(lot, title, ranked), *sheets))

    def _lot_sheet(self, lot: LotSummary, title: str, ranked: Sequence[GearRow]) -> doc.Sheet:
        header, words = self._header, self._words
        graded = tuple(key for key in PARAMETERS if any(key in values for values in self._values))
        sections = [
            doc.Section(
                "",
                (
                    sheet_facts(self._header, self._part),
                    lot_verdict(header, lot, words),
                    doc.Paragraph(decision_line(header, words.near_limit, guarded_lot(words)), "note"),
                ),
            ),
            doc.Section("Worst gears", (self._worst_table(ranked[:WORST_ROWS]),)),
            doc.Section("Values against their limits", self._spread.figures()),
            doc.Section("All gears", (self._all_table(ranked, graded),)),
        ]
        if remarks := [*again_lines(words), *words.warning_lines()]:
            sections.append(doc.Section("Warnings", (doc.Bullets(tuple(remarks)),)))
        told = (*self._words.warnings, *(notice.code for notice in header.warnings))
        sections += [*folder_warnings(header.warnings), *explained(told), *input_files(header.inputs)]
        sections.append(doc.Section("", (cautions(graded), doc.Signature(ROLES))))
        return doc.Sheet(title, tuple(sections), id="lot", head=count_text(lot.gears, "gear"))

    def _serial(self, row: GearRow) -> doc.Text:
        target = gear_id(row.place) if row.place in self._sheets else ""
        return (doc.Span(clip(row.serial, SHORT), target=target),)

    def _gear_column(self) -> doc.Column:
        """Serials; long ones take what room there is, short ones no more than they need."""
        longest = max((len(row.serial) for row in self._rows), default=0)
        return doc.Column("gear", "left", weight=1 if longest > LONG_SERIAL else 0)

    def _worst_table(self, rows: Sequence[GearRow]) -> doc.Table:
        columns = (
            self._gear_column(), doc.Column("drawing", "left"), doc.Column("master quality", "left"),
            doc.Column("class"), doc.Column("parameter", "left"), doc.Column("value\nµm"),
            doc.Column("allowed\nµm"), doc.Column("used"), doc.Column("place", "left"),
        )  # fmt: skip
        body = []
        for row in rows:
            one = row.worst
            cells: tuple[doc.Text, ...] = (DASH,) * 5
            if one is not None:
                cells = (
                    doc.symbol(one.key),
                    one.value,
                    one.allowed,
                    DASH if one.use is None else percent_text(one.use),
                    one.place,
                )
            body.append((self._serial(row), *_verdicts(row), row.grade, *cells))
        notes = ["Each with the value that uses up most of what is allowed."]
        if 0 < len(self._sheets) < len(self._rows):
            notes.append("Only gears with a link have a sheet with charts in this file.")
        return doc.Table("", columns, tuple(body), notes=tuple(notes))

    def _all_table(self, ranked: Sequence[GearRow], keys: Sequence[str]) -> doc.Table:
        """Every gear in the order of the input; of a very large lot the worst, worst first."""
        rows = self._rows if len(self._rows) <= MOST_ROWS else ranked[:MOST_ROWS]
        columns = (
            self._gear_column(), doc.Column("drawing", "left"), doc.Column("master\nquality", "left"),
            doc.Column("class"), *(doc.Column(doc.symbol(key)) for key in keys),
        )  # fmt: skip
        body = []
        for row in rows:
            values, cells = self._values[row.place - 1], []
            for key in keys:
                text, fails = values.get(key, (DASH, False))
                cells.append(doc.Cell(text, "bad") if fails else doc.Cell(text))
            body.append((self._serial(row), *_verdicts(row), row.grade, *cells))
        notes = ["Values in µm, the worst of both flanks and all traces."]
        if len(rows) < len(self._rows):
            notes.insert(0, not_all_note(len(rows), len(self._rows)))
        if any(row.grade.endswith("*") for row in self._rows):
            notes.append(INCOMPLETE_NOTE)
        return doc.Table("", columns, tuple(body), notes=tuple(notes), dense=True)


def _verdicts(row: GearRow) -> tuple[doc.Cell, str]:
    return conformity_cell(row.conforms, row.state), MASTER_QUALITY[row.master_quality]


class FileNames:
    """File names for gears, one after another: safe, and no two alike on any file system.

    >>> names = FileNames()
    >>> names.next("a/b"), names.next("A_B"), names.next("..")
    ('a_b', 'A_B-2', 'gear-3')
    """

    def __init__(self) -> None:
        self._used: set[str] = set()
        self._count = 0

    def next(self, serial: str) -> str:
        """The name for the next gear."""
        self._count += 1
        name = file_name(serial, self._count)
        while name.casefold() in self._used:
            name = f"{name}-{self._count}"
        self._used.add(name.casefold())
        return name


def file_name(serial: str, number: int) -> str:
    """A name that every file system takes, made from a serial.

    >>> file_name("OT-0007", 3), file_name("../a:b", 4), file_name("日本", 5), file_name("CON", 6)
    ('OT-0007', 'a_b', 'gear-5', 'gear-6-CON')
    """
    kept = "".join(c if (c.isascii() and c.isalnum()) or c in "-_." else "_" for c in serial[:SHORT])
    kept = kept.strip("._-")
    stem = kept.split(".", maxsplit=1)[0].upper()
    reserved = stem in {"CON", "PRN", "AUX", "NUL"} or (len(stem) == 4 and stem[:3] in {"COM", "LPT"})
    if not kept:
        return f"gear-{number}"
    return f"gear-{number}-{kept}" if reserved else kept

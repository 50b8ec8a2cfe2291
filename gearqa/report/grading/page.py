"""Inspection reports: one gear's sheet, or a lot's page and its gears' sheets, built gear by gear."""

from __future__ import annotations

from gearqa.model.curves import GearCurves
from gearqa.model.part import Part
from gearqa.model.results import GearResult, GradeHeader, LotSummary
from gearqa.report.blocks import document as doc
from gearqa.report.grading.gear_sheet import SHORT, document_of, gear_sheet
from gearqa.report.grading.lot_sheet import LotSheets
from gearqa.report.grading.sheet_job import SheetChoice, SheetGear, SheetJob
from gearqa.wording.visible import clip

WORST_SHEETS = 10
"""Gears that get their charts where only the worst do."""


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
    title = f"Inspection sheet, gear {clip(result.serial, SHORT)}"
    sheet = gear_sheet(SheetJob(header, part), SheetGear(result, curves), 1, title=title, alone=True)
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
        One gear alone always gets it, but for "none".
    worst : int
        Number of gears where only the worst get a sheet.
    """

    def __init__(
        self, header: GradeHeader, *, part: Part, sheets: SheetChoice = "auto", worst: int = WORST_SHEETS
    ) -> None:
        self._header, self._part = header, part
        self._choice: SheetChoice = sheets
        self._lot = LotSheets(SheetJob(header, part), sheets, worst)
        self._first: SheetGear | None = None
        """The only gear so far: its sheet differs if it stays alone."""
        self._count = 0

    def add(self, result: GearResult, curves: GearCurves) -> None:
        """Take in one gear."""
        self._count += 1
        gear = SheetGear(result, curves)
        if self._count == 1:
            self._first = gear
            return
        if self._first is not None:
            self._lot.add(1, self._first)
            self._first = None
        self._lot.add(self._count, gear)

    def document(self, lot: LotSummary) -> doc.Document:
        """The report of all gears taken in."""
        if self._first is None:
            return self._lot.document(lot)
        if self._choice != "none":
            return gear_document(self._header, *self._first, part=self._part)
        self._lot.add(1, self._first)
        return self._lot.document(lot)


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
        while name.lower() in self._used:
            name = f"{name}-{self._count}"
        self._used.add(name.lower())
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

"""Inspection sheets: grading results -> a document with charts, for one gear or a lot.

Words and digits that the terminal prints too come from `gearqa.report.grading.words`; here they are set
beside charts, in the order in which an inspector reads a sheet.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator

from gearqa.model.part import Part
from gearqa.model.results import GradeHeader, LotSummary
from gearqa.report.blocks import document as doc
from gearqa.report.grading.gear_sheet import SHORT, document_of, gear_sheet
from gearqa.report.grading.lot_sheet import LotSheets
from gearqa.report.grading.sheet_job import GearInput, SheetAids, SheetChoice, SheetJob
from gearqa.wording.visible import clip

__all__ = [
    "GearInput",
    "SheetAids",
    "SheetBuilder",
    "SheetChoice",
    "build_sheets",
    "file_name",
    "gear_document",
    "sheet_documents",
]

Progress = Callable[[int], None]
"""Called with the number of gears done."""
WORST_SHEETS = 10
"""Gears that get their charts where only the worst do."""


def gear_document(
    header: GradeHeader,
    gear: GearInput,
    *,
    part: Part,
    aids: SheetAids,
) -> doc.Document:
    """The inspection sheet of one gear.

    Parameters
    ----------
    header : GradeHeader
        What is true of the whole inspection.
    gear : tuple of GearMeasurement, GearResult and TraceCurves
        One gear: measured, graded, its traces ready to draw.
    part : Part
        The drawing.
    aids : SheetAids
        Numeric helpers.

    Returns
    -------
    Document
        For `write_html` and `write_pdf`.
    """
    serial = clip(gear[1].serial, SHORT)
    title = f"Inspection sheet, gear {serial}"
    sheet = gear_sheet(SheetJob(header, part, aids), gear, 1, title=title, alone=True)
    return document_of(header, title, (sheet,))


def build_sheets(
    header: GradeHeader,
    gears: Iterable[GearInput],
    lot: LotSummary | Callable[[], LotSummary],
    *,
    part: Part,
    aids: SheetAids,
    sheets: SheetChoice = "auto",
    worst: int = WORST_SHEETS,
    progress: Progress | None = None,
) -> doc.Document:
    """The report of an inspection folder: one gear's sheet, or a lot page and the gears' sheets.

    Gears are taken one at a time; what stays of each is its row, its values and, where it gets
    charts, its finished sheet.

    Parameters
    ----------
    header : GradeHeader
        What is true of the whole inspection.
    gears : iterable of (GearMeasurement, GearResult, tuple of TraceCurves)
        Consumed once, in the order of the input.
    lot : LotSummary or callable
        The summary, or a function that gives it once all gears are consumed.
    part : Part
        The drawing.
    aids : SheetAids
        Numeric helpers.
    sheets : {"auto", "all", "worst", "none"}
        Which gears of a lot get a sheet with charts; "auto": all of up to 100 gears, of more the worst.
        One gear alone always gets it, but for "none".
    worst : int
        Number of gears where only the worst get a sheet.
    progress : callable, optional
        Called with the number of gears done.

    Returns
    -------
    Document
        For `write_html` and `write_pdf`.
    """
    seen = SheetBuilder(header, part=part, aids=aids, sheets=sheets, worst=worst)
    for number, gear in enumerate(gears, 1):
        seen.add(gear)
        if progress is not None:
            progress(number)
    return seen.document(lot() if callable(lot) else lot)


class SheetBuilder:
    """Builds the report of `build_sheets` while gears come in one after another.

    Parameters
    ----------
    header : GradeHeader
        What is true of the whole inspection.
    part : Part
        The drawing.
    aids : SheetAids
        Numeric helpers.
    sheets : {"auto", "all", "worst", "none"}
        Which gears get a sheet with charts.
    worst : int
        Number of gears where only the worst get a sheet.
    """

    def __init__(
        self,
        header: GradeHeader,
        *,
        part: Part,
        aids: SheetAids,
        sheets: SheetChoice = "auto",
        worst: int = WORST_SHEETS,
    ) -> None:
        self._job = SheetJob(header, part, aids)
        self._choice: SheetChoice = sheets
        self._lot = LotSheets(self._job, sheets, worst)
        self._first: GearInput | None = None
        """The only gear so far: its sheet differs if it stays alone."""
        self._count = 0

    def add(self, gear: GearInput) -> None:
        """Take in one gear."""
        self._count += 1
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
            job = self._job
            return gear_document(job.header, self._first, part=job.part, aids=job.aids)
        self._lot.add(1, self._first)
        return self._lot.document(lot)


def sheet_documents(
    header: GradeHeader, gears: Iterable[GearInput], *, part: Part, aids: SheetAids
) -> Iterator[tuple[str, doc.Document]]:
    """One document per gear with a file name (without ending) made from its serial, for a folder."""
    names = FileNames()
    for gear in gears:
        yield names.next(gear[1].serial), gear_document(header, gear, part=part, aids=aids)


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

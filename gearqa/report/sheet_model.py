"""Inspection sheets: grading results -> a document with charts, for one gear or a lot.

Words and digits that the terminal prints too come from `gearqa.report.model`; here they are set
beside charts, in the order in which an inspector reads a sheet.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from itertools import chain

from gearqa.model.part import Part
from gearqa.model.results import GradeHeader, LotSummary
from gearqa.report import document as doc
from gearqa.report.gear_sheet import SHORT, document_of, gear_sheet
from gearqa.report.lot_sheet import LotSheets
from gearqa.report.sheet_job import GearInput, SheetAids, SheetChoice, SheetJob
from gearqa.report.texts import clip

__all__ = [
    "GearInput",
    "SheetAids",
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
    stream = iter(gears)
    first = next(stream, None)
    second = next(stream, None)
    if first is not None and second is None and sheets != "none":
        document = gear_document(header, first, part=part, aids=aids)
        if progress is not None:
            progress(1)
        return document
    seen = LotSheets(SheetJob(header, part, aids), sheets, worst)
    begun = [gear for gear in (first, second) if gear is not None]
    for number, gear in enumerate(chain(begun, stream), 1):
        seen.add(number, gear)
        if progress is not None:
            progress(number)
    return seen.document(lot() if callable(lot) else lot)


def sheet_documents(
    header: GradeHeader, gears: Iterable[GearInput], *, part: Part, aids: SheetAids
) -> Iterator[tuple[str, doc.Document]]:
    """One document per gear with a file name (without ending) made from its serial, for a folder."""
    used: set[str] = set()
    for number, gear in enumerate(gears, 1):
        name = file_name(gear[1].serial, number)
        while name.lower() in used:
            name = f"{name}-{number}"
        used.add(name.lower())
        yield name, gear_document(header, gear, part=part, aids=aids)


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

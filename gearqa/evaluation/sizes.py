"""Dimension over or between balls, or span, against the drawing."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from gearqa.evaluation.criteria import NINTH
from gearqa.model.measurement import SizeReading
from gearqa.model.part import SizeTolerance
from gearqa.model.results import NotAssessed, SizeResult
from gearqa.wording.numbers import short_text

PIN_DIAMETER_STEP_MM: Final = 1e-6
SIZE: Final = "size"
"""Stands for the parameter in a gap: a size has no class."""


def size_results(
    readings: Sequence[SizeReading], asked: SizeTolerance | None
) -> tuple[tuple[SizeResult, ...], tuple[NotAssessed, ...]]:
    """Size readings against the drawing; a gap when the drawing asks for a size that was not measured."""
    results = tuple(_size(reading, asked) for reading in readings)
    if asked is None or any(result.lower_mm is not None for result in results):
        return results, ()
    over = ""
    if asked.pin_diameter_mm is not None:
        over = f" of {short_text(asked.pin_diameter_mm)} mm"
    elif asked.teeth_spanned is not None:
        over = f" over {asked.teeth_spanned} teeth"
    others = "; what was measured is another size" if readings else ""
    reason = (
        f"the drawing limits the size by {asked.method}{over}, and there is none{others}; add a size table"
    )
    return results, (NotAssessed(SIZE, None, reason),)


def _size(reading: SizeReading, asked: SizeTolerance | None) -> SizeResult:
    fits = asked is not None and _same_size(reading, asked)
    lower, upper = (asked.lower_mm, asked.upper_mm) if asked is not None and fits else (None, None)
    conforms = None if lower is None or upper is None else lower <= round(reading.value_mm, NINTH) <= upper
    return SizeResult(
        method=reading.method,
        value_mm=reading.value_mm,
        pin_diameter_mm=reading.pin_diameter_mm,
        teeth_spanned=reading.teeth_spanned,
        position=reading.position,
        lower_mm=lower,
        upper_mm=upper,
        conforms=conforms,
    )


def _same_size(reading: SizeReading, asked: SizeTolerance) -> bool:
    """Whether a reading is the size that the drawing limits; what a reading leaves open agrees."""
    if reading.method != asked.method:
        return False
    if asked.method == "balls":
        return (
            reading.pin_diameter_mm is None
            or asked.pin_diameter_mm is None
            or abs(reading.pin_diameter_mm - asked.pin_diameter_mm) <= PIN_DIAMETER_STEP_MM
        )
    return (
        None in (reading.teeth_spanned, asked.teeth_spanned) or reading.teeth_spanned == asked.teeth_spanned
    )

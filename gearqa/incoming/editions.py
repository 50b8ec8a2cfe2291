"""The standard behind a claimed class: which edition it is, its tolerances and classes.

How editions are named in other documents is common practice (no source).
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass
from typing import Final

from gearqa.errors import OutOfScopeError
from gearqa.evaluation.part_geometry import part_geometry
from gearqa.model.editions import EDITIONS, ISO_1328_1_1995, ISO_1328_1_2013
from gearqa.model.part import Part
from gearqa.standards import tolerance_rows
from gearqa.standards.rows import ToleranceRow

_YEARS: Final = {
    "2013": ISO_1328_1_2013, "2018": ISO_1328_1_2013, "1995": ISO_1328_1_1995, "1997": ISO_1328_1_1995,
}  # fmt: skip
"""Year of an edition, or of a national one with the same text."""
_ISO_1328: Final = re.compile(r"1328(?!\d)")
_YEAR: Final = re.compile(r"(?<!\d)(19\d\d|20\d\d)(?!\d)")


@dataclass(frozen=True, slots=True)
class Edition:
    """Tolerances of one edition for one gear."""

    title: str
    rows: Mapping[str, ToleranceRow]
    slopes_over_range: bool
    """Slopes are taken over the evaluation range, not over the full span."""

    def tolerance(self, parameter: str, class_: int) -> float | None:
        """Tolerance of a class; None where the edition has none."""
        row = self.rows.get(parameter)
        return None if row is None else row.tolerance(class_)

    def class_of(self, parameter: str, value: float) -> int | None:
        """Smallest class that a value meets; None beyond the last, or where the edition has none."""
        row = self.rows.get(parameter)
        return None if row is None else row.class_of(value)


def edition_named(text: str | None) -> str | None:
    """Title of the edition that a text names; None where it is no edition known here.

    A text that names ISO 1328 without a year, like no text at all, means the drawing's standard.

    >>> edition_named("DIN ISO 1328-1:2018"), edition_named("iso 1328-1 (1995)"), edition_named(None)
    ('ISO 1328-1:2013', 'ISO 1328-1:1995', 'ISO 1328-1:2013')
    >>> edition_named("DIN 3962") is None
    True
    """
    if text is None:
        return ISO_1328_1_2013
    if not _ISO_1328.search(text):
        return None
    years = _YEAR.findall(text)
    return _YEARS.get(years[-1]) if years else ISO_1328_1_2013


def states_edition(text: str | None) -> bool:
    """Whether a text names an edition and not only a standard."""
    return text is not None and bool(_YEAR.findall(text))


def editions_of(part: Part) -> dict[str, Edition]:
    """Editions by title, the drawing's first; one whose range the gear lies outside of is left out."""
    geometry = part_geometry(part)
    size = (geometry.z, geometry.m_n, geometry.d, geometry.b, part.gear.helix_angle_deg)
    found = {}
    for title in dict.fromkeys((part.edition.text, ISO_1328_1_2013, ISO_1328_1_1995)):
        over_range = EDITIONS[title].slope_span == "evaluation"
        with suppress(OutOfScopeError):
            found[title] = Edition(title, tolerance_rows(title, *size), over_range)
    return found

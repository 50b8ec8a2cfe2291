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
from gearqa.model.editions import (
    DIN_3962_1978,
    EDITIONS,
    ISO_1328_1_1995,
    ISO_1328_1_2013,
    JIS_B_1702_1976,
    SlopeSpan,
)
from gearqa.model.part import Part
from gearqa.standards import tolerance_rows
from gearqa.standards.rows import ToleranceRow

_FAMILIES: Final[tuple[tuple[re.Pattern[str], Mapping[str, str], str | None], ...]] = (
    (re.compile(r"1328-1-B14"), {}, ISO_1328_1_2013),
    (
        re.compile(r"1328(?!\d)"),
        {
            "2013": ISO_1328_1_2013, "2018": ISO_1328_1_2013, "1995": ISO_1328_1_1995,
            "1997": ISO_1328_1_1995,
        },
        ISO_1328_1_2013,
    ),
    (
        re.compile(r"GB/?T? ?10095(?!\d)", re.IGNORECASE),
        {"2001": ISO_1328_1_1995, "2008": ISO_1328_1_1995, "2022": ISO_1328_1_2013},
        None,
    ),
    (
        re.compile(r"JIS ?B ?1702(?!\d)", re.IGNORECASE),
        {"1976": JIS_B_1702_1976, "1998": ISO_1328_1_1995},
        None,
    ),
    (re.compile(r"DIN ?396[12](?!\d)", re.IGNORECASE), {"1978": DIN_3962_1978}, DIN_3962_1978),
)  # fmt: skip
"""How a family of standards is named, its years (national editions of one text too), and the edition that a
name without a year means where the drawing is of another family; None: not known."""
_YEAR: Final = re.compile(r"(?<!\d)(19\d\d|20\d\d)(?!\d)")


@dataclass(frozen=True, slots=True)
class Edition:
    """Tolerances of one edition for one gear."""

    title: str
    rows: Mapping[str, ToleranceRow]
    slope_span: SlopeSpan | None
    """Over which slopes are stated; None for the drawing's own edition: as the drawing asks."""

    def tolerance(self, parameter: str, class_: int) -> float | None:
        """Tolerance of a class; None where the edition has none."""
        row = self.rows.get(parameter)
        return None if row is None else row.tolerance(class_)

    def class_of(self, parameter: str, value: float) -> int | None:
        """Smallest class that a value meets; None beyond the last, or where the edition has none."""
        row = self.rows.get(parameter)
        return None if row is None else row.class_of(value)


def edition_named(text: str | None, drawing: str) -> str | None:
    """Title of the edition that a text names; None where it is no edition known here.

    A name without a year means the drawing's edition where that belongs to the same family of standards; so
    does no text at all.

    >>> edition_named("DIN ISO 1328-1:2018", "ISO 1328-1:1995"), edition_named("iso 1328", "ISO 1328-1:1995")
    ('ISO 1328-1:2013', 'ISO 1328-1:1995')
    >>> edition_named(None, "DIN 3962:1978"), edition_named("DIN 3962-1", "ISO 1328-1:2013")
    ('DIN 3962:1978', 'DIN 3962:1978')
    >>> edition_named("JIS B 1702", "ISO 1328-1:2013") is None
    True
    """
    if text is None:
        return drawing
    stated = _YEAR.findall(text)
    for name, years, otherwise in _FAMILIES:
        if name.search(text):
            if stated:
                return years.get(stated[-1])
            return drawing if drawing in {*years.values(), otherwise} else otherwise
    return None


def edition_claimed(text: str | None, editions: Mapping[str, Edition]) -> str | None:
    """Title of the edition that a claim names, among those of a drawing (`editions_of`)."""
    return edition_named(text, next(iter(editions)))


def states_edition(text: str | None) -> bool:
    """Whether a text names an edition and not only a standard."""
    return text is not None and (bool(_YEAR.findall(text)) or "1328-1-B14" in text)


def editions_of(part: Part) -> dict[str, Edition]:
    """Editions by title, the drawing's first; one whose range the gear lies outside of is left out."""
    geometry = part_geometry(part)
    size = (geometry.z, geometry.m_n, geometry.d, geometry.b, part.gear.helix_angle_deg)
    found = {}
    for title in dict.fromkeys((part.edition.text, *(one.text for one in EDITIONS.values()))):
        span = None if title == part.edition.text else EDITIONS[title].slope_span
        with suppress(OutOfScopeError):
            found[title] = Edition(title, tolerance_rows(title, *size), span)
    return found

"""Tables of values, not of readings: what somebody reports, and gauge studies. Their columns, as data."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final, Literal

SheetKind = Literal["reported", "study", "measured_study"]


@dataclass(frozen=True, slots=True)
class SheetFormat:
    """Columns of one kind of sheet; those that end in `_um` may also come as `_mm`."""

    kind: SheetKind
    title: str
    required: tuple[str, ...]
    optional: tuple[str, ...] = ()

    @property
    def columns(self) -> tuple[str, ...]:
        """All columns, in order."""
        return (*self.required, *self.optional)


REPORTED: Final = SheetFormat(
    "reported",
    "a table of reported values",
    ("serial", "parameter", "value_um"),
    ("flank", "tooth", "basis", "class", "standard", "uncertainty_um", "our_serial"),
)
STUDY: Final = SheetFormat(
    "study",
    "a gauge study",
    ("trial", "parameter", "value_um"),
    ("item", "operator", "flank", "reference_um", "reference_uncertainty_um"),
)
MEASURED_STUDY: Final = SheetFormat(
    "measured_study", "a table that says which serial is which trial", ("serial", "item", "operator", "trial")
)

SHEETS: Final[Mapping[str, SheetFormat]] = {"reported": REPORTED, "study": STUDY}
"""Sheets that a column map may name."""

_BRACKETED: Final = re.compile(r"(\w+)[ _]*[\[(](um|µm|μm|mm)[\])]")
"""A name with its unit in brackets, as spreadsheets have it."""
UNIT_FACTORS: Final[Mapping[str, float]] = {"_um": 1.0, "_mm": 1000.0}


def canonical_column(name: str) -> tuple[str, float]:
    """Canonical name of a column and the factor to its unit.

    >>> canonical_column("Value_mm "), canonical_column("our_serial"), canonical_column("Value [µm]")
    (('value_um', 1000.0), ('our_serial', 1.0), ('value_um', 1.0))
    """
    folded = name.strip().casefold()
    bracketed = _BRACKETED.fullmatch(folded)
    if bracketed is not None:
        folded = bracketed[1] + ("_mm" if bracketed[2] == "mm" else "_um")
    if folded.endswith("_mm"):
        return folded[:-3] + "_um", UNIT_FACTORS["_mm"]
    return folded, 1.0

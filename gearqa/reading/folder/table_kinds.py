"""The neutral tables as data: their kinds, canonical columns, units and other names.

A column is called after its quantity and its unit: `deviation_um`, `deviation_mm`. Every quantity has
one canonical unit; readers turn the others into it. Recognition, column maps and messages read this.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from gearqa.late_dataclass import dataclass
from gearqa.reading.folder.sources import TableKind


@dataclass(frozen=True, slots=True)
class Quantity:
    """A measured quantity: its canonical column, and the factor from every unit it may come in."""

    name: str
    unit: str
    factors: Mapping[str, float]
    """Unit as in the column name -> factor to the canonical unit."""
    largest: float = 1e6
    """Magnitude that a number may have, in the canonical unit."""

    @property
    def column(self) -> str:
        """Canonical column name."""
        return f"{self.name}_{self.unit}"

    @property
    def columns(self) -> tuple[str, ...]:
        """All names the column may have."""
        return tuple(f"{self.name}_{unit}" for unit in self.factors)


_MICROMETRES: Final = {"um": 1.0, "mm": 1000.0}
_MILLIMETRES: Final = {"mm": 1.0, "um": 0.001}

QUANTITIES: Final[Mapping[str, Quantity]] = {
    q.name: q
    for q in (
        Quantity("deviation", "um", _MICROMETRES, 1e9),
        Quantity("index", "um", _MICROMETRES, 1e9),
        Quantity("pitch", "um", _MICROMETRES, 1e9),
        Quantity("radial", "um", _MICROMETRES, 1e9),
        Quantity("roll_length", "mm", _MILLIMETRES),
        Quantity("roll_angle", "deg", {"deg": 1.0}),
        Quantity("diameter", "mm", _MILLIMETRES),
        Quantity("face_position", "mm", _MILLIMETRES),
        Quantity("pin_diameter", "mm", _MILLIMETRES),
        Quantity("value", "mm", _MILLIMETRES),
        Quantity("temperature", "degC", {"degC": 1.0}),
    )
}

LARGEST: Final[Mapping[str, float]] = {
    **{q.column: q.largest for q in QUANTITIES.values()}, "teeth_spanned": 1e4, "parts_since_dress": 1e9,
    "correction": 1e6,
}  # fmt: skip
"""Magnitude that a number of a canonical column may have; far beyond any gear, and far from overflow."""
LARGEST_VALUE: Final = 1e9
"""The same for reported values and studies."""

PROFILE_POSITIONS: Final = ("roll_length_mm", "roll_angle_deg", "diameter_mm")
"""Position columns of a profile table; the first one given wins."""


@dataclass(frozen=True, slots=True)
class TableFormat:
    """Canonical columns of one kind of table."""

    kind: TableKind
    required: tuple[tuple[str, ...], ...]
    """Each entry: columns one of which must be there."""
    optional: tuple[str, ...] = ()
    extra_are_labels: bool = False
    """Whether columns that are not known are kept as labels."""

    @property
    def columns(self) -> tuple[str, ...]:
        """All canonical columns of this kind, in order."""
        return (*(name for names in self.required for name in names), *self.optional)


MEASUREMENT: Final = "measurement"
"""Column of every table of gears: which measurement of the serial; blank is the first."""

PRODUCTION_COLUMNS: Final = (
    "finished_at", "grinder", "wheel", "dress", "parts_since_dress", "fixture", "measured_at", "instrument",
    "operator", "temperature_degC", "calibration_ref", "calibration_due", "remark",
)  # fmt: skip
EVENT_COLUMNS: Final = ("wheel", "parameter", "flank", "correction", "unit", "remark")

TABLES: Final[Mapping[TableKind, TableFormat]] = {
    t.kind: t
    for t in (
        TableFormat(
            "profile",
            (("serial",), ("flank",), ("tooth",), PROFILE_POSITIONS, ("deviation_um",)),
            ("face_position_mm", MEASUREMENT),
        ),
        TableFormat(
            "helix",
            (("serial",), ("flank",), ("tooth",), ("face_position_mm",), ("deviation_um",)),
            ("diameter_mm", MEASUREMENT),
        ),
        TableFormat("pitch", (("serial",), ("flank",), ("tooth",), ("index_um", "pitch_um")), (MEASUREMENT,)),
        TableFormat("runout", (("serial",), ("space",), ("radial_um",)), (MEASUREMENT,)),
        TableFormat(
            "size",
            (("serial",), ("method",), ("value_mm",)),
            ("pin_diameter_mm", "teeth_spanned", "position", MEASUREMENT),
        ),
        TableFormat("production", (("serial",),), (*PRODUCTION_COLUMNS, MEASUREMENT), extra_are_labels=True),
        TableFormat("events", (("at",), ("grinder",), ("event",)), EVENT_COLUMNS),
    )
}

LABEL_COLUMNS: Final[Mapping[TableKind, str]] = {"profile": "face_position_mm", "helix": "diameter_mm"}
"""Where on the flank a trace lies; may be left empty."""

GRADED_KINDS: Final[tuple[TableKind, ...]] = ("profile", "helix", "pitch", "runout")
"""Tables that can be graded."""

NUMBER_COLUMNS: Final = frozenset(
    {q.column for q in QUANTITIES.values()}
    | {"tooth", "space", "teeth_spanned", "parts_since_dress", "correction"}
)
TIME_COLUMNS: Final = frozenset({"finished_at", "measured_at", "calibration_due", "at"})
SIZE_METHODS: Final = ("balls", "span")


def canonical_quantity(key: str) -> tuple[str, float]:
    """Canonical column of a key, and the factor from the key's unit to the canonical one.

    >>> canonical_quantity("deviation_mm"), canonical_quantity("serial")
    (('deviation_um', 1000.0), ('serial', 1.0))
    """
    name, unit = split_unit(key)
    if unit:
        quantity = QUANTITIES[name]
        return quantity.column, quantity.factors[unit]
    return key, 1.0


def table_name(kind: TableKind) -> str:
    """A kind of table as a sentence calls it."""
    return f"{'an' if kind == 'events' else 'a'} {kind} table"


_UNITS: Final[Mapping[str, tuple[str, str | None]]] = {
    **{q.name: (q.name, "") for q in QUANTITIES.values()},
    **{f"{q.name}_{unit}".casefold(): (q.name, unit) for q in QUANTITIES.values() for unit in q.factors},
}
"""Every name of a measured quantity -> quantity and unit."""


def split_unit(header: str) -> tuple[str, str | None]:
    """Quantity and unit of a column name; the unit is None where the name is no measured quantity.

    A quantity without a known unit gives an empty unit.

    >>> split_unit("deviation_mm"), split_unit("deviation"), split_unit("serial")
    (('deviation', 'mm'), ('deviation', ''), ('serial', None))
    """
    name = header.strip().casefold()
    return _UNITS.get(name, (name, None))

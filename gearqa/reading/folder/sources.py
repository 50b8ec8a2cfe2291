"""Where the canonical columns of one table come from: the plan that a reader follows.

Header recognition makes a plan from a table in the neutral format; a column map makes one from a
foreign table. Readers know only plans.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import field
from pathlib import Path
from typing import Literal

from gearqa.late_dataclass import dataclass
from gearqa.reading.rows.parquet_rows import is_parquet

TableKind = Literal["profile", "helix", "pitch", "runout", "size", "production", "events"]


@dataclass(frozen=True, slots=True)
class Dialect:
    """How the text of a CSV file is to be taken apart."""

    encoding: str = "utf-8-sig"
    separator: str = ","
    decimal: Literal[".", ","] = "."
    skip_rows: int = 0
    """Physical lines before the header."""
    skip_after_header: int = 0
    """Rows after the header (a units row)."""
    skip_last_rows: int = 0
    """Rows at the end (a footer)."""
    comment: str = "#"
    """What begins a line that is passed over; empty: nothing does."""
    drop_blank: bool = False
    """Leave out rows whose needed cells are blank (counted) instead of calling them an error."""


@dataclass(frozen=True, slots=True)
class ColumnSource:
    """One canonical column: from a column (with scale or words), a constant, the path, or times."""

    column: str | None = None
    """Header name as in the file (matched without case and surrounding blanks)."""
    constant: str | None = None
    """Also used for a value taken from the path."""
    factor: float = 1.0
    offset: float = 0.0
    """canonical = raw * factor + offset"""
    words: Mapping[str, str] = field(default_factory=dict)
    """Foreign word -> canonical word (flank)."""
    columns: tuple[str, ...] = ()
    """Several columns joined by a blank (date and time)."""
    time_format: str | None = None
    timezone: str | None = None


@dataclass(frozen=True, slots=True)
class WidePattern:
    """A wide table: each header that matches gives one trace; named groups give tooth, flank, serial."""

    pattern: str
    value: str
    """Canonical column that the cells hold, such as `deviation_um`."""
    factor: float = 1.0
    offset: float = 0.0
    words: Mapping[str, str] = field(default_factory=dict)
    """Words of the flank group."""
    tooth_offset: int = 0
    """Added to the tooth or space number."""


@dataclass(frozen=True, slots=True)
class Convention:
    """From where a foreign table looks at the gear."""

    seen_from: Literal["datum_face", "opposite_face"] = "datum_face"
    numbering: Literal["clockwise", "anticlockwise"] = "clockwise"


@dataclass(frozen=True, slots=True)
class TableSource:
    """One file read as one kind of table."""

    path: Path
    name: str
    """Path as shown to people, relative to the folder."""
    kind: TableKind
    dialect: Dialect
    columns: Mapping[str, ColumnSource]
    """Canonical column name, such as `roll_length_mm` -> where it comes from."""
    where: Mapping[str, str] = field(default_factory=dict)
    """Only rows whose column holds this text."""
    wide: WidePattern | None = None
    convention: Convention = Convention()
    simulated: bool = False
    needed: tuple[str, ...] | None = None
    """Columns without which a row counts as blank; None: all but a label."""

    @property
    def is_parquet(self) -> bool:
        """Whether the file is no text but a Parquet table."""
        return is_parquet(self.path)

"""Empty tables with the right headers, and what their columns mean as comments."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from gearqa.model.part import Part
from gearqa.reading.folder.table_kinds import MEASUREMENT, TABLES
from gearqa.reading.values.sheet_formats import REPORTED
from gearqa.symbols import PARAMETERS

_TABLE_NOTES: Final[Mapping[str, tuple[str, ...]]] = {
    "profile": (
        "one row per point; flank left or right, as seen from the datum face with the tooth tip up",
        "roll_length_mm from the base circle, or roll_angle_deg or diameter_mm instead",
        "deviation_um: plus = more material than the design, in the transverse plane, along the base tangent",
        "face_position_mm, where the trace was taken, may be left out",
    ),
    "helix": (
        "one row per point; face_position_mm from the datum face, growing away from it",
        "deviation_um: plus = more material than the design, in the transverse plane, along the base tangent",
        "diameter_mm, where the trace was taken, may be left out",
    ),
    "pitch": (
        "one row per tooth and flank, all teeth; numbered clockwise, looking onto the datum face",
        "index_um: place of the tooth against its theoretical place, plus = clockwise",
        "or pitch_um instead: single pitch deviation between tooth-1 and tooth",
    ),
    "runout": (
        "one row per tooth space, all spaces; space i lies clockwise of tooth i",
        "radial_um: reading of a ball or pin, plus = away from the gear axis",
    ),
    "size": (
        "method balls (needs pin_diameter_mm) or span (needs teeth_spanned)",
        "position is a free label",
    ),
    "production": (
        "one row per serial; every column but serial may be left out, further ones are kept as labels",
        "times as 2025-03-14T06:30; parts_since_dress is 1 for the first part after dressing",
    ),
    "events": (
        "one row for each thing done to a grinder: dress, wheel change, correction",
        "times as 2025-03-14T06:30",
    ),
}


def table_template(kind: Any) -> str:
    """Header of a neutral table, and what its columns mean as comments.

    >>> print(table_template("runout").rstrip())
    serial,space,radial_um,measurement
    # one row per tooth space, all spaces; space i lies clockwise of tooth i
    # radial_um: reading of a ball or pin, plus = away from the gear axis
    # measurement: a label (2, after cleaning) where a gear is measured again; else leave out
    # copy this file into the folder above to use it; lines that start with # are not read
    """
    table = TABLES[kind]
    columns = [*(names[0] for names in table.required), *table.optional]
    notes = [*_TABLE_NOTES[kind]]
    if MEASUREMENT in table.optional:
        notes.append(
            "measurement: a label (2, after cleaning) where a gear is measured again; else leave out"
        )
    notes += [
        "copy this file into the folder above to use it; lines that start with # are not read",
    ]
    return "\n".join([",".join(columns), *(f"# {note}" for note in notes)]) + "\n"


def reported_sheet(part: Part) -> str:
    """An empty sheet of reported values: the header, and the parameters of the part as comments."""
    lines = [
        ",".join(REPORTED.columns),
        f"# reported values of part {part.part.number}; one row per value, value_um in micrometres",
        "# flank left or right; basis worst or mean; columns that are not needed may go",
        "# parameter is one of:",
        *(f"#   {key}  ({PARAMETERS[key].name})" for key in part.tolerance.required),
    ]
    return "\n".join(lines) + "\n"

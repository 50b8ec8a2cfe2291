"""The tolerance table of a gear in words."""

from __future__ import annotations

import re

from gearqa.model.tolerances import ToleranceComparison, ToleranceGear, ToleranceTable
from gearqa.report.blocks.document import Block, Column, Facts, Table
from gearqa.symbols import PARAMETERS
from gearqa.wording.numbers import DASH, count_text, number_text, tolerance_text


def tolerance_blocks(table: ToleranceTable) -> list[Block]:
    """Standard, gear, and its tolerances: a column a class."""
    return [Facts((("Standard", table.standard), ("Gear", _gear_text(table.gear)))), _table(table)]


def _head(title: str) -> str:
    """A system as the head of a column: a single letter stays with the word before it."""
    return re.sub(r" (?=[A-Z] )", "\u00a0", title)


def comparison_blocks(compared: ToleranceComparison) -> list[Block]:
    """One standard's tolerances, and the class that comes nearest in each other system."""
    others = [title for title in compared.systems if title != compared.standard]
    rows = []
    for row in compared.rows:
        near = (row.nearest.get(title) for title in others)
        cells = (f"{one.class_}: {tolerance_text(one.tolerance_um)}" if one else DASH for one in near)
        own = f"{row.class_}: {tolerance_text(row.tolerance_um)}"
        rows.append((PARAMETERS[row.parameter].symbol, own, *cells))
    notes = [
        "Class: tolerance in µm. In the other columns the class whose tolerance comes nearest for this gear; "
        "a dash where none is near, or none is known. Slopes: plus or minus.",
        "No class is converted: the systems also evaluate over other lengths, so one trace has other values "
        "in them.",
        *(f"{title} is left out: {reason}." for title, reason in compared.outside.items()),
    ]
    table = Table(
        "",
        (Column("", "left"), *(Column(_head(title)) for title in (compared.standard, *others))),
        tuple(rows),
        notes=tuple(notes),
    )
    return [Facts((("Compared with", compared.standard), ("Gear", _gear_text(compared.gear)))), table]


def _gear_text(gear: ToleranceGear) -> str:
    parts = [
        count_text(gear.teeth, "tooth", "teeth") if gear.teeth is not None else "",
        f"normal module {number_text(gear.normal_module_mm)} mm",
        f"reference diameter {number_text(round(gear.reference_diameter_mm, 4))} mm",
        f"face width {number_text(gear.face_width_mm)} mm",
        f"helix angle {number_text(gear.helix_angle_deg)}°" if gear.helix_angle_deg else "",
    ]
    return ", ".join(filter(None, parts))


def _table(table: ToleranceTable) -> Table:
    rows = table.classes.values()
    keys = {key for row in rows for key in row}
    named = len(table.classes) == 1
    head = (Column(f"class {grade}" if named else grade) for grade in table.classes)
    without_sector = "." if "sector_pitch" in keys else "; Fpz/8 needs --teeth."
    return Table(
        "",
        (Column("µm", "left"), *head, *([Column("", "left")] if named else [])),
        tuple(
            (
                one.symbol,
                *(tolerance_text(row[key]) if key in row else DASH for row in rows),
                *([one.name] if named else []),
            )
            for key, one in PARAMETERS.items()
            if key in keys
        ),
        notes=(
            *([] if named else ["Columns: flank tolerance classes."]),
            *(["fHα and fHβ: plus or minus."] if "helix_slope" in keys else []),
            *(
                [f"Fpz/8, fu and Fr by the annexes of the standard{without_sector}"]
                if "runout" in keys
                else []
            ),
        ),
    )

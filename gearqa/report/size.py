"""Size of teeth in words."""

from __future__ import annotations

from collections.abc import Callable

from gearqa.model.size import SizeRow, ToothSize
from gearqa.report.blocks.document import Block, Bullets, Column, Facts, Table
from gearqa.wording.numbers import (
    DASH,
    count_text,
    fixed_text,
    number_text,
    short_text,
    signed_text,
    size_mm_text,
)


def size_blocks(size: ToothSize) -> list[Block]:
    """The gear, its measures as rows, and what to look out for."""
    gear = size.gear
    facts = [
        f"{gear.kind}, {count_text(gear.teeth, 'tooth', 'teeth')}",
        f"normal module {number_text(gear.normal_module_mm)} mm",
        f"pressure angle {number_text(gear.normal_pressure_angle_deg)}°",
        f"helix angle {number_text(gear.helix_angle_deg)}°" if gear.helix_angle_deg else "",
        f"profile shift {signed_text(gear.profile_shift_coefficient, 4)} (sign of ISO 21771)",
    ]
    columns = (Column("mm", "left"), *(Column(row.teeth) for row in size.rows))
    lines = tuple((name, *(text(row) for row in size.rows)) for name, text in _measures(size))
    notes = [
        "Thickness: normal, at the reference circle. Thin and thick teeth are those of the limits given."
        if size.limits_of
        else "Thickness: normal, at the reference circle.",
        "Internal gear: the dimension between balls grows as teeth get thinner."
        if gear.kind == "internal"
        else "",
    ]
    blocks: list[Block] = [
        Facts((("Gear", ", ".join(filter(None, facts))),)),
        Table("", columns, lines, notes=tuple(filter(None, notes))),
    ]
    if size.cautions:
        blocks.append(Bullets(tuple(one.message for one in size.cautions), "note"))
    return blocks


def _measures(size: ToothSize) -> list[tuple[str, Callable[[SizeRow], str]]]:
    where = "over" if size.gear.kind == "external" else "between"
    measures: list[tuple[str, Callable[[SizeRow], str]]] = [
        ("thickness", lambda row: _size(row.thickness_mm)),
        ("chordal thickness", lambda row: _size(row.chord_mm)),
        *(
            [("tip above the chord", lambda row: _size(row.chord_height_mm))]
            if size.gear.tip_diameter_mm is not None
            else []
        ),
        *(
            [("constant chord", lambda row: _size(row.constant_chord_mm))]
            if size.gear.kind == "external"
            else []
        ),
        *(
            [("tip above it", lambda row: _size(row.constant_chord_height_mm))]
            if size.gear.kind == "external" and size.gear.tip_diameter_mm is not None
            else []
        ),
        ("allowance, µm", lambda row: signed_text(row.allowance_um, 1)),
        (f"{where} balls of {short_text(size.ball_diameter_mm or 0.0)}", lambda row: _size(row.balls_mm)),
        ("balls touch at diameter", lambda row: _diameter(row.balls_contact_mm)),
    ]
    if size.teeth_spanned is not None:
        over = count_text(size.teeth_spanned, "tooth", "teeth")
        measures += [
            (f"span over {over}", lambda row: _size(row.span_mm)),
            ("span touches at diameter", lambda row: _diameter(row.span_contact_mm)),
        ]
    return measures


def _size(value: float | None) -> str:
    return DASH if value is None else size_mm_text(value)


def _diameter(value: float | None) -> str:
    return DASH if value is None else fixed_text(value, 2)

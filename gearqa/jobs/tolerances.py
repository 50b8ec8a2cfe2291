"""Tolerances of a gear, by class or in all systems, from its sizes or its part file."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import astuple
from pathlib import Path
from types import ModuleType
from typing import TYPE_CHECKING, Final

from gearqa.errors import ArgumentError, GearqaError, OutOfScopeError
from gearqa.jobs.folders import drawing_of
from gearqa.model.editions import EDITIONS, why_left_out
from gearqa.model.tolerances import (
    ComparedTolerance,
    NearestClass,
    ToleranceComparison,
    ToleranceGear,
    ToleranceTable,
)
from gearqa.standards import DEFAULT_STANDARD, PACKAGES, tolerance_rows, tolerance_table
from gearqa.standards import standard as edition_of
from gearqa.standards.rows import ToleranceRow
from gearqa.symbols import PARAMETERS
from gearqa.wording.numbers import short_text

if TYPE_CHECKING:
    from gearqa.model.part import Part

DIAMETER_SHARE: Final = 0.01
"""A reference diameter may be rounded so much."""
LARGEST_HELIX_DEG: Final = 45


def tolerances(
    *,
    module: float | None = None,
    diameter: float | None = None,
    face_width: float | None = None,
    teeth: int | None = None,
    helix_angle: float | None = None,
    part: str | Path | None = None,
    class_: int | None = None,
    standard: str | None = None,
) -> ToleranceTable:
    """Tolerances of a gear, rounded as the standard rounds.

    Parameters
    ----------
    module : float, optional
        Normal module. [mm]
    diameter : float, optional
        Reference diameter; without it from teeth, module and helix angle. [mm]
    face_width : float, optional
        Face width. [mm]
    teeth : int, optional
        Number of teeth; sector pitch needs it.
    helix_angle : float, optional
        Helix angle; 0 without it. [deg]
    part : str or Path, optional
        Part file, or a folder with one, instead of the sizes.
    class_ : int, optional
        Only this flank tolerance class.
    standard : str, optional
        Tolerance standard; without it that of the part file, or ISO 1328-1:2013.

    Returns
    -------
    ToleranceTable
        A row a class, in micrometres; a slope's tolerance is its magnitude.

    Raises
    ------
    ArgumentError
        Unknown standard or class, or both a part file and sizes.
    GearqaError
        A size is missing, or the gear lies outside the range of the standard.

    Examples
    --------
    >>> tolerances(module=1.75, diameter=160, face_width=32, class_=5).classes["5"]["helix_slope"]
    6.5
    """
    gear, title, _ = _asked(module, diameter, face_width, teeth, helix_angle, part, standard)
    edition = _edition(title, class_, gear)
    table = tolerance_table(*astuple(gear), title=title)
    classes = {str(grade): table[grade] for grade in edition.CLASSES if class_ in (None, grade)}
    return ToleranceTable(title, gear, classes)


def compare_tolerances(
    *,
    module: float | None = None,
    diameter: float | None = None,
    face_width: float | None = None,
    teeth: int | None = None,
    helix_angle: float | None = None,
    part: str | Path | None = None,
    class_: int | None = None,
    standard: str | None = None,
) -> ToleranceComparison:
    """Tolerances of a gear in all systems: what comes nearest to each tolerance of one standard.

    Nothing is converted: the systems also differ in how a trace is evaluated.

    Parameters
    ----------
    module, diameter, face_width, teeth, helix_angle, part
        The gear, as in `tolerances`.
    class_ : int, optional
        Only this class of the standard; without it that of the part file, or every class.
    standard : str, optional
        Compared with; without it that of the part file, or ISO 1328-1:2013.

    Returns
    -------
    ToleranceComparison
        A row a parameter and class.

    Raises
    ------
    ArgumentError
        Unknown standard or class, or both a part file and sizes.
    GearqaError
        A size is missing, or the gear lies outside the range of the standard.

    Examples
    --------
    >>> found = compare_tolerances(module=1.75, diameter=160, face_width=32, class_=6)
    >>> row = next(row for row in found.rows if row.parameter == "helix_slope")
    >>> row.tolerance_um, row.nearest["DIN 3962:1978"]
    (9.5, NearestClass(class_=6, tolerance_um=9))
    """
    gear, title, drawn = _asked(module, diameter, face_width, teeth, helix_angle, part, standard)
    wanted = drawn if class_ is None else class_
    edition = _edition(title, wanted, gear)
    own = EDITIONS[title].text
    systems: dict[str, Mapping[str, ToleranceRow]] = {}
    outside: dict[str, str] = {}
    for text in dict.fromkeys((own, *(one.text for one in EDITIONS.values()))):
        shown = title if text == own else text
        if reasons := _outside(gear, text):
            outside[shown] = "; ".join(map(str, reasons))
        else:
            systems[shown] = tolerance_rows(text, *astuple(gear))
    rows = tuple(
        ComparedTolerance(key, grade, tolerance, _nearest(systems, title, key, grade, tolerance))
        for key in PARAMETERS
        if key in systems[title]
        for grade in edition.CLASSES
        if wanted in (None, grade) and (tolerance := systems[title][key].tolerance(grade)) is not None
    )
    return ToleranceComparison(title, gear, tuple(systems), outside, rows)


def _nearest(
    systems: Mapping[str, Mapping[str, ToleranceRow]], own: str, key: str, class_: int, tolerance: float
) -> dict[str, NearestClass]:
    found = {}
    for title, table in systems.items():
        row = table.get(key)
        grade = None if row is None else class_ if title == own else row.nearest(tolerance)
        near = None if row is None or grade is None else row.tolerance(grade)
        if grade is not None and near is not None:
            found[title] = NearestClass(grade, near)
    return found


def _asked(
    module: float | None, diameter: float | None, face_width: float | None, teeth: int | None,
    helix_angle: float | None, part: str | Path | None, standard: str | None,
) -> tuple[ToleranceGear, str, int | None]:  # fmt: skip
    """The gear, the standard, and the class of the drawing."""
    if standard is not None and standard not in PACKAGES:
        why = f"; {left_out}" if (left_out := why_left_out(standard)) else ""
        raise ArgumentError("standard", f"'{standard}'; known: {', '.join(PACKAGES)}{why}")
    sizes = (module, diameter, face_width, teeth, helix_angle)
    if part is None:
        return _of_sizes(*sizes), standard or DEFAULT_STANDARD, None
    if any(size is not None for size in sizes):
        raise ArgumentError("part", "give either --part or the sizes of the gear")
    drawing = drawing_of(part)
    title = standard or drawing.tolerance.standard
    drawn = drawing.tolerance.class_ if title == drawing.tolerance.standard else None
    return _of_drawing(drawing), title, drawn


def _outside(gear: ToleranceGear, title: str) -> tuple[OutOfScopeError, ...]:
    found: tuple[OutOfScopeError, ...] = edition_of(title).violations(
        z=gear.teeth, m_n=gear.normal_module_mm, d=gear.reference_diameter_mm, b=gear.face_width_mm,
        beta_deg=gear.helix_angle_deg,
    )  # fmt: skip
    return found


def _edition(title: str, class_: int | None, gear: ToleranceGear) -> ModuleType:
    """The edition, which has this class and is for such gears."""
    edition = edition_of(title)
    if class_ is not None and class_ not in edition.CLASSES:
        low, high = edition.CLASSES[0], edition.CLASSES[-1]
        raise ArgumentError("class", f"{class_} is not a class of {low} to {high}")
    if outside := _outside(gear, title):
        raise GearqaError(
            "outside the range of application: " + "; ".join(map(str, outside)),
            hint="The formulas are not extended beyond the range that the standard states.",
        )
    return edition


def _of_drawing(part: Part) -> ToleranceGear:
    from gearqa.evaluation.part_geometry import part_geometry

    geometry = part_geometry(part)
    return ToleranceGear(
        geometry.z, geometry.m_n, geometry.d, geometry.b, round(math.degrees(geometry.beta), 9)
    )


def _of_sizes(
    module: float | None,
    diameter: float | None,
    face_width: float | None,
    teeth: int | None,
    helix_angle: float | None,
) -> ToleranceGear:
    beta = helix_angle or 0.0
    if diameter is None and module is not None and teeth is not None and 0 <= beta < 90:
        diameter = teeth * module / math.cos(math.radians(beta))
    if module is None or diameter is None or face_width is None:
        named = (("--module", module), ("--diameter (or --teeth)", diameter), ("--face-width", face_width))
        missing = ", ".join(name for name, value in named if value is None)
        raise GearqaError(f"missing: {missing}", hint="Or give --part FILE. Help: gearqa tolerances --help")
    return ToleranceGear(teeth, module, diameter, face_width, beta)


def diameter_doubt(gear: ToleranceGear, helix_angle: float | None) -> str:
    """What is odd about a reference diameter that does not follow from teeth, module and helix angle.

    Parameters
    ----------
    gear : ToleranceGear
        The gear, its sizes as given.
    helix_angle : float, optional
        As given; without it any up to 45 degrees is thinkable. [deg]

    Returns
    -------
    str
        Empty for a diameter that fits.

    Examples
    --------
    >>> diameter_doubt(ToleranceGear(50, 2.0, 100.0, 20.0, 0.0), None)
    ''
    """
    if gear.teeth is None:
        return ""
    spur = gear.teeth * gear.normal_module_mm
    low, high = spur, spur / math.cos(math.radians(LARGEST_HELIX_DEG))
    if helix_angle is not None:
        low = high = spur / math.cos(math.radians(helix_angle))
    if low * (1 - DIAMETER_SHARE) <= gear.reference_diameter_mm <= high * (1 + DIAMETER_SHARE):
        return ""
    follows = short_text(low, 4) if low == high else f"{short_text(low, 4)} to {short_text(high, 4)}"
    return (
        f"the tolerances are for the reference diameter {short_text(gear.reference_diameter_mm)} mm as "
        f"given; teeth, module and helix angle make it {follows} mm"
    )

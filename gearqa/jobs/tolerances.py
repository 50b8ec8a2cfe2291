"""Tolerances of a gear, by class, from its sizes or its part file."""

from __future__ import annotations

import math
from dataclasses import astuple
from pathlib import Path
from typing import Final

from gearqa.errors import ArgumentError, GearqaError
from gearqa.model.tolerances import ToleranceGear, ToleranceTable
from gearqa.standards import DEFAULT_STANDARD, PACKAGES, tolerance_table
from gearqa.standards import standard as edition_of
from gearqa.wording.numbers import short_text

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
    standard: str = DEFAULT_STANDARD,
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
    standard : str
        Tolerance standard.

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
    if standard not in PACKAGES:
        raise ArgumentError("standard", f"'{standard}'; known: {', '.join(PACKAGES)}")
    edition = edition_of(standard)
    if class_ is not None and class_ not in edition.CLASSES:
        low, high = edition.CLASSES[0], edition.CLASSES[-1]
        raise ArgumentError("class", f"{class_} is not a class of {low} to {high}")
    sizes = (module, diameter, face_width, teeth, helix_angle)
    gear = _of_sizes(*sizes) if part is None else _of_part(Path(part), sizes)
    outside = edition.violations(
        z=gear.teeth, m_n=gear.normal_module_mm, d=gear.reference_diameter_mm, b=gear.face_width_mm,
        beta_deg=gear.helix_angle_deg,
    )  # fmt: skip
    if outside:
        raise GearqaError(
            "outside the range of application: " + "; ".join(map(str, outside)),
            hint="The formulas are not extended beyond the range that the standard states.",
        )
    table = tolerance_table(*astuple(gear), title=standard)
    classes = {str(grade): table[grade] for grade in edition.CLASSES if class_ in (None, grade)}
    return ToleranceTable(standard, gear, classes)


def _of_part(path: Path, sizes: tuple[float | None, ...]) -> ToleranceGear:
    if any(size is not None for size in sizes):
        raise ArgumentError("part", "give either --part or the sizes of the gear")
    from gearqa.evaluation.part_geometry import part_geometry
    from gearqa.reading.settings.part_file import read_part

    geometry = part_geometry(read_part(path / "part.toml" if path.is_dir() else path))
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

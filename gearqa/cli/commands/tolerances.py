"""`gearqa tolerances`: the tolerance table of one gear."""

from __future__ import annotations

import math
from dataclasses import astuple
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Final

import typer

from gearqa.cli.exit_status import ExitStatus
from gearqa.cli.options import JsonFile, Quiet
from gearqa.errors import GearqaError
from gearqa.model.tolerances import ToleranceGear, ToleranceTable

if TYPE_CHECKING:
    from gearqa.report.blocks.document import Table

DEFAULT_STANDARD = "ISO 1328-1:2013"
DIAMETER_SHARE: Final = 0.01
"""A reference diameter may be rounded so much."""
LARGEST_HELIX_DEG: Final = 45


def command(
    module: Annotated[float | None, typer.Option("--module", metavar="MM", help="Normal module, mm.")] = None,
    diameter: Annotated[
        float | None,
        typer.Option("--diameter", metavar="MM", help="Reference diameter, mm; follows from --teeth."),
    ] = None,
    face_width: Annotated[
        float | None, typer.Option("--face-width", metavar="MM", help="Face width, mm.")
    ] = None,
    teeth: Annotated[
        int | None, typer.Option("--teeth", metavar="N", help="Number of teeth; needed for Fpz/8.")
    ] = None,
    helix_angle: Annotated[
        float | None, typer.Option("--helix-angle", metavar="DEG", help="Helix angle, degrees [default: 0]")
    ] = None,
    part: Annotated[
        Path | None, typer.Option("--part", metavar="FILE", help="Take the gear from this part file.")
    ] = None,
    grade: Annotated[
        int | None, typer.Option("--class", metavar="A", help="Only this flank tolerance class, 1 to 11.")
    ] = None,
    standard: Annotated[
        str, typer.Option("--standard", metavar="TITLE", help="Tolerance standard.")
    ] = DEFAULT_STANDARD,
    json: JsonFile = None,
    quiet: Quiet = False,
) -> int:
    """Print the ISO 1328-1 tolerances of a gear.

    Rounded as the standard rounds, in micrometres; a slope's tolerance is its magnitude. The gear comes
    from --module, --diameter and --face-width, or from a part file.

    Example: gearqa tolerances --module 1.75 --diameter 160 --face-width 32 --class 5
    """
    from gearqa.standards import GRADING
    from gearqa.standards import standard as edition_of

    if standard not in GRADING:
        raise typer.BadParameter(f"'{standard}'; known: {', '.join(GRADING)}", param_hint="--standard")
    edition = edition_of(standard)
    if grade is not None and grade not in edition.CLASSES:
        low, high = edition.CLASSES[0], edition.CLASSES[-1]
        raise typer.BadParameter(f"{grade} is not a class of {low} to {high}", param_hint="--class")
    sizes = (module, diameter, face_width, teeth, helix_angle)
    gear = _from_part(part, sizes) if part is not None else _from_options(*sizes)
    outside = edition.violations(
        z=gear.teeth, m_n=gear.normal_module_mm, d=gear.reference_diameter_mm, b=gear.face_width_mm,
        beta_deg=gear.helix_angle_deg,
    )  # fmt: skip
    if outside:
        raise GearqaError(
            "outside the range of application: " + "; ".join(map(str, outside)),
            hint="The formulas are not extended beyond the range that the standard states.",
        )
    if part is None and (doubt := _doubt(gear, helix_angle)):
        from gearqa.cli.console import tell

        tell(f"warning: {doubt}")
    table = edition.tolerance_table(*astuple(gear))
    classes = {A: table[A] for A in edition.CLASSES if grade in (None, A)}
    if json is not None:
        from gearqa.results.outputs import write_whole
        from gearqa.results.tolerances_json import TOLERANCES

        whole = ToleranceTable(standard, gear, {str(A): row for A, row in classes.items()})
        write_whole(json, TOLERANCES.json(whole, pretty=True))
    if json != "-" and not quiet:
        from gearqa.cli.console import terminal
        from gearqa.report.blocks.document import Facts

        terminal().blocks([Facts((("Standard", standard), ("Gear", _gear_text(gear)))), _table(classes)])
    return ExitStatus.CONFORMS


def _from_part(path: Path, sizes: tuple[float | None, ...]) -> ToleranceGear:
    if any(size is not None for size in sizes):
        raise typer.BadParameter("give either --part or the sizes of the gear", param_hint="--part")
    from gearqa.evaluation.part_geometry import part_geometry
    from gearqa.reading.settings.part_file import read_part

    if path.is_dir():
        path /= "part.toml"
    geometry = part_geometry(read_part(path))
    return ToleranceGear(
        geometry.z, geometry.m_n, geometry.d, geometry.b, round(math.degrees(geometry.beta), 9)
    )


def _from_options(
    module: float | None,
    diameter: float | None,
    face_width: float | None,
    teeth: int | None,
    helix_angle: float | None,
) -> ToleranceGear:
    beta = helix_angle or 0.0
    if diameter is None and module is not None and teeth is not None and 0 <= beta < 90:
        diameter = teeth * module / math.cos(math.radians(beta))
    named = (("--module", module), ("--diameter (or --teeth)", diameter), ("--face-width", face_width))
    missing = [name for name, value in named if value is None]
    if module is None or diameter is None or face_width is None:
        raise GearqaError(
            f"missing: {', '.join(missing)}", hint="Or give --part FILE. Help: gearqa tolerances --help"
        )
    return ToleranceGear(teeth, module, diameter, face_width, beta)


def _doubt(gear: ToleranceGear, helix_angle: float | None) -> str:
    """What is odd about a reference diameter that does not follow from teeth, module and helix angle."""
    if gear.teeth is None:
        return ""
    spur = gear.teeth * gear.normal_module_mm
    low, high = spur, spur / math.cos(math.radians(LARGEST_HELIX_DEG))
    if helix_angle is not None:
        low = high = spur / math.cos(math.radians(helix_angle))
    if low * (1 - DIAMETER_SHARE) <= gear.reference_diameter_mm <= high * (1 + DIAMETER_SHARE):
        return ""
    follows = f"{low:.4g}" if low == high else f"{low:.4g} to {high:.4g}"
    return (
        f"the tolerances are for the reference diameter {gear.reference_diameter_mm:g} mm as given; teeth, "
        f"module and helix angle make it {follows} mm"
    )


def _gear_text(gear: ToleranceGear) -> str:
    from gearqa.wording.numbers import number_text

    parts = [
        f"{gear.teeth} teeth" if gear.teeth is not None else "",
        f"normal module {number_text(gear.normal_module_mm)} mm",
        f"reference diameter {number_text(round(gear.reference_diameter_mm, 4))} mm",
        f"face width {number_text(gear.face_width_mm)} mm",
        f"helix angle {number_text(gear.helix_angle_deg)}°" if gear.helix_angle_deg else "",
    ]
    return ", ".join(filter(None, parts))


def _table(classes: dict[int, dict[str, float]]) -> Table:
    from gearqa.report.blocks.document import Column, Table
    from gearqa.symbols import PARAMETERS
    from gearqa.wording.numbers import tolerance_text

    keys = next(iter(classes.values()))
    named = len(classes) == 1
    return Table(
        "",
        (
            Column("µm", "left"),
            *(Column(f"class {A}" if named else str(A)) for A in classes),
            *([Column("", "left")] if named else []),
        ),
        tuple(
            (
                PARAMETERS[key].symbol,
                *(tolerance_text(row[key]) for row in classes.values()),
                *([PARAMETERS[key].name] if named else []),
            )
            for key in PARAMETERS
            if key in keys
        ),
        notes=(
            *([] if named else ["Columns: flank tolerance classes."]),
            "fHα and fHβ: plus or minus. Fpz/8, fu and Fr by the annexes of the standard"
            + ("." if "sector_pitch" in keys else "; Fpz/8 needs --teeth."),
        ),
    )

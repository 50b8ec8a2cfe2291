"""`gearqa size`: nominal size and limits of the teeth of a gear."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Literal

import typer

from gearqa.cli.exit_status import ExitStatus
from gearqa.cli.options import JsonFile, Quiet


def command(
    part: Annotated[
        Path | None, typer.Option("--part", metavar="FILE", help="Take gear and limits from this part file.")
    ] = None,
    kind: Annotated[
        Literal["external", "internal"], typer.Option("--kind", help="Kind of gear.")
    ] = "external",
    teeth: Annotated[int | None, typer.Option("--teeth", metavar="N", help="Number of teeth.")] = None,
    module: Annotated[float | None, typer.Option("--module", metavar="MM", help="Normal module, mm.")] = None,
    pressure_angle: Annotated[
        float, typer.Option("--pressure-angle", metavar="DEG", help="Normal pressure angle, degrees.")
    ] = 20.0,
    helix_angle: Annotated[
        float, typer.Option("--helix-angle", metavar="DEG", help="Helix angle, degrees.")
    ] = 0.0,
    profile_shift: Annotated[
        float | None,
        typer.Option("--profile-shift", metavar="X", help="Coefficient, sign of ISO 21771: plus is thicker."),
    ] = None,
    catalogue_shift: Annotated[
        float | None,
        typer.Option(
            "--catalogue-shift",
            metavar="X",
            help="Coefficient as in catalogues: opposite for internal gears.",
        ),
    ] = None,
    ball: Annotated[
        float | None, typer.Option("--ball", metavar="MM", help="Diameter of ball or pin, mm.")
    ] = None,
    teeth_spanned: Annotated[
        int | None, typer.Option("--teeth-spanned", metavar="N", help="Teeth spanned, external gears.")
    ] = None,
    tip_diameter: Annotated[
        float | None,
        typer.Option("--tip-diameter", metavar="MM", help="Tip diameter, for heights of chords, mm."),
    ] = None,
    limits_of: Annotated[
        Literal["thickness", "allowance", "balls", "span"] | None,
        typer.Option("--limits-of", help="What the limits are of; allowance in micrometres, the rest in mm."),
    ] = None,
    lower: Annotated[float | None, typer.Option("--lower", metavar="V", help="Lower limit.")] = None,
    upper: Annotated[float | None, typer.Option("--upper", metavar="V", help="Upper limit.")] = None,
    json: JsonFile = None,
    quiet: Quiet = False,
) -> int:
    """Compute the size of teeth: over or between balls, span, thickness, each from the other.

    Nominal size of the drawing; with limits of any one measure the limits of all others too.

    Example: gearqa size --teeth 24 --module 3 --limits-of allowance --lower -80 --upper -40
    """
    from gearqa.cli.console import put_out, terminal
    from gearqa.jobs.size import tooth_size
    from gearqa.report.size import size_blocks

    size = tooth_size(
        part=part, kind=kind, teeth=teeth, module=module, pressure_angle=pressure_angle,
        helix_angle=helix_angle, profile_shift=profile_shift, catalogue_shift=catalogue_shift, ball=ball,
        teeth_spanned=teeth_spanned, tip_diameter=tip_diameter, limits_of=limits_of, lower=lower, upper=upper,
    )  # fmt: skip
    shown = "" if json == "-" or quiet else terminal().laid_out(size_blocks(size))
    if json is not None:
        from gearqa.results.outputs import write_whole
        from gearqa.results.size_json import SIZE

        write_whole(json, SIZE.json(size, pretty=True), "JSON result")
    put_out(shown)
    return ExitStatus.CONFORMS

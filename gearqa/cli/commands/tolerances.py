"""`gearqa tolerances`: the tolerances of one gear, in one system or in all."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

from gearqa.cli.exit_status import ExitStatus
from gearqa.cli.options import JsonFile, Quiet
from gearqa.standards import DEFAULT_STANDARD


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
        int | None, typer.Option("--class", metavar="A", help="Only this class of the standard.")
    ] = None,
    standard: Annotated[
        str | None,
        typer.Option(
            "--standard",
            metavar="TITLE",
            help=f"Tolerance standard [default: that of the part file, or {DEFAULT_STANDARD}]",
        ),
    ] = None,
    compare: Annotated[
        bool, typer.Option("--compare", help="All systems side by side: what comes nearest in each.")
    ] = False,
    json: JsonFile = None,
    quiet: Quiet = False,
) -> int:
    """Print the tolerances of a gear, by class or in all systems side by side.

    Rounded as the standard rounds, in micrometres; a slope's tolerance is its magnitude. The gear comes
    from --module, --diameter and --face-width, or from a part file.

    Example: gearqa tolerances --module 1.75 --diameter 160 --face-width 32 --class 5
    """
    from gearqa.cli.console import put_out, tell, terminal
    from gearqa.jobs.tolerances import compare_tolerances, diameter_doubt, tolerances
    from gearqa.report.tolerances import comparison_blocks, tolerance_blocks

    sizes: dict[str, Any] = {
        "module": module, "diameter": diameter, "face_width": face_width, "teeth": teeth,
        "helix_angle": helix_angle, "part": part, "class_": grade, "standard": standard,
    }  # fmt: skip
    job: Any
    blocks_of: Any
    job, blocks_of = (compare_tolerances, comparison_blocks) if compare else (tolerances, tolerance_blocks)
    result = job(**sizes)
    if part is None and (doubt := diameter_doubt(result.gear, helix_angle)):
        tell(f"warning: {doubt}")
    shown = "" if json == "-" or quiet else terminal().laid_out(blocks_of(result))
    if json is not None:
        from gearqa.results.outputs import write_whole
        from gearqa.results.tolerances_json import COMPARISON, TOLERANCES

        document: Any = COMPARISON if compare else TOLERANCES
        write_whole(json, document.json(result, pretty=True), "JSON result")
    put_out(shown)
    return ExitStatus.CONFORMS

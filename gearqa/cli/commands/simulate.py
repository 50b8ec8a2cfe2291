"""`gearqa simulate`: an inspection folder from a physical model."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from gearqa.cli.exit_status import ExitStatus
from gearqa.cli.options import Quiet


def command(
    folder: Annotated[Path, typer.Argument(metavar="FOLDER", help="Folder to write; must be new or empty.")],
    scenario: Annotated[
        Path, typer.Option("--scenario", metavar="FILE", help="Scenario file (gearqa schema scenario).")
    ],
    seed: Annotated[
        int | None, typer.Option("--seed", metavar="N", help="Random seed instead of the scenario's.")
    ] = None,
    quiet: Quiet = False,
) -> int:
    """Write an inspection folder from a physical model of the flank surfaces.

    Every table comes from the same displaced surface. The tables are marked as simulated, and so is
    everything that is made from them.
    """
    from gearqa.cli.console import tell
    from gearqa.cli.progress import Progress
    from gearqa.simulate import write_folder

    with Progress("simulating", "gears", quiet=quiet) as progress:
        written = write_folder(folder, scenario, seed, progress.at)
    if not quiet:
        tell(f"{folder}: {', '.join(path.name for path in written)}")
        tell(f"next: gearqa grade {folder}")
    return ExitStatus.CONFORMS

"""Opening an inspection folder for a command, with the way out when the argument is not one."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from gearqa.cli.app import grade_line

if TYPE_CHECKING:
    from gearqa.reading.folder.inspection import Inspection


def open_folder(
    folder: Path, *, part: Path | None, columns: Path | None, serials: Sequence[str] | None
) -> Inspection:
    """Read a folder as a command was told to."""
    from gearqa.reading.folder.passes import read_folder

    return read_folder(folder, part=part, columns=columns, serials=tuple(serials or ()))


def require_folder(folder: Path) -> None:
    """Raise a usage error that says what was meant, unless `folder` is one."""
    if folder.is_dir():
        return
    if folder.exists():
        message = f"'{folder}' is a file; a folder is graded as a whole. Meant was: {grade_line(str(folder))}"
    else:
        message = f"'{folder}' does not exist; to start one: gearqa new {folder}"
    raise typer.BadParameter(message, param_hint="FOLDER")

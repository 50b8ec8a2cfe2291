"""Inspection folders of a job: opened, with the way out when the argument is not one."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from itertools import chain
from pathlib import Path
from typing import TYPE_CHECKING

from gearqa.errors import ArgumentError

if TYPE_CHECKING:
    from gearqa.model.measurement import InputFile
    from gearqa.model.part import Part
    from gearqa.reading.folder.inspection import Inspection


def open_folder(
    folder: str | Path,
    *,
    part: str | Path | Part | None = None,
    columns: str | Path | None = None,
    serials: Sequence[str] | None = None,
) -> Inspection:
    """Read an inspection folder; use the result as a context manager."""
    from gearqa.reading.folder.passes import read_folder

    require_folder(folder)
    return read_folder(folder, part=part, columns=columns, serials=tuple(serials or ()))


def require_folder(folder: str | Path) -> None:
    """Raise ArgumentError, which says what was meant, unless `folder` is one."""
    folder = Path(folder)
    if folder.is_dir():
        return
    if folder.exists():
        line = grade_line(str(folder))
        message = f"'{folder}' is a file; a folder is graded as a whole. Did you mean: {line}"
    else:
        message = f"'{folder}' does not exist; to start one: gearqa new {folder}"
    raise ArgumentError("folder", message)


def folders_below(roots: Sequence[str | Path], wanted: Callable[[Path], object]) -> list[Path]:
    """Wanted folders below the roots, themselves included, each once, in the order of their paths.

    A root is a folder, or a pattern such as ``lots/2025-*``.
    """
    return list(dict.fromkeys(folder for folder in _all_below(roots) if wanted(folder)))


def _all_below(roots: Sequence[str | Path]) -> Iterator[Path]:
    for root in chain.from_iterable(map(_matching, roots)):
        if Path(root).is_file():
            raise ArgumentError("folder", f"'{root}' is a file; here folders are named, or patterns of them")
        require_folder(root)
        yield from sorted((Path(root), *(path for path in Path(root).rglob("*") if path.is_dir())))


def _matching(root: str | Path) -> Sequence[str | Path]:
    """Folders that a pattern names; a path as it is, for whoever complains that it is none."""
    from glob import glob

    found = [] if Path(root).exists() else sorted(glob(str(root), recursive=True))
    return found or [root]


def drawing_of(path: str | Path) -> Part:
    """The drawing: of a part file, or of the one in a folder."""
    from gearqa.reading.settings.part_file import read_part

    path = Path(path)
    return read_part(path / "part.toml" if path.is_dir() else path)


def path_or_none(path: str | Path | None) -> Path | None:
    """A path that need not be given."""
    return None if path is None else Path(path)


def input_file(path: str | Path) -> InputFile:
    """A file that was read by itself, as an input of a result."""
    from gearqa.model.measurement import InputFile
    from gearqa.reading.rows.digests import sha256_of

    path = Path(path)
    return InputFile(path.name, sha256_of(path))


def grade_line(path: str, rest: Sequence[str] = ()) -> str:
    """Return the command line that grades `path`: the folder itself, or the folder of a file."""
    import shlex

    folder = path if Path(path).is_dir() else str(Path(path).parent)
    return shlex.join(["gearqa", "grade", folder, *rest])

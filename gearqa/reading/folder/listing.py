"""The files of an inspection folder: which are tables, which are left out and why, which fit a pattern."""

from __future__ import annotations

import os
import re
from collections.abc import Collection, Sequence
from fnmatch import fnmatchcase
from pathlib import Path

from gearqa.model.measurement import InputFile
from gearqa.reading.rows.parquet_rows import is_parquet
from gearqa.results.file_kinds import is_temporary, made_by_gearqa

IGNORED = "named by ignore"


def list_folder(
    folder: Path, *, ignore: Sequence[str], known: Collection[str]
) -> tuple[list[Path], list[InputFile], list[str]]:
    """Tables to look at, other files, and what gearqa made itself, which is part of no result.

    All directly in the folder, in byte order of names; without the `known` ones.
    """
    tables: list[Path] = []
    left_out: list[InputFile] = []
    own: list[str] = []
    # a link to nowhere is listed too: its reader says that it cannot be read
    files = (p for p in folder.iterdir() if p.is_file() or (p.is_symlink() and not p.exists()))
    for path in sorted(files, key=lambda p: os.fsencode(p.name)):
        if path.name in known:
            continue
        if is_temporary(path):
            continue
        if made_by_gearqa(path):
            own.append(path.name)
            continue
        why = _why_left_out(path, ignore)
        if why is None:
            tables.append(path)
        else:
            left_out.append(InputFile(path.name, left_out=why))
    return tables, left_out, own


def _why_left_out(path: Path, ignore: Sequence[str]) -> str | None:
    if matches_any(path.name, ignore):
        return IGNORED
    if path.name.startswith("."):
        return "a hidden file"
    if is_table(path):
        return None
    return "another TOML file than the part file" if path.suffix.lower() == ".toml" else "no .csv file"


def is_table(path: Path | str) -> bool:
    """Whether a file is read as a table, by the ending of its name."""
    return is_parquet(path) or str(path).lower().endswith(".csv")


def matches_any(name: str, patterns: Sequence[str]) -> bool:
    """Whether a path (relative, with slashes) fits one of some patterns; case does not matter.

    A pattern without a slash fits only files directly in the folder; `**` is any subfolders.

    >>> matches_any("PROF_1.CSV", ["prof_*.csv"]), matches_any("a/prof_1.csv", ["prof_*.csv"])
    (True, False)
    >>> matches_any("a/b/prof_1.csv", ["**/prof_*.csv"]), matches_any("a/b/x.csv", ["*/x.csv"])
    (True, False)
    """
    parts = name.casefold().split("/")
    return any(_fits(parts, re.split(r"[/\\]", pattern.casefold())) for pattern in patterns)


def _fits(parts: Sequence[str], steps: Sequence[str]) -> bool:
    if not steps:
        return not parts
    if steps[0] == "**" and len(steps) > 1:
        return _fits(parts, steps[1:]) or (bool(parts) and _fits(parts[1:], steps))
    return bool(parts) and fnmatchcase(parts[0], steps[0]) and _fits(parts[1:], steps[1:])


def files_below(folder: Path) -> list[str]:
    """All files below a folder, by path with slashes, in byte order; hidden ones and TOML files left out."""
    names: list[str] = []
    for root, folders, files in os.walk(folder):
        folders[:] = [f for f in folders if not f.startswith(".")]
        wanted = (f for f in files if not f.startswith(".") and not f.lower().endswith(".toml"))
        names += [Path(root, file).relative_to(folder).as_posix() for file in wanted]
    return sorted(names, key=os.fsencode)

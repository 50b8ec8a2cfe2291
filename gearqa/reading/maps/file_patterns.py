"""Files of an inspection folder by the patterns of a column map or an `ignore` line."""

from __future__ import annotations

import os
import re
from collections.abc import Sequence
from fnmatch import fnmatchcase
from pathlib import Path


def matches_any(name: str, patterns: Sequence[str]) -> bool:
    """Whether a path (relative, with slashes) fits one of some patterns; case does not matter.

    A pattern without a slash fits only files directly in the folder; `**` stands for any subfolders.

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

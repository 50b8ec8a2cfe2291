"""The files of an inspection folder: which are tables, and which are left out and why."""

from __future__ import annotations

import os
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from pathlib import Path

from gearqa.model.measurement import InputFile

IGNORED = "named by ignore"


@dataclass(frozen=True, slots=True)
class Listing:
    """CSV files to look at, and all other files of the folder."""

    tables: tuple[Path, ...]
    left_out: tuple[InputFile, ...]


def list_folder(
    folder: Path, *, ignore: Sequence[str] = (), known: Collection[str] = (), mapped: Collection[str] = ()
) -> Listing:
    """List the files directly in a folder, in byte order of their names.

    `known` are files that were read already (part file, column map), `mapped` those a column map names.
    """
    tables: list[Path] = []
    left_out: list[InputFile] = []
    # a link to nowhere is listed too: its reader says that it cannot be read
    files = (p for p in folder.iterdir() if p.is_file() or (p.is_symlink() and not p.exists()))
    for path in sorted(files, key=lambda p: os.fsencode(p.name)):
        name = path.name
        if name in known or name in mapped:
            continue
        if is_ignored(name, ignore):
            left_out.append(InputFile(name, left_out=IGNORED))
        elif name.startswith("."):
            left_out.append(InputFile(name, left_out="a hidden file"))
        elif path.suffix.lower() == ".csv":
            tables.append(path)
        elif path.suffix.lower() == ".toml":
            left_out.append(InputFile(name, left_out="another TOML file than the part file"))
        else:
            left_out.append(InputFile(name, left_out="no .csv file"))
    return Listing(tuple(tables), tuple(left_out))


def is_ignored(name: str, patterns: Sequence[str]) -> bool:
    """Whether a file is named by an `ignore` line."""
    if not patterns:
        return False
    from gearqa.reading.maps.file_patterns import matches_any

    return matches_any(name, patterns)

"""Inspection folders under a watched folder, and whether their files still change."""

from __future__ import annotations

import os
from collections.abc import Collection, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

from gearqa.model.part import PART_FILE
from gearqa.reading.folder.listing import is_table
from gearqa.reading.rows.parquet_rows import ends_whole, is_parquet

Signature = tuple[tuple[str, int, int], ...]
"""Name, size and time of change of every file that counts, in order of names."""

LEFT_OUT: Final = {".html", ".pdf", ".json", ".sqlite", ".db"}
"""Endings of outputs, which may lie in a watched folder."""
UNENDED: Final = 10
"""Times the usual wait for a table whose last line is not ended: it may be half written."""


def inspection_folders(
    root: Path, *, own_part: bool, leave_out: Collection[Path] = ()
) -> Iterator[tuple[Path, Signature]]:
    """Folders at or under `root` with a part file and a table; with `own_part` a table is enough."""
    for place, folders, names in os.walk(root):
        folders[:] = sorted(name for name in folders if not name.startswith(".") and name != "templates")
        files = []
        for name in sorted(names):
            path = Path(place) / name
            if name.startswith(".") or _is_output(path, leave_out):
                continue
            try:
                stat = path.stat()
            except OSError:  # gone between listing and looking
                continue
            files.append((name, stat.st_size, stat.st_mtime_ns))
        has_part = own_part or any(name == PART_FILE for name, _, _ in files)
        if has_part and any(is_table(name) for name, _, _ in files):
            yield Path(place), tuple(files)


def _is_output(path: Path, leave_out: Collection[Path]) -> bool:
    """Whether a file is an output, or one that SQLite makes for a database (`history.sqlite-journal`)."""
    database = path.with_name(path.name.rsplit("-", 1)[0])
    return any(one.suffix.lower() in LEFT_OUT or one in leave_out for one in (path, database))


def ends_within_a_line(folder: Path, signature: Signature) -> bool:
    """Whether a table does not end as a whole one: with a line feed, in Parquet with its mark."""
    for name, size, _ in signature:
        if not is_table(name) or not size:
            continue
        try:
            if is_parquet(name):
                if not ends_whole(folder / name):
                    return True
                continue
            with (folder / name).open("rb") as file:
                file.seek(-1, os.SEEK_END)
                if file.read(1) not in (b"\n", b"\r", b"\0"):  # UTF-16 ends with a zero byte
                    return True
        except OSError:
            return True
    return False


@dataclass(slots=True)
class _Waiting:
    signature: Signature
    since: float
    unended: bool


@dataclass(slots=True)
class Settling:
    """Finds folders that are new or changed and whose files have been unchanged for a while."""

    settle_s: float
    done: dict[Path, Signature] = field(default_factory=dict)
    _waiting: dict[Path, _Waiting] = field(default_factory=dict)

    def look(self, found: Iterator[tuple[Path, Signature]], now: float) -> list[Path]:
        """Folders that are ready; `now` is a clock that never goes back. [s]"""
        ready: list[Path] = []
        seen: set[Path] = set()
        for folder, signature in found:
            seen.add(folder)
            if self.done.get(folder) == signature:
                self._waiting.pop(folder, None)
                continue
            waiting = self._waiting.get(folder)
            if waiting is None or waiting.signature != signature:
                unended = ends_within_a_line(folder, signature)
                self._waiting[folder] = waiting = _Waiting(signature, now, unended)
            wait = self.settle_s * (UNENDED if waiting.unended else 1)
            if now - waiting.since >= wait:
                ready.append(folder)
        for gone in self._waiting.keys() - seen:
            del self._waiting[gone]
        return ready

    @property
    def waiting(self) -> tuple[Path, ...]:
        """Folders that are not ready yet."""
        return tuple(self._waiting)

    def signature(self, folder: Path) -> Signature:
        """What a waiting folder held when it was last looked at."""
        return self._waiting[folder].signature

    def finish(self, folder: Path) -> None:
        """The folder was dealt with as it was when last looked at; it comes again when it changes."""
        self.done[folder] = self._waiting.pop(folder).signature

    def wait_again(self, folder: Path, now: float) -> None:
        """Start the wait of a folder again."""
        self._waiting[folder].since = now

"""Sections that wait in a file for their page: a report of any number of sheets takes the same memory."""

from __future__ import annotations

import os
import pickle
from collections.abc import Iterator, Sequence
from tempfile import SpooledTemporaryFile
from typing import IO, Any, Final, overload
from weakref import finalize

from gearqa.report.blocks.document import Section

IN_MEMORY: Final = 16 << 20
"""Bytes held in memory before a temporary file takes over."""


class SectionFile:
    """Puts sections of sheets aside; they are read again whenever somebody goes through them."""

    def __init__(self) -> None:
        self.file = _file()
        finalize(self, self.file.close)

    def put(self, sections: Sequence[Section]) -> Sequence[Section]:
        """The same sections, in the file."""
        start = self.file.seek(0, os.SEEK_END)
        pickle.dump(tuple(sections), self.file, protocol=pickle.HIGHEST_PROTOCOL)
        return _PutAside(self, start, len(sections))


def _file() -> IO[bytes]:
    return SpooledTemporaryFile(max_size=IN_MEMORY)


class _PutAside(Sequence[Section]):
    """Sections in a file; sent to another process as they are."""

    def __init__(self, aside: SectionFile, start: int, count: int) -> None:
        self._aside, self._start, self._count = aside, start, count

    def _read(self) -> tuple[Section, ...]:
        self._aside.file.seek(self._start)
        sections: tuple[Section, ...] = pickle.load(self._aside.file)
        return sections

    def __len__(self) -> int:
        return self._count

    @overload
    def __getitem__(self, at: int) -> Section: ...
    @overload
    def __getitem__(self, at: slice) -> Sequence[Section]: ...
    def __getitem__(self, at: int | slice) -> Section | Sequence[Section]:
        return self._read()[at]

    def __iter__(self) -> Iterator[Section]:
        return iter(self._read())

    def __reduce__(self) -> tuple[Any, ...]:
        return tuple, (self._read(),)

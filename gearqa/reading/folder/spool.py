"""Numbers put aside between the two passes of a reading: in memory up to a bound, then on disk."""

from __future__ import annotations

import bisect
import os
import sys
import threading
from typing import IO, Final

import numpy as np

from gearqa.arrays import Array

MEMORY_BYTES: Final = 96 << 20
"""What is kept in memory; beyond it everything moves to a temporary file."""
_ITEM: Final = 8


class Spool:
    """A long row of float64 numbers, written once from the front and read back in pieces."""

    def __init__(self, memory_bytes: int = MEMORY_BYTES) -> None:
        self._memory_bytes = memory_bytes
        self._arrays: list[Array] = []
        self._starts: list[int] = []
        self._length = 0
        self._file: IO[bytes] | None = None
        self._lock = threading.Lock()
        self._closed = False

    def __len__(self) -> int:
        return self._length

    @property
    def on_disk(self) -> bool:
        """Whether the numbers went to a temporary file."""
        return self._file is not None

    def append(self, values: Array) -> int:
        """Put numbers aside, which nobody changes from now on; returns where they start."""
        start = self._length
        if not len(values):
            return start
        values = np.ascontiguousarray(values, dtype=np.float64)
        self._length += len(values)
        if self._file is None and self._length * _ITEM > self._memory_bytes:
            self._move_to_disk()
        if self._file is not None:
            self._write(values)
        else:
            if values.base is not None:  # a part would keep the whole in memory
                values = values.copy()
            values.setflags(write=False)
            self._arrays.append(values)
            self._starts.append(start)
        return start

    def read(self, start: int, count: int) -> Array:
        """Numbers put aside earlier, read-only."""
        if self._closed:
            raise ValueError("this inspection is closed: read the folder again")
        if self._file is not None:
            data = self._read(count * _ITEM, start * _ITEM)
            if len(data) < count * _ITEM:
                raise OSError("the temporary file is shorter than what was written")
            return np.frombuffer(data)
        if count == 0:
            return np.zeros(0)
        at = bisect.bisect_right(self._starts, start) - 1
        array, first = self._arrays[at], start - self._starts[at]
        if first + count <= len(array):
            return array[first : first + count]
        joined = np.concatenate(
            (array[first:], self.read(start + len(array) - first, count - len(array) + first))
        )
        joined.setflags(write=False)
        return joined

    def close(self) -> None:
        """Free memory and disk."""
        self._closed = True
        self._arrays.clear()
        if self._file is not None:
            self._file.close()

    def __del__(self) -> None:
        self.close()

    def _move_to_disk(self) -> None:
        import tempfile

        # unbuffered: what is written can be read back at once
        self._file = tempfile.TemporaryFile(prefix="gearqa-", buffering=0)  # noqa: SIM115 - lives on
        for array in self._arrays:
            self._write(array)
        self._arrays.clear()
        self._starts.clear()

    def _write(self, values: Array) -> None:
        assert self._file is not None
        rest = values.view(np.uint8).data
        while rest:
            rest = rest[self._file.write(rest) :]

    def _read(self, size: int, offset: int) -> bytes:
        assert self._file is not None
        if sys.platform != "win32":  # moves nothing that a forked process would share
            return os.pread(self._file.fileno(), size, offset)
        with self._lock:
            self._file.seek(offset)
            data = self._file.read(size)
            self._file.seek(0, os.SEEK_END)
            return data

"""SHA-256 of files, taken from the very bytes that are read."""

from __future__ import annotations

import hashlib
import io
from pathlib import Path
from typing import Any


class HashingFile(io.RawIOBase):
    """An unbuffered file that hashes what passes through it."""

    def __init__(self, path: Path) -> None:
        self._file = path.open("rb", buffering=0)
        self._hash = hashlib.sha256()

    def readable(self) -> bool:
        return True

    def readinto(self, buffer: Any) -> int:
        count = self._file.readinto(buffer) or 0
        self._hash.update(memoryview(buffer)[:count])
        return count

    def close(self) -> None:
        self._file.close()
        super().close()

    def hexdigest(self) -> str:
        """Digest of what was read so far."""
        return self._hash.hexdigest()


def sha256_of(path: Path) -> str:
    """Digest of a whole file."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()

"""Outputs that appear whole or not at all: written next to their place, then renamed.

The outputs of one command appear together when all are complete; after a failure the old files are
untouched. Standard output is held back as well. An output takes the place of nothing but an earlier
output of its kind, and never of an input, by whatever name.
"""

from __future__ import annotations

import contextlib
import os
import shutil
import stat
import sys
from collections.abc import Iterable
from pathlib import Path
from types import TracebackType
from typing import IO, BinaryIO, Self, cast

from gearqa.errors import ReportError
from gearqa.results.file_kinds import FileKind, holds_nothing, kind_of
from gearqa.stopping import point_of_no_return

STANDARD_OUTPUT = "-"
HELD_IN_MEMORY = 8 * 1024 * 1024
"""Bytes of standard output held in memory before a temporary file takes over."""


class Outputs:
    """The outputs of one command, by file name or `-`; a context manager.

    At its end all appear in their places; after an exception everything is as it was.

    Examples
    --------
    >>> import tempfile
    >>> folder = Path(tempfile.mkdtemp())
    >>> with Outputs() as outputs:
    ...     _ = outputs.open(str(folder / "a.txt"), "mail text").write(b"whole")
    >>> (folder / "a.txt").read_bytes()
    b'whole'
    """

    def __init__(self, standard_output: BinaryIO | None = None) -> None:
        self._standard_output = standard_output
        self._files: dict[Path, tuple[Path, IO[bytes]]] = {}
        """Place -> temporary file in the same folder, and its stream."""
        self._temporary: list[Path] = []
        """Names of temporary files, noted before the files exist: an interrupt in between loses none."""
        self._made: list[Path] = []
        """Folders that were made for outputs."""
        self._names: set[str] = set()
        self._kinds: dict[Path, FileKind] = {}
        """Place -> the kind of file that comes there."""
        self._inputs: set[Path | tuple[int, int]] = set()
        """Inputs by place, and by identity as far as they exist."""
        self._direct: list[IO[bytes]] = []
        self._held: IO[bytes] | None = None

    def open(self, target: str, kind: FileKind) -> BinaryIO:
        """Return a binary stream for `target`, a file name or `-` for standard output, to hold `kind`."""
        if target == STANDARD_OUTPUT:
            if self._held is not None:
                raise ReportError("two outputs to standard output", hint="give a file name to one of them")
            from tempfile import SpooledTemporaryFile

            self._held = SpooledTemporaryFile(max_size=HELD_IN_MEMORY)  # noqa: SIM115
            return cast(BinaryIO, self._held)
        path = Path(os.path.realpath(target))
        if str(path).casefold() in self._names:  # many file systems take names without regard to case
            raise ReportError(f"two outputs to {target}", hint="give each output a file name of its own")
        self._names.add(str(path).casefold())
        self._kinds[path] = kind
        self._refuse(path)
        try:
            return self._open_file(path)
        except OSError as error:
            raise ReportError(f"cannot write {target}: {error.strerror or error}") from error

    def _open_file(self, path: Path) -> BinaryIO:
        if path.is_dir():
            raise IsADirectoryError(0, "is a folder, a file name is needed")
        if not path.parent.is_dir():
            raise FileNotFoundError(0, f"the folder {path.parent} does not exist")
        if path.exists() and not path.is_file():  # a device or pipe cannot be replaced by renaming
            stream: IO[bytes] = path.open("wb")
            self._direct.append(stream)
            return cast(BinaryIO, stream)
        if path.exists() and not os.access(path, os.W_OK):
            raise PermissionError(0, "is write-protected")
        temporary = path.with_name(f".{path.name[:40]}.{os.urandom(8).hex()}.part")
        self._temporary.append(temporary)
        stream = open(temporary, "xb", opener=_private)  # noqa: SIM115
        self._files[path] = temporary, stream
        return cast(BinaryIO, stream)

    def folder(self, target: str) -> Path:
        """Return a folder for many outputs; a new one is removed again after a failure."""
        path = Path(os.path.realpath(target))
        if not path.is_dir():
            try:
                path.mkdir()
            except OSError as error:
                raise ReportError(f"cannot make the folder {target}: {error.strerror or error}") from error
            self._made.append(path)
        return path

    def close(self, stream: BinaryIO) -> None:
        """Close a finished output of many, so that no more files are open than needed."""
        stream.flush()
        os.fsync(stream.fileno())
        stream.close()

    def check_place(self, target: str, kind: FileKind) -> None:
        """Raise if `target` could not be written later, as far as that can be told now."""
        path = Path(os.path.realpath(target))
        self._kinds[path] = kind
        self._refuse(path)

    def keep_clear_of(self, inputs: Iterable[Path]) -> None:
        """Raise if an output, opened before or after, would take the place of an input."""
        for path in inputs:
            self._inputs |= {Path(os.path.realpath(path)), *_identity(path)}
        for place in self._files:
            self._refuse(place)

    def _refuse(self, place: Path) -> None:
        """Raise if what is at a place must stay: an input, or a file of another kind than comes there."""
        if place in self._inputs or any(one in self._inputs for one in _identity(place)):
            raise ReportError(f"{place} is an input and is not overwritten", hint="name another output")
        if not place.is_file():
            return
        there, kind = kind_of(place), self._kinds[place]
        if there != kind and not (there is None and _can_go(place)):
            what = f"a {there}" if there else "a file that gearqa did not write"
            raise ReportError(
                f"{place} is {what} and is not overwritten by a {kind}", hint="name another output"
            )

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        try:
            if error is None:
                self._commit()
        finally:
            self._discard()

    def _commit(self) -> None:
        path = None
        try:
            for path, (temporary, stream) in self._files.items():
                if not stream.closed:
                    self.close(cast(BinaryIO, stream))
                os.chmod(temporary, _mode(path))
            for stream in self._direct:
                stream.close()
            for path in self._files:
                self._refuse(path)
            if self._files:
                point_of_no_return()
            for path, (temporary, _) in self._files.items():
                os.replace(temporary, path)
        except OSError as error:
            raise ReportError(f"cannot write {path}: {error.strerror or error}") from error
        self._files.clear()
        self._temporary.clear()
        self._made.clear()
        if self._held is not None:
            self._held.seek(0)
            target = self._standard_output or sys.stdout.buffer
            shutil.copyfileobj(self._held, target, 1024 * 1024)
            target.flush()

    def _discard(self) -> None:
        for _, stream in self._files.values():
            with contextlib.suppress(OSError):  # a full disk fails again on closing; the file goes anyway
                stream.close()
        for temporary in self._temporary:
            temporary.unlink(missing_ok=True)
        for folder in self._made:
            with contextlib.suppress(OSError):  # somebody else put something in
                folder.rmdir()
        for stream in self._direct:
            stream.close()
        if self._held is not None:
            self._held.close()


def _private(path: str, flags: int) -> int:
    """Open a file that nobody else may read before it is in its place."""
    return os.open(path, flags, 0o600)


def _mode(path: Path) -> int:
    """Access rights: of the file that is replaced, else what the process gives new files."""
    try:
        return stat.S_IMODE(path.stat().st_mode)
    except FileNotFoundError:
        return 0o666 & ~umask()


def umask() -> int:
    """Rights that the process takes off new files."""
    mask = os.umask(0)
    os.umask(mask)
    return mask


def _identity(path: Path) -> list[tuple[int, int]]:
    """What tells a file from all others, under whichever of its names; nothing for one that is not there."""
    try:
        found = path.stat()
    except OSError:
        return []
    return [(found.st_dev, found.st_ino)]


def _can_go(path: Path) -> bool:
    try:
        return holds_nothing(path)
    except OSError:
        return False


def write_whole(target: str, content: bytes, kind: FileKind) -> None:
    """Write one output at once: whole, or not at all."""
    with Outputs() as outputs:
        outputs.open(target, kind).write(content)

"""What the exit status of `gearqa` means."""

from __future__ import annotations

from enum import IntEnum


class ExitStatus(IntEnum):
    """Exit status; a crash or a wrong input can never pass for a verdict."""

    CONFORMS = 0
    """Done, and everything conforms."""
    DOES_NOT_CONFORM = 1
    """Done, and something does not conform or cannot be decided."""
    NOT_DONE = 2
    """Could not be done: bad usage or bad input; nothing was written."""
    PROGRAM_FAULT = 70
    """A fault of gearqa itself; nothing was written."""
    INTERRUPTED = 130
    """Stopped by Ctrl-C; nothing was written."""
    READER_GONE = 141
    """Whoever read standard output went away (`gearqa ... | head`)."""
    TERMINATED = 143
    """Stopped by SIGTERM; nothing was written."""


def status_of(conforms: bool | None) -> ExitStatus:
    """Exit status of a verdict; None (not decidable) is not conforming."""
    return ExitStatus.CONFORMS if conforms else ExitStatus.DOES_NOT_CONFORM

"""What the exit status of `gearqa` means."""

from __future__ import annotations

from enum import IntEnum
from typing import Self


class ExitStatus(IntEnum):
    """Exit status; a crash or a wrong input can never pass for a verdict."""

    meaning: str

    def __new__(cls, value: int, meaning: str) -> Self:
        status = int.__new__(cls, value)
        status._value_ = value
        status.meaning = meaning
        return status

    CONFORMS = 0, "done, and everything conforms"
    DOES_NOT_CONFORM = 1, "done, and something does not conform or cannot be decided"
    NOT_DONE = 2, "could not be done: bad usage or bad input; nothing was written"
    PROGRAM_FAULT = 70, "a fault of gearqa itself; nothing was written"
    INTERRUPTED = 130, "stopped by Ctrl-C; nothing was written"
    READER_GONE = 141, "whoever read standard output went away"
    TERMINATED = 143, "stopped by SIGTERM; nothing was written"


def status_of(conforms: bool | None) -> ExitStatus:
    """Exit status of a verdict; None (not decidable) is not conforming."""
    return ExitStatus.CONFORMS if conforms else ExitStatus.DOES_NOT_CONFORM

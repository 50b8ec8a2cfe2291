"""The program `gearqa`, also `python -m gearqa`; it can be stopped before its libraries are loaded."""

from __future__ import annotations

import atexit
import gc
import os
import sys

from gearqa.stopping import stoppable

NEW_OBJECTS = 100_000
"""Objects made between two searches for reference cycles."""


STREAMS = {"stdin": ("r", os.O_RDONLY), "stdout": ("w", os.O_RDONLY), "stderr": ("w", os.O_WRONLY)}
"""How one that the caller closed is opened: messages go nowhere, a result that nobody gets is an error."""


def open_streams() -> None:
    """Open the standard streams that are closed; else the next file would get the number of one."""
    for number, (name, (mode, flags)) in enumerate(STREAMS.items()):
        if getattr(sys, name) is None:
            nowhere = os.open(os.devnull, flags)
            if nowhere != number:
                os.dup2(nowhere, number)
                os.close(nowhere)
            setattr(sys, name, os.fdopen(number, mode, encoding="utf-8", errors="backslashreplace"))


def main() -> None:
    """Entry point of the console script."""
    # modules and results are no cycles: searching them again and again is a sixth of a short run
    gc.set_threshold(NEW_OBJECTS)
    atexit.register(gc.freeze)
    # arrays are too small for threads of linear algebra, beside which no process can be forked, and whose
    # number, that of the cores, would show in the last bit of every sum
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    open_streams()
    with stoppable():
        from gearqa.cli.app import main as program

        program()


if __name__ == "__main__":
    main()

"""The program `gearqa`, also `python -m gearqa`; it can be stopped before its libraries are loaded."""

from __future__ import annotations

import atexit
import gc
import os

from gearqa.stopping import stoppable

NEW_OBJECTS = 100_000
"""Objects made between two searches for reference cycles."""


def main() -> None:
    """Entry point of the console script."""
    # modules and results are no cycles: searching them again and again is a sixth of a short run
    gc.set_threshold(NEW_OBJECTS)
    atexit.register(gc.freeze)
    # arrays are too small for threads of linear algebra, beside which no process can be forked, and whose
    # number, that of the cores, would show in the last bit of every sum
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    with stoppable():
        from gearqa.cli.app import main as program

        program()


if __name__ == "__main__":
    main()

"""The program `gearqa`, also `python -m gearqa`; it can be stopped before its libraries are loaded."""

from __future__ import annotations

from gearqa.stopping import stoppable


def main() -> None:
    """Entry point of the console script."""
    with stoppable():
        from gearqa.cli.app import main as program

        program()


if __name__ == "__main__":
    main()

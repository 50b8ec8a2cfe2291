"""The history store of a command, and the options that name it and choose from it."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Self

import typer

if TYPE_CHECKING:
    from gearqa.history.store import HistoryStore

Store = Annotated[
    str | None,
    typer.Option(
        "--store",
        metavar="URL",
        help="History store: a file, or postgresql://USER@HOST/DATABASE; else $GEARQA_STORE, else one file "
        "in the user's data folder.",
    ),
]
PartNumber = Annotated[str | None, typer.Option("--part-number", metavar="P", help="Only this part number.")]
Grinder = Annotated[str | None, typer.Option("--grinder", metavar="G", help="Only this grinder.")]
Since = Annotated[
    str | None, typer.Option("--since", metavar="T", help="Made at or after this time (ISO 8601, or a date).")
]
Until = Annotated[
    str | None, typer.Option("--until", metavar="T", help="Made at or before this time (a date: its end).")
]


class CommandStore:
    """The store of a command: opened when its job needs it; where it is and how much it holds is printed."""

    def __init__(self, where: str | None) -> None:
        self._where = where
        self._history: HistoryStore | None = None

    def open(self, *, writing: bool = False) -> HistoryStore:
        """Return the open store."""
        from gearqa.history.store import HistoryStore

        if self._history is None:
            self._history = HistoryStore.open(self._where, writing=writing)
            new = self._history.created
            self.announce("" if self._history.exists else " (new)" if new else " (not there yet)")
        return self._history

    @property
    def files(self) -> list[Path]:
        """The file of the store, which no output may replace; none where the store is on a server."""
        from gearqa.history.store_location import locate

        path = locate(self._where).path
        return [] if path is None else [path]

    def announce(self, state: str = "") -> None:
        """Print on standard error where the store is and how many gears it holds."""
        from gearqa.cli.console import tell

        tell(f"history store: {self.open().shown}, {self.gears()}{state}")

    def gears(self) -> str:
        """How many gears the store holds."""
        from gearqa.wording.numbers import count_text

        return count_text(self.open().gear_count(), "gear")

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        if self._history is not None:
            self._history.close()

"""The history store of a command: opened, and told where it is and how much it holds."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Annotated

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


@contextmanager
def open_store(where: str | None, *, writing: bool = False) -> Iterator[HistoryStore]:
    """Open the store and print where it lies and how many gears it holds."""
    from gearqa.history.store import HistoryStore

    with HistoryStore.open(where, writing=writing) as store:
        announce(store)
        yield store


def announce(store: HistoryStore) -> None:
    """Print on standard error where the store lies and how many gears it holds."""
    from gearqa.cli.console import tell

    count = store.gear_count()
    gears = "1 gear" if count == 1 else f"{count} gears"
    state = "" if store.exists else " (new)" if store.created else " (not there yet)"
    tell(f"history store: {store.shown}, {gears}{state}")
    store.exists = store.exists or store.created


def moment(text: str | None, option: str, *, end_of_day: bool = False) -> datetime | None:
    """A time from an option; without a zone it is local, a bare date is the whole day."""
    if text is None:
        return None
    try:
        found = datetime.fromisoformat(text.strip())
    except ValueError:
        raise typer.BadParameter(
            f"found '{text}', expected a time such as 2025-04-07T06:05, 2025-04-07T06:05+02:00 or 2025-04-07",
            param_hint=option,
        ) from None
    if end_of_day and len(text.strip()) <= len("2025-04-07"):
        found += timedelta(days=1) - timedelta(microseconds=1)
    return found if found.tzinfo is not None else found.astimezone()

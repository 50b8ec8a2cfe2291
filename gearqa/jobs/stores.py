"""The history store of a job: named by its place, or open already."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Protocol

from gearqa.history.store import HistoryStore


class StoreOpener(Protocol):
    """Opens a store when the first job needs it, and keeps it open."""

    def open(self, *, writing: bool) -> HistoryStore:
        """Return the open store."""


AnyStore = StoreOpener | HistoryStore | str | Path | None
"""A file, `postgresql://USER@HOST/DATABASE`, or an open store. None: $GEARQA_STORE, else the file in the
user's data folder."""


@contextmanager
def opened(store: AnyStore, *, writing: bool = False) -> Iterator[HistoryStore]:
    """Open the store of a job; one that is open already is used as it is and stays open."""
    if isinstance(store, HistoryStore):
        yield store
    elif store is None or isinstance(store, str | Path):
        with HistoryStore.open(None if store is None else str(store), writing=writing) as history:
            yield history
    else:
        yield store.open(writing=writing)

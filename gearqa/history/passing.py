"""A hook around long loops over gears: it counts them, or stops the loop by an exception."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Protocol, TypeVar

Item = TypeVar("Item")


class Passing(Protocol):
    """Passes items through while they are worked on."""

    def __call__(self, items: Iterable[Item], *, total: int | None = None) -> Iterator[Item]:
        """Pass the items through; `total` is how many there will be, where that is known."""


def unwatched(items: Iterable[Item], *, total: int | None = None) -> Iterator[Item]:
    """Pass the items through."""
    del total
    yield from items

"""Progress of a long job: not shown, unless the caller gives something that shows it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Protocol, TypeVar

Item = TypeVar("Item")


class Progress(Protocol):
    """Passes items through while they are worked on, and may count and show them."""

    def over(
        self, items: Iterable[Item], doing: str, noun: str, *, total: int | None = None
    ) -> Iterator[Item]:
        """Pass the items through; `doing` and `noun` say what is counted: "grading", "gears"."""


class Unseen:
    """Shows nothing."""

    def over(
        self, items: Iterable[Item], doing: str, noun: str, *, total: int | None = None
    ) -> Iterator[Item]:
        """Pass the items through."""
        del doing, noun, total
        yield from items


UNSEEN = Unseen()

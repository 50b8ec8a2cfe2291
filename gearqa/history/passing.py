"""Hooks around long loops over gears: one counts them, or stops the loop by an exception, one shares them
out."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from typing import Protocol, TypeVar

from gearqa.evaluation.evaluate import BATCH_GEARS

Item = TypeVar("Item")
Work = Callable[[range], Sequence[Item]]
"""Places of some gears -> what is made of each."""


class Passing(Protocol):
    """Passes items through while they are worked on."""

    def __call__(self, items: Iterable[Item], *, total: int | None = None) -> Iterator[Item]:
        """Pass the items through; `total` is how many there will be, where that is known."""


def unwatched(items: Iterable[Item], *, total: int | None = None) -> Iterator[Item]:
    """Pass the items through."""
    del total
    yield from items


class OverGears(Protocol):
    """Has something made of each gear of a folder, by whoever is at hand."""

    def __call__(self, work: Work[Item], gears: int) -> Iterator[Item]:
        """What `work` makes of so many gears, in their order."""


def in_turn(work: Work[Item], gears: int) -> Iterator[Item]:
    """Some gears after the others."""
    for at in range(0, gears, BATCH_GEARS):
        yield from work(range(at, min(at + BATCH_GEARS, gears)))

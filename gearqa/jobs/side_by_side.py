"""Work on the gears of one folder, by several processes where that pays."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from itertools import chain
from typing import Final, TypeVar

from gearqa.evaluation.evaluate import BATCH_GEARS

Made = TypeVar("Made")

FEWEST_GEARS: Final = 4 * BATCH_GEARS
"""What another process must have to do: fewer are done before it pays."""


def over_gears(work: Callable[[range], Sequence[Made]], gears: int, *, workers: int | None) -> Iterator[Made]:
    """What is made of so many gears, in their order.

    Parameters
    ----------
    work : callable
        Places of some gears -> what is made of each.
    gears : int
        How many there are.
    workers : int, optional
        Processes at most; None: one a core. With 1 everything happens here, and what is made may be anything.

    Yields
    ------
    Made
        What was made of one gear.
    """
    shares = [range(at, min(at + BATCH_GEARS, gears)) for at in range(0, gears, BATCH_GEARS)]
    if workers == 1 or (workers is None and gears < FEWEST_GEARS):
        yield from chain.from_iterable(map(work, shares))
        return
    from gearqa.jobs.crew import can_fork
    from gearqa.jobs.spread import spread, worker_count

    count = min(worker_count(workers), 1 + gears // FEWEST_GEARS) if can_fork() else 1
    for _, made in spread(work, shares, workers=count, forked=True):
        yield from made

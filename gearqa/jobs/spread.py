"""Work on many things at once: on the cores of this machine, or on several machines through a scheduler.

Results come in the order of the things, whatever is done where, so that nothing depends on how many work.
"""

from __future__ import annotations

import os
import sys
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from functools import cache, partial
from typing import Any, Final, Protocol, TypeVar

from gearqa.errors import ArgumentError, GearqaError
from gearqa.jobs.crew import HELD, Crew
from gearqa.jobs.parameters import require_within
from gearqa.model.ranges import Range

Item = TypeVar("Item")
Result = TypeVar("Result")

WORKERS: Final = Range(1, 1000)
KEPT_BYTES: Final = 32 << 20
"""Largest piece of memory that is kept when it is freed: as far as the C library goes by itself."""
_MMAP_THRESHOLD, _TRIM_THRESHOLD = -3, -1
"""Numbers of options in malloc.h."""


class Promise(Protocol):
    """What comes of a thing that was given away."""

    def done(self) -> bool:
        """Whether it is there."""

    def result(self) -> Any:
        """Wait for it."""


class Workers(Protocol):
    """Whoever works on things that come one by one."""

    most: int
    """Things given away whose results nobody has taken, at most."""

    def idle(self) -> bool:
        """Whether somebody else has too little to do."""

    def submit(self, item: Any) -> Promise:
        """Give one away; it is done here and now where nobody else is idle."""

    def expect_more(self) -> None:
        """Say that there is more than one."""


def worker_count(workers: int | None) -> int:
    """Number of processes: as given, else one for each core that this process may use."""
    if workers is None:
        return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
    require_within("workers", workers, WORKERS)
    return workers


def spread(
    function: Callable[[Item], Result],
    items: Sequence[Item],
    *,
    workers: int | None = 1,
    scheduler: str | None = None,
    forked: bool = False,
) -> Iterator[tuple[Item, Result]]:
    """Each thing with what the function made of it, in the order of the things.

    Parameters
    ----------
    function : callable
        Of a module, so that another process finds it.
    items : sequence
        Things that can be sent to another process.
    workers : int, optional
        Processes on this machine, this one counted; None: one a core, from when on they pay. With 1
        everything happens here.
    scheduler : str, optional
        Address of a running scheduler (``tcp://host:8786``); its workers do the work and must see the same
        files at the same places.
    forked : bool
        Fork the processes of this machine (see `crew.can_fork`): any function will do, and shares with them
        what is in memory.

    Yields
    ------
    tuple
        Thing and result.
    """
    with crew(function, workers, scheduler, things=len(items), forked=forked) as hired:
        todo, given = deque(items), deque[tuple[Item, Promise]]()
        if len(todo) > 1:
            hired.expect_more()
        while todo or given:
            while todo and len(given) < hired.most and hired.idle():
                given.append((todo[0], hired.submit(todo.popleft())))
            if todo and len(given) < hired.most and not (given and given[0][1].done()):
                given.append((todo[0], hired.submit(todo.popleft())))
                continue
            item, promise = given.popleft()
            yield item, promise.result()


@contextmanager
def crew(
    function: Callable[[Any], Any],
    workers: int | None,
    scheduler: str | None = None,
    *,
    things: int | None = None,
    forked: bool = False,
) -> Iterator[Workers]:
    """Workers for things that come one by one, so many if that is known; else as in `spread`."""
    count = worker_count(workers)
    if scheduler is not None:
        with _cluster(function, scheduler) as hired:
            yield hired
        return
    others = count - 1 if things is None else min(count, max(things, 1)) - 1
    with Crew(function, others, at_once=workers is not None, forked=forked) as here:
        yield here


class _Cluster:
    """The workers behind a scheduler."""

    def __init__(self, function: Callable[[Any], Any], client: Any) -> None:
        threads = sum(one["nthreads"] for one in client.scheduler_info()["workers"].values())
        self.most = HELD * max(threads, 1)
        # pure=False: the same folder may hold other files the next time
        self._submit = partial(client.submit, partial(_there, function), pure=False)

    def idle(self) -> bool:
        return True  # the bound is the same

    def submit(self, item: Any) -> Promise:
        promise: Promise = self._submit(item)
        return promise

    def expect_more(self) -> None:
        pass


def _there(function: Callable[[Any], Any], item: Any) -> Any:
    """What a worker behind a scheduler makes of a thing."""
    _keep_freed_memory()
    return function(item)


@cache
def _keep_freed_memory() -> None:
    """Use freed memory again. The nanny of a worker sets MALLOC_TRIM_THRESHOLD_, by which every larger array
    is given back to the system, and getting it again takes as long as all the work."""
    if sys.platform == "linux":
        from ctypes import CDLL

        with suppress(AttributeError):  # a C library without it
            mallopt = CDLL(None).mallopt
            mallopt(_MMAP_THRESHOLD, KEPT_BYTES)
            mallopt(_TRIM_THRESHOLD, 2 * KEPT_BYTES)


@contextmanager
def _cluster(function: Callable[[Any], Any], address: str) -> Iterator[Workers]:
    try:
        from distributed import Client
    except ImportError:
        raise ArgumentError("scheduler", "needs the cluster extra: pip install 'gearqa[cluster]'") from None
    try:
        client = Client(address, timeout="10s")  # type: ignore[no-untyped-call]
    except (OSError, ValueError) as error:
        raise GearqaError(
            f"no scheduler answers at {address}",
            hint="start one with: dask scheduler; then: dask worker ADDRESS",
        ) from error
    with client:
        yield _Cluster(function, client)

"""Work on many things at once: on the cores of this machine, or on several machines through a scheduler.

Results come in the order of the things, whatever is done where, so that nothing depends on how many work.
"""

from __future__ import annotations

import os
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from functools import partial
from itertools import islice
from typing import Any, Final, TypeVar

from gearqa.errors import ArgumentError, GearqaError
from gearqa.jobs.parameters import require_within
from gearqa.model.ranges import Range

Item = TypeVar("Item")
Result = TypeVar("Result")
Submit = Callable[[Callable[[Any], Any], Any], Any]
"""Gives a function and a thing away; returns a future."""

WORKERS: Final = Range(1, 1000)
AHEAD: Final = 2
"""Things in work or waiting for each worker: keeps them busy in bounded memory."""


def worker_count(workers: int | None) -> int:
    """Number of processes: as given, else one for each core that this process may use."""
    if workers is None:
        return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
    require_within("workers", workers, WORKERS)
    return workers


def spread(
    function: Callable[[Item], Result],
    items: Iterable[Item],
    *,
    workers: int | None = 1,
    scheduler: str | None = None,
    pays: bool = True,
) -> Iterator[tuple[Item, Result]]:
    """Each thing with what the function made of it, in the order of the things.

    Parameters
    ----------
    function : callable
        Of a module, so that another process finds it.
    items : iterable
        Things that can be sent to another process.
    workers : int, optional
        Processes on this machine; None: one a core. With 1 everything happens here.
    scheduler : str, optional
        Address of a running scheduler (``tcp://host:8786``); its workers do the work and must see the same
        files at the same places.
    pays : bool
        Whether the work is worth more processes than this one, where nobody says how many.

    Yields
    ------
    tuple
        Thing and result.
    """
    if scheduler is None and (worker_count(workers) == 1 or (workers is None and not pays)):
        for item in items:
            yield item, function(item)
        return
    with crew(workers, scheduler) as (submit, ahead):
        yield from _windowed(partial(submit, function), items, ahead)


@contextmanager
def crew(workers: int | None, scheduler: str | None = None) -> Iterator[tuple[Submit, int]]:
    """Workers for things that come one by one: how to give one away, which gives a future, and how many may
    wait for them. A crew of one does it at once."""
    if scheduler is not None:
        with _cluster(scheduler) as hired:
            yield hired
        return
    count = worker_count(workers)
    if count == 1:
        yield _at_once, 1
        return
    from concurrent.futures import ProcessPoolExecutor
    from multiprocessing import get_context

    with ProcessPoolExecutor(count, mp_context=get_context("spawn"), initializer=_leave_signals) as pool:
        yield pool.submit, AHEAD * count


def _at_once(function: Callable[[Any], Any], item: Any) -> Any:
    from concurrent.futures import Future

    done: Future[Any] = Future()
    done.set_result(function(item))
    return done


def _leave_signals() -> None:
    """Ctrl-C ends the program that has started the workers, and with it the workers."""
    import signal

    signal.signal(signal.SIGINT, signal.SIG_IGN)


def _windowed(submit: Callable[[Item], Any], items: Iterable[Item], ahead: int) -> Iterator[tuple[Item, Any]]:
    source = iter(items)
    waiting = deque((item, submit(item)) for item in islice(source, ahead))
    try:
        while waiting:
            item, future = waiting.popleft()
            result = future.result()
            waiting.extend((more, submit(more)) for more in islice(source, 1))
            yield item, result
    finally:
        for _, future in waiting:
            future.cancel()


@contextmanager
def _cluster(address: str) -> Iterator[tuple[Submit, int]]:
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
        threads = sum(one["nthreads"] for one in client.scheduler_info()["workers"].values())
        # pure=False: the same folder may hold other files the next time
        yield partial(client.submit, pure=False), AHEAD * max(threads, 1)

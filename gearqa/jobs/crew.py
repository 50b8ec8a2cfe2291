"""Processes of this machine that work beside this one, which works too while it waits for them.

Each is told through a pipe what to do, and ends when the pipe closes: none outlives the program, whatever
ends it. What a process had to do that dies, this one does.

A process is either started anew, which takes a second, or forked, which takes milliseconds and shares with it
all that is in memory. Threads do not come along, and what one held or worked for would be waited for without
end: unless told to, it forks only while there are none.
"""

from __future__ import annotations

import os
import sys
import threading
import warnings
from collections import deque
from collections.abc import Callable, Sequence
from concurrent.futures import Future
from contextlib import suppress
from threading import Lock, Thread, Timer
from typing import TYPE_CHECKING, Any, Final, Self

from gearqa.stopping import follow, held_back

if TYPE_CHECKING:
    from multiprocessing.connection import Connection
    from multiprocessing.process import BaseProcess
    from queue import SimpleQueue

AHEAD: Final = 2
"""Things that a process works on or has waiting: enough that it is never without work."""
HELD: Final = 4
"""Results of each process that may wait for an earlier one: bounds the memory."""
HIRE_AFTER_SECONDS: Final = 0.5
"""Work that is shorter is done before another process has loaded its libraries."""
Function = Callable[[Any], Any]


class _WorkerLostError(Exception):
    """A process died before it answered."""


class Task(Future[Any]):
    """A thing that is worked on somewhere."""

    def __init__(self, function: Function, item: Any) -> None:
        super().__init__()
        self._function, self._item = function, item

    def result(self, timeout: float | None = None) -> Any:
        """What the function made of it; made here where the process that had it is gone."""
        try:
            return super().result(timeout)
        except _WorkerLostError:
            return self._function(self._item)


class Crew:
    """This process, and others that do the same with other things.

    Parameters
    ----------
    function : callable
        Of a module, so that another process finds it; any where they are forked.
    others : int
        Processes beside this one.
    at_once : bool
        Hire them now; else once they pay: with the second thing where they can be forked, or when the work
        has lasted long enough.
    forked : bool
        Fork them, at once; see `can_fork`. Else they are forked if no thread runs.
    """

    def __init__(self, function: Function, others: int, *, at_once: bool, forked: bool = False) -> None:
        self._function, self._others, self._forked = function, others, forked
        self._hands: list[_Hand] = []
        self._hiring, self._closed = Lock(), False
        self._timer: Timer | None = None
        self._begun = False
        self.most = 1 + HELD * (others + 1)
        """Things given away whose results nobody has taken, at most."""
        if at_once or forked:
            self._hire()

    def expect_more(self) -> None:
        """There is more than one thing to do, so that others come if they pay."""
        if self._timer is not None or not self._others or self._hands:
            return
        if threadless():
            self._hire()
        else:
            self._timer = Timer(HIRE_AFTER_SECONDS, self._hire)
            self._timer.daemon = True
            self._timer.start()

    def idle(self) -> bool:
        """Whether another process has too little to do."""
        return any(hand.waiting < AHEAD for hand in self._hands)

    def submit(self, item: Any) -> Future[Any]:
        """Give one thing away; it is done here and now where no other process is idle."""
        if self._begun:
            self.expect_more()
        self._begun = True
        if self.idle():
            task = Task(self._function, item)
            min(self._hands, key=lambda hand: hand.waiting).give(task, item)
            return task
        done: Future[Any] = Future()
        try:
            done.set_result(self._function(item))
        except Exception as error:  # raised in its turn
            done.set_exception(error)
        return done

    def _hire(self) -> None:
        with self._hiring:
            if not self._closed and not self._hands:
                hands: list[_Hand] = []
                forked = self._forked or threadless()
                with suppress(OSError):  # no room for so many: those that there are, or none
                    for _ in range(self._others):
                        hands.append(_Hand(self._function, hands, forked=forked))
                for hand in hands:
                    hand.listen()
                self._hands = hands

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        with self._hiring:
            self._closed = True
        if self._timer is not None:
            self._timer.cancel()
        for hand in self._hands:
            hand.dismiss()


def can_fork() -> bool:
    """Whether another process can be forked: where libraries are made for it, while no thread could hold what
    the other one then waits for."""
    return sys.platform == "linux" and threading.active_count() == 1


def threadless() -> bool:
    """Whether no thread but this one runs, nor of a library: then a forked process can do all that this one
    can."""
    return sys.platform == "linux" and len(os.listdir("/proc/self/task")) == 1


class _Hand:
    """One other process."""

    def __init__(self, function: Function, before: Sequence[_Hand], *, forked: bool) -> None:
        from multiprocessing import get_context

        context: Any = get_context("fork" if forked else "spawn")
        self._link, theirs = context.Pipe()
        self._given: deque[Task] = deque()
        self._lock, self._here = Lock(), False
        ours = [*(hand._link for hand in before), self._link] if forked else []
        self._process: BaseProcess = context.Process(
            target=_serve, args=(theirs, function, ours), daemon=True
        )
        with held_back(), warnings.catch_warnings():
            warnings.simplefilter("ignore", DeprecationWarning)  # of threads beside a fork: see `can_fork`
            self._process.start()
        theirs.close()

    def listen(self) -> None:
        """Take in what it answers, from now on."""
        Thread(target=self._listen, daemon=True).start()

    @property
    def waiting(self) -> float:
        """Things that it has to do; endless where it is not there yet, or gone."""
        return len(self._given) if self._here else float("inf")

    def give(self, task: Task, item: Any) -> None:
        """Have one more thing done."""
        with self._lock:
            if not self._here:
                task.set_exception(_WorkerLostError())
                return
            self._given.append(task)
        with suppress(OSError):  # it died: whoever listens notices
            self._link.send(item)

    def _listen(self) -> None:
        try:
            self._link.recv()
            self._here = True
            while True:
                good, answer = self._link.recv()
                task = self._given.popleft()
                (task.set_result if good else task.set_exception)(answer)
        except Exception:  # the pipe's end; an answer that cannot be read, which is then made here
            with self._lock:
                self._here = False
                for task in self._given:
                    task.set_exception(_WorkerLostError())

    def dismiss(self) -> None:
        """Its work is not wanted any more."""
        self._process.kill()  # it may have been started while signals were ignored
        self._process.join()


def _serve(link: Connection, function: Function, ours: Sequence[Connection]) -> None:
    """The life of another process. Ctrl-C ends the program that has started it, and with it the pipe.

    `ours` are the ends of pipes that a forked process inherits; open, they would keep it alive.
    """
    import gc
    from queue import SimpleQueue

    for one in ours:
        one.close()
    gc.freeze()  # a search for cycles would write to, and so copy, all that is shared
    follow()
    todo: SimpleQueue[Any] = SimpleQueue()
    Thread(target=_receive, args=(link, todo), daemon=True).start()
    with suppress(OSError):
        link.send(None)
        while True:
            link.send(_answer(function, todo.get()))


def _receive(link: Connection, todo: SimpleQueue[Any]) -> None:
    """Things to do, taken at once so that nobody waits to give them, until nobody is left who wants them."""
    try:
        while True:
            todo.put(link.recv())
    finally:
        os._exit(0)


def _answer(function: Function, item: Any) -> tuple[bool, Any]:
    try:
        return True, function(item)
    except Exception as error:
        from traceback import format_exc

        error.add_note(format_exc())
        return False, error

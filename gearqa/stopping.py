"""Ctrl-C and SIGTERM: the program ends with the signal's status and leaves nothing half written.

A library that is interrupted may turn the exception into one of its own, or drop it. So what counts is
that the signal came, not what became of it.
"""

from __future__ import annotations

import os
import signal
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from importlib.machinery import ExtensionFileLoader
from types import FrameType

WORDS = {signal.SIGINT: "interrupted", signal.SIGTERM: "terminated"}
_BEFORE = (signal.SIG_DFL, signal.default_int_handler)
"""What Python does with a signal that nobody asked to ignore."""
MASKS = hasattr(signal, "pthread_sigmask")
AGAIN_SECONDS = 0.005
"""Until a signal that came while a library was loading is looked at again."""

_received: list[int] = []
_late: list[int] = []
"""Signals that came while results were put in place."""
_written = ["nothing was written"]
"""What stays, last."""


class Stopped(KeyboardInterrupt):
    """A signal to stop came.

    Python ends by the signal, whatever the exit status, once a KeyboardInterrupt itself has passed through
    source text that is executed, as libraries do while they load.
    """


@contextmanager
def stoppable() -> Iterator[None]:
    """End the process with status 128 + signal when a signal to stop made what is inside fail."""
    for number in WORDS:
        if signal.getsignal(number) in _BEFORE:
            signal.signal(number, _stop)
    try:
        yield
    except BaseException:
        if not stop_received():
            raise
        _ignore()
        print(
            f"gearqa: {WORDS[signal.Signals(_received[0])]}; {_written[-1]}.",
            file=sys.stderr,
            flush=True,
        )
        os._exit(128 + _received[0])  # a library stopped while it loaded may crash when Python takes it down
    finally:
        for number in WORDS:
            if signal.getsignal(number) in (_stop, _hold):
                # Python takes its own handlers away before it ends, and a late signal would end it then
                signal.signal(number, signal.SIG_IGN)


def stop_received() -> bool:
    """Whether a signal to stop came that was not too late."""
    return bool(_received)


def point_of_no_return() -> None:
    """Call before results are put in place: raise if a signal was dropped, pass over those to come."""
    if _received:
        raise Stopped
    _ignore()


def more_follows(written: str) -> None:
    """Call when results are in place and others are still to be made: signals stop the program again.

    `written` is what its last words say then.
    """
    held = [number for number in WORDS if signal.getsignal(number) is _hold]
    if held:
        _written.append(written)
    for number in held:
        signal.signal(number, _stop)
    if _late:
        _stop(_late[0], None)


def what_stays() -> str:
    """What the last words say of results, whatever ends the program now."""
    return _written[-1]


@contextmanager
def held_back() -> Iterator[None]:
    """Signals to stop wait, here and in a process started inside, which must call `follow`."""
    if not MASKS:
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, WORDS)
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def follow() -> None:
    """Of a process that works for another one: Ctrl-C ends that one, SIGTERM this one."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    signal.signal(signal.SIGTERM, signal.SIG_DFL)
    if MASKS:
        signal.pthread_sigmask(signal.SIG_UNBLOCK, WORDS)


def _library_loads(frame: FrameType | None) -> bool:
    """Whether this is inside the start of a library written in C, such as an import of its own."""
    while frame is not None:
        if isinstance(frame.f_locals.get("self"), ExtensionFileLoader):
            return True
        frame = frame.f_back
    return False


def _ignore() -> None:
    for number in WORDS:
        if signal.getsignal(number) is _stop:
            signal.signal(number, _hold)


def _hold(number: int, frame: FrameType | None) -> None:
    _late.append(number)


def _stop(number: int, frame: FrameType | None) -> None:
    _received.append(number)
    _raise_soon(frame)


def _raise_soon(frame: FrameType | None) -> None:
    """Raise, but not inside a library that is loading: written in C, it may crash."""
    if hasattr(signal, "setitimer"):
        loading = _library_loads(frame)
        if loading:
            signal.signal(signal.SIGALRM, lambda _, now: _raise_soon(now))
        signal.setitimer(signal.ITIMER_REAL, AGAIN_SECONDS if loading else 0)
        if loading:
            return
    # some libraries written in C print an exception before they turn it into another one
    sys.excepthook = lambda *_: None
    sys.unraisablehook = lambda _: None
    raise Stopped

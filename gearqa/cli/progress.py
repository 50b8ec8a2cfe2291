"""One line of progress on standard error, for work that takes a while on a terminal."""

from __future__ import annotations

import sys
import time
from collections.abc import Iterable, Iterator
from operator import length_hint
from types import TracebackType
from typing import Self, TypeVar

QUIET_SECONDS = 0.8
"""Work shorter than this shows nothing."""
REDRAW_SECONDS = 0.2

Item = TypeVar("Item")


class Progress:
    """Counts what is done; use as a context manager around the work."""

    def __init__(self, doing: str, noun: str, *, total: int | None = None, quiet: bool = False) -> None:
        self._doing, self._noun, self._total = doing, noun, total
        self._shown = not quiet and sys.stderr.isatty()
        self._start = time.monotonic()
        self._next = self._start + QUIET_SECONDS
        self._width = 0
        self.done = 0

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self._width:
            sys.stderr.write("\r" + " " * self._width + "\r")
            sys.stderr.flush()

    def at(self, done: int, total: int | None = None) -> None:
        """So much is done."""
        self._total = total or self._total
        self.step(done - self.done)

    def step(self, by: int = 1) -> None:
        """So much more is done."""
        self.done += by
        if self._shown and (now := time.monotonic()) >= self._next:
            self._next = now + REDRAW_SECONDS
            of = f" of {self._total}" if self._total else ""
            text = f"{self._doing}: {self.done}{of} {self._noun}, {round(now - self._start)} s"
            sys.stderr.write("\r" + text.ljust(self._width))
            sys.stderr.flush()
            self._width = max(self._width, len(text))

    def over(self, items: Iterable[Item]) -> Iterator[Item]:
        """Pass items through, counting them."""
        for item in items:
            yield item
            self.step()


class JobProgress:
    """Shows the progress of a job, one line for each of its loops."""

    def __init__(self, *, quiet: bool = False) -> None:
        self._quiet = quiet

    def over(
        self, items: Iterable[Item], doing: str, noun: str, *, total: int | None = None
    ) -> Iterator[Item]:
        """Pass items through, counting them."""
        total = total or length_hint(items) or None
        with Progress(doing, noun, total=total, quiet=self._quiet) as progress:
            yield from progress.over(items)

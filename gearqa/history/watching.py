"""Takes in inspection folders as they arrive: waits for whole files, grades, adds, reports."""

from __future__ import annotations

import threading
import time
from collections import deque
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Final

from gearqa.errors import GearqaError, Notice, StoreConflictError, StoreError
from gearqa.history.folder_scan import Settling, Signature, inspection_folders
from gearqa.history.intake import FolderToAdd, add_prepared, prepare
from gearqa.history.observations import load_standards
from gearqa.history.passing import Item
from gearqa.history.store import HistoryStore
from gearqa.model.history import IntakeReport, WatchedIntake, WatchedProblem, WatchSignal, WatchStatus

LISTED: Final = 30
FULL_SCAN_S: Final = 15.0
"""Changes that no event reported are found within this time."""
TRY_AGAIN_S: Final = 10.0
"""Before a folder is tried again after the store could not be used."""
EVENT_WAIT_S: Final = 0.5
STEP_PLACE: Final = 2
"""Cycles by which a level change may be found later than its alarm was told, and be the same."""


class StoppedError(Exception):
    """The watch was stopped in the middle of a folder, of which nothing was added."""


@dataclass(frozen=True, slots=True)
class Detected:
    """Signals and notices after a folder was added."""

    signals: tuple[WatchSignal, ...] = ()
    """New ones and known ones."""
    notices: tuple[Notice, ...] = ()


@dataclass(slots=True)
class _Told:
    """A change that was told: in which cycle, and in which the alarm was seen last."""

    told: int
    seen: int


Detect = Callable[[IntakeReport], Detected]


@dataclass(frozen=True, slots=True)
class WatchOptions:
    """How a folder is watched."""

    folder: Path
    part: Path | None = None
    columns: Path | None = None
    replace: bool = False
    settle_s: float = 2.0
    polling: bool = False
    """Look at the files at intervals instead of waiting for events: network folders."""
    poll_s: float = 1.0
    once: bool = False
    """End when everything that is there was dealt with."""
    leave_out: tuple[Path, ...] = ()
    """Outputs that lie in the watched folder."""
    stop_at_signal: bool = False


@dataclass(slots=True)
class FolderWatch:
    """One watch. `on_status` is called after everything that changes its status."""

    store: HistoryStore
    options: WatchOptions
    on_status: Callable[[WatchStatus], None]
    detect: Detect | None = None
    on_signal: Callable[[WatchSignal], None] | None = None
    stop: threading.Event = field(default_factory=threading.Event)
    known: Detected = field(default_factory=Detected)
    """Signals that were reported before the watch began."""
    _settling: Settling = field(init=False)
    _started_at: datetime = field(init=False)
    _known_signals: dict[str, _Told] = field(default_factory=dict)
    _notices: dict[Notice, None] = field(init=False)
    _intakes: deque[WatchedIntake] = field(default_factory=lambda: deque(maxlen=LISTED))
    _signals: deque[WatchSignal] = field(default_factory=lambda: deque(maxlen=LISTED))
    _problems: dict[Path, WatchedProblem] = field(default_factory=dict)
    _not_before: dict[Path, float] = field(default_factory=dict)
    _added: int = 0
    _stored: int = 0
    _standards: tuple[str, ...] = ()
    _simulated: bool = False
    _gone: bool = False

    def __post_init__(self) -> None:
        self._settling = Settling(self.options.settle_s)
        self._started_at = _now()
        for signal in self.known.signals:
            self._is_new(signal)
        self._notices = dict.fromkeys(self.known.notices)

    def run(self) -> WatchStatus:
        """Watch until stopped (or, with `once`, until nothing is left to do)."""
        self._count()
        self._report()
        next_scan = 0.0
        waiting: tuple[Path, ...] = ()
        for changed in self._changes():
            if self.stop.is_set():
                break
            now = time.monotonic()
            if not (changed or self._settling.waiting or now >= next_scan):
                continue
            next_scan = now + FULL_SCAN_S
            self._scan()
            if self.stop.is_set() or (self.options.once and self._nothing_left()):
                break
            if waiting != self._settling.waiting:
                waiting = self._settling.waiting
                self._report()
        return self._report(running=False)

    def _count(self) -> None:
        """What the store holds now."""
        self._stored = self.store.gear_count()
        self._standards = load_standards(self.store)

    def _nothing_left(self) -> bool:
        """Whether every folder was dealt with, or cannot be now."""
        now = time.monotonic()
        return all(self._not_before.get(folder, 0.0) > now for folder in self._settling.waiting)

    def _report(self, *, running: bool = True) -> WatchStatus:
        status = WatchStatus(
            folder=str(self.options.folder),
            store=self.store.shown,
            started_at=self._started_at,
            at=_now(),
            running=running,
            gears_in_store=self._stored,
            gears_added=self._added,
            waiting=tuple(str(folder) for folder in self._settling.waiting),
            intakes=tuple(self._intakes),
            problems=tuple(self._problems.values()),
            signals=tuple(self._signals),
            notices=tuple(self._notices),
            simulated=self._simulated,
            standards=self._standards,
        )
        self.on_status(status)
        return status

    def _changes(self) -> Iterator[bool]:
        """Whether files may have changed, again and again until the watch is stopped."""
        yield True  # everything that is there already
        if not (self.options.once or self.options.polling):
            with suppress(OSError, RuntimeError):  # no events here (too many watches, no inotify): look
                yield from self._events()
        while not self.stop.wait(min(self.options.poll_s, max(0.05, self.options.settle_s / 4))):
            yield True

    def _events(self) -> Iterator[bool]:
        from watchfiles import watch

        for changes in watch(
            self.options.folder,
            watch_filter=None,
            debounce=200,
            rust_timeout=int(1000 * EVENT_WAIT_S),
            yield_on_timeout=True,
            stop_event=self.stop,
            raise_interrupt=False,
            ignore_permission_denied=True,
        ):
            yield bool(changes)

    def _folders(self, root: Path) -> Iterator[tuple[Path, Signature]]:
        options = self.options
        return inspection_folders(root, own_part=options.part is not None, leave_out=options.leave_out)

    def _scan(self) -> None:
        root = self.options.folder
        if not root.is_dir():
            self._gone = True
            self._problem(root, "the watched folder is not there", again=True)
            return
        if self._gone:
            self._gone = False
            self._problems.pop(root, None)
        now = time.monotonic()
        for folder in self._settling.look(self._folders(root), now):
            if self.stop.is_set():
                return
            if self._not_before.get(folder, 0.0) <= now:
                self._take_in(folder)

    def _take_in(self, folder: Path) -> None:
        options = self.options
        signature = self._settling.signature(folder)
        try:
            source = FolderToAdd(folder, options.part, options.columns)
            prepared = prepare(source, passing=self._until_stopped)
            with prepared.drafts:
                if dict(self._folders(folder)).get(folder) != signature:  # written to while it was read
                    self._settling.wait_again(folder, time.monotonic())
                    return
                (report,) = add_prepared(self.store, [prepared], replace=options.replace, complete=True)
        except StoppedError:
            return
        except StoreConflictError as error:
            self._give_up(folder, str(error))
        except StoreError as error:
            self._try_again(folder, f"{error}; {error.hint}" if error.hint else str(error))
        except GearqaError as error:
            self._give_up(folder, str(error))
        except OSError as error:  # moved away or not readable just now
            self._try_again(folder, f"cannot be read: {error.strerror or error}")
        else:
            self._settling.finish(folder)
            self._problems.pop(folder, None)
            self._taken_in(report)

    def _until_stopped(self, items: Iterable[Item], *, total: int | None = None) -> Iterator[Item]:
        del total
        for item in items:
            yield item
            self._raise_if_stopped()

    def _raise_if_stopped(self) -> None:
        if self.stop.is_set():
            raise StoppedError

    def _taken_in(self, report: IntakeReport) -> None:
        self._simulated = self._simulated or report.simulated
        self._added += report.added + report.replaced
        self._count()
        if report.added or report.replaced or report.events:
            self._intakes.appendleft(WatchedIntake(_now(), report))
            self._report()
            if self.detect is not None:
                found = self.detect(report)
                self._notices |= dict.fromkeys(found.notices)
                self._signal_new(found.signals)
        self._report()
        if self._signals and self.options.stop_at_signal:
            self.stop.set()

    def _signal_new(self, found: Sequence[WatchSignal]) -> None:
        """Report what is new; several signals of one sentence once."""
        new = {one.sentence: one for one in found if self._is_new(one)}
        for signal in new.values():
            self._signals.appendleft(signal)
            if self.on_signal is not None:
                self.on_signal(signal)

    def _is_new(self, signal: WatchSignal) -> bool:
        """Whether this change was not told yet; an alarm that goes on is the same change."""
        if signal.seen is not None:
            self._known_signals[signal.key] = _Told(signal.cycle or 0, signal.cycle or 0)
            return False
        known = self._known_signals.get(signal.key)
        cycle = signal.cycle or 0
        if known is not None:
            goes_on = (signal.since_cycle or 0) <= known.seen + 1
            stepped = signal.step_cycle is not None and signal.step_cycle > known.told + STEP_PLACE
            if goes_on and not stepped:
                known.seen = cycle
                return False
        self._known_signals[signal.key] = _Told(cycle, cycle)
        return True

    def _give_up(self, folder: Path, message: str) -> None:
        """The folder waits until its files change."""
        self._settling.finish(folder)
        self._problem(folder, message, again=False)

    def _try_again(self, folder: Path, message: str) -> None:
        self._not_before[folder] = time.monotonic() + TRY_AGAIN_S
        self._problem(folder, message, again=True)

    def _problem(self, folder: Path, message: str, *, again: bool) -> None:
        known = self._problems.get(folder)
        if known is None or known.message != message:
            self._problems[folder] = WatchedProblem(_now(), str(folder), message, again)
            self._report()


def _now() -> datetime:
    return datetime.now().astimezone().replace(microsecond=0)

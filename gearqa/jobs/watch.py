"""The job `watch`: gears graded and kept as they arrive, with signals; here history and drift meet."""

from __future__ import annotations

import threading
from collections.abc import Callable, Sequence
from itertools import chain
from pathlib import Path
from typing import Final

from gearqa.errors import ArgumentError
from gearqa.history.queries import part_numbers
from gearqa.history.store import HistoryStore
from gearqa.history.watching import Detected, FolderWatch, WatchOptions
from gearqa.jobs.parameters import require_within
from gearqa.jobs.stores import AnyStore, opened
from gearqa.jobs.watch_signals import drift_signals, failing
from gearqa.model.history import IntakeReport, WatchSignal, WatchStatus
from gearqa.model.ranges import Range

SETTLE_S: Final = Range(0.001, 3600)


def watch_folder(
    folder: str | Path,
    *,
    part: str | Path | None = None,
    columns: str | Path | None = None,
    store: AnyStore = None,
    replace: bool = False,
    settle: float = 2.0,
    poll: bool = False,
    once: bool = False,
    exit_on_signal: bool = False,
    only_new: bool = False,
    leave_out: Sequence[str | Path] = (),
    on_status: Callable[[WatchStatus], None] | None = None,
    on_signal: Callable[[WatchSignal], None] | None = None,
    stop: threading.Event | None = None,
) -> WatchStatus:
    """Grade and keep gears as their folders or tables arrive, until stopped.

    Parameters
    ----------
    folder : path
        Where inspection folders or their tables arrive, at any depth.
    part, columns : path, optional
        Part file and column map to use instead of those of the folders.
    store : HistoryStore, str or path, optional
        As in `add_to_history`.
    replace : bool
        Gears that come with other values supersede the stored ones; else their folder is a problem.
    settle : float
        Files must be unchanged for so long before they are read. [s]
    poll : bool
        Look every second instead of waiting for events: network folders.
    once : bool
        Take in what is there and return.
    exit_on_signal : bool
        Return at the first signal.
    only_new : bool
        Signals that the store shows at the beginning are not reported.
    leave_out : sequence of path
        Outputs that lie in the folder.
    on_status, on_signal : callable, optional
        Called after every change, and at each new signal.
    stop : threading.Event, optional
        Ends the watch when it is set, with nothing half added.

    Returns
    -------
    WatchStatus
        The last one: what was taken in, what could not be, and the signals.

    Examples
    --------
    >>> import gearqa, tempfile
    >>> store = Path(tempfile.mkdtemp()) / "gears.sqlite"
    >>> status = gearqa.watch_folder("sample_measurements/ring_faults", store=store, settle=0.01, once=True)
    >>> status.gears_added, status.problems
    (8, ())
    >>> [signal.sentence for signal in status.signals]
    ['Part OT-4471: OT-0303, OT-0304, OT-0305, OT-0307, OT-0308 do not conform.']
    """
    folder = Path(folder)
    if not folder.is_dir():
        raise ArgumentError("folder", f"'{folder}' is no folder")
    require_within("settle", settle, SETTLE_S)
    with opened(store, writing=True) as history:
        outputs = [Path(path).resolve() for path in leave_out]
        if history.location.path is not None:
            outputs.append(history.location.path)
        options = WatchOptions(
            folder.resolve(),
            None if part is None else Path(part),
            None if columns is None else Path(columns),
            replace,
            settle,
            poll,
            once=once,
            leave_out=tuple(outputs),
            stop_at_signal=exit_on_signal,
        )
        watch = FolderWatch(
            history,
            options,
            on_status or _unseen,
            detect=lambda report: _detected(history, report),
            on_signal=on_signal,
            stop=stop or threading.Event(),
            known=_standing(history) if only_new else Detected(),
        )
        return watch.run()


def _unseen(status: WatchStatus) -> None:
    del status


def _detected(store: HistoryStore, report: IntakeReport) -> Detected:
    """Signals after a folder was added: new ones and known ones."""
    drift = drift_signals(store, report.part_number)
    return Detected((*failing(store, report), *drift.signals), drift.notices)


def _standing(store: HistoryStore) -> Detected:
    """Drift signals that the store shows already."""
    with store.reading() as connection:
        parts = part_numbers(connection)
    found = [drift_signals(store, part) for part in parts]
    return Detected(
        tuple(chain.from_iterable(one.signals for one in found)),
        tuple(chain.from_iterable(one.notices for one in found)),
    )

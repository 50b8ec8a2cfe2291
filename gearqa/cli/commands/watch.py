"""`gearqa watch`: gears are graded, kept and charted as they arrive."""

from __future__ import annotations

import shlex
import signal as signals
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from gearqa.cli.exit_status import ExitStatus
from gearqa.cli.options import ColumnMap, PartFile, Quiet
from gearqa.cli.stores import Store, announce, open_store

if TYPE_CHECKING:
    from gearqa.history.store import HistoryStore
    from gearqa.model.history import WatchSignal, WatchStatus


def command(
    folder: Annotated[
        Path,
        typer.Argument(
            metavar="FOLDER", help="Where inspection folders or their tables arrive, at any depth."
        ),
    ],
    part: PartFile = None,
    columns: ColumnMap = None,
    store: Store = None,
    html: Annotated[
        str | None, typer.Option("--html", metavar="FILE", help="Status page, rewritten after every change.")
    ] = None,
    exit_on_signal: Annotated[
        bool, typer.Option("--exit-on-signal", help="Stop with exit status 1 at the first new signal.")
    ] = False,
    on_signal: Annotated[
        str | None,
        typer.Option("--on-signal", metavar="COMMAND", help="Run at each new signal (GEARQA_SIGNAL is set)."),
    ] = None,
    replace: Annotated[
        bool, typer.Option("--replace", help="Gears that come with other values supersede the stored ones.")
    ] = False,
    settle: Annotated[
        float,
        typer.Option("--settle", metavar="S", help="Seconds that files must stand still before reading."),
    ] = 2.0,
    poll: Annotated[
        bool, typer.Option("--poll", help="Look every second instead of waiting for events: network folders.")
    ] = False,
    once: Annotated[
        bool,
        typer.Option("--once", help="Take in what is there and stop; exit status 2 if some could not be."),
    ] = False,
    quiet: Quiet = False,
) -> int:
    """Grade, keep and chart gears as their folders or tables arrive.

    A folder is read when its files have stood still for a while; a table whose last line is not ended is
    waited for longer. Gears whose tables are completed later supersede their former result. Signals are
    gears that do not conform, and drift signals; each is told once. Stops cleanly at Ctrl-C or SIGTERM.
    """
    from gearqa.cli.watch_signals import run_command, signals_of, standing_signals
    from gearqa.history.watching import FolderWatch, WatchOptions

    if not folder.is_dir():
        raise typer.BadParameter(f"'{folder}' is no folder", param_hint="FOLDER")
    if not settle > 0:
        raise typer.BadParameter("more than 0 seconds", param_hint="--settle")
    if html == "-":
        raise typer.BadParameter("a status page is rewritten: name a file", param_hint="--html")
    if on_signal is not None:
        _require_command(on_signal)
    with open_store(store, writing=True) as history:
        page = _Page(history, html)
        talk = _Talk(quiet)
        options = WatchOptions(
            folder.resolve(), part, columns, replace, settle, poll, once=once,
            leave_out=tuple(path for path in (page.path, history.location.path) if path is not None),
        )  # fmt: skip

        def told(status: WatchStatus) -> None:
            talk.told(status)
            page.write(status)

        def signalled(one: WatchSignal) -> None:
            talk.signal(one)
            if on_signal is not None:
                run_command(on_signal, one)

        watch = FolderWatch(
            history, options, told, detect=signals_of, on_signal=signalled, exit_on_signal=exit_on_signal
        )
        if exit_on_signal or on_signal is not None:
            watch.known_signals |= standing_signals(history)
        with _stopping(watch.stop):
            watch.run()
        announce(history)
    if exit_on_signal and watch.signalled:
        return ExitStatus.DOES_NOT_CONFORM
    return ExitStatus.NOT_DONE if once and watch.status().problems else ExitStatus.CONFORMS


class _Talk:
    """Tells on standard error what is new in a status."""

    def __init__(self, quiet: bool) -> None:
        self._quiet = quiet
        self._intakes: set[int] = set()
        self._problems: set[tuple[str, str]] = set()

    def told(self, status: WatchStatus) -> None:
        from gearqa.cli.console import tell
        from gearqa.report.history.words import intake_sentence

        for one in reversed(status.intakes):
            if id(one) not in self._intakes:
                self._intakes.add(id(one))
                if not self._quiet:
                    tell(f"{one.at:%H:%M:%S} {intake_sentence(one.report)}")
        for problem in status.problems:
            key = (problem.folder, problem.message)
            if key not in self._problems:
                again = "tried again soon" if problem.again else "tried again when its files change"
                tell(f"{problem.at:%H:%M:%S} {problem.folder}: not taken in, {again}: {problem.message}")
        self._problems = {(problem.folder, problem.message) for problem in status.problems}

    def signal(self, one: WatchSignal) -> None:
        from gearqa.cli.console import tell

        tell(f"SIGNAL: {one.sentence}")


class _Page:
    """The status page, rewritten whole; what hinders it is told once and does not stop the watch."""

    def __init__(self, store: HistoryStore, target: str | None) -> None:
        self._store = store
        self.path = None if target is None else Path(target).resolve()
        self._fault = ""

    def write(self, status: WatchStatus) -> None:
        if self.path is None:
            return
        from gearqa.cli.console import tell
        from gearqa.errors import ReportError, StoreError
        from gearqa.history.observations import load_observations
        from gearqa.report.history.watch_page import (
            DRAWN,
            GEARS_DRAWN,
            watch_document,
            write_watch_page,
        )
        from gearqa.results.outputs import Outputs

        try:
            observations = load_observations(self._store, parameters=DRAWN, last_gears=GEARS_DRAWN)
            document = watch_document(status, list(observations))
            with Outputs() as outputs:
                write_watch_page(outputs.open(str(self.path)), document, running=status.running)
        except (ReportError, StoreError) as error:
            if str(error) != self._fault:
                tell(f"status page: {error}")
            self._fault = str(error)


def _require_command(command: str) -> None:
    try:
        words = shlex.split(command)
    except ValueError as error:
        raise typer.BadParameter(f"cannot be taken apart: {error}", param_hint="--on-signal") from None
    if not words:
        raise typer.BadParameter("names no program", param_hint="--on-signal")


@contextmanager
def _stopping(stop: threading.Event) -> Iterator[None]:
    """Let Ctrl-C and SIGTERM end the watch cleanly; a second one ends it at once."""
    caught = (signals.SIGINT, signals.SIGTERM)
    before = {one: signals.getsignal(one) for one in caught}

    def end(number: int, frame: Any) -> None:
        stop.set()
        for one, handler in before.items():
            signals.signal(one, handler)

    for one in caught:
        signals.signal(one, end)
    try:
        yield
    finally:
        for one, handler in before.items():
            signals.signal(one, handler)

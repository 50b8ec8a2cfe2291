"""`gearqa watch`: gears are graded, kept and charted as they arrive."""

from __future__ import annotations

import os
import shlex
import signal as signals
import subprocess
import threading
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from gearqa.cli.console import tell
from gearqa.cli.exit_status import ExitStatus
from gearqa.cli.options import ColumnMap, PartFile, Quiet
from gearqa.cli.stores import CommandStore, Store

if TYPE_CHECKING:
    from gearqa.model.history import WatchSignal, WatchStatus

COMMAND_SECONDS = 60


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
        typer.Option(
            "--on-signal", metavar="COMMAND", help="Run at each new signal, told in GEARQA_SIGNAL..."
        ),
    ] = None,
    replace: Annotated[
        bool, typer.Option("--replace", help="Gears that come with other values supersede the stored ones.")
    ] = False,
    settle: Annotated[
        float,
        typer.Option("--settle", metavar="S", help="Seconds that files must be unchanged before reading."),
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

    A folder is read when its files have been unchanged for a while, longer if the last line of a table has
    no end. Gears to which tables are added later supersede their former result. Signals are gears that do
    not conform, and series that begin to drift; each change is reported once. Stops cleanly at Ctrl-C or
    SIGTERM.
    """
    from gearqa.jobs.watch import watch_folder

    if html == "-":
        raise typer.BadParameter("a status page is rewritten: name a file", param_hint="--html")
    words = None if on_signal is None else _words(on_signal)
    with CommandStore(store) as history, _until_stopped() as stop:
        if html is not None:
            _check_page(html, history)
        talk = _Talk(history, page=html, command=words, quiet=quiet)
        status = watch_folder(
            folder, part=part, columns=columns, store=history, replace=replace, settle=settle, poll=poll,
            once=once, exit_on_signal=exit_on_signal, only_new=exit_on_signal or on_signal is not None,
            leave_out=[] if html is None else [html], on_status=talk.status, on_signal=talk.signal, stop=stop,
        )  # fmt: skip
        history.announce()
    if exit_on_signal and status.signals:
        return ExitStatus.DOES_NOT_CONFORM
    return ExitStatus.NOT_DONE if once and status.problems else ExitStatus.CONFORMS


def _check_page(page: str, store: CommandStore) -> None:
    """Raise at the start where the status page would take the place of something else."""
    from gearqa.results.outputs import Outputs

    outputs = Outputs()
    outputs.keep_clear_of(store.files)
    outputs.check_place(page, "page")


def _words(command: str) -> list[str]:
    try:
        words = shlex.split(command)
    except ValueError as error:
        raise typer.BadParameter(f"cannot be taken apart: {error}", param_hint="--on-signal") from None
    if not words:
        raise typer.BadParameter("names no program", param_hint="--on-signal")
    return words


@contextmanager
def _until_stopped() -> Iterator[threading.Event]:
    """An event that Ctrl-C and SIGTERM set, to end the watch cleanly; a second one ends it at once."""
    stop = threading.Event()
    caught = (signals.SIGINT, signals.SIGTERM)
    before = {one: signals.getsignal(one) for one in caught}

    def end(number: int, frame: Any) -> None:
        stop.set()
        for one, handler in before.items():
            signals.signal(one, handler)

    for one in caught:
        signals.signal(one, end)
    try:
        yield stop
    finally:
        for one, handler in before.items():
            signals.signal(one, handler)


class _Talk:
    """Takes every status and signal of a watch, and says what is new in it."""

    def __init__(
        self, store: CommandStore, *, page: str | None, command: Sequence[str] | None, quiet: bool
    ) -> None:
        self._store, self._page, self._command, self._quiet = store, page, command, quiet
        self._said: set[object] = set()
        self._page_fault = ""

    def status(self, status: WatchStatus) -> None:
        """Print what is new and write the status page."""
        from gearqa.report.history.words import problem_sentence, taken_in_sentence

        for one in reversed(status.intakes):
            if not self._quiet:
                self._once(one, taken_in_sentence(one))
        for problem in status.problems:
            self._once(problem, problem_sentence(problem))
        for notice in status.notices:
            self._once(notice, f"warning: {notice.message} [{notice.code}]")
        self._said &= {*status.intakes, *status.problems, *status.notices}
        if self._page is not None:
            self._write_page(self._page, status)

    def signal(self, signal: WatchSignal) -> None:
        """Print a signal and run the command for it."""
        tell(f"SIGNAL: {signal.sentence}")
        if self._command is not None:
            _run_command(self._command, signal)

    def _once(self, what: object, line: str) -> None:
        if what not in self._said:
            self._said.add(what)
            tell(line)

    def _write_page(self, page: str, status: WatchStatus) -> None:
        """Write the status page whole; a fault is printed once and does not stop the watch."""
        from gearqa.errors import ReportError, StoreError
        from gearqa.jobs.history import latest_observations
        from gearqa.report.history.figures import DRAWN, GEARS_DRAWN
        from gearqa.report.history.page import watch_document, write_watch_page
        from gearqa.results.outputs import Outputs

        try:
            observations = latest_observations(GEARS_DRAWN, parameters=DRAWN, store=self._store)
            document = watch_document(status, list(observations))
            with Outputs() as outputs:
                outputs.keep_clear_of(self._store.files)
                write_watch_page(outputs.open(page, "page"), document, running=status.running)
        except (ReportError, StoreError) as error:
            if str(error) != self._page_fault:
                tell(f"status page: {error}")
            self._page_fault = str(error)


def _run_command(command: Sequence[str], signal: WatchSignal) -> None:
    """Run the command of --on-signal without a shell, the signal in its environment; print its failure."""
    environment = {
        **os.environ,
        "GEARQA_SIGNAL": signal.sentence,
        "GEARQA_SIGNAL_PART_NUMBER": signal.part_number,
        "GEARQA_SIGNAL_GRINDER": signal.grinder or "",
        "GEARQA_SIGNAL_SERIES": " ".join(filter(None, (signal.parameter, signal.flank))),
        "GEARQA_SIGNAL_CYCLE": "" if signal.cycle is None else str(signal.cycle),
        "GEARQA_SIGNAL_DRESS": signal.dress or "",
        "GEARQA_SIGNAL_SIZE_UM": "" if signal.size_um is None else str(round(signal.size_um, 3)),
    }
    try:
        done = subprocess.run(
            command, env=environment, stdin=subprocess.DEVNULL, timeout=COMMAND_SECONDS, check=False
        )
    except (OSError, subprocess.TimeoutExpired) as error:
        tell(f"--on-signal: {command[0]} could not be run: {error}")
        return
    if done.returncode:
        tell(f"--on-signal: {command[0]} ended with exit status {done.returncode}")

"""What a watch says while it runs: lines on standard error, the status page, the command of --on-signal."""

from __future__ import annotations

import os
import subprocess
from collections.abc import Sequence
from typing import TYPE_CHECKING

from gearqa.cli.console import tell

if TYPE_CHECKING:
    from gearqa.cli.stores import CommandStore
    from gearqa.model.history import WatchSignal, WatchStatus

COMMAND_SECONDS = 60


class Talk:
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
            run_command(self._command, signal)

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
                write_watch_page(outputs.open(page), document, running=status.running)
        except (ReportError, StoreError) as error:
            if str(error) != self._page_fault:
                tell(f"status page: {error}")
            self._page_fault = str(error)


def run_command(command: Sequence[str], signal: WatchSignal) -> None:
    """Run the command of --on-signal without a shell, the signal in its environment; print its failure."""
    environment = {
        **os.environ,
        "GEARQA_SIGNAL": signal.sentence,
        "GEARQA_PART_NUMBER": signal.part_number,
        "GEARQA_GRINDER": signal.grinder or "",
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

"""Collects problems and notices while files are read, within a stated bound."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import field
from typing import Final

from gearqa.errors import Notice, Problem, Reason
from gearqa.late_dataclass import dataclass

KEPT_PER_FILE_AND_REASON: Final = 10_000
"""Problems of one file and reason that are kept; further ones are counted in one last problem."""
MOST_FAULTS: Final = 200_000
"""Faults of one file after which it is not read on: it is no table of this kind."""


Mark = tuple[int, int, Counter[tuple[str, Reason]], Counter[str]]


@dataclass(slots=True)
class ProblemLog:
    """All problems and notices of one reading."""

    _problems: list[Problem] = field(default_factory=list)
    _counts: Counter[tuple[str, Reason]] = field(default_factory=Counter)
    _of_file: Counter[str] = field(default_factory=Counter)
    notices: list[Notice] = field(default_factory=list)

    def add(self, problem: Problem) -> None:
        """Keep a problem, or count it where the bound is passed."""
        if self.takes(problem.file, problem.reason):
            self._problems.append(problem)

    def takes(self, file: str, reason: Reason) -> bool:
        """Count a problem; whether it is to be kept, so that its words are worth making."""
        self._counts[file, reason] += 1
        self._of_file[file] += 1
        return self._counts[file, reason] <= KEPT_PER_FILE_AND_REASON

    def keep(self, problem: Problem) -> None:
        """Keep a problem that `takes` has counted."""
        self._problems.append(problem)

    def given_up(self, file: str) -> bool:
        """Whether a file has so many faults that reading it on tells nothing."""
        return self._of_file[file] >= MOST_FAULTS

    def extend(self, problems: Iterable[Problem]) -> None:
        """Keep several problems."""
        for problem in problems:
            self.add(problem)

    def notice(self, code: str, message: str) -> None:
        """Keep a notice, once."""
        notice = Notice(code, message)
        if notice not in self.notices:
            self.notices.append(notice)

    def mark(self) -> Mark:
        """How far the log has come, for `reset`."""
        return len(self._problems), len(self.notices), self._counts.copy(), self._of_file.copy()

    def reset(self, mark: Mark) -> None:
        """Drop what came after a mark (a file that is read again)."""
        problems, notices, self._counts, self._of_file = mark
        del self._problems[problems:], self.notices[notices:]

    @property
    def problems(self) -> tuple[Problem, ...]:
        """Problems in order of files and lines, each beyond the bound counted in a last one."""
        order: dict[str, int] = {}
        for problem in self._problems:
            order.setdefault(problem.file, len(order))
        problems = [*map(self._given_up, filter(self.given_up, self._of_file)), *self._problems]
        ranked = sorted(problems, key=lambda p: (order[p.file], p.line or 0))
        more = [
            Problem(
                reason, file, f"{count - KEPT_PER_FILE_AND_REASON} more of these", "none",
                hint="the fault repeats through the file: look at its export or its column map",
            )
            for (file, reason), count in self._counts.items()
            if count > KEPT_PER_FILE_AND_REASON
        ]  # fmt: skip
        return (*ranked, *more)

    def _given_up(self, file: str) -> Problem:
        reason = max((count, reason) for (name, reason), count in self._counts.items() if name == file)[1]
        found = f"{MOST_FAULTS} faults or more; the file was not read to its end"
        return Problem(reason, file, found, "a table", hint="look at its export or its column map")

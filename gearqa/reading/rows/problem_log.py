"""Collects problems and notices while files are read, within a stated bound."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Final

from gearqa.errors import Notice, Problem, Reason

KEPT_PER_FILE_AND_REASON: Final = 10_000
"""Problems of one file and reason that are kept; further ones are counted in one last problem."""


@dataclass(slots=True)
class ProblemLog:
    """All problems and notices of one reading."""

    _problems: list[Problem] = field(default_factory=list)
    _counts: Counter[tuple[str, Reason]] = field(default_factory=Counter)
    notices: list[Notice] = field(default_factory=list)

    def add(self, problem: Problem) -> None:
        """Keep a problem, or count it where the bound is passed."""
        key = (problem.file, problem.reason)
        self._counts[key] += 1
        if self._counts[key] <= KEPT_PER_FILE_AND_REASON:
            self._problems.append(problem)

    def extend(self, problems: Iterable[Problem]) -> None:
        """Keep several problems."""
        for problem in problems:
            self.add(problem)

    def notice(self, code: str, message: str) -> None:
        """Keep a notice, once."""
        notice = Notice(code, message)
        if notice not in self.notices:
            self.notices.append(notice)

    def mark(self) -> tuple[int, int]:
        """How far the log has come, for `reset`."""
        return len(self._problems), len(self.notices)

    def reset(self, mark: tuple[int, int]) -> None:
        """Drop what came after a mark (a file that is read again)."""
        del self._problems[mark[0] :], self.notices[mark[1] :]
        self._counts = Counter((p.file, p.reason) for p in self._problems)

    @property
    def problems(self) -> tuple[Problem, ...]:
        """Problems in order of files and lines, each beyond the bound counted in a last one."""
        order: dict[str, int] = {}
        for problem in self._problems:
            order.setdefault(problem.file, len(order))
        ranked = sorted(self._problems, key=lambda p: (order[p.file], p.line or 0))
        more = [
            Problem(
                reason, file, f"{count - KEPT_PER_FILE_AND_REASON} more of these", "none",
                hint="the fault repeats through the file: look at its export or its column map",
            )
            for (file, reason), count in self._counts.items()
            if count > KEPT_PER_FILE_AND_REASON
        ]  # fmt: skip
        return (*ranked, *more)

"""Runs of rising or falling positions: whether the rows of one trace hold a second measurement of it.

A trace is measured in one pass. Its rows may come in pieces that continue each other, from several files
too, or in no order at all; pieces that cover the same stretch of the flank are two measurements, and points
of both in one trace would give a form deviation that nobody measured.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Final, NamedTuple

import numpy as np

from gearqa.arrays import Array, IntArray

SAME_POSITION_MM: Final = 1e-6
"""Two points of a trace that lie closer are one point measured twice."""
FEW_RUNS: Final = 4
"""A trace that turns more often is in no order, or its positions tremble."""
PASS_POINTS: Final = 5
"""Fewer points are no pass."""
LONG_RUN: Final = 8
"""Points of a run on the average, from which on many runs are kept apart."""


class Run(NamedTuple):
    """Some rows of a trace in the order of a file, whose positions rise or fall."""

    file: int
    low: float
    high: float
    points: int
    turn: int
    """1 rising, -1 falling, 0 a single point, 2 in no order."""
    rows: tuple[tuple[int, int], ...]
    """First row and the one past the last, wherever rows are counted."""


def run_starts(position: Array) -> IntArray:
    """Where runs begin; a run ends where position turns."""
    steps = np.diff(position)
    sign = np.where(np.abs(steps) <= SAME_POSITION_MM, 0, np.sign(steps)).astype(np.int64)
    starts, at, n = [0], 0, len(position)
    moves = np.flatnonzero(sign)
    turned = moves[np.flatnonzero(np.diff(sign[moves]) != 0) + 1].tolist() if len(moves) else []
    for step in turned:
        if step + 1 > at + 1 and step + 1 < n:  # a step right behind a start gives the direction
            starts.append(step + 1)
            at = step + 1
    return np.array(starts, dtype=np.int64)


def turn_of(position: Array) -> int:
    """Direction of a run."""
    return int(np.sign(position[-1] - position[0])) if len(position) > 1 else 0


def joined_runs(runs: Sequence[Run]) -> list[Run]:
    """Runs in the order of the rows, where one that goes on from the one before is one with it."""
    found: list[Run] = []
    for run in runs:
        last = found[-1] if found else None
        if last is not None and last.file == run.file and 2 not in (last.turn, run.turn):
            onward = run.low > last.high and min(last.turn, run.turn) >= 0
            backward = run.high < last.low and max(last.turn, run.turn) <= 0
            if onward or backward:
                low, high = min(last.low, run.low), max(last.high, run.high)
                turn = 1 if onward else -1
                points, rows = last.points + run.points, (*last.rows, *run.rows)
                found[-1] = Run(run.file, low, high, points, turn, rows)
                continue
        found.append(run)
    return found


def unordered(runs: Sequence[Run]) -> bool:
    """Whether a trace turns too often in one of its files to be told apart into passes by its turns alone."""
    return any(run.turn == 2 for run in runs) or any(
        sum(run.file == file for run in runs) > FEW_RUNS for file in {run.file for run in runs}
    )


def _jumbled(runs: Sequence[Run]) -> set[int]:
    """Files in which a trace turns so often that its runs come about by chance, wherever chunks end."""
    found = set()
    for file in {run.file for run in runs}:
        points = [run.points for run in runs if run.file == file]
        if len(points) > FEW_RUNS and sum(points) < LONG_RUN * len(points):
            found.add(file)
    return found


def second_pass(runs: Sequence[Run], positions: Callable[[int], Array]) -> tuple[Run, Run] | None:
    """Two runs of one trace that cover the same stretch; None where all is one pass.

    In one file they need five points each; where the trace turns often, five each in the common stretch, so
    that positions that tremble are no second pass. Of two files none may overlap. `positions` gives the
    positions of a run by its place.
    """
    often, jumbled = unordered(runs), _jumbled(runs)
    order = sorted(range(len(runs)), key=lambda at: runs[at].low)
    for place, at in enumerate(order):
        one = runs[at]
        for other_at in order[place + 1 :]:
            other = runs[other_at]
            if other.low > one.high:
                break
            needed = 1
            if one.file == other.file:
                if 2 in (one.turn, other.turn) or one.file in jumbled:
                    continue
                if min(one.points, other.points) < PASS_POINTS:
                    continue
                needed = PASS_POINTS if often else 1
            # a run that steps over the other one has no point there
            low, high = other.low, min(one.high, other.high)
            common = (np.count_nonzero((x >= low) & (x <= high)) for x in map(positions, (at, other_at)))
            if min(common) >= needed:
                return (one, other) if at < other_at else (other, one)
    return None

"""Finds the lines of series that cannot be right: points measured twice, labels that are not constant."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from functools import partial
from itertools import pairwise
from typing import Final

import numpy as np

from gearqa.arrays import Array
from gearqa.errors import Problem, Reason, line_place
from gearqa.late_dataclass import dataclass
from gearqa.model.measurement import GearKey
from gearqa.reading.folder.canonical import KIND_OF_SERIES, PROFILE, RUNOUT, Frame, split_series_key
from gearqa.reading.folder.careful_reader import CarefulReader, with_encoding_settled
from gearqa.reading.folder.cells import careful_series
from gearqa.reading.folder.pieces import SAME_LABEL_MM
from gearqa.reading.folder.runs import SAME_POSITION_MM, Run, joined_runs, run_starts, second_pass, turn_of
from gearqa.reading.folder.series_store import Suspect
from gearqa.reading.folder.sources import TableSource
from gearqa.reading.rows.problem_log import ProblemLog
from gearqa.wording.numbers import short_text

SECOND_MEASUREMENT: Final = (
    "a second measurement gets a label of its own in a column `measurement`, or a folder of its own"
)
OVERLAP: Final = "pieces of a trace that continue each other and do not overlap"
_ONE_BY_ONE: Final = 5


@dataclass(frozen=True, slots=True)
class _Reading:
    source: TableSource
    order: int
    """Place of the file."""
    line: int
    position: float
    label: float


def locate(
    suspects: Sequence[Suspect], sources: Iterable[TableSource], frame: Frame, log: ProblemLog
) -> None:
    """Read the tables again for the lines of `suspects`, and log what is wrong with them."""
    wanted = {(suspect.gear, suspect.series): suspect for suspect in suspects}
    kinds = {KIND_OF_SERIES[split_series_key(suspect.series)[0]] for suspect in suspects}
    found: dict[tuple[GearKey, int], list[_Reading]] = {key: [] for key in wanted}
    for order, source in enumerate(sources):
        if source.kind in kinds:
            _collect(source, order, frame, found)
    for key, suspect in wanted.items():
        readings = found[key]
        if suspect.label_spread:
            _label_problem(suspect, readings, log)
        elif suspect.second_pass:
            _second_pass(suspect, readings, log)
        else:
            _repeats(suspect, readings, log)


def _collect(
    source: TableSource, order: int, frame: Frame, found: dict[tuple[GearKey, int], list[_Reading]]
) -> None:
    gears = {gear for gear, _ in found}
    source = with_encoding_settled(source)
    reader = CarefulReader(source, ProblemLog())
    for raw in reader.chunks():
        rows, lines = careful_series(source, raw, frame, ProblemLog())
        places = [place for place, gear in enumerate(rows.gears) if gear in gears]
        for at in np.flatnonzero(np.isin(rows.gear, places)).tolist():
            key = (rows.gears[int(rows.gear[at])], int(rows.series[at]))
            if key in found:
                label = float("nan") if rows.label is None else float(rows.label[at])
                found[key].append(_Reading(source, order, lines[at], float(rows.position[at]), label))


def _label_problem(suspect: Suspect, readings: Sequence[_Reading], log: ProblemLog) -> None:
    series = split_series_key(suspect.series)[0]
    column, what = ("face_position_mm", "face position") if series == PROFILE else ("diameter_mm", "diameter")
    first = readings[0]
    other = next((r for r in readings if abs(r.label - first.label) >= SAME_LABEL_MM), readings[-1])
    low, high = min(r.label for r in readings), max(r.label for r in readings)
    log.add(
        Problem(
            Reason.LABEL_NOT_CONSTANT, other.source.name,
            f"a {what} from {short_text(low)} to {short_text(high)} mm in {suspect.name}",
            f"one {what} for all points of a trace, within {short_text(SAME_LABEL_MM)} mm", other.line,
            column,
            "if it is the position along the trace, write a column map that leaves the other position out",
        )
    )  # fmt: skip


def _repeats(suspect: Suspect, readings: Sequence[_Reading], log: ProblemLog) -> None:
    series = split_series_key(suspect.series)[0]
    by_position = sorted(readings, key=lambda r: (r.position, r.order, r.line))
    pairs = [
        sorted(pair, key=lambda r: (r.order, r.line))
        for group in _label_groups(by_position)
        for pair in pairwise(group)
        if pair[1].position - pair[0].position <= SAME_POSITION_MM
    ]
    pairs.sort(key=lambda pair: (pair[1].order, pair[1].line))
    shown = pairs if len(pairs) <= _ONE_BY_ONE else pairs[:1]
    for first, second in shown:
        if KIND_OF_SERIES[series] in {"pitch", "runout"}:
            column = "space" if series == RUNOUT else "tooth"
            reason = Reason.DUPLICATE_SPACE if series == RUNOUT else Reason.DUPLICATE_TOOTH
            found = f"{column} {short_text(second.position)} of {suspect.name} again"
            expected = f"each {column} once"
        else:
            reason = Reason.DUPLICATE_POINT
            column = "roll_length_mm" if series == PROFILE else "face_position_mm"
            found = f"{short_text(second.position, 12)} mm in {suspect.name} again"
            expected = "each position once in a trace"
        more = len(pairs) - len(shown)
        found += f" (first in {line_place(first.source.name, first.line)})"
        if more:
            found += f", and {more} more that occur twice"
        log.add(Problem(reason, second.source.name, found, expected, second.line, column, SECOND_MEASUREMENT))


def _second_pass(suspect: Suspect, readings: Sequence[_Reading], log: ProblemLog) -> None:
    """Where the two passes over one trace begin."""
    for group in _label_groups(readings):
        runs: list[Run] = []
        places: dict[int, list[_Reading]] = {}
        for reading in sorted(group, key=lambda r: (r.order, r.line)):
            places.setdefault(reading.order, []).append(reading)
        for order, rows in places.items():
            position = np.array([row.position for row in rows])
            for begin, past in pairwise([*run_starts(position).tolist(), len(rows)]):
                part = position[begin:past]
                turn = turn_of(part)
                runs.append(
                    Run(order, float(part.min()), float(part.max()), len(part), turn, ((begin, past),))
                )
        runs = joined_runs(runs)
        pair = second_pass(runs, partial(_positions, runs, places))
        if pair is not None:
            first, second = (places[run.file][run.rows[0][0]] for run in pair)
            spans = [f"{short_text(run.low)} to {short_text(run.high)} mm" for run in pair]
            where = f" (first {spans[0]} from {line_place(first.source.name, first.line)})"
            return _log_second_pass(suspect, second, f"{suspect.name}, {spans[1]}, again{where}", log)
    return _log_second_pass(suspect, readings[-1], f"{suspect.name} measured twice", log)


def _positions(runs: Sequence[Run], places: Mapping[int, Sequence[_Reading]], at: int) -> Array:
    run = runs[at]
    return np.array([row.position for row in places[run.file][run.rows[0][0] : run.rows[-1][1]]])


def _log_second_pass(suspect: Suspect, at: _Reading, found: str, log: ProblemLog) -> None:
    of_profile = split_series_key(suspect.series)[0] == PROFILE
    column = "roll_length_mm" if of_profile else "face_position_mm"
    name, hint = at.source.name, SECOND_MEASUREMENT
    log.add(Problem(Reason.SECOND_PASS, name, found, OVERLAP, at.line, column, hint))


def _label_groups(readings: Sequence[_Reading]) -> list[list[_Reading]]:
    """Readings whose labels hang together, each group in the given order."""
    labels = np.array([reading.label for reading in readings])
    order = np.argsort(labels, kind="stable")
    starts = np.flatnonzero(np.diff(labels[order]) >= SAME_LABEL_MM) + 1
    return [[readings[at] for at in sorted(group)] for group in np.split(order, starts)]

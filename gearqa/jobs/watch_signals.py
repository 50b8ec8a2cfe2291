"""What a watch tells of a store: series of gears that are in alarm, and gears that do not conform."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import chain
from statistics import mean

from gearqa.drift.analysis import analyse_observations
from gearqa.drift.reference_periods import ReferencePeriodError
from gearqa.errors import Notice, NoticeCode
from gearqa.history.queries import Selection, select_gears
from gearqa.history.store import HistoryStore
from gearqa.history.watching import Detected
from gearqa.jobs.drift import with_references
from gearqa.jobs.drift_gears import Asked, gears_of_store
from gearqa.model.drift import DriftSeries, DriftSettings
from gearqa.model.history import IntakeReport, WatchSignal
from gearqa.wording.sentences import some_of
from gearqa.wording.verdicts import not_conform_text

SERIALS_NAMED = 5
QUIET_BETWEEN = 1
"""Cycles inside the limits that do not end an alarm: a changed level now and then has a point inside."""


def drift_signals(store: HistoryStore, part_number: str) -> Detected:
    """Series of a part that are in alarm: points beyond a control limit now, or the limit ahead."""
    gears = gears_of_store(store, Asked(part_number))
    if not gears.observations:
        return Detected()
    settings = DriftSettings(parts_per_dress=gears.parts_per_dress)
    try:
        settings, notices = with_references(gears, settings, None)
    except ReferencePeriodError as error:
        notices = (Notice(NoticeCode.REFERENCE_NOT_USED, f"the frozen reference is not used: {error}"),)
    result = analyse_observations(gears.observations, gears.events, settings)
    return Detected(tuple(chain.from_iterable(map(_of_series, result.series))), notices)


def _of_series(series: DriftSeries) -> Iterator[WatchSignal]:
    """One signal a series, however many charts show it."""
    if not (series.current_signals or series.limit_within_interval or series.correction_alarm):
        return
    since = _since(series)
    yield WatchSignal(
        "drift/" + "/".join(str(word) for word in series.key if word is not None),
        series.part,
        series.grinder,
        series.sentence,
        parameter=series.parameter,
        flank=series.flank,
        cycle=series.current_cycle,
        dress=series.current_dress,
        since_cycle=since,
        step_cycle=series.steps[-1].cycle if series.steps else None,
        size_um=_size(series, since),
    )


def _since(series: DriftSeries) -> int:
    """First cycle of the alarm that lasts until now."""
    first = series.current_cycle
    for cycle in sorted({one.cycle for one in series.signals}, reverse=True):
        if cycle < first - 1 - QUIET_BETWEEN:
            break
        first = cycle
    return first


def _size(series: DriftSeries, since: int) -> float | None:
    """By how much the level lies away from where it was before."""
    if series.steps:
        return series.steps[-1].size_um
    before = [one.level_um for one in series.cycle_levels_um if one.cycle < since]
    now = [one.level_um for one in series.cycle_levels_um if one.cycle >= since]
    return mean(now) - mean(before) if before and now else None


def failing(store: HistoryStore, report: IntakeReport) -> Iterator[WatchSignal]:
    """One signal for all gears of a folder that do not conform."""
    if report.intake is None or not report.not_conforming:
        return
    with store.reading() as connection:
        gears = list(select_gears(connection, Selection(intake=report.intake, conforms=False)))
    if gears:
        serials = some_of([gear.serial for gear in gears], SERIALS_NAMED)
        sentence = f"Part {report.part_number}: {serials} {not_conform_text(len(gears))}."
        yield WatchSignal(f"gears/{report.intake}", report.part_number, gears[0].grinder, sentence)

"""What a watch tells of a store: series of gears that are in alarm, and gears that do not conform."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import datetime
from statistics import mean

from gearqa.drift.analysis import analyse_observations
from gearqa.drift.reference_periods import ReferencePeriodError
from gearqa.errors import ArgumentError, Notice, NoticeCode, StoreError
from gearqa.history.acknowledgements import keep_acknowledgements, select_acknowledgements
from gearqa.history.acknowledgements import undo_acknowledgement as take_back
from gearqa.history.queries import Selection, select_gears
from gearqa.history.store import HistoryStore
from gearqa.history.watching import STEP_PLACE, Detected
from gearqa.jobs.drift import with_references
from gearqa.jobs.drift_gears import Asked, gears_of_store
from gearqa.jobs.parameters import require_parameter
from gearqa.jobs.stores import AnyStore, opened
from gearqa.jobs.times import moment
from gearqa.model.drift import DriftSeries, DriftSettings
from gearqa.model.history import Acknowledgement, IntakeReport, WatchSignal
from gearqa.symbols import Flank
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
    with store.reading() as connection:
        seen = select_acknowledgements(connection, part_number=part_number)
    signals = [signal for series in result.series for signal in _of_series(series, seen)]
    return Detected(tuple(signals), notices)


def _of_series(series: DriftSeries, seen: Sequence[Acknowledgement]) -> Iterator[WatchSignal]:
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
        seen=_seen(series, since, seen),
    )


def _seen(series: DriftSeries, since: int, seen: Sequence[Acknowledgement]) -> Acknowledgement | None:
    """Who has seen this change: in a cycle since it began, with no level change since."""
    cycles = {one.dress: one.cycle for one in series.cycle_levels_um}
    step = series.steps[-1].cycle if series.steps else None
    for one in reversed(seen):
        if (one.part_number, one.grinder, one.parameter, one.flank) == series.key:
            cycle = cycles.get(one.dress, one.cycle)  # cycles count anew where older gears were added
            if cycle + 1 >= since and (step is None or step <= cycle + STEP_PLACE):
                return one
    return None


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


def acknowledge_signals(
    part_number: str,
    grinder: str,
    *,
    by: str,
    cause: str,
    action: str,
    parameter: str | None = None,
    flank: Flank | None = None,
    at: str | datetime | None = None,
    store: AnyStore = None,
) -> list[Acknowledgement]:
    """Record that somebody has seen the present signals of a part on a grinder; they are not told again.

    Parameters
    ----------
    part_number, grinder : str
        Of which gears.
    by, cause, action : str
        Who has seen the signals, what the cause is, and what is done.
    parameter, flank : str, optional
        Only the signals of this parameter, of this flank.
    at : str or datetime, optional
        When; now by default.
    store : HistoryStore, str or path, optional
        As in `add_to_history`.

    Raises
    ------
    StoreError
        If no series that is meant is in alarm, or all its signals were seen already.
    """
    if parameter is not None:
        require_parameter(parameter)
    for name, text in (("by", by), ("cause", cause), ("action", action)):
        if not text.strip():
            raise ArgumentError(name, "is empty")
    with opened(store, writing=True) as history:
        signals = [
            one
            for one in drift_signals(history, part_number).signals
            if one.grinder == grinder
            and one.seen is None
            and parameter in (None, one.parameter)
            and flank in (None, one.flank)
        ]
        if not signals:
            raise StoreError(
                f"history store {history.shown}: no signal of part {part_number} on grinder {grinder} "
                "is open",
                hint="look at: gearqa drift --store ..., and history list --events",
            )
        when = moment(at, "at") or datetime.now().astimezone().replace(microsecond=0)
        return keep_acknowledgements(history, signals, by=by, cause=cause, action=action, at=when)


def undo_acknowledgement(
    number: int, *, by: str, remark: str = "", store: AnyStore = None
) -> Acknowledgement:
    """Take an acknowledgement back; it stays in the store, with the row that took it back."""
    when = datetime.now().astimezone().replace(microsecond=0)
    with opened(store, writing=True) as history:
        return take_back(history, number, by=by, remark=remark, at=when)

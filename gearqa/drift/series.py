"""Analysis of one series: wear, level changes, trend, charts, forecast, dress interval."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from gearqa.arrays import Array, IntArray
from gearqa.drift import words
from gearqa.drift.control_points import (
    MINIMUM_REFERENCE,
    SeriesCharts,
    chart_series,
    choose_reference,
    default_reference,
)
from gearqa.drift.events import WITHIN_CYCLES, PlacedEvent, match_event, place_events
from gearqa.drift.forecasting import (
    CYCLES_FOR_INTERVAL,
    ActionLimits,
    DressAdvice,
    Side,
    action_limits,
    advise_interval,
    forecast_cycle,
)
from gearqa.drift.ordering import ProductionOrder, production_order, seconds
from gearqa.errors import Notice, NoticeCode
from gearqa.model.drift import (
    ChartData,
    CycleLevel,
    DriftSeries,
    DriftSettings,
    FalseAlarm,
    ForecastBand,
    Identifiable,
    LevelChange,
    Observation,
    PartsToLimit,
    Quarantine,
    Reference,
    Sentence,
    SeriesKey,
    Signal,
)
from gearqa.model.measurement import GrinderEvent
from gearqa.statistics.dress_interval import CAP
from gearqa.statistics.steps import MINIMUM_CYCLES, MINIMUM_SEGMENT, Step, find_steps
from gearqa.statistics.wear import Trend, WearFit, cycle_sd, fit_trend, fit_wear

CYCLES_FOR_TREND = 12
RUNS_LISTED = 6
"""Runs of cycles that a sentence lists."""


@dataclass(frozen=True, slots=True)
class AnalysedSeries:
    """A series with what advice needs beside it."""

    series: DriftSeries
    advice: DressAdvice
    side: Side | None


@dataclass(frozen=True, eq=False, slots=True)
class _Table:
    """The usable gears of a series as arrays, in production order."""

    order: ProductionOrder
    cycle: IntArray
    s: Array
    mean: Array
    low: Array
    high: Array
    serial: tuple[str, ...]

    def data(self, values: Array) -> tuple[IntArray, Array, Array]:
        return self.cycle, self.s, values


def analyse_series(
    key: SeriesKey,
    observations: Sequence[Observation],
    events: Sequence[GrinderEvent],
    settings: DriftSettings,
    rate: float,
) -> AnalysedSeries:
    """Analyse the observations of one series; `rate` is its share of false chart alarms per cycle."""
    order = production_order(
        observations, events, cycle_time_s=settings.cycle_time_s, last_cycles=settings.last_cycles
    )
    warnings = list(order.warnings)
    table, has_positions = _table(order, warnings)
    fit = fit_wear(table.cycle, table.s, table.mean, settings.confidence)
    steps = find_steps(fit.levels, settings.step_alpha) if order.known else ()
    trend = fit_trend(fit.levels, tuple(step.index for step in steps), settings.confidence)
    placed = place_events(order, events, key[2], key[3])
    matched = [match_event(placed, step.index) for step in steps]
    _warn_identifiability(fit, order, steps, trend, has_positions, warnings)

    _warn_idle_corrections(placed, order, steps, warnings)

    reference, span = _reference(key, order, settings, steps, matched)
    charts = chart_series(table.data(table.mean), fit, span, rate, settings.ewma_weight) if span else None
    signals = _signals(charts, table, order, settings)
    in_control, reasons = _control(order, span, signals, steps, matched)

    newest = order.observations[-1]
    limits = action_limits(newest.limit_low, newest.limit_high, newest.U)
    segment = steps[-1].index if steps else 0
    usual = _usual_interval(table, order, segment)
    side: Side | None = None
    parts, parts_reason, band = None, None, None  # type: PartsToLimit | None, str | None, ForecastBand | None
    if fit.identifiable and fit.significant:
        side = "upper" if fit.slope > 0 else "lower"
        worst, other = (table.high, table.low) if side == "upper" else (table.low, table.high)
        limit = limits.high if side == "upper" else limits.low
        horizon = float(max(usual or 0, 1.5 * (fit.s_max + 1)))
        parts, parts_reason, band = forecast_cycle(
            table.data(worst),
            segment,
            limit,
            side,
            trend=trend.significant,
            confidence=settings.confidence,
            horizon=horizon,
        )
        advice = advise_interval(
            table.data(worst),
            other,
            segment,
            limits,
            side,
            trend=trend.significant,
            risk=settings.risk,
            usual=usual,
        )
        if parts is not None and parts.expected > CAP * (fit.s_max + 1):
            warnings.append(
                Notice(
                    NoticeCode.FORECAST_FAR,
                    f"the limit lies beyond everything measured ({fit.s_max + 1:.0f} parts since dress): the "
                    "forecast takes the wear as straight, and its interval is too short if the wear rate "
                    "differs from cycle to cycle",
                )
            )
        if fit.slope_variance_identifiable is False and advice.parts is not None:
            warnings.append(
                Notice(
                    NoticeCode.SLOPE_VARIATION_UNKNOWN,
                    "fewer than three parts per cycle: that the wear rate differs from cycle to cycle is "
                    "not in the dress interval",
                )
            )
    else:
        parts_reason = _no_wear_reason(fit, order, has_positions)
        advice = DressAdvice(None, False, parts_reason, None, None)

    level_sd = trend.sd if trend.dof > 0 else math.nan
    sd_cycle = cycle_sd(level_sd, fit.sd, fit.counts) if math.isfinite(level_sd) else None
    sd_part = fit.sd if math.isfinite(fit.sd) else None
    series = DriftSeries(
        part=key[0],
        grinder=key[1],
        parameter=key[2],
        flank=key[3],
        sentence=_sentence(
            _forecast_clauses(key, fit, side, parts, parts_reason, advice, settings.risk),
            words.series_name(key[2], key[3]),
            signals,
            reasons,
        ),
        gears=len(table.serial),
        cycles=order.cycles if order.known else 0,
        current_cycle=order.number(order.cycles - 1),
        current_dress=order.dress[-1],
        in_control=in_control,
        reasons=reasons,
        wear_um_per_part=fit.slope if fit.identifiable else None,
        wear_interval_um_per_part=(fit.low, fit.high) if fit.identifiable else None,
        wear_confidence=settings.confidence,
        wear_significant=fit.significant if fit.identifiable else None,
        wear_robust_um_per_part=fit.robust_slope if fit.identifiable else None,
        wear_estimated=order.estimated,
        sd_um=None if sd_part is None or sd_cycle is None else math.hypot(sd_part, sd_cycle),
        sd_part_um=sd_part,
        sd_cycle_um=sd_cycle,
        level_trend_um_per_cycle=trend.slope if trend.significant else None,
        trend_interval=(trend.low, trend.high) if trend.significant else None,
        cycle_levels_um=tuple(
            CycleLevel(order.number(c), order.dress[c], float(x), float(se) if math.isfinite(se) else None)
            for c, (x, se) in enumerate(zip(fit.levels, fit.levels_se, strict=True))
            if order.known
        ),
        steps=_level_changes(order, steps, trend, matched),
        segment_from_cycle=order.number(segment),
        signals=signals,
        limit_um=(limits.low, limits.high),
        limit_kind=limits.kind,
        limit_revision=newest.revision,
        parts_to_limit=parts,
        parts_to_limit_reason=parts_reason,
        dress_interval_parts=advice.parts,
        dress_interval_at_least=advice.at_least,
        dress_interval_reason=advice.reason,
        dress_interval_centred_parts=advice.centred.parts if advice.centred else None,
        current_dress_interval_parts=usual,
        risk=settings.risk,
        centring_offset_um=advice.centred.offset if advice.centred else None,
        reference=reference,
        false_alarm=FalseAlarm(settings.family_false_alarm, rate, None if usual is None else usual / rate),
        identifiable=Identifiable(
            wear=fit.identifiable,
            trend=order.known and order.cycles >= CYCLES_FOR_TREND,
            slope_variation=fit.slope_variance_identifiable,
        ),
        quarantine=_quarantine(signals, table, order, limits),
        warnings=tuple(warnings),
        charts=_chart_data(table, order, fit, charts, band, placed),
    )
    return AnalysedSeries(series, advice, side)


def _table(order: ProductionOrder, warnings: list[Notice]) -> tuple[_Table, bool]:
    """Arrays of the gears; those without a position are left out where others have one."""
    known = ~np.isnan(order.s)
    keep = np.ones(len(known), dtype=np.bool_)
    s = order.s
    has_positions = bool(known.any()) and order.known
    if not has_positions:
        s = np.zeros(len(known))
    elif not bool(known.all()):
        every_cycle = set(order.cycle[known].tolist()) == set(range(order.cycles))
        if every_cycle:
            keep = known
            warnings.append(
                Notice(
                    NoticeCode.POSITION_MISSING,
                    f"{int((~known).sum())} gears without parts since dress are left out",
                )
            )
        else:
            s, has_positions = np.zeros(len(known)), False
            warnings.append(
                Notice(
                    NoticeCode.POSITION_MISSING,
                    "whole dress cycles have no parts since dress: no wear per part is claimed",
                )
            )
    rows = [o for o, use in zip(order.observations, keep, strict=True) if use]
    table = _Table(
        order=order,
        cycle=order.cycle[keep],
        s=s[keep],
        mean=np.array([o.mean_um for o in rows]),
        low=np.array([o.min_um for o in rows]),
        high=np.array([o.max_um for o in rows]),
        serial=tuple(o.serial for o in rows),
    )
    return table, has_positions


def _warn_identifiability(  # noqa: PLR0917
    fit: WearFit,
    order: ProductionOrder,
    steps: tuple[Step, ...],
    trend: Trend,
    has_positions: bool,
    warnings: list[Notice],
) -> None:
    if not order.known:
        warnings.append(
            Notice(NoticeCode.NO_CYCLES, "nothing tells the dress cycles apart: no levels, no wear")
        )
        return
    if has_positions and not fit.identifiable:
        same = float(np.ptp(fit.cycle_s)) == 0
        text = (
            "every cycle was measured at the same part: wear and level cannot be told apart"
            if same
            else "no cycle holds two measured parts: wear and level cannot be told apart"
        )
        warnings.append(Notice(NoticeCode.WEAR_NOT_IDENTIFIABLE, text))
    if fit.robust_differs:
        warnings.append(
            Notice(
                NoticeCode.ROBUST_WEAR_DIFFERS,
                f"the robust wear rate is {fit.robust_slope:.3g} um per part, the mean one {fit.slope:.3g}: "
                "single parts pull",
            )
        )
    if order.cycles < MINIMUM_CYCLES:
        warnings.append(
            Notice(
                NoticeCode.NO_STEP_SEARCH,
                f"{words.cycle_count(order.cycles)}: level changes are searched from {MINIMUM_CYCLES}",
            )
        )
    elif order.cycles < CYCLES_FOR_TREND:
        warnings.append(
            Notice(
                NoticeCode.TREND_OR_CHANGE,
                f"{order.cycles} dress cycles: a slow trend and a level change are hard to tell apart",
            )
        )
    if len(steps) >= 3:
        warnings.append(
            Notice(
                NoticeCode.WANDERING_LEVEL,
                "a level that wanders looks like several level changes: look at the chart",
            )
        )
    if trend.significant:
        warnings.append(
            Notice(
                NoticeCode.LEVEL_TREND,
                f"the level after dress moves by {trend.slope:+.2g} um per cycle: dressing does not reset it",
            )
        )


def _warn_idle_corrections(
    placed: Sequence[PlacedEvent], order: ProductionOrder, steps: tuple[Step, ...], warnings: list[Notice]
) -> None:
    """A recorded correction that left no level change behind, where one could have been seen."""
    if order.cycles < MINIMUM_CYCLES:
        return
    for event in placed:
        seen = any(abs(step.index - event.cycle) <= WITHIN_CYCLES for step in steps)
        visible = MINIMUM_SEGMENT <= event.cycle <= order.cycles - MINIMUM_SEGMENT
        if event.correction and visible and not seen:
            warnings.append(
                Notice(
                    NoticeCode.CORRECTION_NOT_SEEN,
                    f"{event.words} before cycle {order.number(event.cycle)}: no level change is seen there",
                )
            )


def _no_wear_reason(fit: WearFit, order: ProductionOrder, has_positions: bool) -> str:
    if not order.known:
        return "the dress cycles are not known"
    if not has_positions:
        return "parts since dress are not known"
    if not fit.identifiable:
        return "wear and level cannot be told apart by the parts that were measured"
    return "wear is not proven, so no crossing can be shown"


def _reference(
    key: SeriesKey,
    order: ProductionOrder,
    settings: DriftSettings,
    steps: tuple[Step, ...],
    matched: Sequence[PlacedEvent | None],
) -> tuple[Reference | None, tuple[int, int] | None]:
    """Reference as reported (cycles from 1) and as used (from 0, end exclusive)."""
    if not order.known:
        return None, None
    chosen = settings.references.get(key, settings.reference)
    if chosen is not None:
        start = max(0, chosen.from_ - order.first_number)
        stop = min(order.cycles, chosen.to - order.first_number + 1)
        return chosen, (start, stop) if stop - start >= MINIMUM_REFERENCE else None
    explained = [step.index for step, event in zip(steps, matched, strict=True) if event is not None]
    first = explained[-1] if explained else 0
    unexplained = tuple(
        step.index for step, event in zip(steps, matched, strict=True) if event is None and step.index > first
    )
    span = choose_reference(order.cycles, first, unexplained)
    return (None, None) if span is None else (default_reference(span, order.first_number), span)


def _signals(
    charts: SeriesCharts | None, table: _Table, order: ProductionOrder, settings: DriftSettings
) -> tuple[Signal, ...]:
    """First point of every cycle beyond a limit, chart by chart, in production order."""
    if charts is None:
        return ()
    last = {int(c): i for i, c in enumerate(table.cycle)}
    found: list[tuple[int, Signal]] = []

    def add(chart: Literal["levels", "levels_moving_range", "residual_ewma"], i: int) -> None:
        c = int(table.cycle[i])
        current = c == order.cycles - 1
        at = order.start[c]
        if settings.since is not None and at is not None:
            current = current or seconds(at) >= seconds(settings.since)
        signal = Signal(chart, "beyond_limit", table.serial[i], order.number(c), order.dress[c], current)
        found.append((i, signal))

    for c in np.flatnonzero(charts.level_signals):
        add("levels", last[int(c)])
    for c in np.flatnonzero(charts.moving_range_signals):
        add("levels_moving_range", last[int(c)])
    beyond = np.flatnonzero(charts.ewma_signals)
    for i in beyond[np.unique(table.cycle[beyond], return_index=True)[1]]:
        add("residual_ewma", int(i))
    return tuple(signal for _, signal in sorted(found, key=lambda pair: pair[0]))


def _control(
    order: ProductionOrder,
    span: tuple[int, int] | None,
    signals: tuple[Signal, ...],
    steps: tuple[Step, ...],
    matched: Sequence[PlacedEvent | None],
) -> tuple[bool | None, tuple[Sentence, ...]]:
    if span is None:
        found = order.cycles if order.known else 0
        text = f"fewer than {MINIMUM_REFERENCE} dress cycles to take limits from ({found} in the history)"
        return None, (Sentence("few_cycles", text),)
    reasons = []
    if signals:
        cycles = sorted({signal.cycle for signal in signals})
        text = f"beyond a control limit in {_listed(cycles)}"
        reasons.append(Sentence("beyond_limit", text))
    for step, event in zip(steps, matched, strict=True):
        if event is None and step.index > span[0]:
            text = f"level change at cycle {order.number(step.index)} without a recorded event"
            reasons.append(Sentence("level_change", text))
    return not reasons, tuple(reasons)


def _listed(numbers: Sequence[int]) -> str:
    """Sorted cycles in words, runs drawn together: `cycles 3, 7 to 9`; of very many the last ones."""
    runs: list[list[int]] = []
    for number in numbers:
        if runs and number == runs[-1][-1] + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    texts = [str(run[0]) if len(run) == 1 else f"{run[0]} to {run[-1]}" for run in runs]
    if len(texts) > RUNS_LISTED:
        return f"{len(numbers)} cycles, the last of them {', '.join(texts[-3:])}"
    return f"{'cycle' if len(numbers) == 1 else 'cycles'} {', '.join(texts)}"


def _level_changes(
    order: ProductionOrder, steps: tuple[Step, ...], trend: Trend, matched: Sequence[PlacedEvent | None]
) -> tuple[LevelChange, ...]:
    sizes = trend.step_sizes or (math.nan,) * len(steps)
    return tuple(
        LevelChange(
            cycle=order.number(step.index),
            dress=order.dress[step.index],
            size_um=size,
            event=event.words if event else None,
            p=step.p,
            cycle_low=order.number(step.low),
            cycle_high=order.number(step.high),
        )
        for step, size, event in zip(steps, sizes, matched, strict=True)
    )


def _usual_interval(table: _Table, order: ProductionOrder, segment: int) -> int | None:
    """Median of the last part seen in each cycle of the segment, the running cycle left out."""
    if not order.known or bool(np.isnan(order.s).all()):
        return None
    last = np.full(order.cycles, -1.0)
    np.maximum.at(last, table.cycle, table.s)
    done = last[segment:-1] if order.cycles - segment > 1 else last[segment:]
    return int(np.median(done)) + 1


def _quarantine(
    signals: tuple[Signal, ...], table: _Table, order: ProductionOrder, limits: ActionLimits
) -> Quarantine | None:
    """From the last gear measured good before the latest signal that counts.

    A signal of a level is about its whole cycle, one of the residuals about its gear.
    """
    counting = [signal for signal in signals if signal.current]
    if not counting:
        return None
    cycle = max(signal.cycle for signal in counting)
    place = {serial: i for i, serial in enumerate(table.serial)}
    begin = int(np.searchsorted(table.cycle, cycle - order.first_number))
    starts = [
        place[signal.serial] if signal.chart == "residual_ewma" else begin
        for signal in counting
        if signal.cycle == cycle
    ]
    good = np.ones(len(table.serial), dtype=np.bool_)
    if limits.low is not None:
        good &= table.low >= limits.low
    if limits.high is not None:
        good &= table.high <= limits.high
    before = np.flatnonzero(good[: min(starts)])
    start = int(before[-1]) + 1 if before.size else 0
    return Quarantine(
        after_serial=table.serial[start - 1] if start else None,
        to_serial=table.serial[-1],
        measured=table.serial[start:],
    )


def _sentence(
    forecast: Sequence[str | None], name: str, signals: tuple[Signal, ...], reasons: tuple[Sentence, ...]
) -> str:
    """What matters first: a signal that counts before wear, limit and dress interval."""
    clauses = [clause for clause in forecast if clause]
    if any(signal.current for signal in signals):
        clauses.insert(0, f"{name} is out of control: {'; '.join(r.sentence for r in reasons)}")
    elif not clauses[0].startswith(name):
        clauses[0] = f"{name}: {clauses[0]}"
    return "; ".join(clauses)


def _forecast_clauses(  # noqa: PLR0917
    key: SeriesKey,
    fit: WearFit,
    side: Side | None,
    parts: PartsToLimit | None,
    reason: str | None,
    advice: DressAdvice,
    risk: float,
) -> tuple[str | None, ...]:
    """Wear, limit and dress interval in words."""
    if side is None:
        return (reason,)
    name = words.series_name(key[2], key[3])
    dress = None
    if advice.parts is not None:
        dress = words.dress_clause(advice.parts, advice.at_least, risk)
    elif advice.reason and advice.reason != reason:
        dress = f"no dress interval: {advice.reason}"
    return (
        words.wear_clause(name, key[2], fit.slope, (fit.low, fit.high)),
        words.limit_clause(side, parts) if parts else reason,
        dress,
    )


def _chart_data(  # noqa: PLR0917
    table: _Table,
    order: ProductionOrder,
    fit: WearFit,
    charts: SeriesCharts | None,
    band: ForecastBand | None,
    placed: tuple[PlacedEvent, ...],
) -> ChartData:
    n, cycles = len(table.mean), order.cycles
    wear = fit.slope if fit.identifiable else 0.0
    time = {o.serial: o.finished_at for o in order.observations}
    return ChartData(
        serial=table.serial,
        finished_at=tuple(time[serial] for serial in table.serial),
        cycle=table.cycle + order.first_number,
        parts_since_dress=(table.s + 1) if fit.identifiable else _positions(table, order),
        value_um=table.mean,
        min_um=table.low,
        max_um=table.high,
        fitted_um=fit.levels[table.cycle] + wear * table.s,
        levels_centre_um=charts.centre if charts else None,
        levels_lower_um=charts.lower if charts else np.full(cycles, np.nan),
        levels_upper_um=charts.upper if charts else np.full(cycles, np.nan),
        moving_range_um=charts.moving_range if charts else np.full(cycles, np.nan),
        moving_range_upper_um=charts.moving_range_upper if charts else np.full(cycles, np.nan),
        ewma=charts.ewma if charts else np.full(n, np.nan),
        ewma_limit=charts.ewma_limit if charts else np.full(n, np.nan),
        forecast=band,
        events=tuple((order.number(event.cycle), event.words) for event in placed),
    )


def _positions(table: _Table, order: ProductionOrder) -> Array:
    place = dict(zip((o.serial for o in order.observations), order.s + 1, strict=True))
    return np.array([place[serial] for serial in table.serial])


__all__ = ["CYCLES_FOR_INTERVAL", "ActionLimits", "AnalysedSeries", "analyse_series"]

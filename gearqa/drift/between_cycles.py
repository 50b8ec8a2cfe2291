"""Levels from dress to dress: level changes with their causes, and a slow trend."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from gearqa.drift import phrases
from gearqa.drift.causes import WITHIN_CYCLES, PlacedEvent, match_event, place_events
from gearqa.drift.ordering import ProductionOrder
from gearqa.drift.series_gears import SeriesGears
from gearqa.errors import Notice, NoticeCode
from gearqa.model.drift import CycleLevel, DriftSettings, LevelChange
from gearqa.model.measurement import GrinderEvent
from gearqa.statistics.steps import MINIMUM_CYCLES, MINIMUM_SEGMENT, Step, find_steps
from gearqa.statistics.wear import Trend, WearFit, cycle_sd, fit_trend

CYCLES_FOR_TREND = 12
STEPS_OF_A_WANDERING_LEVEL = 3


@dataclass(frozen=True, slots=True)
class Levels:
    """What the levels of a series do; places count cycles from 0."""

    steps: tuple[Step, ...]
    causes: tuple[PlacedEvent | None, ...]
    """The recorded event that explains each level change."""
    trend: Trend
    events: tuple[PlacedEvent, ...]
    """All events that concern the series."""
    sd: float | None
    """Of the true level from dress to dress. [um]"""

    @property
    def segment(self) -> int:
        """First cycle since the last level change."""
        return self.steps[-1].index if self.steps else 0

    @property
    def explained(self) -> list[int]:
        """Cycles at which an explained change begins."""
        return [step.index for step, cause in zip(self.steps, self.causes, strict=True) if cause]

    @property
    def unexplained(self) -> list[int]:
        """Cycles at which a change without a recorded event begins."""
        return [step.index for step, cause in zip(self.steps, self.causes, strict=True) if cause is None]

    def changes(self, order: ProductionOrder) -> tuple[LevelChange, ...]:
        """The level changes as they are reported."""
        sizes = self.trend.step_sizes or (math.nan,) * len(self.steps)
        return tuple(
            LevelChange(
                cycle=order.number(step.index),
                dress=order.dress[step.index],
                size_um=size,
                event=cause.words if cause else None,
                p=step.p,
                cycle_low=order.number(step.low),
                cycle_high=order.number(step.high),
            )
            for step, size, cause in zip(self.steps, sizes, self.causes, strict=True)
        )


def find_levels(
    gears: SeriesGears, fit: WearFit, events: Sequence[GrinderEvent], settings: DriftSettings
) -> Levels:
    """Search the levels of a wear fit for level changes and a trend."""
    steps = find_steps(fit.levels, settings.step_alpha) if gears.order.known else ()
    trend = fit_trend(fit.levels, tuple(step.index for step in steps), settings.confidence)
    _, _, parameter, flank = gears.key
    placed = place_events(gears.order, events, parameter, flank)
    level_sd = trend.sd if trend.dof > 0 else math.nan
    return Levels(
        steps=steps,
        causes=tuple(match_event(placed, step.index) for step in steps),
        trend=trend,
        events=placed,
        sd=cycle_sd(level_sd, fit.sd, fit.counts) if math.isfinite(level_sd) else None,
    )


def cycle_levels(order: ProductionOrder, fit: WearFit) -> tuple[CycleLevel, ...]:
    """Level after each dress as it is reported."""
    if not order.known:
        return ()
    return tuple(
        CycleLevel(order.number(c), order.dress[c], float(x), float(se) if math.isfinite(se) else None)
        for c, (x, se) in enumerate(zip(fit.levels, fit.levels_se, strict=True))
    )


def level_notices(order: ProductionOrder, levels: Levels) -> Iterator[Notice]:
    """What makes level changes and trend unknown or doubtful, and corrections that left no trace."""
    if not order.known:
        return
    cycles = phrases.cycle_count(order.cycles)
    if order.cycles < MINIMUM_CYCLES:
        yield Notice(NoticeCode.NO_STEP_SEARCH, f"{cycles}: level changes are searched from {MINIMUM_CYCLES}")
    elif order.cycles < CYCLES_FOR_TREND:
        text = f"{cycles}: a slow trend and a level change are hard to tell apart"
        yield Notice(NoticeCode.TREND_OR_CHANGE, text)
    if len(levels.steps) >= STEPS_OF_A_WANDERING_LEVEL:
        text = "a level that wanders looks like several level changes: look at the chart"
        yield Notice(NoticeCode.WANDERING_LEVEL, text)
    trend = levels.trend
    if trend.significant:
        yield Notice(NoticeCode.LEVEL_TREND, phrases.trend_clause(trend.slope, (trend.low, trend.high)))
    if order.cycles >= MINIMUM_CYCLES:
        yield from _idle_corrections(order, levels)


def _idle_corrections(order: ProductionOrder, levels: Levels) -> Iterator[Notice]:
    """Recorded corrections without a level change where one could have been seen."""
    for event in levels.events:
        seen = any(abs(step.index - event.cycle) <= WITHIN_CYCLES for step in levels.steps)
        visible = MINIMUM_SEGMENT <= event.cycle <= order.cycles - MINIMUM_SEGMENT
        if event.correction and visible and not seen:
            text = f"{event.words} before cycle {order.number(event.cycle)}: no level change is seen there"
            yield Notice(NoticeCode.CORRECTION_NOT_SEEN, text)

"""Levels from dress to dress: level changes with their recorded causes, and a slow trend."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from gearqa.drift import phrases
from gearqa.drift.ordering import ProductionOrder, SeriesGears, is_dress, seconds
from gearqa.errors import Notice, NoticeCode
from gearqa.model.drift import CycleLevel, DriftSettings, LevelChange
from gearqa.model.measurement import GrinderEvent
from gearqa.statistics.steps import MINIMUM_CYCLES, MINIMUM_SEGMENT, FoundStep, find_steps
from gearqa.statistics.wear import Trend, WearFit, cycle_sd, fit_trend
from gearqa.symbols import Flank
from gearqa.wording.numbers import count_text, short_text, unit_text

CYCLES_FOR_TREND = 12
STEPS_OF_A_WANDERING_LEVEL = 3
WITHIN_CYCLES = 1
"""Most cycles between a level change and an event that may be its cause."""


@dataclass(frozen=True, slots=True)
class PlacedEvent:
    """An event that may change the level, and the first cycle made after it (from 0)."""

    cycle: int
    words: str
    correction: bool
    """Whether it corrects this very parameter by a stated amount."""


@dataclass(frozen=True, slots=True)
class Levels:
    """What the levels of a series do; places count cycles from 0."""

    steps: tuple[FoundStep, ...]
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

    def changes(self, *, explained: bool) -> list[int]:
        """Cycles at which a change with or without a recorded event begins."""
        pairs = zip(self.steps, self.causes, strict=True)
        return [step.index for step, cause in pairs if (cause is not None) == explained]


def find_levels(
    gears: SeriesGears, fit: WearFit, events: Sequence[GrinderEvent], settings: DriftSettings
) -> Levels:
    """Search the levels of a wear fit for level changes and a trend."""
    steps = find_steps(fit.levels, settings.step_alpha) if gears.order.known else ()
    trend = fit_trend(fit.levels, tuple(step.index for step in steps), settings.confidence)
    placed = place_events(gears.order, events, *gears.key[2:])
    level_sd = trend.sd if trend.dof > 0 else math.nan
    return Levels(
        steps=steps,
        causes=tuple(_cause(placed, step.index) for step in steps),
        trend=trend,
        events=placed,
        sd=cycle_sd(level_sd, fit.sd, fit.counts) if math.isfinite(level_sd) else None,
    )


def place_events(
    order: ProductionOrder, events: Sequence[GrinderEvent], parameter: str, flank: Flank | None
) -> tuple[PlacedEvent, ...]:
    """Events that concern a series, and changes of the wheel that the gears themselves show."""
    placed: list[PlacedEvent] = []
    if None not in order.start and order.known:
        made = [
            (seconds(o.finished_at), int(c))
            for c, o in zip(order.cycle, order.observations, strict=True)
            if o.finished_at is not None
        ]
        times = [time for time, _ in made]
        for event in events:
            other = event.parameter not in (None, "", parameter) or event.flank not in (None, flank)
            after = int(np.searchsorted(times, seconds(event.at), side="right"))
            if not (is_dress(event) or other) and after < len(made):
                correction = event.correction is not None and event.parameter == parameter
                placed.append(PlacedEvent(made[after][1], _event_words(event), correction))
    for c, (old, new) in enumerate(pairwise(order.wheel), 1):
        recorded = any(e.cycle == c and "wheel" in e.words for e in placed)
        if None not in (old, new) and old != new and not recorded:
            placed.append(PlacedEvent(c, f"wheel change to {new}", correction=False))
    return tuple(sorted(placed, key=lambda e: e.cycle))


def _event_words(event: GrinderEvent) -> str:
    """An event in the words that it was recorded with."""
    words = event.event.strip()
    if event.correction is not None:
        unit = f" {unit_text(event.unit)}" if event.unit else ""
        words += f" {short_text(event.correction, signed=True)}{unit}"
    return f"{words} ({event.remark})" if event.remark else words


def _cause(placed: Sequence[PlacedEvent], cycle: int) -> PlacedEvent | None:
    """The event nearest to a level change; corrections first on ties."""
    near = [e for e in placed if abs(e.cycle - cycle) <= WITHIN_CYCLES]
    return min(near, key=lambda e: (abs(e.cycle - cycle), not e.correction), default=None)


def level_changes(order: ProductionOrder, levels: Levels) -> tuple[LevelChange, ...]:
    """The level changes as they are reported."""
    sizes = levels.trend.step_sizes or (math.nan,) * len(levels.steps)
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
        for step, size, cause in zip(levels.steps, sizes, levels.causes, strict=True)
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
    cycles = count_text(order.cycles, "dress cycle")
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
    for event in levels.events:
        seen = any(abs(step.index - event.cycle) <= WITHIN_CYCLES for step in levels.steps)
        visible = MINIMUM_SEGMENT <= event.cycle <= order.cycles - MINIMUM_SEGMENT
        if event.correction and visible and not seen and order.cycles >= MINIMUM_CYCLES:
            text = f"{event.words} before cycle {order.number(event.cycle)}: no level change is seen there"
            yield Notice(NoticeCode.CORRECTION_NOT_SEEN, text)

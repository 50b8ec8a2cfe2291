"""Levels from dress to dress: recorded events, the model of the levels, level changes."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from itertools import pairwise

import numpy as np
from scipy.special import stdtrit

from gearqa.arrays import Array
from gearqa.diagnosis.gains import LENGTHS
from gearqa.drift import phrases
from gearqa.drift.ordering import ProductionOrder, SeriesGears, is_dress, seconds
from gearqa.drift.within_cycles import WearFits
from gearqa.errors import Notice, NoticeCode
from gearqa.model.drift import CycleLevel, LevelChange
from gearqa.model.measurement import GrinderEvent
from gearqa.statistics.level_search import (
    FROM_STEP,
    MINIMUM_CYCLES,
    LevelEvidence,
    LevelMovement,
    find_movement,
    step_columns,
    trend_column,
    weigh_levels,
)
from gearqa.statistics.levels import LevelFit, fit_levels
from gearqa.statistics.wear import cycle_sd
from gearqa.symbols import Flank
from gearqa.wording.numbers import count_text, short_text, unit_text

CYCLES_FOR_TREND = 12
STEPS_OF_A_WANDERING_LEVEL = 3
WANDERING = 0.3
"""Correlation of neighbouring cycles from which a level wanders."""
WITHIN_CYCLES = 1
"""Most cycles between the range of a level change and an event that may be its cause."""
STILL = LevelMovement()


@dataclass(frozen=True, slots=True)
class PlacedEvent:
    """An event that may change the level, and the first cycle made after it (from 0)."""

    cycle: int
    words: str
    size: float | None = None
    """Micrometres by which it corrects this very parameter and flank."""
    at: datetime | None = None
    """When it was recorded."""


@dataclass(frozen=True, eq=False, slots=True)
class Recorded:
    """Recorded corrections with a size, as columns of the model; sizes at one cycle are added."""

    cycles: tuple[int, ...]
    sizes: tuple[float, ...]

    def intended(self, cycles: int) -> Array:
        """What they were meant to move each level by. shape (cycles,)"""
        return np.asarray(step_columns(cycles, self.cycles) @ np.array(self.sizes), dtype=np.float64)


@dataclass(frozen=True, eq=False, slots=True)
class Levels:
    """Levels of a series and their model; places count cycles from 0."""

    x: Array
    events: tuple[PlacedEvent, ...]
    """All events that concern the series."""
    recorded: Recorded
    evidence: LevelEvidence | None
    movement: LevelMovement = STILL
    fit: LevelFit | None = None
    """None: fewer cycles than columns."""

    @property
    def base(self) -> Array:
        """Constant and recorded corrections."""
        return np.column_stack((np.ones(len(self.x)), step_columns(len(self.x), self.recorded.cycles)))

    @property
    def places(self) -> tuple[int, ...]:
        """First cycle of each claimed level change."""
        return tuple(step.index for step in self.movement.steps)

    @property
    def design(self) -> Array:
        """Columns of the model: constant, corrections, level changes, trend."""
        extra = (trend_column(len(self.x)),) if self.movement.trend else ()
        return np.column_stack((self.base, step_columns(len(self.x), self.places), *extra))

    def row(self, ahead: int = 1) -> Array:
        """Row of the design of a cycle after the last one."""
        ones = np.ones(1 + len(self.recorded.cycles) + len(self.places))
        return np.append(ones, (len(self.x) - 1) / 2 + ahead) if self.movement.trend else ones

    @property
    def segment(self) -> int:
        """First cycle of the present level."""
        return max((*self.places, *self.recorded.cycles), default=0)


def weigh(gears: SeriesGears, fits: WearFits, events: Sequence[GrinderEvent]) -> Levels:
    """Levels of a wear fit with what speaks for a movement."""
    x = fits.mean.levels
    placed = place_events(gears.order, events, *gears.key[2:])
    sizes: dict[int, float] = {}
    for event in placed:
        if event.size is not None and event.cycle > 0:
            sizes[event.cycle] = sizes.get(event.cycle, 0.0) + event.size
    if len(x) - 1 - len(sizes) < 1:
        sizes = {}
    recorded = Recorded(tuple(sorted(sizes)), tuple(sizes[k] for k in sorted(sizes)))
    levels = Levels(x, placed, recorded, None)
    evidence = weigh_levels(x, levels.base, recorded.cycles) if gears.order.known else None
    return replace(levels, evidence=evidence)


def model(levels: Levels, bound: float | None) -> Levels:
    """Search the levels for changes and trend; `bound` is that at which they were found to move, if any."""
    movement = STILL
    if levels.evidence is not None:
        movement = find_movement(levels.x, levels.base, levels.recorded.cycles, levels.evidence, bound)
    moved = replace(levels, movement=movement)
    design = moved.design
    return replace(moved, fit=fit_levels(levels.x, design) if len(levels.x) > design.shape[1] else None)


def trend_interval(levels: Levels, confidence: float) -> tuple[float, float, float] | None:
    """Claimed trend with its interval."""
    fit = levels.fit
    if fit is None or not levels.movement.trend_claimed:
        return None
    return effect_interval(fit, -1, confidence)


def effect_interval(fit: LevelFit, column: int, confidence: float) -> tuple[float, float, float]:
    """Coefficient of a column with its interval."""
    effect = float(fit.theta[column])
    se = math.sqrt(max(float(fit.covariance[column, column]), 0.0))
    half = float(stdtrit(fit.dof, (1 + confidence) / 2)) * se
    return effect, effect - half, effect + half


def level_sd(levels: Levels, fits: WearFits) -> float | None:
    """Standard deviation of the true level from dress to dress."""
    if levels.fit is None:
        return None
    return cycle_sd(levels.fit.variance, fits.mean.sd, fits.mean.counts)


# --- events -------------------------------------------------------------------------------------


def place_events(
    order: ProductionOrder, events: Sequence[GrinderEvent], parameter: str, flank: Flank | None
) -> tuple[PlacedEvent, ...]:
    """Events that concern a series, and changes of the wheel that the gears themselves show."""
    placed: list[PlacedEvent] = []
    if None not in order.start and order.known:
        timed = np.isfinite(order.at)
        times, cycles = order.at[timed], order.cycle[timed]
        in_time = np.lexsort((cycles, times))
        for event in events:
            other = event.parameter not in (None, "", parameter) or event.flank not in (None, flank)
            after = int(np.searchsorted(times, seconds(event.at), side="right", sorter=in_time))
            if not (is_dress(event) or other) and after < len(times):
                size = _size_um(event) if event.parameter == parameter else None
                placed.append(PlacedEvent(int(cycles[in_time[after]]), _event_words(event), size, event.at))
    for c, (old, new) in enumerate(pairwise(order.wheel), 1):
        recorded = any(e.cycle == c and "wheel" in e.words for e in placed)
        if None not in (old, new) and old != new and not recorded:
            placed.append(PlacedEvent(c, f"wheel change to {new}"))
    return tuple(sorted(placed, key=lambda e: e.cycle))


def _size_um(event: GrinderEvent) -> float | None:
    """Size of a correction in micrometres; none in another unit."""
    factor = LENGTHS.get((event.unit or "").strip().lower())
    return None if event.correction is None or factor is None else event.correction * factor


def _event_words(event: GrinderEvent) -> str:
    """An event in the words that it was recorded with."""
    words = event.event.strip()
    if event.correction is not None:
        unit = f" {unit_text(event.unit)}" if event.unit else ""
        words += f" {short_text(event.correction, signed=True)}{unit}"
    return f"{words} ({event.remark})" if event.remark else words


def _label_changes(gears: SeriesGears) -> Iterator[PlacedEvent]:
    """Changes of fixture, instrument or operator that happened once and stayed."""
    for name in ("fixture", "instrument", "operator"):
        words = [getattr(o, name) for o in gears.rows]
        turns = [i for i in range(1, len(words)) if words[i] != words[i - 1]]
        if len(turns) == 1 and words[turns[0]] is not None:
            yield PlacedEvent(int(gears.cycle[turns[0]]), f"{name} changed to {words[turns[0]]}")


# --- as reported --------------------------------------------------------------------------------


def level_changes(gears: SeriesGears, levels: Levels, confidence: float) -> tuple[LevelChange, ...]:
    """The level changes as they are reported."""
    order, fit = gears.order, levels.fit
    others = [event for event in levels.events if event.size is None]
    recorded = [event for event in levels.events if event.size is not None]
    changes = _label_changes(gears) if levels.movement.steps else ()
    causes = [*recorded, *others, *changes]
    found = []
    for i, step in enumerate(levels.movement.steps):
        column = 1 + len(levels.recorded.cycles) + i
        effect = None if fit is None else effect_interval(fit, column, confidence)
        near = [e for e in causes if step.low - WITHIN_CYCLES <= e.cycle <= step.high + WITHIN_CYCLES]
        near.sort(key=lambda e: abs(e.cycle - step.index))
        names = tuple(dict.fromkeys(e.words for e in near))
        found.append(
            LevelChange(
                cycle=order.number(step.index),
                dress=order.dress[step.index],
                wheel=order.wheel[step.index],
                at=order.start[step.index],
                size_um=math.nan if effect is None else effect[0],
                size_interval_um=None if effect is None else effect[1:],
                event=names[0] if names else None,
                p=step.p,
                cycle_low=order.number(step.low),
                cycle_high=order.number(step.high),
                provisional=order.cycles - step.index < FROM_STEP,
                possible_causes=names,
            )
        )
    return tuple(found)


def cycle_levels(order: ProductionOrder, fits: WearFits) -> tuple[CycleLevel, ...]:
    """Level after each dress, at its first part, as it is reported."""
    if not order.known:
        return ()
    fit = fits.mean
    first = float(fit.at(np.zeros(1))[0])
    return tuple(
        CycleLevel(
            order.number(c),
            order.dress[c],
            float(x) + first,
            float(se) if math.isfinite(se) else None,
            order.wheel[c],
            order.start[c],
        )
        for c, (x, se) in enumerate(zip(fit.levels, fit.levels_se, strict=True))
    )


def level_notices(order: ProductionOrder, levels: Levels, confidence: float) -> Iterator[Notice]:
    """What makes level changes and trend unknown or doubtful."""
    if not order.known:
        return
    cycles = count_text(order.cycles, "dress cycle")
    if order.cycles < MINIMUM_CYCLES:
        yield Notice(NoticeCode.NO_STEP_SEARCH, f"{cycles}: level changes are searched from {MINIMUM_CYCLES}")
    elif order.cycles < CYCLES_FOR_TREND:
        text = f"{cycles}: a slow trend and a level change are hard to tell apart"
        yield Notice(NoticeCode.TREND_OR_CHANGE, text)
    rho = levels.fit.rho if levels.fit is not None else 0.0
    claimed = bool(levels.movement.steps) or levels.movement.trend_claimed
    if len(levels.movement.steps) >= STEPS_OF_A_WANDERING_LEVEL or (claimed and rho >= WANDERING):
        text = "a level that wanders looks like several level changes, or like a trend: look at the chart"
        yield Notice(NoticeCode.WANDERING_LEVEL, text)
    if levels.movement.moved_from is not None:
        text = "the level moved; level change and slow trend cannot be told apart"
        yield Notice(NoticeCode.LEVEL_MOVED, text)
    trend = trend_interval(levels, confidence)
    if trend is not None:
        yield Notice(NoticeCode.LEVEL_TREND, phrases.trend_clause(trend[0], trend[1:]))

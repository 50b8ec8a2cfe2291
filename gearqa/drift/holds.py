"""Gears to hold: parts that were made and not measured, and may lie beyond a limit."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from gearqa.arrays import Array, BoolArray
from gearqa.drift.claims import SeriesModel
from gearqa.drift.made import MadeParts
from gearqa.drift.ordering import SeriesGears
from gearqa.drift.sides import ActionLimits, SideModel
from gearqa.model.drift import CorrectionEffect, Hold, HoldRange, Quarantine, Signal
from gearqa.statistics.containment import chance_beyond
from gearqa.statistics.level_search import FoundStep, find_movement

HELD = 0.01
"""A part with a larger chance to lie beyond a limit is held."""
MOST_PARTS = 2_000_000
"""Of more parts no list is made."""
LOOSE = 0.05
"""A level change counts here from this p on, claimed or not."""


@dataclass(frozen=True, eq=False, slots=True)
class CycleChances:
    """Chances of the parts of one cycle to lie beyond a limit."""

    cycle: int
    """Number, from 1."""
    dress: str | None
    chance: Array
    """Of part 1, 2 ... up to the last one made. shape (k,)"""
    measured: BoolArray


@dataclass(frozen=True, eq=False, slots=True)
class SeriesHold:
    """What one series says about the gears to hold."""

    quarantine: Quarantine
    cycles: Mapping[int, CycleChances]
    made: MadeParts
    first_number: int


def series_hold(
    one: SeriesModel,
    made: MadeParts,
    limits: ActionLimits,
    sides: Sequence[SideModel],
    signals: Sequence[Signal],
    corrections: Iterable[CorrectionEffect],
) -> SeriesHold | None:
    """Gears to hold of one series; None where nothing asks for it."""
    gears = one.gears
    step = _last_step(one)
    start = 0 if step is None else max(0, step.low - 1)
    good = np.ones(len(gears.serial), dtype=np.bool_)
    rows = gears.rows
    if limits.low is not None:
        good &= np.array([o.min_um for o in rows]) >= limits.low
    if limits.high is not None:
        good &= np.array([o.max_um for o in rows]) <= limits.high
    inside = gears.cycle >= start
    failing = tuple(dict.fromkeys(gears.serial[i] for i in np.flatnonzero(~good & inside)))
    asked = (
        bool(one.levels.movement.steps)
        or bool(failing)
        or any(signal.current for signal in signals)
        or any(correction.alarm for correction in corrections)
    )
    if not asked:
        return None
    chances = _chances(one, made, sides, start, step)
    part, grinder = gears.key[:2]
    ranges = tuple(
        found
        for cycle in chances.values()
        for found in hold_ranges(part, grinder, cycle, made, gears.order.first_number)
    )
    free = [float(c.chance[~c.measured].max()) for c in chances.values() if not c.measured.all()]
    largest = max(free, default=None)
    return SeriesHold(_quarantine(gears, ranges, failing, largest), chances, made, gears.order.first_number)


def _last_step(one: SeriesModel) -> FoundStep | None:
    """The last level change, for this list also one that is not claimed."""
    levels = one.levels
    if levels.movement.steps:
        return levels.movement.steps[-1]
    if levels.evidence is None or levels.evidence.p > LOOSE:
        return None
    found = find_movement(levels.x, levels.base, levels.recorded.cycles, levels.evidence, LOOSE)
    return found.steps[-1] if found.steps else None


def _chances(
    one: SeriesModel, made: MadeParts, sides: Sequence[SideModel], start: int, step: FoundStep | None
) -> dict[int, CycleChances]:
    """Chances of all parts made from a cycle on, by number of the cycle."""
    gears, order = one.gears, one.gears.order
    last = made.last[start:]
    if not sides or not 0 < last.sum() <= MOST_PARTS:
        return {}
    cycle = np.repeat(np.arange(start, order.cycles), last)
    begin = np.cumsum(last) - last
    s = (np.arange(len(cycle)) - np.repeat(begin, last)).astype(np.float64)
    chance = np.zeros(len(cycle))
    for side in sides:
        after = _level_after(one, side, step)
        chance += chance_beyond(side.made(), cycle, s, side.limit, side.sign, after)
    chance = np.minimum(chance, 1.0)
    measured = np.zeros(len(cycle), dtype=np.bool_)
    own = gears.cycle >= start
    measured[begin[gears.cycle[own] - start] + gears.s[own].astype(np.int64)] = True
    found = {}
    for c in range(start, order.cycles):
        place = slice(int(begin[c - start]), int(begin[c - start] + last[c - start]))
        if last[c - start]:
            number = order.number(c)
            found[number] = CycleChances(number, order.dress[c], chance[place], measured[place])
    return found


def _level_after(one: SeriesModel, side: SideModel, step: FoundStep | None) -> Array | None:
    """Level after the last change in the cycles in which it may have begun, NaN elsewhere."""
    if step is None:
        return None
    found = np.full(one.gears.order.cycles, np.nan)
    near = slice(max(0, step.low - 1), step.high + 1)
    if step.index in one.levels.places:
        size = float(
            side.levels.theta[1 + len(one.levels.recorded.cycles) + one.levels.places.index(step.index)]
        )
        before = np.arange(len(found)) < step.index
        found[near] = (side.expected + size * before)[near]
    else:
        found[near] = float(side.fit.levels[step.index :].mean())
    return found


def hold_ranges(
    part: str, grinder: str, cycle: CycleChances, made: MadeParts, first_number: int
) -> list[HoldRange]:
    """Ranges of parts to hold in one cycle; measured parts between them do not cut a range."""
    held = (cycle.chance > HELD) & ~cycle.measured
    if not held.any():
        return []
    places = np.flatnonzero(held | cycle.measured)
    runs = np.split(places, np.flatnonzero(np.diff(places) > 1) + 1)
    found = []
    for run in runs:
        own = run[held[run]]
        if not own.size:
            continue
        worst = int(own[int(np.argmax(cycle.chance[own]))])
        serials = [made.serials.get((cycle.cycle - first_number, int(end) + 1)) for end in (own[0], own[-1])]
        found.append(
            HoldRange(
                part=part,
                grinder=grinder,
                cycle=cycle.cycle,
                dress=cycle.dress,
                from_part=int(own[0]) + 1,
                to_part=int(own[-1]) + 1,
                parts=len(own),
                from_serial=serials[0],
                to_serial=serials[1],
                largest_p=float(cycle.chance[worst]),
                measure_first=worst + 1,
            )
        )
    return found


def _quarantine(
    gears: SeriesGears, ranges: tuple[HoldRange, ...], failing: tuple[str, ...], largest: float | None
) -> Quarantine:
    after: str | None = None
    between: tuple[str, ...] = ()
    if ranges:
        first, last = ranges[0], ranges[-1]
        number = gears.cycle + gears.order.first_number
        place = list(zip(number.tolist(), (gears.s + 1).tolist(), strict=True))
        before = [i for i, at in enumerate(place) if at < (first.cycle, first.from_part)]
        after = gears.serial[before[-1]] if before else None
        between = tuple(
            gears.serial[i]
            for i, at in enumerate(place)
            if (first.cycle, first.from_part) <= at <= (last.cycle, last.to_part)
        )
    return Quarantine(ranges, failing, largest, after, gears.serial[-1] if ranges else None, between)


def together(holds: Sequence[tuple[tuple[str, str], SeriesHold]]) -> Hold:
    """Gears to hold over all series: the largest chance of each part counts."""
    groups: dict[tuple[str, str], list[SeriesHold]] = {}
    for where, hold in holds:
        groups.setdefault(where, []).append(hold)
    ranges: list[HoldRange] = []
    for (part, grinder), members in groups.items():
        merged: dict[int, CycleChances] = {}
        for member in members:
            for number, own in member.cycles.items():
                merged[number] = _larger(merged.get(number), own)
        for number in sorted(merged):
            found = hold_ranges(part, grinder, merged[number], members[0].made, members[0].first_number)
            ranges += found
    failing = tuple(dict.fromkeys(serial for _, hold in holds for serial in hold.quarantine.failing))
    known = [hold.quarantine.largest_p for _, hold in holds if hold.quarantine.largest_p is not None]
    return Hold(tuple(ranges), failing, max(known, default=None))


def _larger(one: CycleChances | None, other: CycleChances) -> CycleChances:
    if one is None:
        return other
    length = max(len(one.chance), len(other.chance))
    chance, measured = np.zeros(length), np.zeros(length, dtype=np.bool_)
    for each in (one, other):
        chance[: len(each.chance)] = np.maximum(chance[: len(each.chance)], each.chance)
        measured[: len(each.measured)] |= each.measured
    return CycleChances(other.cycle, other.dress, chance, measured)

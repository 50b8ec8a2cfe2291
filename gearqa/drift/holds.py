"""Gears to hold: parts that were made and not measured, and may lie beyond a limit."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime

import numpy as np

from gearqa.arrays import Array, BoolArray
from gearqa.drift.claims import SeriesModel
from gearqa.drift.made import MadeParts
from gearqa.drift.ordering import SeriesGears, seconds
from gearqa.drift.sides import ActionLimits, SideModel, suspected
from gearqa.model.drift import (
    CorrectionEffect,
    Hold,
    HoldRange,
    MadePart,
    Quarantine,
    Signal,
    Suspicion,
)
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

    cycle: int | None
    """Number, from 1; None: no gear of it was measured."""
    dress: str | None
    wheel: str | None
    at: datetime | None
    chance: Array
    """Of part 1, 2 ... up to the last one made. shape (k,)"""
    measured: BoolArray
    serials: Mapping[int, str] = field(default_factory=dict)
    """By part, where the production table names it."""


CycleKey = tuple[int, int]
"""Number of a cycle and 0, or of the cycle before one without a measured gear and 1, 2 ..."""


@dataclass(frozen=True, eq=False, slots=True)
class SeriesHold:
    """What one series says about the gears to hold."""

    quarantine: Quarantine
    cycles: Mapping[CycleKey, CycleChances]


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
    chances |= _without_measured(one, made, sides, start, step)
    part, grinder = gears.key[:2]
    ranges = hold_ranges(part, grinder, chances)
    chance, measured = _joined(chances.values())
    free = chance[~measured]
    largest = float(free.max()) if free.size else None
    return SeriesHold(_quarantine(gears, ranges, failing, largest), chances)


def suspicion_of(one: SeriesModel, made: MadeParts, sides: Sequence[SideModel]) -> Suspicion | None:
    """The last cycles that lie off the level, and which of their parts to measure next."""
    found = suspected(one)
    if found is None:
        return None
    cycles, size = found
    chances = _chances(one, made, sides, one.gears.order.cycles - cycles, None)
    best: tuple[float, int, int] | None = None
    for (number, _), cycle in sorted(chances.items()):
        free = np.flatnonzero(~cycle.measured)
        if free.size:
            part = int(free[np.flatnonzero(cycle.chance[free] == cycle.chance[free].max())[-1]])
            best = max(best or (-1.0, 0, 0), (float(cycle.chance[part]), number, part + 1))
    if best is None:
        return Suspicion(cycles, size, None, None, None)
    return Suspicion(cycles, size, best[1], best[2], best[0])


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
) -> dict[CycleKey, CycleChances]:
    """Chances of all parts made from a cycle on, in cycles with a measured gear."""
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
    serials: dict[int, dict[int, str]] = {}
    for (c, number), serial in made.serials.items():
        serials.setdefault(c, {})[number] = serial
    found = {}
    for c in range(start, order.cycles):
        place = slice(int(begin[c - start]), int(begin[c - start] + last[c - start]))
        if last[c - start]:
            found[order.number(c), 0] = CycleChances(
                order.number(c), order.dress[c], order.wheel[c], order.start[c], chance[place],
                measured[place], serials.get(c, {}),
            )  # fmt: skip
    return found


def _without_measured(
    one: SeriesModel, made: MadeParts, sides: Sequence[SideModel], start: int, step: FoundStep | None
) -> dict[CycleKey, CycleChances]:
    """Chances of the parts of cycles without a measured gear: the worse of the cycles beside them counts,
    with the level they had and with the one the model expects."""
    order = one.gears.order
    groups: dict[tuple[str | None, str | None], list[MadePart]] = {}
    for part in made.unplaced:
        groups.setdefault((part.wheel, part.dress), []).append(part)
    begins = np.array([np.inf if at is None else seconds(at) for at in order.start])
    found: dict[CycleKey, CycleChances] = {}
    for (wheel, dress), members in groups.items():
        times = [part.finished_at for part in members if part.finished_at is not None]
        at = min(times, key=seconds, default=None)
        before = order.cycles - 1 if at is None else int(np.searchsorted(begins, seconds(at))) - 1
        near = range(order.cycles) if at is None else range(max(before, 0), before + 2)
        beside = [c for c in near if start <= c < order.cycles]
        if not sides or not beside:
            continue
        serials = {p.parts_since_dress or k: p.serial for k, p in enumerate(_in_order(members), 1)}
        last = max(serials)
        if last > MOST_PARTS:
            continue
        s, chance = np.arange(last, dtype=np.float64), np.zeros(last)
        for side in sides:
            after = _level_after(one, side, step)
            expected = side.expected if after is None else np.where(np.isnan(after), side.expected, after)
            chance += np.max(
                [
                    chance_beyond(side.made(), np.full(last, c), s, side.limit, side.sign, level)
                    for c in beside
                    for level in (side.expected, expected)
                ],
                axis=0,
            )
        number = order.number(before)
        rank = 1 + sum(key[0] == number for key in found)
        found[number, rank] = CycleChances(
            None, dress, wheel, at, np.minimum(chance, 1.0), np.zeros(last, dtype=np.bool_), serials
        )
    return found


def _in_order(parts: Sequence[MadePart]) -> list[MadePart]:
    return sorted(parts, key=lambda p: -np.inf if p.finished_at is None else seconds(p.finished_at))


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
    part: str, grinder: str, cycles: Mapping[CycleKey, CycleChances]
) -> list[tuple[CycleKey, HoldRange]]:
    """Ranges of parts to hold, by cycle; measured parts between them do not cut a range."""
    keys = sorted(cycles)
    chance, measured = _joined([cycles[key] for key in keys])
    length = np.array([len(cycles[key].chance) for key in keys], dtype=np.int64)
    cycle = np.repeat(np.arange(len(keys)), length)
    number = np.arange(1, len(chance) + 1) - np.repeat(np.cumsum(length) - length, length)
    held = (chance > HELD) & ~measured
    places = np.flatnonzero(held | measured)
    cut = (np.diff(places, prepend=-2) > 1) | (np.diff(cycle[places], prepend=-1) > 0)
    run = np.cumsum(cut)[held[places]]
    own = places[held[places]]
    first = np.flatnonzero(np.diff(run, prepend=0))
    found = []
    for places in np.split(own, first[1:]) if own.size else ():
        start, end, worst = (int(i) for i in (places[0], places[-1], places[np.argmax(chance[places])]))
        key = keys[cycle[start]]
        of = cycles[key]
        one = HoldRange(
            part=part,
            grinder=grinder,
            cycle=of.cycle,
            dress=of.dress,
            wheel=of.wheel,
            at=of.at,
            from_part=int(number[start]),
            to_part=int(number[end]),
            parts=len(places),
            from_serial=of.serials.get(int(number[start])),
            to_serial=of.serials.get(int(number[end])),
            largest_p=float(chance[worst]),
            measure_first=int(number[worst]),
        )
        found.append((key, one))
    return found


def _joined(cycles: Iterable[CycleChances]) -> tuple[Array, BoolArray]:
    """Chances of the parts of cycles one behind the other, and which of them were measured."""
    each = [(one.chance, one.measured) for one in cycles]
    chance, measured = zip(*each, strict=True) if each else ((), ())
    return np.concatenate((np.zeros(0), *chance)), np.concatenate((np.zeros(0, dtype=np.bool_), *measured))


def _quarantine(
    gears: SeriesGears,
    ranges: Sequence[tuple[CycleKey, HoldRange]],
    failing: tuple[str, ...],
    largest: float | None,
) -> Quarantine:
    after: str | None = None
    between: tuple[str, ...] = ()
    if ranges:
        first, last = (*ranges[0][0], ranges[0][1].from_part), (*ranges[-1][0], ranges[-1][1].to_part)
        number = (gears.cycle + gears.order.first_number).tolist()
        place = [(c, 0, s) for c, s in zip(number, (gears.s + 1).tolist(), strict=True)]
        before = [i for i, at in enumerate(place) if at < first]
        after = gears.serial[before[-1]] if before else None
        between = tuple(gears.serial[i] for i, at in enumerate(place) if first <= at <= last)
    own = tuple(found for _, found in ranges)
    return Quarantine(own, failing, largest, after, gears.serial[-1] if ranges else None, between)


def together(holds: Sequence[tuple[tuple[str, str], SeriesHold]]) -> Hold:
    """Gears to hold over all series: the largest chance of each part counts."""
    groups: dict[tuple[str, str], list[SeriesHold]] = {}
    for where, hold in holds:
        groups.setdefault(where, []).append(hold)
    ranges: list[HoldRange] = []
    for (part, grinder), members in groups.items():
        merged: dict[CycleKey, CycleChances] = {}
        for member in members:
            for key, own in member.cycles.items():
                merged[key] = _larger(merged.get(key), own)
        ranges += (one for _, one in hold_ranges(part, grinder, merged))
    failing = tuple(dict.fromkeys(serial for _, hold in holds for serial in hold.quarantine.failing))
    known = [hold.quarantine.largest_p for _, hold in holds if hold.quarantine.largest_p is not None]
    return Hold(tuple(ranges), failing, max(known, default=None))


def _larger(one: CycleChances | None, other: CycleChances) -> CycleChances:
    if one is None:
        return other
    short, long = sorted((one, other), key=lambda each: len(each.chance))
    chance, measured, own = long.chance.copy(), long.measured.copy(), slice(len(short.chance))
    chance[own] = np.maximum(chance[own], short.chance)
    measured[own] |= short.measured
    return replace(other, chance=chance, measured=measured, serials={**one.serials, **other.serials})

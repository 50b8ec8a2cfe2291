"""Gears of one part on one grinder in production order: dress cycles, parts since dress, values as arrays."""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from itertools import compress, pairwise
from operator import attrgetter
from typing import Any, NamedTuple, TypeVar

import numpy as np

from gearqa.arrays import Array, BoolArray, IntArray
from gearqa.errors import Notice, NoticeCode
from gearqa.model.drift import CyclePlace, DriftSettings, MadePart, Observation, SeriesKey
from gearqa.model.measurement import GrinderEvent, label_order
from gearqa.wording.numbers import count_text, short_text

Gear = TypeVar("Gear", Observation, MadePart)
_made = attrgetter("serial", "finished_at", "wheel", "dress", "parts_since_dress")
"""What the order goes by."""
_when = attrgetter("at")
EPOCH = datetime(1970, 1, 1)
DRESS_WORDS = ("dress", "dressing")
PACE_SHARE = 0.5
"""Share of the usual time per part that two gears are apart at the least."""
MOST_CONTRADICTING = 0.1
"""Share of contradicting cycles from which no position is believed."""
SERIALS_NAMED = 12


class _Part(NamedTuple):
    """What the order of a gear goes by, its time in seconds too, infinite where unknown."""

    serial: str
    finished_at: datetime | None
    wheel: str | None
    dress: str | None
    parts_since_dress: int | None
    at: float
    place: int
    """Where it stood before."""


@dataclass(frozen=True, eq=False, slots=True)
class ProductionOrder:
    """Observations of one series in production order with their cycles; cycles count from 0."""

    observations: tuple[Observation, ...]
    places: tuple[int, ...]
    """Where each of them stood before they were ordered. shape (n,)"""
    serial: tuple[str, ...]
    finished_at: tuple[datetime | None, ...]
    at: Array
    """Seconds of finishing on one scale, infinite where unknown. shape (n,)"""
    cycle: IntArray
    """shape (n,)"""
    s: Array
    """Parts since dress from 0, NaN where unknown. shape (n,)"""
    cycles: int
    dress: tuple[str | None, ...]
    """Label of each cycle. shape (cycles,)"""
    wheel: tuple[str | None, ...]
    start: tuple[datetime | None, ...]
    """Time of the first gear of each cycle. shape (cycles,)"""
    first_number: int
    """Number of the first cycle kept: 1 unless earlier ones were left out."""
    known: bool
    """Whether dress cycles are known at all."""
    estimated: bool
    """Whether parts since dress were estimated from times."""
    sound: BoolArray
    """Whether position and time of the gears of each cycle agree. shape (cycles,)"""
    doubt: str | None
    """Why the positions cannot be believed at all."""
    warnings: tuple[Notice, ...]

    def place(self, cycle: int) -> CyclePlace:
        """Number and labels of a cycle."""
        return CyclePlace(self.number(cycle), self.dress[cycle], self.wheel[cycle], self.start[cycle])

    def number(self, cycle: int) -> int:
        """Number of a cycle, counted from 1 over the whole history."""
        return self.first_number + cycle


class CycleValues(NamedTuple):
    """Values with their dress cycle (from 0) and parts since dress (from 0), shape (n,) each."""

    cycle: IntArray
    s: Array
    y: Array

    def within(self, start: int, stop: int) -> CycleValues:
        """Those of cycles [start, stop), numbered from 0 again."""
        keep = (self.cycle >= start) & (self.cycle < stop)
        return CycleValues(self.cycle[keep] - start, self.s[keep], self.y[keep])


@dataclass(frozen=True, eq=False, slots=True)
class SeriesGears:
    """The gears of a series that are analysed, in production order."""

    key: SeriesKey
    order: ProductionOrder
    rows: tuple[Observation, ...]
    at: Array
    """Seconds of finishing on one scale, infinite where unknown."""
    cycle: IntArray
    s: Array
    """Parts since dress from 0; zero for all where they are not known."""
    mean: Array
    low: Array
    high: Array
    serial: tuple[str, ...]
    finished_at: tuple[datetime | None, ...]
    parts_since_dress: Array
    """1 for the first; NaN where unknown."""
    has_positions: bool
    """Whether parts since dress are known."""
    warnings: tuple[Notice, ...]

    def placed(self, y: Array) -> CycleValues:
        """Values with their cycle and parts since dress."""
        return CycleValues(self.cycle, self.s, y)

    def without(self, effect: Array) -> SeriesGears:
        """The same gears with an effect taken out of their values."""
        mean = self.mean - effect
        low = mean if self.low is self.mean else self.low - effect
        high = mean if self.high is self.mean else self.high - effect
        return replace(self, mean=mean, low=low, high=high)


def seconds(time: datetime) -> float:
    """Seconds on one scale; a time without zone is taken as it is."""
    return (time - EPOCH).total_seconds() if time.tzinfo is None else time.timestamp()


def is_dress(event: GrinderEvent) -> bool:
    """Whether an event is a plain dress: it begins a cycle and explains no level change."""
    return event.event.strip().lower() in DRESS_WORDS


def made_until(gears: Iterable[Gear], until: datetime | None) -> list[Gear]:
    """Gears without those that were made later."""
    if until is None:
        return list(gears)
    late = seconds(until)
    return [one for one in gears if one.finished_at is None or seconds(one.finished_at) <= late]


def by_series(observations: Iterable[Observation]) -> dict[SeriesKey, list[Observation]]:
    """Observations of each part, grinder, parameter and flank."""
    groups: dict[SeriesKey, list[Observation]] = {}
    for o in observations:
        groups.setdefault((o.part, o.grinder, o.parameter, o.flank), []).append(o)
    return groups


class Orders:
    """Puts series into order; those of the same gears on one grinder have one order, found once."""

    def __init__(self, events: Mapping[str, Sequence[GrinderEvent]], settings: DriftSettings) -> None:
        self._events, self._settings = events, settings
        self._found: dict[tuple[str, str], list[tuple[list[Any], ProductionOrder]]] = {}

    def of(self, key: SeriesKey, observations: Sequence[Observation]) -> ProductionOrder:
        """The order of a series."""
        made = list(map(_made, observations))
        known = self._found.setdefault(key[:2], [])
        for same, order in known:
            if same == made:
                return replace(order, observations=tuple(map(observations.__getitem__, order.places)))
        order = production_order(
            observations, self._events.get(key[1], ()), cycle_time_s=self._settings.cycle_time_s,
            last_cycles=self._settings.last_cycles,
        )  # fmt: skip
        known.append((made, order))
        return order


def gears_of_series(key: SeriesKey, observations: Sequence[Observation], orders: Orders) -> SeriesGears:
    """Put a series into order; gears without a position are left out where others have one."""
    order = orders.of(key, observations)
    known, warnings = ~np.isnan(order.s), list(order.warnings)
    keep = np.ones(len(known), dtype=np.bool_)
    has_positions = bool(known.any()) and order.known
    if has_positions and not known.all():
        has_positions = set(order.cycle[known].tolist()) == set(range(order.cycles))
        if has_positions:
            keep = known
            text = f"left out: {count_text(int((~known).sum()), 'gear')} without parts since dress"
        else:
            text = "whole dress cycles have no parts since dress: no wear per part is claimed"
        warnings.append(Notice(NoticeCode.POSITION_MISSING, text))
    has_positions = has_positions and order.doubt is None
    rows, serial, finished_at = order.observations, order.serial, order.finished_at
    if not keep.all():
        rows, serial = tuple(compress(rows, keep)), tuple(compress(serial, keep))
        finished_at = tuple(compress(finished_at, keep))
    mean = np.array([o.mean_um for o in rows])
    low, high = np.array([o.min_um for o in rows]), np.array([o.max_um for o in rows])
    return SeriesGears(
        key=key,
        order=order,
        rows=rows,
        at=order.at[keep],
        cycle=order.cycle[keep],
        s=order.s[keep] if has_positions else np.zeros(len(rows)),
        mean=mean,
        low=mean if np.array_equal(low, mean) else low,
        high=mean if np.array_equal(high, mean) else high,
        serial=serial,
        finished_at=finished_at,
        parts_since_dress=order.s[keep] + 1,
        has_positions=has_positions,
        warnings=tuple(warnings),
    )


def production_order(
    observations: Sequence[Observation],
    events: Sequence[GrinderEvent],
    *,
    cycle_time_s: float | None = None,
    last_cycles: int | None = None,
) -> ProductionOrder:
    """Put the observations of one series into production order and number their dress cycles.

    Of two observations of one serial the later one in `observations` counts.
    """
    warnings: list[Notice] = []
    every = [_Part._make((*_made(o), _at(o.finished_at), place)) for place, o in enumerate(observations)]
    kept = list({o.serial: o for o in every}.values())
    if len(kept) < len(observations):
        repeated = count_text(len(observations) - len(kept), "repeated measurement")
        text = f"{repeated} of a serial: the last one is used"
        warnings.append(Notice(NoticeCode.REPEATED_SERIALS, text))
    untimed = sum(o.finished_at is None for o in kept)
    dresses = sorted(seconds(e.at) for e in events if is_dress(e))
    found = _cycles(kept, dresses, timed_all=not untimed)
    known = found is not None
    groups = found or [kept if untimed else sorted(kept, key=_when)]
    if known and untimed == len(kept):
        text = "no production times: cycles are ordered by their dress label"
        warnings.append(Notice(NoticeCode.ORDER_BY_LABEL, text))
    elif untimed:
        text = f"{untimed} of {count_text(len(kept), 'gear')} without a production time"
        warnings.append(Notice(NoticeCode.TIMES_MISSING, text))
    first_number = 1
    if known and last_cycles is not None and len(groups) > last_cycles:
        first_number += len(groups) - last_cycles
        groups = groups[-last_cycles:]
    ordered = [o for group in groups for o in group]
    s = np.array([math.nan if o.parts_since_dress is None else o.parts_since_dress - 1.0 for o in ordered])
    estimated = known and cycle_time_s is not None and _estimate(groups, s, cycle_time_s, dresses)
    if estimated:
        text = f"parts since dress are estimated from times at {short_text(cycle_time_s or 0)} s per part"
        warnings.append(Notice(NoticeCode.PARTS_ESTIMATED, text))
    sound, doubt, doubts = _contradictions(groups, timed=known and not untimed)
    if known and not untimed:
        warnings += _labels_used_again(groups)
    warnings += doubts
    return ProductionOrder(
        observations=tuple([observations[o.place] for o in ordered]),
        places=tuple([o.place for o in ordered]),
        serial=tuple([o.serial for o in ordered]),
        finished_at=tuple([o.finished_at for o in ordered]),
        at=np.array([o.at for o in ordered]),
        cycle=np.repeat(np.arange(len(groups), dtype=np.int64), [len(group) for group in groups]),
        s=s,
        cycles=len(groups),
        dress=tuple(group[0].dress for group in groups),
        wheel=tuple(group[0].wheel for group in groups),
        start=tuple(map(_first_time, groups)),
        first_number=first_number,
        known=known,
        estimated=estimated,
        sound=sound,
        doubt=doubt if known else None,
        warnings=tuple(warnings),
    )


def _cycles(observations: list[_Part], dresses: list[float], *, timed_all: bool) -> list[list[_Part]] | None:
    """Groups of one dress cycle in production order; None where the cycles are not known."""
    labelled = all(o.dress is not None for o in observations)
    if not timed_all:
        return _by_label(observations) if labelled else None
    ordered = sorted(observations, key=_place_in_time)
    counted = all(o.parts_since_dress is not None for o in ordered)
    if not (labelled or dresses or counted):
        return None
    pace = _pace(ordered)
    by_wheel: dict[str | None, list[list[_Part]]] = {}
    for o in ordered:
        cycles = by_wheel.setdefault(o.wheel if labelled else None, [])
        home = _home(o, cycles, pace, dresses, labelled=labelled)
        if home is None:
            cycles.append([o])
        else:
            home.append(o)
    every = [cycle for cycles in by_wheel.values() for cycle in cycles]
    return sorted(every, key=lambda group: group[0].at)


def _home(
    o: _Part,
    cycles: list[list[_Part]],
    pace: float | None,
    dresses: list[float],
    *,
    labelled: bool,
) -> list[_Part] | None:
    """The cycle that a gear continues; None: it begins a new one."""
    if not cycles:
        return None
    own = cycles[-1]
    if labelled and own[-1].dress != o.dress:
        # one gear with a wrong time does not cut the cycle around it in two
        own = next((cycle for cycle in reversed(cycles[-3:]) if cycle[-1].dress == o.dress), own)
        if own[-1].dress != o.dress or not _continues(own[-1], o, pace):
            return None
        return own
    return None if _dressed_between(own[-1], o, pace, dresses, labelled=labelled) else own


def _continues(before: _Part, o: _Part, pace: float | None) -> bool:
    """Whether a gear follows another of its cycle at the usual pace."""
    if pace is None or before.parts_since_dress is None or o.parts_since_dress is None:
        return False
    rise = o.parts_since_dress - before.parts_since_dress
    return rise > 0 and o.at - before.at <= 2 * pace * rise


def _dressed_between(
    before: _Part, o: _Part, pace: float | None, dresses: list[float], *, labelled: bool
) -> bool:
    """Whether a dress lies between two gears that follow each other."""
    start, end = before.at, o.at
    first, last = bisect_left(dresses, start), bisect_left(dresses, end)
    recorded = last > first
    if before.parts_since_dress is None or o.parts_since_dress is None:
        return recorded
    rises = o.parts_since_dress > before.parts_since_dress
    parts = o.parts_since_dress
    if recorded and rises and pace is not None and (labelled or parts > 1):
        # recorded late: too few parts can have been made since
        return end - dresses[last - 1] >= PACE_SHARE * pace * parts
    if recorded:
        return True
    if pace is None:  # nothing rises anywhere inside a label: a count that runs backwards, no dresses
        return not (rises or labelled)
    return not rises and end - start >= PACE_SHARE * pace * parts


def _pace(ordered: list[_Part]) -> float | None:
    """Median time per part, of neighbours of one dress label."""
    last: dict[tuple[str | None, str | None], _Part] = {}
    paces = []
    for o in ordered:
        before = last.get((o.wheel, o.dress))
        last[o.wheel, o.dress] = o
        if before is None or before.parts_since_dress is None or o.parts_since_dress is None:
            continue
        rise = o.parts_since_dress - before.parts_since_dress
        if rise > 0:
            paces.append((o.at - before.at) / rise)
    return float(np.median(paces)) or None if paces else None


def _by_label(observations: list[_Part]) -> list[list[_Part]]:
    """Cycles without times for all gears: by label, in the order of labels where one has no time at all."""
    groups: dict[tuple[str | None, str | None], list[_Part]] = {}
    for o in observations:
        groups.setdefault((o.wheel, o.dress), []).append(o)
    members = [sorted(group, key=_within_cycle) for group in groups.values()]
    if all(map(_first_time, members)):
        return sorted(members, key=lambda group: min(map(_when, group)))
    return sorted(members, key=lambda group: (label_order(group[0].wheel), label_order(group[0].dress)))


def _labels_used_again(groups: list[list[_Part]]) -> list[Notice]:
    seen: dict[tuple[str | None, str], list[str]] = {}
    for group in groups:
        label = group[0].dress
        if label is not None:
            seen.setdefault((group[0].wheel, label), []).append(group[0].serial)
    again = {key[1]: serials for key, serials in seen.items() if len(serials) > 1}
    if not again:
        return []
    named = ", ".join(
        f"{label} (from {', '.join(serials[:4])})" for label, serials in list(again.items())[:4]
    )
    more = f" and {len(again) - 4} more" if len(again) > 4 else ""
    text = f"dress labels used for several cycles of one wheel: {named}{more}; told apart by time"
    return [Notice(NoticeCode.DRESS_LABEL_AGAIN, text)]


def _contradictions(groups: list[list[_Part]], *, timed: bool) -> tuple[BoolArray, str | None, list[Notice]]:
    """Which cycles have positions that agree with times, and what is to be said about the others."""
    sound = np.ones(len(groups), dtype=np.bool_)
    pace = _pace([o for group in groups for o in group]) if timed else None
    serials: list[str] = []
    for c, group in enumerate(groups):
        for before, o in pairwise(group):
            if before.parts_since_dress is None or o.parts_since_dress is None:
                continue
            rise = o.parts_since_dress - before.parts_since_dress
            early = timed and pace is not None and o.at - before.at < PACE_SHARE * pace * rise
            if rise <= 0 or early:
                sound[c] = False
                serials.append(o.serial)
    if not serials:
        return sound, None, []
    shown = ", ".join(serials[:SERIALS_NAMED])
    shown += f" and {len(serials) - SERIALS_NAMED} more" if len(serials) > SERIALS_NAMED else ""
    bad = int((~sound).sum())
    what = (
        "parts since dress contradict the time of finishing" if timed else "two gears at one part of a cycle"
    )
    cycles = count_text(bad, "cycle")
    if not timed or bad > MOST_CONTRADICTING * len(groups):
        doubt = f"{what} in {bad} of {count_text(len(groups), 'cycle')} ({shown})"
        return (
            sound,
            doubt,
            [Notice(NoticeCode.PRODUCTION_CONTRADICTS, f"{doubt}: no wear, no dress interval")],
        )
    text = f"{what} in {cycles} ({shown}): left out for the wear"
    return sound, None, [Notice(NoticeCode.PRODUCTION_CONTRADICTS, text)]


def _at(time: datetime | None) -> float:
    return math.inf if time is None else seconds(time)


def _place_in_time(o: _Part) -> tuple[Any, ...]:
    """Time; where it is the same, as of dates without a time of day, label and position."""
    position = math.inf if o.parts_since_dress is None else float(o.parts_since_dress)
    return (o.at, label_order(o.wheel), label_order(o.dress), position)


def _within_cycle(o: _Part) -> tuple[float, float]:
    place = math.inf if o.parts_since_dress is None else float(o.parts_since_dress)
    return (place, o.at)


def _first_time(group: list[_Part]) -> datetime | None:
    return min(group, key=_when).finished_at


def _estimate(groups: list[list[_Part]], s: Array, cycle_time_s: float, dresses: list[float]) -> bool:
    """Fill missing positions from times: since the recorded dress, else since the cycle's first gear."""
    at, done = 0, False
    for group in groups:
        start = min(map(_when, group))
        origin = start - cycle_time_s
        previous = max((t for t in dresses if t <= start), default=-math.inf)
        if origin - previous < 1000 * cycle_time_s:
            origin = previous
        for i, o in enumerate(group, at):
            if math.isnan(s[i]) and o.finished_at is not None:
                s[i] = max(0.0, round((o.at - origin) / cycle_time_s) - 1.0)
                done = True
        at += len(group)
    return done

"""Gears of one part on one grinder in production order: dress cycles, parts since dress, values as arrays."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import groupby
from operator import itemgetter
from typing import NamedTuple

import numpy as np

from gearqa.arrays import Array, IntArray
from gearqa.errors import Notice, NoticeCode
from gearqa.model.drift import DriftSettings, Observation, SeriesKey
from gearqa.model.measurement import GrinderEvent, label_order
from gearqa.wording.numbers import count_text, short_text

EPOCH = datetime(1970, 1, 1)
DRESS_WORDS = ("dress", "dressing")


@dataclass(frozen=True, eq=False, slots=True)
class ProductionOrder:
    """Observations of one series in production order with their cycles; cycles count from 0."""

    observations: tuple[Observation, ...]
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
    warnings: tuple[Notice, ...]

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
        """Means or extremes with their cycle and parts since dress."""
        return CycleValues(self.cycle, self.s, y)


def seconds(time: datetime) -> float:
    """Seconds on one scale; a time without zone is taken as it is."""
    return (time - EPOCH).total_seconds() if time.tzinfo is None else time.timestamp()


def is_dress(event: GrinderEvent) -> bool:
    """Whether an event is a plain dress: it begins a cycle and explains no level change."""
    return event.event.strip().lower() in DRESS_WORDS


def made_until(observations: Iterable[Observation], until: datetime | None) -> list[Observation]:
    """Observations without those of gears that were made later."""
    late = math.inf if until is None else seconds(until)
    return [o for o in observations if o.finished_at is None or seconds(o.finished_at) <= late]


def by_series(observations: Iterable[Observation]) -> dict[SeriesKey, list[Observation]]:
    """Observations of each part, grinder, parameter and flank."""
    groups: dict[SeriesKey, list[Observation]] = {}
    for o in observations:
        groups.setdefault((o.part, o.grinder, o.parameter, o.flank), []).append(o)
    return groups


def gears_of_series(
    key: SeriesKey,
    observations: Sequence[Observation],
    events: Sequence[GrinderEvent],
    settings: DriftSettings,
) -> SeriesGears:
    """Put a series into order; gears without a position are left out where others have one."""
    order = production_order(
        observations, events, cycle_time_s=settings.cycle_time_s, last_cycles=settings.last_cycles
    )
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
    rows = [o for o, use in zip(order.observations, keep, strict=True) if use]
    return SeriesGears(
        key=key,
        order=order,
        cycle=order.cycle[keep],
        s=order.s[keep] if has_positions else np.zeros(len(rows)),
        mean=np.array([o.mean_um for o in rows]),
        low=np.array([o.min_um for o in rows]),
        high=np.array([o.max_um for o in rows]),
        serial=tuple(o.serial for o in rows),
        finished_at=tuple(o.finished_at for o in rows),
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
    kept = list({o.serial: o for o in observations}.values())
    if len(kept) < len(observations):
        repeated = count_text(len(observations) - len(kept), "repeated measurement")
        text = f"{repeated} of a serial: the last one is used"
        warnings.append(Notice(NoticeCode.REPEATED_SERIALS, text))
    untimed = sum(o.finished_at is None for o in kept)
    dresses = sorted(seconds(e.at) for e in events if is_dress(e))
    found = _cycles(kept, dresses, timed_all=not untimed)
    known = found is not None
    groups = found or [kept if untimed else sorted(kept, key=_time_key)]
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
    return ProductionOrder(
        observations=tuple(ordered),
        cycle=np.repeat(np.arange(len(groups), dtype=np.int64), [len(group) for group in groups]),
        s=s,
        cycles=len(groups),
        dress=tuple(group[0].dress for group in groups),
        wheel=tuple(group[0].wheel for group in groups),
        start=tuple(map(_first_time, groups)),
        first_number=first_number,
        known=known,
        estimated=estimated,
        warnings=tuple(warnings),
    )


def _cycles(
    observations: list[Observation], dresses: list[float], *, timed_all: bool
) -> list[list[Observation]] | None:
    """Groups of one dress cycle in production order; None where the cycles are not known."""
    if all(o.dress is not None for o in observations):
        groups: dict[tuple[str | None, str | None], list[Observation]] = {}
        for o in observations:
            groups.setdefault((o.wheel, o.dress), []).append(o)
        members = [sorted(group, key=_within_cycle) for group in groups.values()]
        if all(map(_first_time, members)):
            return sorted(members, key=lambda group: min(map(_time_key, group)))
        return sorted(members, key=lambda group: (label_order(group[0].wheel), label_order(group[0].dress)))
    if not timed_all:
        return None
    ordered = sorted(observations, key=_time_key)
    parts = [o.parts_since_dress for o in ordered if o.parts_since_dress is not None]
    if dresses:
        label = np.searchsorted(dresses, list(map(_time_key, ordered)), side="right")
    elif len(parts) == len(ordered):
        label = np.cumsum(np.diff(parts, prepend=parts[0] - 1) <= 0)
    else:
        return None
    runs = groupby(zip(label.tolist(), ordered, strict=True), key=itemgetter(0))
    return [[o for _, o in run] for _, run in runs]


def _time_key(o: Observation) -> float:
    return seconds(o.finished_at) if o.finished_at is not None else math.inf


def _within_cycle(o: Observation) -> tuple[float, float]:
    place = math.inf if o.parts_since_dress is None else float(o.parts_since_dress)
    return (place, _time_key(o))


def _first_time(group: list[Observation]) -> datetime | None:
    return min(group, key=_time_key).finished_at


def _estimate(groups: list[list[Observation]], s: Array, cycle_time_s: float, dresses: list[float]) -> bool:
    """Fill missing positions from times: since the recorded dress, else since the cycle's first gear."""
    at, done = 0, False
    for group in groups:
        start = min(map(_time_key, group))
        origin = start - cycle_time_s
        previous = max((t for t in dresses if t <= start), default=-math.inf)
        if origin - previous < 1000 * cycle_time_s:
            origin = previous
        for i, o in enumerate(group, at):
            if math.isnan(s[i]) and o.finished_at is not None:
                s[i] = max(0.0, round((seconds(o.finished_at) - origin) / cycle_time_s) - 1.0)
                done = True
        at += len(group)
    return done

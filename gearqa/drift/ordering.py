"""Production order and dress cycles of the gears of one part on one grinder."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from gearqa.arrays import Array, IntArray
from gearqa.errors import Notice, NoticeCode
from gearqa.model.drift import Observation
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


def seconds(time: datetime) -> float:
    """Seconds on one scale; a time without zone is taken as it is."""
    return (time - EPOCH).total_seconds() if time.tzinfo is None else time.timestamp()


def is_dress(event: GrinderEvent) -> bool:
    """Whether an event is a plain dress: it begins a cycle and explains no level change."""
    return event.event.strip().lower() in DRESS_WORDS


def production_order(
    observations: Sequence[Observation],
    events: Sequence[GrinderEvent],
    *,
    cycle_time_s: float | None = None,
    last_cycles: int | None = None,
) -> ProductionOrder:
    """Put the observations of one series into production order and number their dress cycles."""
    warnings: list[Notice] = []
    kept = _without_repeats(observations, warnings)
    timed = [o for o in kept if o.finished_at is not None]
    dresses = sorted(seconds(e.at) for e in events if is_dress(e))
    groups = _cycles(kept, dresses, timed_all=len(timed) == len(kept))
    known = groups is not None
    if groups is None:
        groups = [sorted(kept, key=_time_key)] if len(timed) == len(kept) else [list(kept)]
    if known and not timed:
        warnings.append(
            Notice(NoticeCode.ORDER_BY_LABEL, "no production times: cycles are ordered by their dress label")
        )
    elif len(timed) < len(kept):
        warnings.append(
            Notice(
                NoticeCode.TIMES_MISSING,
                f"{len(kept) - len(timed)} of {count_text(len(kept), 'gear')} without a production time",
            )
        )
    first_number = 1
    if known and last_cycles is not None and len(groups) > last_cycles:
        first_number += len(groups) - last_cycles
        groups = groups[-last_cycles:]
    ordered = [o for group in groups for o in group]
    cycle = np.repeat(np.arange(len(groups)), [len(group) for group in groups])
    s = np.array([math.nan if o.parts_since_dress is None else o.parts_since_dress - 1.0 for o in ordered])
    estimated = False
    if known and cycle_time_s is not None and bool(np.isnan(s).any()):
        estimated = _estimate(groups, s, cycle_time_s, dresses)
        if estimated:
            warnings.append(
                Notice(
                    NoticeCode.PARTS_ESTIMATED,
                    f"parts since dress are estimated from times at {short_text(cycle_time_s)} s per part",
                )
            )
    return ProductionOrder(
        observations=tuple(ordered),
        cycle=cycle.astype(np.int64),
        s=s,
        cycles=len(groups),
        dress=tuple(group[0].dress for group in groups),
        wheel=tuple(group[0].wheel for group in groups),
        start=tuple(_first_time(group) for group in groups),
        first_number=first_number,
        known=known,
        estimated=estimated,
        warnings=tuple(warnings),
    )


def _without_repeats(observations: Sequence[Observation], warnings: list[Notice]) -> list[Observation]:
    """The last observation of each serial; earlier ones of the same serial are superseded."""
    last = {o.serial: o for o in observations}
    if len(last) < len(observations):
        repeated = count_text(len(observations) - len(last), "repeated measurement")
        text = f"{repeated} of a serial: the last one is used"
        warnings.append(Notice(NoticeCode.REPEATED_SERIALS, text))
    return list(last.values())


def _cycles(
    observations: list[Observation], dresses: list[float], *, timed_all: bool
) -> list[list[Observation]] | None:
    """Groups of one dress cycle in production order; None where the cycles are not known."""
    if all(o.dress is not None for o in observations):
        groups: dict[tuple[str | None, str | None], list[Observation]] = {}
        for o in observations:
            groups.setdefault((o.wheel, o.dress), []).append(o)
        members = [sorted(group, key=_within_cycle) for group in groups.values()]
        if all(_first_time(group) is not None for group in members):
            return sorted(members, key=lambda group: seconds(_first_time(group) or datetime.min))
        return sorted(members, key=lambda group: (label_order(group[0].wheel), label_order(group[0].dress)))
    if not timed_all:
        return None
    ordered = sorted(observations, key=_time_key)
    if dresses:
        times = np.array([seconds(o.finished_at) for o in ordered if o.finished_at is not None])
        return _split(ordered, np.searchsorted(np.array(dresses), times, side="right"))
    if all(o.parts_since_dress is not None for o in ordered):
        parts = np.array([o.parts_since_dress or 0 for o in ordered])
        return _split(ordered, np.cumsum(np.concatenate(([0], np.diff(parts) <= 0))))
    return None


def _split(ordered: list[Observation], label: NDArray[np.integer]) -> list[list[Observation]]:
    cuts = np.flatnonzero(np.diff(label)) + 1
    edges = [0, *cuts.tolist(), len(ordered)]
    return [ordered[a:b] for a, b in pairwise(edges)]


def _time_key(o: Observation) -> float:
    return seconds(o.finished_at) if o.finished_at is not None else math.inf


def _within_cycle(o: Observation) -> tuple[float, float]:
    place = math.inf if o.parts_since_dress is None else float(o.parts_since_dress)
    return (place, _time_key(o))


def _first_time(group: list[Observation]) -> datetime | None:
    times = [o.finished_at for o in group if o.finished_at is not None]
    return min(times, key=seconds) if times else None


def _estimate(groups: list[list[Observation]], s: Array, cycle_time_s: float, dresses: list[float]) -> bool:
    """Fill missing positions from times: since the recorded dress, else since the cycle's first gear."""
    at, done = 0, False
    for group in groups:
        start = _first_time(group)
        if start is not None:
            origin = seconds(start) - cycle_time_s
            before = [t for t in dresses if t <= seconds(start)]
            previous = before[-1] if before else None
            if previous is not None and origin - previous < 1000 * cycle_time_s:
                origin = previous
            for i, o in enumerate(group, at):
                if math.isnan(s[i]) and o.finished_at is not None:
                    elapsed = seconds(o.finished_at) - origin
                    s[i] = max(0.0, round(elapsed / cycle_time_s) - 1.0)
                    done = True
        at += len(group)
    return done

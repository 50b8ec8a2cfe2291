"""The gears of one series as arrays in production order."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import NamedTuple

import numpy as np

from gearqa.arrays import Array, IntArray
from gearqa.drift.ordering import ProductionOrder, production_order
from gearqa.errors import Notice, NoticeCode
from gearqa.model.drift import DriftSettings, Observation, SeriesKey
from gearqa.model.measurement import GrinderEvent
from gearqa.wording.numbers import count_text


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

    @property
    def means(self) -> CycleValues:
        """Means of the flanks."""
        return CycleValues(self.cycle, self.s, self.mean)

    @property
    def lows(self) -> CycleValues:
        """Smallest traces."""
        return CycleValues(self.cycle, self.s, self.low)

    @property
    def highs(self) -> CycleValues:
        """Largest traces."""
        return CycleValues(self.cycle, self.s, self.high)


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
    known, s, warnings = ~np.isnan(order.s), order.s, list(order.warnings)
    keep = np.ones(len(known), dtype=np.bool_)
    has_positions = bool(known.any()) and order.known
    if has_positions and not known.all():
        has_positions = set(order.cycle[known].tolist()) == set(range(order.cycles))
        if has_positions:
            keep = known
            left_out = count_text(int((~known).sum()), "gear")
            text = f"left out: {left_out} without parts since dress"
        else:
            text = "whole dress cycles have no parts since dress: no wear per part is claimed"
        warnings.append(Notice(NoticeCode.POSITION_MISSING, text))
    if not has_positions:
        s = np.zeros(len(known))
    rows = [o for o, use in zip(order.observations, keep, strict=True) if use]
    return SeriesGears(
        key=key,
        order=order,
        cycle=order.cycle[keep],
        s=s[keep],
        mean=np.array([o.mean_um for o in rows]),
        low=np.array([o.min_um for o in rows]),
        high=np.array([o.max_um for o in rows]),
        serial=tuple(o.serial for o in rows),
        finished_at=tuple(o.finished_at for o in rows),
        parts_since_dress=order.s[keep] + 1,
        has_positions=has_positions,
        warnings=tuple(warnings),
    )

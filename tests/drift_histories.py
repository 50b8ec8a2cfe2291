"""Invented histories of a grinder with known wear, trend, level change and scatter."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np

from gearqa.model.drift import Observation
from gearqa.model.measurement import GrinderEvent
from gearqa.symbols import Flank

START = datetime(2026, 3, 2, 6)
CYCLE_TIME_S = 100.0
Key = tuple[str, Flank | None]


@dataclass(frozen=True)
class Grinder:
    """How an invented grinder behaves."""

    cycles: int = 40
    parts: int = 30
    measured: tuple[int, ...] = (1, 15, 30)
    level: float = 1.0
    wear: float = -0.05
    wear_sd: float = 0.0
    trend: float = 0.0
    step_at: int | None = None
    """Number of the first cycle at the new level."""
    step: float = 0.0
    sd_cycle: float = 0.4
    sd_part: float = 0.4
    spread: float = 0.5
    """Half the range over the traces of a flank."""
    limits: tuple[float | None, float | None] = (-6.0, 6.0)
    U: float | None = None
    last_part: int | None = None
    """The running cycle is measured up to this part only."""


def at(cycle: int, part: int, grinder: Grinder) -> datetime:
    """When a part was finished."""
    return START + timedelta(seconds=CYCLE_TIME_S * ((cycle - 1) * grinder.parts + part))


def history(
    rng: np.random.Generator,
    grinder: Grinder,
    keys: Sequence[Key] = (("profile_slope", "left"),),
    name: str = "G1",
) -> list[Observation]:
    """Observations in production order; the series of one gear are independent of each other."""
    found = []
    for parameter, flank in keys:
        for c in range(1, grinder.cycles + 1):
            level = grinder.level + grinder.trend * (c - 1) + rng.normal(0, grinder.sd_cycle)
            if grinder.step_at is not None and c >= grinder.step_at:
                level += grinder.step
            wear = grinder.wear + grinder.wear_sd * rng.standard_normal()
            for part in grinder.measured:
                if c == grinder.cycles and grinder.last_part is not None and part > grinder.last_part:
                    continue
                y = level + wear * (part - 1) + rng.normal(0, grinder.sd_part)
                found.append(
                    Observation(
                        part="OT-4471",
                        grinder=name,
                        wheel="W1",
                        dress=f"D{c}",
                        parts_since_dress=part,
                        finished_at=at(c, part, grinder),
                        serial=f"{c:04d}-{part:03d}",
                        parameter=parameter,
                        flank=flank,
                        mean_um=y,
                        min_um=y - grinder.spread,
                        max_um=y + grinder.spread,
                        limit_low=grinder.limits[0],
                        limit_high=grinder.limits[1],
                        U=grinder.U,
                        revision="C",
                    )
                )
    return found


def event_before(cycle: int, grinder: Grinder, words: str = "correction", name: str = "G1") -> GrinderEvent:
    """An event recorded just before the first part of a cycle."""
    return GrinderEvent(at(cycle, 1, grinder) - timedelta(seconds=30), words, name)

"""Recorded events of a grinder: before which cycle, and which level change they may have caused."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from gearqa.drift.ordering import ProductionOrder, is_dress, seconds
from gearqa.model.measurement import GrinderEvent
from gearqa.symbols import Flank
from gearqa.wording.numbers import short_text, unit_text

WITHIN_CYCLES = 1


@dataclass(frozen=True, slots=True)
class PlacedEvent:
    """An event that may change the level, and the first cycle made after it (from 0)."""

    cycle: int
    words: str
    correction: bool
    """Whether it corrects this very parameter by a stated amount."""


def place_events(
    order: ProductionOrder, events: Sequence[GrinderEvent], parameter: str, flank: Flank | None
) -> tuple[PlacedEvent, ...]:
    """Events that concern a series, and changes of the wheel that the gears themselves show."""
    placed: list[PlacedEvent] = []
    if all(start is not None for start in order.start) and order.known:
        gears = np.array([seconds(o.finished_at) for o in order.observations if o.finished_at is not None])
        cycles = np.array([c for c, o in zip(order.cycle, order.observations, strict=True) if o.finished_at])
        for event in events:
            other = event.parameter not in (None, "", parameter) or event.flank not in (None, flank)
            if is_dress(event) or other:
                continue
            after = int(np.searchsorted(gears, seconds(event.at), side="right"))
            if after < len(gears):
                placed.append(
                    PlacedEvent(
                        int(cycles[after]),
                        describe(event),
                        event.correction is not None and event.parameter == parameter,
                    )
                )
    for c in range(1, order.cycles):
        changed = None not in (order.wheel[c - 1], order.wheel[c]) and order.wheel[c - 1] != order.wheel[c]
        if changed and not any(e.cycle == c and "wheel" in e.words for e in placed):
            placed.append(PlacedEvent(c, f"wheel change to {order.wheel[c]}", correction=False))
    return tuple(sorted(placed, key=lambda e: e.cycle))


def describe(event: GrinderEvent) -> str:
    """An event in the words that it was recorded with."""
    words = event.event.strip()
    if event.correction is not None:
        unit = f" {unit_text(event.unit)}" if event.unit else ""
        words += f" {short_text(event.correction, signed=True)}{unit}"
    return f"{words} ({event.remark})" if event.remark else words


def match_event(placed: Sequence[PlacedEvent], cycle: int) -> PlacedEvent | None:
    """The event nearest to a level change, within one cycle; corrections first on ties."""
    near = [e for e in placed if abs(e.cycle - cycle) <= WITHIN_CYCLES]
    return min(near, key=lambda e: (abs(e.cycle - cycle), not e.correction), default=None)

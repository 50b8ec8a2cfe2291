"""The cycles of a chosen or frozen period: control limits come from them."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from datetime import datetime
from typing import Literal

from gearqa.drift.control import MINIMUM_REFERENCE
from gearqa.drift.ordering import ProductionOrder, by_series, production_order, seconds
from gearqa.errors import GearqaError, Notice, NoticeCode
from gearqa.model.drift import Observation, Reference, SeriesKey
from gearqa.model.measurement import GrinderEvent

End = str | datetime
"""A dress label, a cycle number, or a time of production."""
Period = tuple[End, End]


class ReferencePeriodError(GearqaError, ValueError):
    """A period that control limits cannot come from."""


def place_references(
    observations: Iterable[Observation],
    events: Sequence[GrinderEvent],
    period_of: Callable[[str, str], Period | None],
    *,
    cycle_time_s: float | None = None,
) -> tuple[dict[SeriesKey, Reference], tuple[Notice, ...]]:
    """Reference cycles of every series that has a period, by part and grinder.

    A period that fits none of its series is an error (ReferencePeriodError), one that fits some of
    them only is noticed for the others.
    """
    references: dict[SeriesKey, Reference] = {}
    faults: dict[str, None] = {}
    for key, members in by_series(observations).items():
        period = period_of(key[0], key[1])
        if period is None:
            continue
        own = [event for event in events if event.grinder == key[1]]
        order = production_order(members, own, cycle_time_s=cycle_time_s)
        try:
            references[key] = reference_of(order, period, f"{key[0]} on {key[1]}")
        except ReferencePeriodError as error:
            faults.setdefault(str(error))
    if faults and not references:
        raise ReferencePeriodError("\n".join(faults), hint="look at: gearqa drift --json, cycle_levels_um")
    return references, tuple(Notice(NoticeCode.REFERENCE_NOT_USED, fault) for fault in faults)


def reference_of(order: ProductionOrder, period: Period, where: str) -> Reference:
    """Cycles of one series between two ends; both belong to it."""
    if not order.known:
        raise ReferencePeriodError(f"{where}: the dress cycles are not known, so there is no reference")
    first, last = _cycle(order, period[0], "first", where), _cycle(order, period[1], "last", where)
    if last - first + 1 < MINIMUM_REFERENCE:
        held = max(0, last - first + 1)
        begin, finish = (end if isinstance(end, str) else end.isoformat() for end in period)
        raise ReferencePeriodError(
            f"{where}: the reference {begin} to {finish} holds {held} dress cycles, "
            f"at least {MINIMUM_REFERENCE} are needed (there are cycles 1 to {order.cycles})"
        )
    return Reference(order.number(first), order.number(last), frozen=True)


def _cycle(order: ProductionOrder, end: End, which: Literal["first", "last"], where: str) -> int:
    """Cycle (from 0) that an end names."""
    if isinstance(end, datetime):
        return _cycle_at(order, end, which, where)
    labelled = [c for c, label in enumerate(order.dress) if label == end]
    if len(labelled) > 1:
        numbers = ", ".join(str(order.number(c)) for c in labelled)
        raise ReferencePeriodError(
            f"{where}: dress '{end}' names the cycles {numbers}; give cycle numbers or times"
        )
    if labelled:
        return labelled[0]
    if end.isascii() and end.isdigit() and 1 <= int(end) <= order.cycles:
        return int(end) - 1
    ends = f", labelled {order.dress[0]} to {order.dress[-1]}" if order.dress[0] is not None else ""
    raise ReferencePeriodError(
        f"{where}: no dress cycle '{end}': there are cycles 1 to {order.cycles}{ends}; a reference is given "
        "by cycle numbers, dress labels or times"
    )


def _cycle_at(order: ProductionOrder, at: datetime, which: Literal["first", "last"], where: str) -> int:
    """First cycle that begins at or after a time, or last one that begins at or before it."""
    starts = [seconds(start) for start in order.start if start is not None]
    if len(starts) < order.cycles:
        raise ReferencePeriodError(f"{where}: not every dress cycle has a time of production")
    if which == "first":
        return min((c for c, start in enumerate(starts) if start >= seconds(at)), default=order.cycles)
    return max((c for c, start in enumerate(starts) if start <= seconds(at)), default=-1)

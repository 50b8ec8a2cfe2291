"""Facts of a sample from its production table: order, dress cycles, calibration."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from gearqa.arrays import Array
from gearqa.model.lot import CycleCoverage
from gearqa.model.measurement import Production, label_order
from gearqa.model.results import GearResult


@dataclass(frozen=True, slots=True)
class ProductionFacts:
    """Order, dress cycles and calibration of the gears of a sample, in the order given."""

    order: tuple[int, ...] | None
    """Positions of the gears in order of production; None where it is not known."""
    cycles: tuple[int, ...] | None
    """Dress cycle of each gear, numbered from 0; None unless known for all."""
    positions: Array | None
    """Parts since dress of each gear, 0 for the first; None unless known for all."""
    cycle_length: float | None
    """Most parts since dress seen, counted from 1."""
    overdue: tuple[str, ...]
    """Serials measured after the calibration was due."""
    order_by_label: bool = False
    """Whether `order` comes from dress labels and parts since dress, as times are missing."""

    @property
    def cycle_count(self) -> int | None:
        """Dress cycles in the sample."""
        return None if self.cycles is None else len(set(self.cycles))


def production_facts(gears: Sequence[GearResult], others: Sequence[Production] = ()) -> ProductionFacts:
    """Read the production rows of the sample; `others` are rows of gears of the lot not measured."""
    rows = [gear.production or Production() for gear in gears]
    cycles = _cycles(rows)
    since = [row.parts_since_dress for row in rows]
    known = [s for s in since if s is not None]
    more = [row.parts_since_dress for row in others if row.parts_since_dress is not None]
    by_time = _order_by_time(rows)
    order = _order_by_label(rows) if by_time is None else by_time
    return ProductionFacts(
        order=order,
        cycles=cycles,
        positions=np.asarray([s - 1 for s in known], dtype=np.float64) if len(known) == len(rows) else None,
        cycle_length=float(max([*known, *more])) if known else None,
        overdue=tuple(gear.serial for gear, row in zip(gears, rows, strict=True) if row.calibration_overdue),
        order_by_label=by_time is None and order is not None,
    )


def cycle_key(row: Production) -> tuple[str, str, str] | None:
    """Dress labels are unique within grinder and wheel only."""
    return None if row.dress is None else (row.grinder or "", row.wheel or "", row.dress)


def lot_of_several_cycles(
    facts: ProductionFacts, others: Sequence[Production], lot_size: int | None, measured: int,
    stated: int | None,
) -> bool:  # fmt: skip
    """Whether the lot was ground in more dress cycles than one.

    Stated by the plan, seen in the production rows of gears not measured, or concluded from a lot that
    is larger than any part number since dress that was seen. Without any of these: no.
    """
    if stated is not None:
        return stated > 1
    keys = {key for row in others if (key := cycle_key(row)) is not None}
    if len(keys) > 1:
        return True
    if lot_size is None or measured >= lot_size:
        return False
    return facts.cycle_length is None or lot_size > facts.cycle_length


def cycle_coverage(
    facts: ProductionFacts, others: Sequence[Production], lot_size: int | None, stated: int | None, *,
    several_cycles: bool,
) -> CycleCoverage | None:  # fmt: skip
    """Where in the dress cycle the sample was measured; None where length or positions are not known.

    Parts of all cycles measured count together. Cycles: as the plan states, else those of the production
    table; a sample of one cycle of several tells no length.
    """
    seen = {key for row in others if (key := cycle_key(row)) is not None}
    cycles = stated or (None if facts.cycles is None else max(facts.cycle_count or 0, len(seen)))
    if lot_size is None or facts.positions is None or not cycles:
        return None
    if stated is None and several_cycles and cycles == 1:
        return None
    length = lot_size / cycles
    measured = np.unique(facts.positions).astype(int) + 1
    edges = [0, *measured.tolist(), max(math.floor(length), int(measured[-1])) + 1]
    first, last = max(pairwise(edges), key=lambda pair: pair[1] - pair[0])
    first, last = first + 1, last - 1
    measure: tuple[int, ...] = ()
    if last - first + 1 > length / 2:
        middle, end = (first + last) // 2, last == edges[-1] - 1
        measure = (1, middle) if first == 1 else (middle, last) if end else (middle,)
    return CycleCoverage(length, cycles, (first, last) if first <= last else None, measure)


def _cycles(rows: Sequence[Production]) -> tuple[int, ...] | None:
    keys = [cycle_key(row) for row in rows]
    if not keys or None in keys:
        return None
    number = {key: i for i, key in enumerate(dict.fromkeys(keys))}
    return tuple(number[key] for key in keys)


def _order_by_time(rows: Sequence[Production]) -> tuple[int, ...] | None:
    """By time of finishing, where it is known for all; with and without zone do not compare."""
    known = [row.finished_at for row in rows if row.finished_at is not None]
    if not rows or len(known) < len(rows) or len({t.tzinfo is None for t in known}) > 1:
        return None
    return tuple(sorted(range(len(rows)), key=lambda i: known[i]))


def _order_by_label(rows: Sequence[Production]) -> tuple[int, ...] | None:
    """By wheel, dress label and part since dress; not over several grinders, which work side by side."""
    if not rows or any(row.parts_since_dress is None for row in rows):
        return None
    if len({row.grinder for row in rows}) > 1 or len({row.wheel is None for row in rows}) > 1:
        return None
    if any(row.dress is None for row in rows):
        return None

    def place(i: int) -> tuple[object, object, int]:
        row = rows[i]
        return label_order(row.wheel), label_order(row.dress), row.parts_since_dress or 0

    return tuple(sorted(range(len(rows)), key=place))

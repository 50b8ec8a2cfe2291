"""Parts that were made in each dress cycle of a series, measured or not, and the usual dress interval."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from gearqa.arrays import IntArray
from gearqa.drift.ordering import SeriesGears, seconds
from gearqa.errors import Notice, NoticeCode
from gearqa.model.drift import DriftSettings, MadePart
from gearqa.model.measurement import label_order
from gearqa.wording.numbers import count_text

LABELS_NAMED = 8


@dataclass(frozen=True, eq=False, slots=True)
class MadeParts:
    """Parts of each cycle of a series; cycles count from 0."""

    last: IntArray
    """Number of the last part made in each cycle, 0 where unknown. shape (cycles,)"""
    serials: Mapping[tuple[int, int], str]
    """Serial by cycle and part, where the production table names it."""
    usual: int | None
    """Usual parts per dress."""
    measured_only: bool
    """Whether `usual` is only the largest part that was measured."""
    unplaced: tuple[MadePart, ...] = ()
    """Parts of dress cycles in which nothing was measured."""


def made_parts(gears: SeriesGears, made: Sequence[MadePart], settings: DriftSettings) -> MadeParts:
    """Parts of each cycle, from all rows of the production table."""
    order = gears.order
    last = np.zeros(order.cycles, dtype=np.int64)
    serials: dict[tuple[int, int], str] = {}
    if not (order.known and gears.has_positions):
        return MadeParts(last, serials, None, measured_only=False)
    parts = (gears.s + 1).astype(np.int64)
    np.maximum.at(last, gears.cycle, parts)
    serials.update(zip(zip(gears.cycle.tolist(), parts.tolist(), strict=True), gears.serial, strict=True))
    more, unplaced = 0, []
    for cycle, one in _placed(gears, made):
        if cycle is None:
            unplaced.append(one)
        elif one.parts_since_dress is not None:
            last[cycle] = max(last[cycle], one.parts_since_dress)
            serials.setdefault((cycle, one.parts_since_dress), one.serial)
            more += 1
    done = last[:-1] if order.cycles > 1 else last
    usual, measured_only = int(np.median(done)), not more
    stated = settings.parts_per_dress.get(gears.key[1])
    if measured_only and stated is not None:
        usual, measured_only = stated, False
    if not more:
        last[:-1] = np.maximum(last[:-1], usual)
    return MadeParts(last, serials, usual, measured_only, tuple(unplaced))


def _placed(gears: SeriesGears, made: Sequence[MadePart]) -> Iterator[tuple[int | None, MadePart]]:
    """Unmeasured parts with their cycle: that of their dress label, of several the nearest in time."""
    order = gears.order
    by_label: dict[tuple[str | None, str | None], list[int]] = {}
    for c, label in enumerate(zip(order.wheel, order.dress, strict=True)):
        by_label.setdefault(label, []).append(c)
    begins = np.array([np.inf if at is None else seconds(at) for at in order.start])
    for one in made:
        cycles = by_label.get((one.wheel, one.dress), [])
        if one.dress is None or not cycles:
            yield None, one
        elif len(cycles) == 1 or one.finished_at is None:
            yield cycles[0], one
        else:
            distance = np.abs(begins[cycles] - seconds(one.finished_at))
            yield cycles[int(np.argmin(distance))], one


def made_notices(gears: SeriesGears, parts: MadeParts) -> Iterator[Notice]:
    """What is not known of the usual dress interval."""
    if parts.unplaced:
        labels = sorted({one.dress for one in parts.unplaced if one.dress is not None}, key=label_order)
        named = f" ({', '.join(labels[:LABELS_NAMED])}{', ...' if len(labels) > LABELS_NAMED else ''})"
        yield Notice(
            NoticeCode.CYCLES_NOT_MEASURED,
            f"{count_text(len(parts.unplaced), 'part')} of the production table in dress cycles without a "
            f"measured gear{named if labels else ''}: what is said of them rests on the cycles beside them",
        )
    if parts.measured_only and parts.usual is not None:
        yield Notice(
            NoticeCode.USUAL_INTERVAL_UNKNOWN,
            f"parts that were not measured are not known: {count_text(parts.usual, 'part')} per dress are "
            "the last ones measured; [grinder.NAME] parts_per_dress in part.toml says how many are made, or "
            "the production table of a folder (a history store keeps measured gears only)",
        )

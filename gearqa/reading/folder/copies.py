"""Traces and tables that hold the same readings as another one: copied, or one file taken for two gears.

Every piece carries a number that is added up, so that no order of rows and no cut of a file changes that of a
trace; where two agree the readings themselves are compared. Memory is eight bytes a piece.
"""

from __future__ import annotations

import hashlib
import math
from collections.abc import Callable
from functools import cache
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from gearqa.arrays import Array, distinct
from gearqa.reading.folder.pieces import Pieces

SAMPLE: Final = 50
"""Traces from which the resolution of readings is taken."""
SAME_UM: Final = 1e-9
FEWEST_POINTS: Final = 3
"""Two readings have one step between them, which holds half a bit at most: never enough."""
SURE_BITS: Final = 10
"""A copy is one where equal readings come about by chance in less than one folder of 2 to this power."""


def equal_traces(
    digest: NDArray[np.uint64],
    sort: NDArray[Any],
    points: NDArray[Any],
    read: Callable[[int], tuple[Array, Array]],
) -> list[list[int]]:
    """Groups of traces of one sort with all values equal at the same positions, by their places.

    `read` gives positions and values of a trace. Readings so coarse or so few that they may be equal by
    chance, among as many traces as there are, make no group.
    """
    of_sort = np.bincount(sort).tolist()
    order = np.lexsort((digest, sort))
    same = (np.diff(digest[order]) == 0) & (np.diff(sort[order]) == 0)
    groups: dict[tuple[int, bytes], list[int]] = {}

    @cache
    def resolution_of(wanted: int) -> float:
        alike = np.flatnonzero(sort == wanted)
        sample = alike[:: max(1, len(alike) // SAMPLE)].tolist()
        return resolution(np.concatenate([read(at)[1] for at in sample]))

    alike = distinct(np.concatenate((order[:-1][same], order[1:][same])))
    for at in alike[points[alike] >= FEWEST_POINTS].tolist():
        position, value = read(at)
        kind = int(sort[at])
        if information(value, resolution_of(kind)) >= 2 * math.log2(of_sort[kind]) + SURE_BITS:
            content = hashlib.sha256(position.tobytes() + (value + 0.0).tobytes()).digest()
            groups.setdefault((kind, content), []).append(at)
    return [group for group in groups.values() if len(group) > 1]


def digests(pieces: Pieces) -> NDArray[np.uint64]:
    """A number of each piece; those of the pieces of one trace add up to the same, however it was cut."""
    bits = (pieces.value + 0.0).view(np.uint64)  # + 0.0: minus zero is zero
    mixed = (bits ^ (bits >> np.uint64(29))) * ((pieces.position + 0.0).view(np.uint64) | np.uint64(1))
    return np.asarray(np.add.reduceat(mixed, pieces.start))


def resolution(values: Array) -> float:
    """The smallest step between readings."""
    gaps = np.diff(np.sort(values))
    return float(np.min(gaps[gaps > SAME_UM], initial=math.inf))


def information(value: Array, step: float) -> float:
    """About how many bits of chance readings hold, on the low side: so coarse ones may be alike."""
    changes = np.diff(value)
    changes = changes[changes != 0]
    return 0.5 * len(changes) * math.log2(2 + float(np.ptp(changes)) / step) if len(changes) else 0.0

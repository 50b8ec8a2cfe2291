"""From series to the measurement of one gear."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

import numpy as np

from gearqa.errors import Notice
from gearqa.model.measurement import (
    GearMeasurement,
    PitchReadings,
    Production,
    RunoutReadings,
    SizeReading,
    Trace,
)
from gearqa.reading.folder.canonical import HELIX, INDEX, PROFILE, SINGLE_PITCH
from gearqa.reading.folder.series_store import Array, Series
from gearqa.symbols import FLANKS, Flank, TraceKind

_TRACE_KINDS: dict[int, TraceKind] = {PROFILE: "profile", HELIX: "helix"}


def assemble(
    serial: str,
    series: Iterable[Series],
    *,
    teeth: int,
    sizes: Sequence[SizeReading],
    production: Production | None,
    notices: Sequence[Notice],
) -> GearMeasurement:
    """Everything measured on one serial."""
    traces: list[Trace] = []
    pitch: dict[Flank, PitchReadings] = {}
    runout: RunoutReadings | None = None
    for one in series:
        kind = _TRACE_KINDS.get(one.series)
        flank = FLANKS[one.flank]
        if kind is not None:
            traces.append(Trace(kind, flank, one.tooth, one.position, one.value, one.label_mm))
        elif one.series == INDEX:
            pitch[flank] = PitchReadings(flank, _by_number(one, teeth))
        elif one.series == SINGLE_PITCH:
            index, closure = index_from_single_pitches(_by_number(one, teeth))
            pitch[flank] = PitchReadings(flank, index, closure)
        else:
            runout = RunoutReadings(_by_number(one, teeth))
    return GearMeasurement(
        serial, tuple(traces), pitch, runout, tuple(sizes), production, tuple(notices)
    )  # fmt: skip


def _by_number(series: Series, teeth: int) -> Array:
    """Values by tooth or space, NaN where there is none."""
    values = np.full(teeth, np.nan)
    values[series.position.astype(np.int64) - 1] = series.value
    values.setflags(write=False)
    return values


def index_from_single_pitches(single: Array) -> tuple[Array, float]:
    """Index deviations from the single pitch deviations of all teeth, and their closure error. [um]

    The sum of all single pitches is zero on a closed circle; what it is instead is spread evenly over
    all of them, then they are summed up from tooth 1. Where some are missing, the index is summed from
    both sides as far as it goes, nothing is spread, and the teeth it does not reach are NaN.

    >>> index_from_single_pitches(np.array([1.0, -2.0, 3.0, 2.0]))
    (array([ 0., -3., -1.,  0.]), 4.0)
    """
    missing = np.flatnonzero(np.isnan(single))
    if not len(missing):
        closure = math.fsum(single.tolist())
        return np.cumsum(single - closure / len(single)), closure
    first, last = missing[0], missing[-1]
    index = np.full(len(single), np.nan)
    index[:first] = np.cumsum(single[:first])
    if last + 1 < len(single):
        # backwards from tooth z, whose index is 0 on a closed circle
        tail = single[last + 1 :]
        index[last + 1 :] = np.append(-np.cumsum(tail[:0:-1])[::-1], 0.0)
    return index, 0.0

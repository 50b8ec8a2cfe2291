"""From series to the measurement of one gear."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np

from gearqa.arrays import Array
from gearqa.core.pitch import index_from_single_pitches
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
from gearqa.reading.folder.series_store import Series
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

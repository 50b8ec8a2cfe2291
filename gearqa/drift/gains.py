"""Recorded changes against what they did, all that act on the same observations solved together."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from gearqa.diagnosis.gains import MeantEffect
from gearqa.model.diagnosis import RecordedChange
from gearqa.model.drift import DriftSeries
from gearqa.statistics.gains import joint_gains
from gearqa.symbols import Flank

ONE_PROPORTION = "it acted together with another change, in one proportion"
NO_EFFECT = "too few cycles before or after it, or nothing that shows it is followed"


def recorded_changes(
    members: Mapping[tuple[str, Flank | None], DriftSeries], meant: Sequence[MeantEffect]
) -> tuple[RecordedChange, ...]:
    """Gain of each recorded change of a part on a grinder."""
    rows: list[tuple[np.ndarray, float, float]] = []
    for key, series in members.items():
        for one in series.corrections:
            if one.effect is None or one.low is None or one.high is None:
                continue
            acting = [m.effects.get(key, 0.0) if m.event.at in one.recorded_at else 0.0 for m in meant]
            if any(acting):
                rows.append((np.array(acting), one.effect, max((one.high - one.low) / 2, 1e-9)))
    gains: Sequence[tuple[float | None, float | None]] = [(None, None)] * len(meant)
    if rows:
        gains = joint_gains(*(np.array(column) for column in zip(*rows, strict=True)))
    shown = {j for row, _, _ in rows for j in np.flatnonzero(row)}
    return tuple(
        RecordedChange(
            quantity=one.event.parameter or "",
            flank=one.event.flank,
            grinder=one.event.grinder,
            at=one.event.at,
            size=one.event.correction or 0.0,
            unit=one.event.unit or "um",
            gain=gain,
            gain_u=u,
            reason=None if gain is not None else ONE_PROPORTION if j in shown else NO_EFFECT,
        )
        for j, (one, (gain, u)) in enumerate(zip(meant, gains, strict=True))
    )

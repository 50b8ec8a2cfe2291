"""A level change in physical terms: what moved on the toothing, and which parameters go with it."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import Final

from gearqa.drift import phrases
from gearqa.model.drift import COMPONENTS, CommonChange, DriftSeries
from gearqa.wording.numbers import um_text

VECTORS: Final = {
    "eccentricity": "eccentricity: the toothing moved {} towards {}",
    "tilt": "tilt: the far end of the toothing moved {} towards {}",
}
"""Components that are followed as two series, and what a change of them is."""
FROM_PITCH: Final = frozenset({"single_pitch", "cumulative_pitch", "runout"})
"""Parameters that eccentricity, orders and ramp make up."""
OF_CLAMPING: Final = FROM_PITCH | (COMPONENTS.keys() - {"twist"})
"""What fixture and table make, not the dresser."""
DRIVING: Final = OF_CLAMPING - FROM_PITCH - {"tilt_0_deg", "tilt_90_deg"}


def what_changed(change: CommonChange) -> Iterator[str]:
    """Sizes of the changes: physical errors first, what they drive with them, then the rest."""
    keys = {series.parameter for series, _ in change.changes}
    vectors = [name for name in VECTORS if keys & {f"{name}_0_deg", f"{name}_90_deg"}]
    told = {f"{name}_{angle}_deg" for name in vectors for angle in (0, 90)}
    told |= {"runout_order_1"} if "eccentricity" in vectors else set()
    errors = [_moved(name, change) for name in vectors]
    driven: list[str] = []
    others: list[str] = []
    for series, step in change.changes:
        text = f"{phrases.name_of(series)} {um_text(step.size_um, 1, signed=True)}"
        if series.is_component:
            errors += [] if series.parameter in told else [(abs(step.size_um), text)]
        elif keys & DRIVING and series.parameter in FROM_PITCH:
            driven.append(text)
        else:
            others.append(text)
    if errors:
        yield "; ".join(text for _, text in sorted(errors, reverse=True))
    if driven:
        yield f"with it {', '.join(driven)}"
    if others:
        yield ", ".join(others)
    if "tilt" in vectors and "pitch_order_1" in keys:
        yield "on a helical gear an error of the table can look like this tilt"


def driven_too(change: CommonChange, members: Sequence[DriftSeries]) -> list[DriftSeries]:
    """Parameters that a changed error drives and whose own place or shape of movement is not certain."""
    if not any(series.parameter in DRIVING for series, _ in change.changes):
        return []
    return [
        one
        for one in members
        if one.parameter in FROM_PITCH
        and not one.steps
        and (one.level_moved or one.level_trend_um_per_cycle is not None)
    ]


def _moved(name: str, change: CommonChange) -> tuple[float, str]:
    """How far a vector moved, and in words; a part of it that did not move for certain counts as still, and
    then the direction is a rough one."""
    parts = {series.parameter: step.size_um for series, step in change.changes}
    known = [parts.get(f"{name}_{angle}_deg") for angle in (0, 90)]
    x, y = (one or 0.0 for one in known)
    direction = round(math.degrees(math.atan2(y, x))) % 360
    towards = "tooth 1" if direction == 0 else f"{direction}° clockwise of tooth 1"
    if None in known:
        towards = f"about {towards}"
    size = math.hypot(x, y)
    return size, VECTORS[name].format(um_text(size, 1), towards)

"""Which components moved, since when, and what was recorded near it."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from gearqa.diagnosis.alike import TracedPart, first_order_alike, not_told_apart
from gearqa.diagnosis.corrections import rise_of
from gearqa.model.diagnosis import Component, MovedComponent
from gearqa.model.drift import DriftSeries, LevelChange
from gearqa.symbols import Flank

Members = Mapping[tuple[str, Flank | None], DriftSeries]
PART_OF_IT: Final = 1 / 3
"""Of two halves of a change of both flanks the smaller one is told from this share of the larger on."""


@dataclass(frozen=True, slots=True)
class _Move:
    key: str
    flank: Flank | None
    order: int | None
    size: float
    direction: float | None
    steps: tuple[LevelChange, ...]


def moved_components(members: Members, traced: TracedPart) -> tuple[MovedComponent, ...]:
    """Last changes of the components, the latest first; slopes that a wave made when it changed are not
    among them."""
    last = {key: one.steps[-1] for key, one in members.items() if one.steps}
    moves = [*_vectors(last), *_orders(last), *_halves(last, traced)]
    as_found = [Component(m.key, m.flank, m.order, m.size, None, None, True, {}) for m in moves]
    told, _ = not_told_apart(as_found, as_found, traced.teeth, traced.setup)
    found = [_moved(move) for move, one in zip(moves, told, strict=True) if one.significant]
    return tuple(sorted(found, key=lambda one: (-one.cycle, -abs(one.change_um))))


def _moved(move: _Move) -> MovedComponent:
    place = min(move.steps, key=lambda one: (one.cycle_high - one.cycle_low, one.p))
    causes = dict.fromkeys(cause for step in move.steps for cause in step.possible_causes)
    return MovedComponent(
        move.key, move.flank, move.order, place.cycle, place.dress, move.size, move.direction, tuple(causes)
    )


Last = Mapping[tuple[str, Flank | None], LevelChange]


def _vectors(last: Last) -> list[_Move]:
    found = []
    for key in ("eccentricity", "tilt"):
        steps = [last.get((f"{key}_{angle}_deg", None)) for angle in (0, 90)]
        x, y = (0.0 if step is None else step.size_um for step in steps)
        known = tuple(step for step in steps if step is not None)
        if known:
            direction = math.degrees(math.atan2(y, x)) % 360
            found.append(_Move(key, None, 1, math.hypot(x, y), direction, known))
    return found


def _orders(last: Last) -> list[_Move]:
    told = {key for key, _ in last}
    found = []
    for (key, flank), step in last.items():
        if key.startswith("runout_order_"):
            order = int(key.removeprefix("runout_order_"))
            if order > 1:
                found.append(_Move("lobes", None, order, step.size_um, None, (step,)))
            elif not told & {"eccentricity_0_deg", "eccentricity_90_deg"}:
                found.append(_Move("eccentricity", None, 1, step.size_um, None, (step,)))
        elif key == "pitch_order_1":
            found.append(_Move("tangential", None, 1, step.size_um, None, (step,)))
        elif key in ("pitch_ramp", "twist"):
            found.append(_Move(key, flank, None, step.size_um, None, (step,)))
    return found


def _halves(last: Last, traced: TracedPart) -> list[_Move]:
    """What both flanks share of a change, and what they differ by."""
    g = traced.setup.geometry
    hand = g.s * (g.H or 1)
    found = []
    for parameter, alike, apart in (
        ("profile_slope", "pressure_angle", "profile_asymmetry"),
        ("helix_slope", "taper", "lead"),
        ("profile_crowning", "profile_crowning", "profile_crowning_asymmetry"),
        ("helix_crowning", "helix_crowning", "helix_crowning_asymmetry"),
    ):
        if first_order_alike(traced, "profile" if parameter.startswith("profile") else "helix"):
            continue
        steps = [last.get((parameter, flank)) for flank in ("left", "right")]
        rise = rise_of(parameter, traced.setup)
        left, right = (0.0 if step is None else step.size_um / rise for step in steps)
        known = tuple(step for step in steps if step is not None)
        common, half = (left + right) / 2, (right - left) / 2
        half *= hand if apart == "lead" else 1
        largest = max(abs(common), abs(half))
        found += [
            _Move(key, None, None, size, None, known)
            for key, size in ((alike, common), (apart, half))
            if known and abs(size) >= PART_OF_IT * largest
        ]
    return found

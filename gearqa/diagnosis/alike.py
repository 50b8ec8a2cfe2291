"""Waves round the gear that all traced teeth see at the same place: they look like slopes of all teeth.

The mean over N evenly spaced teeth holds the orders N, 2N and so on as they are (derived geometry). How
large a slope such a wave makes depends on what turns with it, which the traces do not show; at most it is
that of a wave that runs along the generating rotation.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from typing import Final

import numpy as np

from gearqa.diagnosis.components import Piece
from gearqa.diagnosis.decomposition import MOST_LOBES, Decomposition
from gearqa.diagnosis.points import ranges
from gearqa.evaluation.part_setup import PartSetup
from gearqa.model.diagnosis import Component, NotIdentifiable
from gearqa.symbols import TraceKind
from gearqa.wording.numbers import count_text

ALIKE: Final = 0.5
"""Share of a wave that is left in the mean over the traced teeth, from which it can pass for a slope."""
WAVES: Final = {"lobes": "lobes", "radial_order": "the radial wave", "pitch_order": "the pitch wave"}
SLOPES: Final[dict[str, TraceKind]] = {
    "pressure_angle": "profile", "profile_asymmetry": "profile", "profile_slope": "profile",
    "lead": "helix", "taper": "helix", "helix_slope": "helix",
}  # fmt: skip


def alike_orders(teeth: Iterable[int], z: int, highest: int = MOST_LOBES) -> tuple[int, ...]:
    """Orders that these teeth see at the same place, from 2 on.

    >>> alike_orders([1, 23, 45, 67], 88), alike_orders([1, 18, 36, 53, 71], 88)
    ((4, 8, 12), (5, 10))
    """
    angle = 2 * np.pi * (np.array(sorted(set(teeth)), dtype=np.float64) - 1) / z
    if not len(angle):
        return ()
    return tuple(n for n in range(2, highest + 1) if abs(np.exp(1j * n * angle).mean()) >= ALIKE)


def slope_of_wave(kind: TraceKind, order: int, setup: PartSetup) -> float:
    """Largest slope that one micrometre of a wave makes. [um]"""
    g = setup.geometry
    profile, helix = ranges(setup)
    if kind == "profile":
        turned = abs(profile.full_end - profile.full_start) / (g.d_b / 2)
    else:
        turned = abs(helix.full_end - helix.full_start) * math.tan(abs(g.beta_b)) / (g.d_b / 2)
    return order * turned


def more_teeth(order: int, teeth: int) -> str:
    """Traces that tell a wave from a slope."""
    enough = next(n for n in range(teeth + 1, teeth + order + 2) if order % n)
    return f"traces of {enough} teeth evenly round the gear, both flanks"


def not_told_apart(
    pieces: Sequence[Piece], fits: Sequence[Decomposition], setup: PartSetup
) -> tuple[list[Piece], tuple[NotIdentifiable, ...]]:
    """Slopes that a wave of the same gear can have made, no longer claimed, and what would tell them."""
    waves = [
        one.component
        for one in pieces
        if one.component.significant and one.component.key in WAVES and one.component.phase_deg is not None
    ]
    if not waves or not fits:
        return list(pieces), ()
    teeth: dict[TraceKind, set[int]] = {"profile": set(), "helix": set()}
    for trace in fits[0].layout.traces:
        teeth[trace.kind].add(trace.tooth)
    kept, notes = [], []
    for one in pieces:
        c = one.component
        found = [wave for wave in waves if _can_make(wave, c, teeth, setup)] if c.significant else []
        if found:
            one = replace(one, component=replace(c, significant=False))
            notes.append(NotIdentifiable(c.key, *_why(found[0], len(teeth[SLOPES[c.key]]))))
        kept.append(one)
    return kept, tuple(notes)


def _can_make(wave: Component, slope: Component, teeth: dict[TraceKind, set[int]], setup: PartSetup) -> bool:
    kind = SLOPES.get(slope.key)
    if kind is None or wave.order is None:
        return False
    if wave.order not in alike_orders(teeth[kind], setup.geometry.z, wave.order):
        return False
    largest = wave.amplitude_um * slope_of_wave(kind, wave.order, setup)
    return abs(slope.amplitude_um) - (slope.u_um or 0.0) <= largest


def _why(wave: Component, teeth: int) -> tuple[str, str]:
    order = wave.order or 0
    text = f"{WAVES[wave.key]} of order {order} stand" + ("" if wave.key == "lobes" else "s")
    on = "the one traced tooth" if teeth == 1 else f"all {count_text(teeth, 'traced tooth', 'traced teeth')}"
    return f"{text} alike on {on} and can make as much", more_teeth(order, teeth)


def unseen_waves(fit: Decomposition) -> Iterator[str]:
    """What waves look like where neither pitch nor balls show them."""
    teeth = {trace.tooth for trace in fit.layout.traces}
    orders = alike_orders(teeth, fit.layout.setup.geometry.z)
    if orders and teeth:
        count = count_text(len(teeth), "traced tooth", "traced teeth")
        yield f"on the {count} a wave of order {orders[0]} looks like pressure angle, lead or taper"

"""Waves round the gear that all traced teeth see at the same place: they look like slopes and crownings of
all teeth.

The mean over N evenly spaced teeth holds the orders N, 2N and so on as they are (derived geometry). How
large a slope such a wave makes depends on what turns with it, which the traces do not show; at most it is
that of a wave that runs along the generating rotation.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Final, NamedTuple

import numpy as np

from gearqa.diagnosis.components import Piece
from gearqa.diagnosis.decomposition import MOST_LOBES, Decomposition
from gearqa.diagnosis.points import ranges
from gearqa.evaluation.part_setup import PartSetup
from gearqa.model.diagnosis import Component, NotIdentifiable
from gearqa.model.measurement import Trace
from gearqa.model.results import TraceResult
from gearqa.symbols import TraceKind
from gearqa.wording.numbers import count_text

ALIKE: Final = 0.5
"""Share of a wave that is left in the mean over the traced teeth, from which it can pass for a slope."""
Teeth = Mapping[TraceKind, Collection[int]]
"""Traced teeth."""


class TracedPart(NamedTuple):
    """A part, and the teeth of its gears that were traced."""

    setup: PartSetup
    teeth: Teeth


WAVES: Final = {"lobes": "lobes", "radial_order": "the radial wave", "pitch_order": "the pitch wave"}
MADE_OF: Final = {
    "pressure_angle": "profile_slope", "profile_asymmetry": "profile_slope", "profile_slope": "profile_slope",
    "profile_crowning": "profile_crowning", "profile_crowning_asymmetry": "profile_crowning",
    "lead": "helix_slope", "taper": "helix_slope", "helix_slope": "helix_slope",
    "helix_crowning": "helix_crowning", "helix_crowning_asymmetry": "helix_crowning",
}  # fmt: skip
"""Component -> mean over the traced teeth that it is made of."""
SHAPES: Final = tuple(dict.fromkeys(MADE_OF.values()))


def alike_orders(teeth: Iterable[int], z: int, highest: int = MOST_LOBES) -> tuple[int, ...]:
    """Orders that these teeth see at the same place, from 2 on.

    >>> alike_orders([1, 23, 45, 67], 88), alike_orders([1, 18, 36, 53, 71], 88)
    ((4, 8, 12), (5, 10))
    """
    angle = 2 * np.pi * (np.array(sorted(set(teeth)), dtype=np.float64) - 1) / z
    if not len(angle):
        return ()
    return tuple(n for n in range(2, highest + 1) if abs(np.exp(1j * n * angle).mean()) >= ALIKE)


def first_order_alike(traced: TracedPart, kind: TraceKind) -> bool:
    """Whether the traced teeth, such as a single one, see what comes once per turn at the same place:
    eccentricity, tilt and errors of the table look like slopes."""
    teeth = np.array(sorted(traced.teeth.get(kind, ())), dtype=np.float64)
    turns = np.exp(2j * np.pi * teeth / traced.setup.geometry.z)
    return len(teeth) > 0 and bool(abs(turns.mean()) >= ALIKE)


def shape_of_wave(parameter: str, order: int, setup: PartSetup) -> float:
    """Largest slope or crowning that one micrometre of a wave makes. [um]"""
    g = setup.geometry
    profile, helix = ranges(setup)
    spec, along = (profile, 1.0) if parameter.startswith("profile") else (helix, math.tan(abs(g.beta_b)))
    turned = order * abs(spec.full_end - spec.full_start) * along / (g.d_b / 2)
    return turned if parameter.endswith("slope") else 1 - math.cos(min(turned / 2, math.pi))


def more_teeth(order: int, teeth: int) -> str:
    """Traces that tell a wave from a slope."""
    enough = next(n for n in range(teeth + 1, teeth + order + 2) if order % n)
    return f"traces of {enough} teeth evenly round the gear, both flanks"


def waves_as_shapes(teeth: Teeth, setup: PartSetup) -> dict[tuple[str, int], float]:
    """Parameter and order of the waves that these teeth see at the same place, and the slope or crowning that
    they can make for each micrometre. [um/um]"""
    found = {}
    for parameter in SHAPES:
        kind = _kind(parameter)
        first = (1,) if first_order_alike(TracedPart(setup, teeth), kind) else ()
        for order in (*first, *alike_orders(teeth.get(kind, ()), setup.geometry.z)):
            found[parameter, order] = shape_of_wave(parameter, order, setup)
    return found


def _kind(parameter: str) -> TraceKind:
    return "profile" if parameter.startswith("profile") else "helix"


def traced_teeth(traces: Iterable[Trace | TraceResult]) -> Teeth:
    """Teeth with traces."""
    found: dict[TraceKind, set[int]] = {"profile": set(), "helix": set()}
    for trace in traces:
        found[trace.kind].add(trace.tooth)
    return found


def without_shapes_of_waves(
    pieces: Sequence[Piece], teeth: Teeth, setup: PartSetup
) -> tuple[list[Piece], tuple[NotIdentifiable, ...]]:
    """Pieces of which no slope or crowning is claimed that a wave in a known direction can have made."""
    components = [one.component for one in pieces]
    waves = [one for one in components if one.phase_deg is not None]
    told, notes = not_told_apart(components, waves, teeth, setup)
    return [replace(one, component=own) for one, own in zip(pieces, told, strict=True)], notes


def not_told_apart(
    components: Sequence[Component], waves: Iterable[Component], teeth: Teeth, setup: PartSetup
) -> tuple[list[Component], tuple[NotIdentifiable, ...]]:
    """Components of which no slope or crowning is claimed that a wave can have made; what would tell."""
    real = [one for one in waves if one.significant and one.key in WAVES]
    told, notes = [], []
    for one in components:
        found = [wave for wave in real if one.significant and _can_make(wave, one, teeth, setup)]
        if found:
            notes.append(NotIdentifiable(one.key, *_why(found[0], len(teeth[_kind(MADE_OF[one.key])]))))
        told.append(replace(one, significant=False) if found else one)
    return told, tuple(notes)


def _can_make(wave: Component, one: Component, teeth: Teeth, setup: PartSetup) -> bool:
    parameter = MADE_OF.get(one.key)
    if parameter is None or wave.order is None:
        return False
    if wave.order not in alike_orders(teeth.get(_kind(parameter), ()), setup.geometry.z, wave.order):
        return False
    largest = abs(wave.amplitude_um) * shape_of_wave(parameter, wave.order, setup)
    return abs(one.amplitude_um) - (one.u_um or 0.0) <= largest


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

"""What a wave whose order cannot be told makes beside itself, seen at a few teeth and once a tooth in pitch.

Pitch orders, since once a tooth order k looks like k less whole z; slopes and crownings of all traced teeth;
a first order of pitch; a pattern of wheel threads.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Final

import numpy as np

from gearqa.arrays import Array
from gearqa.diagnosis.components import Piece
from gearqa.diagnosis.decomposition import GENERATED, Decomposition
from gearqa.diagnosis.effects import Effect, generated, on_whole_teeth, together
from gearqa.diagnosis.fine_shapes import wave_on_flank
from gearqa.diagnosis.observations import GROUPS
from gearqa.diagnosis.order_spectrum import flank_waves
from gearqa.evaluation.part_setup import PartSetup
from gearqa.model.diagnosis import Component, NotIdentifiable
from gearqa.model.measurement import GearMeasurement
from gearqa.symbols import FLANKS
from gearqa.wording.numbers import um_text

ORDERS: Final = frozenset({"lobes", "radial_order", "pitch_order"})
SMALL: Final = 0.5
"""Share of the wave on the other flank that a flank without ripple may show."""
LARGE: Final = 2.0
"""A pitch wave more than so many times the ripple has a cause of its own: the amplitude of a wave whose
order cannot be told depends on that order."""
OF_THE_AXIS: Final = frozenset({"eccentricity", "tangential"})
LEAST_UM: Final = 1e-3
"""Scatter below which readings are taken to have this one."""
REASON: Final = "a wave of {} whose order cannot be told can make as much"


def with_aliases(pieces: Sequence[Piece], gear: GearMeasurement, setup: PartSetup) -> list[Piece]:
    """Pieces of a gear, pitch orders that an unnamed ripple on the same flank can have made as part of it.

    Such an order equals plus or minus one of the orders that fit the ripple, less whole numbers of teeth.
    """
    unnamed = {one.component.flank: one for one in pieces if one.component.orders_alike}
    orders = [one for one in pieces if one.component.significant and one.component.key in ORDERS]
    if not unnamed or not orders:
        return list(pieces)
    waves = flank_waves(gear, setup.geometry)
    made: dict[int, list[Piece]] = {}
    for one in orders if waves else ():
        n = one.effect.order or 0
        sizes = {flank: abs(wave[n - 1]) for flank, wave in waves.items()}
        largest = max(sizes.values())
        those = [flank for flank in FLANKS if sizes[flank] > SMALL * largest]
        if all(_can_make(unnamed.get(flank), n, sizes[flank], setup) for flank in those):
            largest_on = max(those, key=sizes.__getitem__)
            made.setdefault(id(unnamed[largest_on]), []).append(one)
    gone = {id(one) for those in made.values() for one in those}
    kept = (one for one in pieces if id(one) not in gone)
    return [_together(one, made[id(one)]) if id(one) in made else one for one in kept]


def _can_make(ripple: Piece | None, n: int, index_um: float, setup: PartSetup) -> bool:
    if ripple is None:
        return False
    g, c = setup.geometry, ripple.component
    if index_um * math.cos(g.alpha_t) > LARGE * (c.amplitude_um + (c.u_um or 0.0)):
        return False
    return any((k - n) % g.z == 0 or (k + n) % g.z == 0 for k in c.orders_alike)


def _together(ripple: Piece, orders: Sequence[Piece]) -> Piece:
    """The ripple, and what it made in pitch, as one error that is taken out as a whole."""
    from scipy import linalg

    parts = [ripple, *orders]
    return replace(
        ripple,
        effect=together(*(one.effect for one in parts)),
        amplitudes=np.concatenate([one.amplitudes for one in parts]),
        covariance=linalg.block_diag(*(one.covariance for one in parts)),
    )


def without_what_waves_make(
    pieces: Sequence[Piece], fit: Decomposition, plan: str
) -> tuple[list[Piece], tuple[NotIdentifiable, ...]]:
    """Pieces of which none is claimed that an unnamed wave can have made; `plan` would name its order."""
    waves = [one.component for one in pieces if one.component.orders_alike and one.component.flank]
    if not waves:
        return list(pieces), ()
    largest = _largest(waves, fit)
    made = {
        one.identity
        for one in pieces
        if one.component.significant
        and abs(one.component.amplitude_um) - (one.component.u_um or 0.0) <= largest.get(one.identity, 0.0)
    }
    if len({wave.flank for wave in waves}) == 1:
        made -= _of_both_flanks(pieces, made)
    size = um_text(max(wave.amplitude_um for wave in waves))
    notes = dict.fromkeys(str(key) for key, *_ in made)
    told = [
        replace(one, component=replace(one.component, significant=False)) if one.identity in made else one
        for one in pieces
    ]
    return told, tuple(NotIdentifiable(key, REASON.format(size), plan) for key in notes)


def _of_both_flanks(pieces: Sequence[Piece], made: set[tuple[object, ...]]) -> set[tuple[object, ...]]:
    """A wave of one flank makes an eccentricity and a tangential error at once; one alone is none of it."""
    of_axis = {one.identity for one in pieces if one.component.key in OF_THE_AXIS}
    return of_axis if not of_axis <= made else set()


def _largest(waves: Sequence[Component], fit: Decomposition) -> dict[tuple[object, ...], float]:
    """The most that the waves can make of each error of the fit, whatever their phases. [um]"""
    layout = fit.layout
    effects = [one.effect for one in fit.found]
    identities = [(one.key, one.flank, one.order, one.tooth, None) for one in effects]
    solvers = _solvers(fit, effects)
    total: dict[tuple[object, ...], float] = dict.fromkeys(identities, 0.0)
    for flank in dict.fromkeys(wave.flank for wave in waves if wave.flank):
        on_it = [wave for wave in waves if wave.flank == flank]
        orders = sorted({order for wave in on_it for order in wave.orders_alike})
        shown = np.stack(layout.responses([wave_on_flank(order, flank) for order in orders]))
        size = max(wave.amplitude_um + (wave.u_um or 0.0) for wave in on_it)
        for number, identity in enumerate(identities):
            total[identity] += size * max(_most(blocks[number] @ shown) for blocks in solvers)
    return total


def _solvers(fit: Decomposition, effects: Sequence[Effect]) -> list[list[Array]]:
    """What makes amplitudes of each error from observations: orders as errors of the table, and as whole
    teeth."""
    layout = fit.layout
    scatter = np.array([fit.scatter.get(name, np.inf) for name in GROUPS])[layout.groups]
    weight = 1 / np.maximum(scatter, LEAST_UM)
    found = []
    for kind in (generated, on_whole_teeth):
        columns = layout.responses([kind(one) if one.key in GENERATED else one for one in effects])
        ends = np.cumsum([one.shape[1] for one in columns])
        A = np.concatenate([*columns, layout.nuisance()], axis=1)
        solve = np.linalg.pinv(weight[:, None] * A) * weight
        found.append(np.split(solve, ends)[:-1])
    return found


def _most(made: Array) -> float:
    """Largest amplitude that a wave of one micrometre makes in any phase. shape (orders, amplitudes, 2)"""
    return float(np.linalg.norm(made, 2, axis=(1, 2)).max())

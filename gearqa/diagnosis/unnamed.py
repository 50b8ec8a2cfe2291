"""What a wave whose order cannot be told makes beside itself, seen at a few teeth and once a tooth in pitch:
slopes and crownings of all traced teeth, a first order of pitch, a pattern of wheel threads."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Final

import numpy as np

from gearqa.arrays import Array
from gearqa.diagnosis.components import Piece
from gearqa.diagnosis.decomposition import GENERATED, Decomposition
from gearqa.diagnosis.effects import Effect, generated, on_whole_teeth
from gearqa.diagnosis.fine_shapes import wave_on_flank
from gearqa.diagnosis.observations import GROUPS
from gearqa.model.diagnosis import Component, NotIdentifiable
from gearqa.wording.numbers import um_text

OF_THE_AXIS: Final = frozenset({"eccentricity", "tangential"})
LEAST_UM: Final = 1e-3
"""Scatter below which readings are taken to have this one."""
REASON: Final = "a wave of {} whose order cannot be told can make as much"


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

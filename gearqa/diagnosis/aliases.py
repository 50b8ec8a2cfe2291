"""Pitch orders that a wave of unknown order makes: seen once a tooth, order k looks like k less whole z."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Final

import numpy as np

from gearqa.diagnosis.components import Piece
from gearqa.diagnosis.effects import together
from gearqa.diagnosis.order_spectrum import flank_waves
from gearqa.evaluation.part_setup import PartSetup
from gearqa.model.measurement import GearMeasurement
from gearqa.symbols import FLANKS

ORDERS: Final = frozenset({"lobes", "radial_order", "pitch_order"})
SMALL: Final = 0.5
"""Share of the wave on the other flank that a flank without ripple may show."""
LARGE: Final = 2.0
"""A pitch wave more than so many times the ripple has a cause of its own: the amplitude of a wave whose
order cannot be told depends on that order."""


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
    return list(_folded(pieces, made))


def _can_make(ripple: Piece | None, n: int, index_um: float, setup: PartSetup) -> bool:
    if ripple is None:
        return False
    g, c = setup.geometry, ripple.component
    if index_um * math.cos(g.alpha_t) > LARGE * (c.amplitude_um + (c.u_um or 0.0)):
        return False
    return any((k - n) % g.z == 0 or (k + n) % g.z == 0 for k in c.orders_alike)


def _folded(pieces: Sequence[Piece], made: dict[int, list[Piece]]) -> Iterator[Piece]:
    gone = {id(one) for those in made.values() for one in those}
    for one in pieces:
        if id(one) in made:
            yield _together(one, made[id(one)])
        elif id(one) not in gone:
            yield one


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

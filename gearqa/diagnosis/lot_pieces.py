"""What the gears of a lot have in common: mean components against the scatter from gear to gear."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from gearqa.arrays import Array
from gearqa.diagnosis.components import DIRECTED, Piece, amplitude_of, expanded
from gearqa.diagnosis.decomposition import FAMILY_RISK
from gearqa.evaluation.part_setup import PartSetup

FEWEST_GEARS = 3
"""Gears without which the scatter from gear to gear is not known."""


SURE_IN_EACH = 0.05
"""Chance allowed where every gear alone shows the component, all the same way."""


def lot_pieces(pieces: Sequence[Sequence[Piece]], setup: PartSetup) -> list[Piece]:
    """Components of the lot, the mean over the gears; directed ones as vectors.

    A component is significant if it is beyond the scatter from gear to gear (Hotelling's T squared; of one
    value Student's t), or if every gear shows it alone, the same way. Of fewer than three gears, and of
    ripple, whose phase is new on every gear: if it is significant in every one of them.

    A directed one whose direction differs from gear to gear (a chuck that clamps each part anew) is told by
    its size where more than half of the gears show it alone: what they share is smaller than what wanders.
    """
    if len(pieces) == 1:
        return list(pieces[0])
    of_gears: dict[tuple[object, ...], list[Piece]] = {}
    for of_gear in pieces:
        for one in of_gear:
            of_gears.setdefault(one.identity, []).append(one)
    shared = [those for those in of_gears.values() if 2 * len(those) > len(pieces)]
    found = [
        _size(those, significant=all(one.component.significant for one in those))
        if those[0].component.key == "ripple"
        else _wandering(those, len(pieces)) or _mean(those, len(shared), setup)
        for those in shared
    ]
    return sorted(found, key=lambda one: (not one.component.significant, -abs(one.component.amplitude_um)))


def in_gear(common: Piece, own: Sequence[Piece]) -> list[Piece]:
    """What a component of the lot is in one gear: the mean; where the gears share its size only, the gear's
    own, if it has one."""
    if not _by_size(common):
        return [common]
    return [one for one in own if one.identity == common.identity]


def _by_size(common: Piece) -> bool:
    return common.component.key in DIRECTED and common.component.phase_deg is None


def _wandering(those: Sequence[Piece], gears: int) -> Piece | None:
    """A directed component that most gears show alone, their directions differing by more than what they
    share; None where it is not so."""
    real = [one for one in those if one.component.significant]
    if those[0].effect.key not in DIRECTED or 2 * len(real) <= gears:
        return None
    vectors = np.stack([one.amplitudes[:2] for one in real])
    shared = float(np.sum(vectors.mean(axis=0) ** 2))
    if shared > float(np.mean(np.sum(vectors**2, axis=1))) / 2:
        return None
    piece = _size(real, significant=True)
    origin = piece.component.origin or "clamping"
    return replace(piece, component=replace(piece.component, origin=origin))


def _size(those: Sequence[Piece], *, significant: bool) -> Piece:
    """A component whose direction is new on every gear: its size is what the gears share."""
    first, sizes = those[0], np.array([one.component.amplitude_um for one in those])
    n = len(sizes)
    scatter = float(sizes.std(ddof=1)) if n > 1 else None
    component = replace(
        first.component,
        amplitude_um=float(sizes.mean()),
        phase_deg=None,
        u_um=None if scatter is None else expanded(scatter**2 / n, n - 1),
        significant=significant,
        explains={},
        scatter_um=scatter,
    )
    return replace(first, component=component)


def _mean(those: Sequence[Piece], tests: int, setup: PartSetup) -> Piece:
    from scipy import special

    first = those[0]
    values = np.stack([one.amplitudes for one in those])
    mean = values.mean(axis=0)
    n, q = len(values), 2 if first.effect.key in DIRECTED else len(mean)
    if n < FEWEST_GEARS or n <= q:
        covariance = np.full((len(mean), len(mean)), np.inf)
        significant = all(one.component.significant for one in those)
    else:
        covariance = np.atleast_2d(np.cov(values, rowvar=False)) / n
        scale = max(float(np.trace(covariance)), 1e-12)
        covariance = covariance + np.eye(len(mean)) * scale * 1e-9
        T2 = float(mean[:q] @ np.linalg.solve(covariance[:q, :q], mean[:q]))
        p = float(special.fdtrc(q, n - q, T2 * (n - q) / (q * (n - 1))))
        within = np.mean([one.covariance for one in those], axis=0) / n
        p = max(p, _chance(mean[:q], within[:q, :q]))
        one_way = all(float(value[:q] @ mean[:q]) > 0 for value in values)
        in_each = one_way and all(one.component.significant for one in those)
        significant = p <= (SURE_IN_EACH if in_each else FAMILY_RISK / max(1, tests))
    amplitude, phase, u = amplitude_of(first.effect, mean, covariance, n - 1, setup.geometry.z)
    scatter = math.sqrt(float(values[:, :q].var(axis=0, ddof=1).mean())) if n > 1 else None
    component = replace(
        first.component,
        amplitude_um=amplitude,
        phase_deg=phase,
        u_um=u,
        significant=significant,
        explains={},
        scatter_um=scatter,
    )
    return Piece(component, first.effect, mean, covariance)


def _chance(mean: Array, covariance: Array) -> float:
    """Chance of so large a mean where there is none, with a known covariance; 1 where that is not known."""
    from scipy import special

    if not np.isfinite(covariance).all():
        return 1.0
    square = float(mean @ np.linalg.solve(covariance + np.eye(len(mean)) * 1e-18, mean))
    return float(special.chdtrc(len(mean), square))

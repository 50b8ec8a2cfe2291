"""Which labels of the gears of a lot go with a component: the same error on all gears of a fixture."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import Final, Literal

import numpy as np

from gearqa.arrays import Array
from gearqa.diagnosis.components import DIRECTED, amplitude_of
from gearqa.diagnosis.decomposition import Decomposition
from gearqa.diagnosis.effects import Effect
from gearqa.diagnosis.lot_pieces import FEWEST_GEARS
from gearqa.diagnosis.observations import GROUPS
from gearqa.evaluation.part_setup import PartSetup
from gearqa.model.diagnosis import SharedBy

LABEL_RISK: Final = 0.01
"""Chance that a report on gears without such a link names one, over all tests together."""
LEAST_SCATTER: Final = 0.01
"""Gears do not agree better than that. [um]"""
LABELS: Final[tuple[Literal["fixture", "instrument"], ...]] = ("fixture", "instrument")


def labels_shared(fits: Sequence[Decomposition], setup: PartSetup) -> tuple[SharedBy, ...]:
    """Components that the gears of a label share while those of another do not share the same.

    Tested are components that three gears show alone, for labels with at least two values of three gears
    each. The means of the labels must differ (Wilks 1932, exact for one value and for vectors of two), and
    the mean of a label that is named must be beyond the scatter (Hotelling 1931), both at `LABEL_RISK`
    shared out over all tests (Bonferroni). Gears clamped anew, whose errors are of one size in random
    directions, are no normal vectors: the directions of a label that is named must agree beyond chance too.
    """
    effects = _shown(fits)
    groups = {
        label: groups for label in LABELS if len(groups := _groups(fits, label)) > 1
    }  # fmt: skip
    tests = len(effects) * len(groups)
    found: list[SharedBy] = []
    for effect in effects if groups else ():
        values = [amplitudes_in(fit, effect) for fit in fits]
        for label, members in groups.items():
            known = {
                name: np.stack(told)
                for name, those in members.items()
                if len(told := [v for i in those if (v := values[i]) is not None]) >= FEWEST_GEARS
            }
            if len(known) > 1:
                found += _linked(effect, label, known, LABEL_RISK / tests, setup)
    return tuple(found)


def _shown(fits: Sequence[Decomposition]) -> list[Effect]:
    """Errors of one value or of a direction that three gears show alone."""
    seen: dict[tuple[object, ...], list[Effect]] = {}
    for fit in fits:
        for one in fit.found:
            if one.significant and (one.effect.key in DIRECTED or len(one.amplitudes) == 1):
                seen.setdefault(_identity(one.effect), []).append(one.effect)
    return [those[0] for those in seen.values() if len(those) >= FEWEST_GEARS]


def _identity(effect: Effect) -> tuple[object, ...]:
    return effect.key, effect.flank, effect.order, effect.tooth


def _groups(fits: Sequence[Decomposition], label: str) -> dict[str, list[int]]:
    """Gears of each value of a label that has enough of them."""
    groups: dict[str, list[int]] = {}
    for number, fit in enumerate(fits):
        made = fit.gear.production
        value = getattr(made, label) if made is not None else None
        if value is not None:
            groups.setdefault(value, []).append(number)
    return {value: those for value, those in groups.items() if len(those) >= FEWEST_GEARS}


def amplitudes_in(fit: Decomposition, effect: Effect) -> Array | None:
    """Amplitudes of an error in a gear, also where it was not found there: of one value or a vector of two.
    None where the readings do not tell it."""
    wide = 2 if effect.key in DIRECTED else 1
    for one in fit.found:
        if _identity(one.effect) == _identity(effect):
            return one.amplitudes[:wide]
    layout = fit.layout
    *others, own = layout.responses([*(one.effect for one in fit.found), effect])
    scatter = np.array([fit.scatter.get(name, 1.0) for name in GROUPS])[layout.groups]
    X = np.concatenate([layout.nuisance(), *others], axis=1) / scatter[:, None]
    Q = np.linalg.qr(X)[0]
    own = own / scatter[:, None]
    rest = own - Q @ (Q.T @ own)
    if np.linalg.norm(rest, axis=0).min() <= 1e-3 * np.linalg.norm(own, axis=0).min():
        return None
    return np.asarray(np.linalg.lstsq(rest, fit.residual / scatter)[0][:wide])


def _linked(
    effect: Effect,
    label: Literal["fixture", "instrument"],
    known: dict[str, Array],
    risk: float,
    setup: PartSetup,
) -> Iterator[SharedBy]:
    if differ_p(list(known.values())) > risk:
        return
    freedom = sum(len(v) for v in known.values()) - len(known)
    within = _scatter(np.concatenate([v - v.mean(axis=0) for v in known.values()]), freedom)
    for name, values in known.items():
        mean, n = values.mean(axis=0), len(values)
        p = _mean_p(mean, within / n, freedom)
        if len(mean) == 2:
            p = max(p, directions_p(values))
        if p <= risk / len(known) and bool(np.all(values @ mean > 0)):
            amplitude, phase, u = amplitude_of(effect, mean, within / n, freedom, setup.geometry.z)
            yield SharedBy(label, name, effect.key, effect.flank, effect.order, amplitude, phase, u, n)


def _scatter(rest: Array, freedom: int) -> Array:
    return np.asarray(rest.T @ rest / freedom + LEAST_SCATTER**2 * np.eye(rest.shape[1]))


def differ_p(groups: Sequence[Array]) -> float:
    """Chance of means that differ so much where the gears of all groups are alike: Wilks' lambda, exact for
    one and two values. Each of shape (gears, q), q = 1 or 2"""
    from scipy import special

    together = np.concatenate(list(groups))
    q, between = together.shape[1], len(groups) - 1
    freedom = len(together) - len(groups)
    within = sum((v - v.mean(axis=0)).T @ (v - v.mean(axis=0)) for v in groups)
    floor = freedom * LEAST_SCATTER**2 * np.eye(q)
    total = together - together.mean(axis=0)
    ratio = float(np.linalg.det(within + floor) / np.linalg.det(total.T @ total + floor))
    if q == 1:
        return float(special.betainc(freedom / 2, between / 2, ratio))
    return float(special.betainc(freedom - 1, between, math.sqrt(ratio)))


def _mean_p(mean: Array, covariance: Array, freedom: int) -> float:
    """Hotelling's T squared of a mean, its covariance estimated with so much freedom."""
    from scipy import special

    q, square = len(mean), float(mean @ np.linalg.solve(covariance, mean))
    return float(special.fdtrc(q, freedom - q + 1, square * (freedom - q + 1) / (q * freedom)))


def directions_p(vectors: Array) -> float:
    """Bound of the chance that random directions agree so well, whatever the sizes: the part of all
    combinations of angles with no larger sum of squares about their mean. shape (n, 2)"""
    from scipy import special

    n = len(vectors)
    turns = vectors[:, 0] + 1j * vectors[:, 1]
    turns = turns / np.maximum(np.abs(turns), 1e-12)
    apart = np.angle(turns * np.conj(turns.mean()))
    radius = max(float(np.linalg.norm(apart)), 1e-9)
    k = n - 1
    log_p = k * math.log(radius / (2 * math.sqrt(math.pi))) - special.gammaln(k / 2 + 1) + math.log(n) / 2
    return math.exp(min(0.0, log_p))

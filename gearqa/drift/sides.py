"""A series at each of its limits: own wear and levels of the traces that conformity goes by."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from gearqa.arrays import Array
from gearqa.drift.claims import SeriesModel
from gearqa.model.drift import LimitKind
from gearqa.statistics.containment import MadeCycles
from gearqa.statistics.dress_interval import CycleModel, NextLevel
from gearqa.statistics.levels import LevelFit, fit_levels
from gearqa.statistics.wear import WearCurve, WearFit

Side = Literal["upper", "lower"]

GUARD = 1.644854
"""One-sided 95 % of a normal value: the guard is this times U/2."""
LAST_CYCLES = (1, 2, 3)
CYCLES_BEFORE_LAST = 5
SUSPECTED = 2.0
"""Standard deviations off the model from which the last cycles may stand for a new level."""


@dataclass(frozen=True, slots=True)
class ActionLimits:
    """What a measured value may reach: limits less the guard where the uncertainty is known."""

    low: float | None
    high: float | None
    kind: LimitKind

    def of(self, side: Side) -> float | None:
        """Limit of one side."""
        return self.high if side == "upper" else self.low


def action_limits(low: float | None, high: float | None, uncertainty: float | None) -> ActionLimits:
    """Acceptance limits of a value with this expanded uncertainty; the limits as they are without."""
    if low is None and high is None:
        return ActionLimits(None, None, "none")
    if uncertainty is None:
        return ActionLimits(low, high, "tolerance limit")
    guard = GUARD * uncertainty / 2
    return ActionLimits(
        None if low is None else low + guard, None if high is None else high - guard, "acceptance limit"
    )


@dataclass(frozen=True, eq=False, slots=True)
class SideModel:
    """Wear and levels of the traces at one limit, columns of the levels as for the means."""

    side: Side
    limit: float
    """Less what the worst level of a claimed label takes. [um]"""
    fit: WearFit
    curve: WearCurve
    levels: LevelFit
    expected: Array
    """Level that the model expects of each cycle. shape (C,)"""

    @property
    def sign(self) -> int:
        """1 for the upper limit."""
        return 1 if self.side == "upper" else -1

    def next_cycle(self, one: SeriesModel, ahead: int = 1) -> CycleModel:
        """What the cycle that comes so many behind the last may be."""
        return CycleModel(
            self.curve,
            self.levels.variance,
            self.levels.dof,
            tuple(self._candidates(one, ahead)),
            curved=bool(self.fit.curved),
        )

    def _candidates(self, one: SeriesModel, ahead: int) -> list[NextLevel]:
        found = [NextLevel(*self.levels.ahead(one.levels.row(ahead)))]
        x, moved = self.fit.levels, one.levels.movement.moved_from
        if moved is not None:
            found.append(NextLevel(float(x[moved:].mean()), 1 / (len(x) - moved)))
        suspected = suspicion(self.levels)
        if suspected:
            found += [NextLevel(float(x[-j:].mean()), 1 / j) for j in suspected]
        return found

    def made(self) -> MadeCycles:
        """What is known of the cycles that were made."""
        return MadeCycles(
            self.curve, self.fit.counts, self.fit.levels, self.expected, self.levels.variance, self.levels.dof
        )


def suspicion(fit: LevelFit) -> list[int]:
    """Numbers of last cycles whose mean lies far off the model."""
    residual = fit.residual
    return [
        j
        for j in LAST_CYCLES
        if len(residual) - j >= CYCLES_BEFORE_LAST
        and abs(float(residual[-j:].mean())) > SUSPECTED * (fit.variance / j) ** 0.5
    ]


def suspected(one: SeriesModel) -> tuple[int, float] | None:
    """The last cycles that lie farthest off the model of the means: how many, and by how much."""
    fit = one.levels.fit
    if fit is None or not one.gears.order.known:
        return None
    found = suspicion(fit)
    if not found:
        return None
    cycles = max(found, key=lambda j: abs(float(fit.residual[-j:].mean())) * j**0.5)
    return cycles, float(fit.residual[-cycles:].mean())


def side_models(one: SeriesModel, limits: ActionLimits) -> tuple[SideModel, ...]:
    """Upper and lower limit, where there is one and the wear can be told."""
    low, high = one.label_range
    found = []
    sides: tuple[tuple[Side, float | None, WearFit, float], ...] = (
        ("upper", limits.high, one.fits.high, high),
        ("lower", limits.low, one.fits.low, low),
    )
    for side, limit, fit, shift in sides:
        made = None if limit is None else side_model(one, side, limit - shift, fit)
        if made is not None:
            found.append(made)
    return tuple(found)


def side_model(one: SeriesModel, side: Side, limit: float, fit: WearFit) -> SideModel | None:
    """Model of one side; None where the wear cannot be told or the levels have no freedom."""
    design = one.levels.design
    if fit.curve is None or one.levels.fit is None or not one.gears.has_positions:
        return None
    levels = one.levels.fit if fit is one.fits.mean else fit_levels(fit.levels, design)
    return SideModel(side, limit, fit, fit.curve, levels, np.asarray(design @ levels.theta, dtype=np.float64))

"""What a report claims of its series: wear, movement of the level, labels, each kind kept at its rate."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from gearqa.arrays import Array
from gearqa.drift.between_cycles import Levels, model, weigh
from gearqa.drift.labels import LabelTest, check_labels
from gearqa.drift.ordering import SeriesGears
from gearqa.drift.within_cycles import WearFits, fit_cycles
from gearqa.model.drift import FAMILY, DriftSettings, MadePart
from gearqa.model.measurement import GrinderEvent
from gearqa.statistics.families import holm


@dataclass(frozen=True, eq=False, slots=True)
class SeriesModel:
    """One series with its fits and what is claimed of it."""

    gears: SeriesGears
    """Values without the effect of claimed labels."""
    events: Sequence[GrinderEvent]
    made: Sequence[MadePart]
    fits: WearFits
    levels: Levels
    wear_claimed: bool = False
    tests: tuple[LabelTest, ...] = ()
    claimed: tuple[bool, ...] = ()
    """Which labels are claimed."""

    @property
    def label_effect(self) -> Array:
        """What was taken out of each gear. shape (n,)"""
        found = np.zeros(len(self.gears.s))
        for test, accepted in zip(self.tests, self.claimed, strict=True):
            if accepted:
                found += test.deviation
        return found

    @property
    def label_range(self) -> tuple[float, float]:
        """How far the worst levels of the claimed labels lie below and above the mean."""
        claimed = [test.worst for test, accepted in zip(self.tests, self.claimed, strict=True) if accepted]
        return sum(low for low, _ in claimed), sum(high for _, high in claimed)


def model_series(
    series: Iterable[tuple[SeriesGears, Sequence[GrinderEvent], Sequence[MadePart]]], settings: DriftSettings
) -> list[SeriesModel]:
    """Fit every series; where a label is claimed, fit it again without the effect, once."""
    first = [_fitted(gears, events, made, settings) for gears, events, made in series]
    found = _claimed(first)
    tested = [check_labels(one.gears, one.fits, one.levels, one.made, settings.confidence) for one in found]
    bounds = holm([test.effect.p for tests in tested for test in tests], FAMILY.labels)
    accepted = iter(bound is not None for bound in bounds)
    found = [
        replace(one, tests=tests, claimed=tuple(next(accepted) for _ in tests))
        for one, tests in zip(found, tested, strict=True)
    ]
    if not any(any(one.claimed) for one in found):
        return found
    return _claimed([_again(one, settings) if any(one.claimed) else one for one in found])


def _fitted(
    gears: SeriesGears, events: Sequence[GrinderEvent], made: Sequence[MadePart], settings: DriftSettings
) -> SeriesModel:
    fits = fit_cycles(gears, settings)
    return SeriesModel(gears, events, made, fits, weigh(gears, fits, events))


def _again(one: SeriesModel, settings: DriftSettings) -> SeriesModel:
    gears = one.gears.without(one.label_effect)
    fits = fit_cycles(gears, settings)
    return replace(one, gears=gears, fits=fits, levels=weigh(gears, fits, one.events))


def _claimed(series: list[SeriesModel]) -> list[SeriesModel]:
    """Claims of wear and of moved levels over the whole report."""
    wear = holm([one.fits.mean.p if one.fits.mean.identifiable else None for one in series], FAMILY.wear)
    level = holm(
        [None if one.levels.evidence is None else one.levels.evidence.p for one in series], FAMILY.level
    )
    return [
        replace(one, wear_claimed=worn is not None, levels=model(one.levels, moved))
        for one, worn, moved in zip(series, wear, level, strict=True)
    ]

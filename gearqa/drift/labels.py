"""Labels of the gears (fixture, instrument, operator, temperature, pause): effects on a series."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from operator import attrgetter

import numpy as np

from gearqa.arrays import Array
from gearqa.drift.between_cycles import Levels
from gearqa.drift.ordering import SeriesGears, seconds
from gearqa.drift.within_cycles import WearFits
from gearqa.model.drift import LabelFinding, LabelName, MadePart
from gearqa.statistics.label_effects import (
    LEAST_GEARS,
    PAUSE,
    LabelEffect,
    indicator_columns,
    label_effect,
    pause_column,
)
from gearqa.statistics.level_search import trend_column
from gearqa.statistics.wear import hats

WORDS: tuple[LabelName, ...] = ("fixture", "instrument", "operator")
WARM = 0.05
"""Three hours behind a pause this much is left."""


@dataclass(frozen=True, eq=False, slots=True)
class LabelColumns:
    """Columns of one label over the gears of a series."""

    name: LabelName
    Z: Array
    """shape (n, g)"""
    values: tuple[str | None, ...]
    """Word of each column."""
    against: str | None


@dataclass(frozen=True, eq=False, slots=True)
class LabelTest:
    """A label that was tested on a series."""

    columns: LabelColumns
    effect: LabelEffect

    @property
    def deviation(self) -> Array:
        """Effect on each gear less its mean over the gears. shape (n,)"""
        shift = self.columns.Z @ self.effect.theta
        return np.asarray(shift - shift.mean(), dtype=np.float64)

    @property
    def worst(self) -> tuple[float, float]:
        """Least and largest deviation that a gear may have, the first behind a pause among them."""
        found = self.deviation
        if self.columns.name == "pause":
            mean = float(self.columns.Z.mean() * self.effect.theta[0])
            found = np.append(found, (float(self.effect.theta[0]) - mean, -mean))
        return float(found.min()), float(found.max())


def label_columns(gears: SeriesGears, made: Sequence[MadePart] = ()) -> Iterator[LabelColumns]:
    """Labels that differ between the gears of a series."""
    for name in WORDS:
        words = list(map(attrgetter(name), gears.rows))
        values = sorted({*words} - {None})
        if len(values) < 2 or None in words:
            continue
        number = np.array([values.index(word) for word in words])
        columns = indicator_columns(number)
        if columns.shape[1]:
            counts = np.bincount(number)
            most = int(np.argmax(counts))
            kept = [k for k in range(len(values)) if counts[k] >= LEAST_GEARS and k != most]
            yield LabelColumns(name, columns, tuple(values[k] for k in kept), values[most])
    temperatures = [o.temperature_degC for o in gears.rows]
    known = [t for t in temperatures if t is not None]
    if len(known) == len(temperatures) and max(known) > min(known):
        yield LabelColumns("temperature", np.array(known)[:, None], (None,), None)
    pause = _pause(gears, made)
    if pause is not None:
        yield LabelColumns("pause", pause[:, None], (None,), None)


def _pause(gears: SeriesGears, made: Sequence[MadePart]) -> Array | None:
    """How near each gear lies behind a stop; None without times or without three gears behind one."""
    own = gears.at
    if not np.isfinite(own).all():
        return None
    others = [seconds(one.finished_at) for one in made if one.finished_at is not None]
    times = np.concatenate((own, others))
    order = np.argsort(times, kind="stable")
    column = np.empty(len(times))
    column[order] = pause_column(times[order])
    if float(np.max(np.diff(times[order]), initial=0.0)) <= PAUSE:
        return None
    found = column[: len(own)]
    return found if int((found > WARM).sum()) >= LEAST_GEARS else None


def check_labels(
    gears: SeriesGears, fits: WearFits, levels: Levels, made: Sequence[MadePart], confidence: float
) -> tuple[LabelTest, ...]:
    """Test every label of a series, wear, corrections, level changes and a trend in the model."""
    fit = fits.mean
    if levels.fit is None:
        return ()
    wear = np.zeros((len(gears.s), 0)) if fit.curve is None else hats(gears.s, fit.curve.knots)
    design = levels.design
    if not levels.movement.trend and len(levels.x) > design.shape[1] + 1:
        design = np.column_stack((design, trend_column(len(levels.x))))
    found = []
    for columns in label_columns(gears, made):
        effect = label_effect(
            gears.cycle, columns.Z, gears.mean, wear, levels.x, design, levels.fit.rho, confidence
        )
        if effect is not None:
            found.append(LabelTest(columns, effect))
    return tuple(found)


def findings(tests: Sequence[LabelTest], claimed: Sequence[bool]) -> tuple[LabelFinding, ...]:
    """Labels as they are reported."""
    return tuple(
        LabelFinding(
            name=test.columns.name,
            value=value,
            against=test.columns.against,
            effect=float(test.effect.theta[k]),
            low=float(test.effect.low[k]),
            high=float(test.effect.high[k]),
            p=test.effect.p,
            claimed=accepted,
        )
        for test, accepted in zip(tests, claimed, strict=True)
        for k, value in enumerate(test.columns.values)
        if np.isfinite(test.effect.low[k])
    )

"""Reported values laid out for looking at them: a matrix of gears and places, digits, tolerances."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final, NamedTuple

import numpy as np

from gearqa.arrays import Array
from gearqa.incoming.editions import Edition
from gearqa.model.incoming import Basis, ReportedValue
from gearqa.model.part import Part
from gearqa.symbols import Flank

HONEST_LEVEL: Final = 0.002
"""Share of honest reports in which one statistical check may ask for a look; seven of them stay below 2 %."""


class Place(NamedTuple):
    """Where a value belongs within a gear."""

    parameter: str
    flank: Flank | None
    tooth: int | None
    basis: Basis | None


@dataclass(frozen=True, eq=False, slots=True)
class Figures:
    """A report as a matrix."""

    part: Part
    editions: Mapping[str, Edition]
    values: Sequence[ReportedValue]
    serials: tuple[str, ...]
    places: tuple[Place, ...]
    um: Array
    """NaN where nothing was reported. [um], shape (serials, places)"""
    digit: Mapping[str, float]
    """Finest step of every parameter: last digit typed, or a coarser step that all values keep. [um]"""

    @classmethod
    def of(
        cls,
        values: Sequence[ReportedValue],
        part: Part,
        editions: Mapping[str, Edition],
        typed: Mapping[str, float],
    ) -> Figures:
        """Lay out a report; `typed` is the last digit of every parameter. [um]"""
        serials = tuple(dict.fromkeys(value.serial for value in values))
        where = [Place(v.parameter, v.flank, v.tooth, v.basis) for v in values]
        places = tuple(dict.fromkeys(where))
        row, column = {s: i for i, s in enumerate(serials)}, {p: i for i, p in enumerate(places)}
        um = np.full((len(serials), len(places)), np.nan)
        for value, place in zip(values, where, strict=True):
            um[row[value.serial], column[place]] = value.value_um
        kept = {}
        for step in set(typed.values()):
            own = um[:, [typed[p.parameter] == step for p in places]]
            kept[step] = _kept_step(own[np.isfinite(own)], step)
        digit = {key: kept[step] for key, step in typed.items()}
        return cls(part, editions, values, serials, places, um, digit)

    @property
    def steps(self) -> Array:
        """Step of every place. [um], shape (places,)"""
        return np.array([self.digit[place.parameter] for place in self.places])

    @property
    def counts(self) -> Array:
        """Values in steps, whole numbers; NaN where nothing was reported. Shape (serials, places)"""
        return np.round(self.um / self.steps)

    def columns(self, parameter: str) -> list[int]:
        """Places of a parameter."""
        return [number for number, place in enumerate(self.places) if place.parameter == parameter]


def _kept_step(values: Array, digit: float) -> float:
    """A coarser step that all values keep, of an instrument that shows halves or fifths."""
    for factor in (10.0, 5.0, 2.5, 2.0):
        step = factor * digit
        # Ten values keep a step of two digits by chance once in a thousand times.
        if len(values) >= 10 and np.all(np.abs(values / step - np.round(values / step)) < 1e-6):
            return step
    return digit

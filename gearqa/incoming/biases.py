"""Constant differences that remain between both sides, by parameter and by our instrument."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final

import numpy as np

from gearqa.arrays import Array
from gearqa.model.incoming import Bias, ComparedValue
from gearqa.statistics.agreement import MeanDifference, mean_difference
from gearqa.symbols import PARAMETERS, Flank

FEWEST_GEARS: Final = 3
SIGNIFICANCE: Final = 0.05
"""Of all biases of a report together."""
SMALLEST_UM: Final = 0.05
"""A smaller one is not worth a word."""


def biases_of(rows: Sequence[ComparedValue], instruments: Mapping[str, str | None]) -> tuple[Bias, ...]:
    """Biases that are proven, what is explained allowed for; one value a gear and flank.

    By flank where both differ, else of both together. `instruments`: ours, by reported serial.
    """
    series: dict[tuple[str, str | None], dict[Flank | None, dict[str, list[float]]]] = {}
    for row in rows:
        expected = row.found_um if row.explained_um is None else row.explained_um
        if expected is None:
            continue
        left = row.compared_um - (abs(expected) if row.by_magnitude else expected)
        place = series.setdefault((row.parameter, instruments.get(row.serial)), {})
        place.setdefault(row.flank, {}).setdefault(row.serial, []).append(left)
    limit = SIGNIFICANCE / max(len(series), 1)
    found = []
    for (parameter, instrument), flanks in series.items():
        means = {
            flank: {serial: float(np.mean(some)) for serial, some in gears.items()}
            for flank, gears in flanks.items()
        }
        for flank, differences in _separate(means, limit):
            one = mean_difference(differences) if len(differences) >= FEWEST_GEARS else None
            if one is not None and one.p <= limit and abs(one.mean) >= SMALLEST_UM:
                found.append(Bias(parameter, flank, instrument, len(differences), one.mean, one.interval))
    order = list(PARAMETERS)
    return tuple(sorted(found, key=lambda one: order.index(one.parameter)))


def _separate(
    means: Mapping[Flank | None, Mapping[str, float]], limit: float
) -> list[tuple[Flank | None, Array]]:
    """Differences of both flanks together, or of each where they differ."""
    left, right = means.get("left", {}), means.get("right", {})
    common = [serial for serial in left if serial in right]
    between = _apart(np.array([left[serial] - right[serial] for serial in common]))
    if between is not None and between.p <= limit and abs(between.mean) >= SMALLEST_UM:
        return [(flank, np.array(list(some.values()))) for flank, some in means.items()]
    together: dict[str, list[float]] = {}
    for some in means.values():
        for serial, value in some.items():
            together.setdefault(serial, []).append(value)
    return [(None, np.array([np.mean(some) for some in together.values()]))]


def _apart(differences: Array) -> MeanDifference | None:
    return mean_difference(differences) if len(differences) >= FEWEST_GEARS else None

"""Agreement of reported with found values, parameter by parameter and flank by flank."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final

import numpy as np

from gearqa.evaluation.criteria import Criteria
from gearqa.model.incoming import Agreement, ComparedValue, PlaceKey
from gearqa.statistics.agreement import correlation, limits_of_agreement, order_trend
from gearqa.statistics.deming import deming
from gearqa.statistics.families import sidak
from gearqa.statistics.outliers import grubbs_critical, grubbs_statistic
from gearqa.symbols import PARAMETERS, Flank

PAIRS_FOR_A_LINE: Final = 10
PAIRS_FOR_OUTLIERS: Final = 7
OUTLIER_SIGNIFICANCE: Final = 0.01
"""Over all series together."""


def agreements(rows: Sequence[ComparedValue], criteria: Criteria) -> dict[str, dict[PlaceKey, Agreement]]:
    """Agreement of every parameter and flank of which at least one value was found; one pair a gear."""
    series: dict[tuple[str, Flank | None], dict[str, list[ComparedValue]]] = {}
    for row in rows:
        if row.difference_um is not None:
            series.setdefault((row.parameter, row.flank), {}).setdefault(row.serial, []).append(row)
    count = sum(len(gears) >= PAIRS_FOR_OUTLIERS for gears in series.values())
    significance = sidak(OUTLIER_SIGNIFICANCE, max(count, 1))
    found: dict[str, dict[PlaceKey, Agreement]] = {}
    order = list(PARAMETERS)
    for (key, flank), gears in sorted(series.items(), key=lambda s: (order.index(s[0][0]), s[0][1] or "")):
        found.setdefault(key, {})[flank or "both"] = _agreement(
            gears, significance, _width(criteria, key, flank)
        )
    return found


def _agreement(
    gears: Mapping[str, Sequence[ComparedValue]], significance: float, allowed: float | None
) -> Agreement:
    serials = tuple(gears)
    reported = np.array([np.mean([row.compared_um for row in rows]) for rows in gears.values()])
    ours = np.array([np.mean([_found(row) for row in rows]) for rows in gears.values()])
    difference = reported - ours
    n = len(serials)
    limits = limits_of_agreement(difference) if n > 1 else None
    line = deming(ours, reported) if n >= PAIRS_FOR_A_LINE else None
    trend = order_trend(difference)
    return Agreement(
        n=n,
        bias_um=float(difference.mean()),
        bias_interval_um=limits.bias_interval if limits else None,
        sd_um=limits.sd if limits else None,
        limits_of_agreement_um=limits.limits if limits else None,
        limits_interval_um=(limits.lower_interval, limits.upper_interval) if limits else None,
        share_of_tolerance=(limits.limits[1] - limits.limits[0]) / allowed if limits and allowed else None,
        slope=line.slope if line else None,
        slope_interval=line.slope_interval if line else None,
        intercept_um=line.intercept if line else None,
        intercept_interval_um=line.intercept_interval if line else None,
        correlation=correlation(ours, reported),
        trend_um_per_gear=trend.slope if trend else None,
        trend_p=trend.p if trend else None,
        outliers=_outliers(serials, difference, significance),
        equal=sum(all(row.equal for row in rows) for rows in gears.values()),
        serials=serials,
        differences_um=tuple(difference.tolist()),
    )


def _found(row: ComparedValue) -> float:
    assert row.found_um is not None
    return abs(row.found_um) if row.by_magnitude else row.found_um


def _outliers(serials: Sequence[str], difference: np.ndarray, significance: float) -> tuple[str, ...]:
    """The one gear whose difference lies far from the others', if there is one."""
    n = len(serials)
    if n < PAIRS_FOR_OUTLIERS or np.ptp(difference) == 0:
        return ()
    g, place = grubbs_statistic(difference)
    return (serials[place],) if g > grubbs_critical(n, significance) else ()


def _width(criteria: Criteria, key: str, flank: Flank | None) -> float | None:
    """Width of what the drawing allows, the narrowest of the flanks. [um]"""
    limits = criteria.drawing_limits(key, flank)
    return min((upper - (lower or 0.0) for lower, upper in limits), default=None)

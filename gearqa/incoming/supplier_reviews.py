"""Deliveries of each supplier and part looked at together: bias, its trend, what to measure next."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from itertools import groupby
from typing import Final

import numpy as np

from gearqa.incoming.biases import SIGNIFICANCE, SMALLEST_UM
from gearqa.incoming.inspection_levels import inspection_levels
from gearqa.model.deliveries import (
    ReviewedDelivery,
    SeriesDifference,
    StoredDelivery,
    SupplierBias,
    SupplierReview,
)
from gearqa.model.incoming import PlaceKey, flank_of
from gearqa.statistics.agreement import mean_difference, order_trend
from gearqa.symbols import PARAMETERS

FEWEST_FOR_TREND: Final = 5
"""Deliveries below which a trend of a bias is not looked for."""


def supplier_reviews(
    deliveries: Sequence[StoredDelivery], *, as_of: datetime | None = None
) -> tuple[SupplierReview, ...]:
    """Review deliveries, given in their order, by supplier and part; `as_of`: the time of looking."""

    def whose(one: StoredDelivery) -> tuple[str, str]:
        return one.supplier, one.part_number

    groups = groupby(sorted(deliveries, key=whose), key=whose)
    return tuple(_review(*key, list(some), as_of) for key, some in groups)


def _review(
    supplier: str, part_number: str, deliveries: Sequence[StoredDelivery], as_of: datetime | None
) -> SupplierReview:
    biases = _biases(deliveries)
    outcomes = [one.check.outcome for one in deliveries]
    levels, advice = inspection_levels(
        outcomes, [one.delivered_at for one in deliveries], as_of=as_of,
        trending=sum(one.trend for one in biases), series=len(biases),
    )  # fmt: skip
    reviewed = tuple(map(ReviewedDelivery, deliveries, outcomes, levels))
    return SupplierReview(supplier, part_number, advice, reviewed, biases)


def _biases(deliveries: Sequence[StoredDelivery]) -> tuple[SupplierBias, ...]:
    """By parameter and flank; deliveries whose gears were others say nothing about a bias."""
    series: dict[tuple[str, PlaceKey], list[SeriesDifference]] = {}
    for delivery in deliveries:
        if delivery.check.same_gears is not False:
            for one in delivery.check.differences:
                series.setdefault((one.parameter, one.place), []).append(one)
    limit = SIGNIFICANCE / max(len(series), 1)
    order = list(PARAMETERS)
    ranked = sorted(series.items(), key=lambda item: (order.index(item[0][0]), item[0][1]))
    return tuple(_bias(parameter, place, some, limit) for (parameter, place), some in ranked)


def _bias(parameter: str, place: PlaceKey, some: Sequence[SeriesDifference], limit: float) -> SupplierBias:
    """Each delivery counts once: what its gears have in common, such as a calibration, is one draw."""
    means = np.array([one.bias_um for one in some])
    over = mean_difference(means) if len(means) > 1 else None
    trend = order_trend(means) if len(means) >= FEWEST_FOR_TREND else None
    moved = 0.0 if trend is None else abs(trend.slope) * (len(means) - 1)
    return SupplierBias(
        parameter=parameter,
        flank=flank_of(place),
        deliveries=len(some),
        gears=sum(one.gears for one in some),
        bias_um=float(means.mean()),
        interval_um=some[0].interval_um if over is None else over.interval,
        proven=over is not None and over.p <= limit and abs(over.mean) >= SMALLEST_UM,
        trend_um_per_delivery=None if trend is None else trend.slope,
        trend=trend is not None and trend.p <= limit and moved >= SMALLEST_UM,
    )

"""What a reader of a gauge study must know."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Final

from gearqa.errors import Notice, NoticeCode
from gearqa.model.gauge import (
    ACCEPTABLE_PERCENT,
    GOOD_PERCENT,
    CrossedResult,
    GaugeResult,
    ReferenceResult,
)
from gearqa.wording.numbers import short_text
from gearqa.wording.sentences import place_text

FEW_OPERATORS: Final = 5
"""With fewer operators (set-ups, days) the interval of the gauge spread is wide."""
FEW_CATEGORIES: Final = 5


def cautions_of_study(result: GaugeResult) -> Iterator[Notice]:
    """Cautions of a whole study."""
    yield from _crossed([one for some in result.crossed.values() for one in some], result)
    yield from _on_references([one for some in result.references.values() for one in some])


def _crossed(series: list[CrossedResult], result: GaugeResult) -> Iterator[Notice]:
    if not series:
        return
    yield Notice(
        NoticeCode.NO_REFERENCE,
        "a crossed study does not show the bias, so it gives no uncertainty U; measure a calibrated gear as "
        "well",
    )
    operators = min((one.operators for one in series if one.operators > 1), default=FEW_OPERATORS)
    if operators < FEW_OPERATORS:
        yield Notice(
            NoticeCode.FEW_OPERATORS,
            f"only {operators} {result.factor}: the interval of the gauge spread is wide; go by its upper "
            "end",
        )
    if any(one.operators == 1 for one in series):
        yield Notice(
            NoticeCode.ONE_OPERATOR,
            f"only one of the {result.factor}: the study shows repeatability, not reproducibility",
        )
    if negative := [one for one in series if _has_negative_component(one)]:
        yield Notice(
            NoticeCode.NEGATIVE_COMPONENT,
            f"a variance component came out negative and counts as 0: {_names(negative)}",
        )
    categories = [one.distinct_categories for one in series if one.distinct_categories is not None]
    if min(categories, default=FEW_CATEGORIES) < FEW_CATEGORIES:
        yield Notice(
            NoticeCode.FEW_CATEGORIES,
            f"fewer than {FEW_CATEGORIES} distinct categories: the gauge hardly tells these items apart; "
            "items from one good process look like that, so judge by the tolerance",
        )
    between = [
        one
        for one in series
        if (percent := one.percent_of_tolerance) is not None and GOOD_PERCENT < percent <= ACCEPTABLE_PERCENT
    ]
    if between:
        yield Notice(
            NoticeCode.CONDITIONALLY_SUITABLE,
            f"between {short_text(GOOD_PERCENT)} and {short_text(ACCEPTABLE_PERCENT)} % of the tolerance, "
            f"usable where the job allows it: {_names(between)}",
        )


def _has_negative_component(one: CrossedResult) -> bool:
    raw = one.variance_unclipped
    return min(raw.operator, raw.interaction, raw.item) < 0


def _on_references(series: list[ReferenceResult]) -> Iterator[Notice]:
    if not series:
        return
    if any(one.few for one in series):
        yield Notice(
            NoticeCode.FEW_VALUES, "fewer than 25 values of a reference gear: spread and bias are rough"
        )
    if any(one.reference_uncertainty_um is None for one in series):
        yield Notice(
            NoticeCode.NO_REFERENCE_UNCERTAINTY,
            "without the uncertainty of the reference there is no uncertainty U",
        )
    if biased := [one for one in series if one.bias_significant]:
        yield Notice(
            NoticeCode.BIAS, f"significant bias, not corrected but added to U in full: {_names(biased)}"
        )
    larger = [
        one
        for one in series
        if one.U_um is not None and one.stated_um is not None and one.U_um > one.stated_um
    ]
    if larger:
        yield Notice(
            NoticeCode.STATED_TOO_SMALL, f"U found is larger than the part file states: {_names(larger)}"
        )
    yield Notice(
        NoticeCode.PRODUCT_DIFFERS,
        "U holds for the calibrated gear; what differs on the product (form, temperature) comes on top",
    )


def _names(series: Iterable[CrossedResult | ReferenceResult]) -> str:
    return ", ".join(place_text(one.symbol, one.flank) for one in series)

"""What a reader of a gauge study must know."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Final

from gearqa.errors import Notice, NoticeCode
from gearqa.model.gauge import ACCEPTABLE_PERCENT, GOOD_PERCENT, CrossedResult, GaugeResult, ReferenceResult
from gearqa.wording.numbers import short_text
from gearqa.wording.sentences import place_text

FEW_OPERATORS: Final = 5
"""With fewer operators (set-ups, days) the interval of the gauge spread is wide."""
FEW_CATEGORIES: Final = 5
_SENTENCES: Final[Mapping[NoticeCode, str]] = {
    NoticeCode.NO_REFERENCE: "a crossed study does not show the bias, so it gives no uncertainty U; measure "
    "a calibrated gear as well",
    NoticeCode.FEW_OPERATORS: "only {number} {factor}: the interval of the gauge spread is wide; go by its "
    "upper end",
    NoticeCode.ONE_OPERATOR: "only one of the {factor}: the study shows repeatability, not reproducibility",
    NoticeCode.INTERVAL_BEYOND: "good enough by the values found, but their interval reaches beyond what is "
    "wanted, so not proven: {series}",
    NoticeCode.NO_SPREAD: "no values differ: they are rounded more coarsely than the instrument repeats, so "
    "its spread is not known: {series}",
    NoticeCode.NEGATIVE_COMPONENT: "a variance component came out negative and counts as 0: {series}",
    NoticeCode.FEW_CATEGORIES: f"fewer than {FEW_CATEGORIES} distinct categories: the gauge hardly tells "
    "these items apart; items from one good process look like that, so judge by the tolerance",
    NoticeCode.CONDITIONALLY_SUITABLE: f"between {short_text(GOOD_PERCENT)} and "
    f"{short_text(ACCEPTABLE_PERCENT)} % of the tolerance, usable where the job allows it: {{series}}",
    NoticeCode.FEW_VALUES: "fewer than 25 values of a reference gear: spread and bias are rough",
    NoticeCode.NO_REFERENCE_UNCERTAINTY: "without the uncertainty of the reference there is no uncertainty U",
    NoticeCode.BIAS: "significant bias, not corrected but added to U in full: {series}",
    NoticeCode.STATED_TOO_SMALL: "U found is larger than the part file states: {series}",
    NoticeCode.PRODUCT_DIFFERS: "U holds for the calibrated gear; what differs on the product (form, "
    "temperature) comes on top",
}


def cautions_of_study(result: GaugeResult) -> Iterator[Notice]:
    """Cautions of a whole study."""
    yield from _on_crossed(result.crossed_series, result.factor)
    yield from _on_references(result.reference_series)
    unproven = [one for one in result.all_series if one.suitable and not one.proven]
    yield from _named(NoticeCode.INTERVAL_BEYOND, [one for one in unproven if not _one_operator(one)])
    yield from _named(NoticeCode.NO_SPREAD, [one for one in result.all_series if no_spread(one)])


def no_spread(one: CrossedResult | ReferenceResult) -> bool:
    """Whether repeated values never differ."""
    return not (one.series.repeats_differ if isinstance(one, CrossedResult) else one.series.values_differ)


def _one_operator(one: CrossedResult | ReferenceResult) -> bool:
    return isinstance(one, CrossedResult) and one.operators == 1


def _on_crossed(series: Sequence[CrossedResult], factor: str) -> Iterator[Notice]:
    if not series:
        return
    yield _caution(NoticeCode.NO_REFERENCE)
    operators = min((one.operators for one in series if one.operators > 1), default=FEW_OPERATORS)
    if operators < FEW_OPERATORS:
        yield _caution(NoticeCode.FEW_OPERATORS, number=operators, factor=factor)
    if any(one.operators == 1 for one in series):
        yield _caution(NoticeCode.ONE_OPERATOR, factor=factor)
    yield from _named(NoticeCode.NEGATIVE_COMPONENT, [one for one in series if _has_negative_component(one)])
    categories = [one.distinct_categories for one in series if one.distinct_categories is not None]
    if min(categories, default=FEW_CATEGORIES) < FEW_CATEGORIES:
        yield _caution(NoticeCode.FEW_CATEGORIES)
    known = [(one, one.percent_of_tolerance) for one in series]
    between = [one for one, x in known if x is not None and GOOD_PERCENT < x <= ACCEPTABLE_PERCENT]
    yield from _named(NoticeCode.CONDITIONALLY_SUITABLE, between)


def _has_negative_component(one: CrossedResult) -> bool:
    raw = one.variance_unclipped
    return min(raw.operator, raw.interaction, raw.item) < 0


def _on_references(series: Sequence[ReferenceResult]) -> Iterator[Notice]:
    if not series:
        return
    if any(one.few for one in series):
        yield _caution(NoticeCode.FEW_VALUES)
    if any(one.reference_uncertainty_um is None for one in series):
        yield _caution(NoticeCode.NO_REFERENCE_UNCERTAINTY)
    yield from _named(NoticeCode.BIAS, [one for one in series if one.bias_significant])
    known = [(one, one.U_um, one.stated_um) for one in series]
    larger = [one for one, U, stated in known if U is not None and stated is not None and stated < U]
    yield from _named(NoticeCode.STATED_TOO_SMALL, larger)
    yield _caution(NoticeCode.PRODUCT_DIFFERS)


def _caution(code: NoticeCode, **facts: object) -> Notice:
    return Notice(code, _SENTENCES[code].format(**facts))


def _named(code: NoticeCode, series: Iterable[CrossedResult | ReferenceResult]) -> Iterator[Notice]:
    """A caution that names the series it is about, if there are any."""
    if names := ", ".join(place_text(one.symbol, one.flank) for one in series):
        yield _caution(code, series=names)

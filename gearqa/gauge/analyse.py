"""A gauge study, analysed: every parameter of its own, and the uncertainties that follow."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Final

from gearqa.errors import Notice
from gearqa.evaluation.criteria import Criterion, criteria_of
from gearqa.model.gauge import (
    ACCEPTABLE_PERCENT,
    GOOD_PERCENT,
    WANTED_INDEX,
    CrossedResult,
    CrossedSeries,
    GaugeResult,
    ReferenceResult,
    ReferenceSeries,
    SquareSums,
    StudyTable,
    Variances,
    rounded_up,
)
from gearqa.model.measurement import InputFile
from gearqa.model.part import Part
from gearqa.statistics.gauge_study import (
    POOL_ABOVE,
    certificate_comparison,
    gauge_study,
    reference_gear_study,
)
from gearqa.symbols import PARAMETERS, Flank

FEW_OPERATORS: Final = 5
"""Fewer operators (set-ups, days) than this leave the interval of the gauge spread wide."""
Limits = tuple[float | None, float]


def analyse(
    study: StudyTable,
    *,
    part: Part | None = None,
    inputs: Sequence[InputFile] = (),
    factor: str = "operators",
    pool_above: float = POOL_ABOVE,
    simulated: bool = False,
    warnings: Sequence[Notice] = (),
) -> GaugeResult:
    """Analyse every parameter of a study.

    Parameters
    ----------
    study : StudyTable
        Complete crossed values, or repeated values of calibrated gears.
    part : Part, optional
        The drawing, for limits and stated uncertainties.
    inputs : sequence of InputFile
        Further files that were read.
    factor : str
        What the operators are: operators, set-ups, days, instruments.
    pool_above : float
        The interaction is pooled with the repeatability if the p of its F test is larger. [-]
    simulated : bool
        Whether measurements behind the study were simulated.
    warnings : sequence of Notice
        What was noticed on reading.

    Returns
    -------
    GaugeResult
        By parameter; the uncertainty U only where a calibrated reference gives the bias.
    """
    limits = _limits(part)
    crossed: dict[str, list[CrossedResult]] = {}
    for series in study.crossed:
        result = _crossed(series, limits(series.parameter, series.flank), pool_above)
        crossed.setdefault(series.parameter, []).append(result)
    references: dict[str, list[ReferenceResult]] = {}
    for one in study.references:
        stated = None if part is None else part.uncertainty(one.parameter)
        found = _reference(one, limits(one.parameter, one.flank), stated)
        references.setdefault(one.parameter, []).append(found)
    whole = GaugeResult(
        kind=study.kind,
        part=None
        if part is None
        else {"number": part.part.number, "name": part.part.name, "revision": part.part.revision},
        inputs=(study.file, *inputs),
        simulated=simulated or study.simulated,
        factor=factor,
        pool_above=pool_above,
        crossed={key: tuple(some) for key, some in crossed.items()},
        references={key: tuple(some) for key, some in references.items()},
        uncertainty_um=_uncertainties(references),
        cautions=(),
        warnings=(*study.notices, *warnings),
    )
    return replace(whole, cautions=tuple(Notice(code, message) for code, message in _cautions(whole)))


def _crossed(series: CrossedSeries, limits: Limits | None, pool_above: float) -> CrossedResult:
    study = gauge_study(series.values_um, limits=limits, pool_above=pool_above)
    percent = study.percent_of_tolerance
    squares, clipped, raw = study.sum_of_squares, study.variance, study.variance_unclipped
    return CrossedResult(
        symbol=PARAMETERS[series.parameter].symbol,
        flank=series.flank,
        items=study.items,
        operators=study.operators,
        trials=study.trials,
        sum_of_squares=SquareSums(
            squares.item, squares.operator, squares.interaction, squares.repeatability, squares.total
        ),
        interaction_p=study.interaction_p,
        interaction_pooled=study.interaction_pooled,
        variance=Variances(
            clipped.repeatability, clipped.operator, clipped.interaction, clipped.item, clipped.gauge
        ),
        variance_unclipped=Variances(raw.repeatability, raw.operator, raw.interaction, raw.item, raw.gauge),
        gauge_sd_um=study.gauge_sd,
        gauge_sd_interval_um=study.gauge_sd_interval,
        percent_of_total_variation=study.percent_of_total_variation,
        percent_of_tolerance=percent,
        limits_um=limits,
        distinct_categories=study.distinct_categories,
        U_um=None,
        suitable=None if percent is None else percent <= ACCEPTABLE_PERCENT,
        series=series,
    )


def _reference(series: ReferenceSeries, limits: Limits | None, stated: float | None) -> ReferenceResult:
    two_sided = (limits[0], limits[1]) if limits is not None and limits[0] is not None else None
    study = reference_gear_study(
        series.values_um, series.reference_um, series.reference_uncertainty_um, limits=two_sided
    )
    certificate = certificate_comparison(study, series.reference_uncertainty_um, stated)
    verdicts = [index >= WANTED_INDEX for index in (study.Cg, study.Cgk) if index is not None]
    verdicts += [one for one in (certificate.agrees, certificate.spread_within) if one is not None]
    return ReferenceResult(
        symbol=PARAMETERS[series.parameter].symbol,
        flank=series.flank,
        item=series.item,
        n=study.n,
        reference_um=series.reference_um,
        reference_uncertainty_um=series.reference_uncertainty_um,
        mean_um=study.mean,
        bias_um=study.bias,
        bias_interval_um=study.bias_interval,
        bias_significant=study.bias_significant,
        sd_um=study.sd,
        cg=study.Cg,
        cgk=study.Cgk,
        limits_um=limits,
        U_um=study.U,
        stated_um=stated,
        en=certificate.en,
        agrees=certificate.agrees,
        spread_within=certificate.spread_within,
        few=study.few,
        suitable=_suitable(verdicts, bias_judged=study.Cgk is not None or certificate.agrees is not None),
        series=series,
    )


def _suitable(verdicts: Sequence[bool], *, bias_judged: bool) -> bool | None:
    """A spread that fits makes no instrument good enough whose bias was not judged."""
    if not all(verdicts):
        return False
    return True if bias_judged else None


class _limits:  # noqa: N801 - called like a function
    """Limits of the drawing by parameter and flank, the tighter ones where a series names no flank."""

    def __init__(self, part: Part | None) -> None:
        self._criteria = None if part is None else criteria_of(part)

    def __call__(self, parameter: str, flank: Flank | None) -> Limits | None:
        if self._criteria is None:
            return None
        found = [
            pair
            for side, criterion in self._criteria.places[parameter]
            if criterion.required and flank in (None, side) and (pair := limits_of(criterion)) is not None
        ]
        return min(found, key=lambda pair: pair[1] - (pair[0] or 0.0), default=None)


def limits_of(criterion: Criterion) -> Limits | None:
    """Lower (None: none) and upper limit of a criterion."""
    if criterion.limits is not None:
        lower, upper = criterion.limits
        return (lower if criterion.signed or lower > 0 else None, upper)
    if criterion.tolerance is None:
        return None
    return (-criterion.tolerance if criterion.signed else None, criterion.tolerance)


def _uncertainties(references: Mapping[str, Sequence[ReferenceResult]]) -> dict[str, float]:
    """U by parameter: the largest over flanks and gears, rounded up to a hundredth of a micrometre."""
    found = {}
    for key, some in references.items():
        known = [one.U_um for one in some if one.U_um is not None]
        if known and len(known) == len(some):
            found[key] = rounded_up(max(known))
    return found


def _cautions(result: GaugeResult) -> Iterator[tuple[str, str]]:
    crossed = [one for some in result.crossed.values() for one in some]
    references = [one for some in result.references.values() for one in some]
    if crossed:
        yield (
            "no_reference",
            "a crossed study knows no bias: it gives no uncertainty U; measure a calibrated gear as well",
        )
    few = {one.operators for one in crossed if 1 < one.operators < FEW_OPERATORS}
    if few:
        yield (
            "few_operators",
            f"only {min(few)} {result.factor}: the upper end of the interval of the gauge spread is far, and "
            "it is the honest figure",
        )
    if any(one.operators == 1 for one in crossed):
        yield "one_operator", f"one of the {result.factor} only: repeatability, nothing about reproducibility"
    negative = [
        one for one in crossed
        if min((raw := one.variance_unclipped).operator, raw.interaction, raw.item) < 0
    ]  # fmt: skip
    if negative:
        named = ", ".join(f"{one.symbol} {one.flank or ''}".strip() for one in negative)
        yield "negative_component", f"a variance component came out negative and counts as 0: {named}"
    if any(one.distinct_categories is not None and one.distinct_categories < 5 for one in crossed):
        yield (
            "few_categories",
            "fewer than 5 distinct categories: the gauge hardly tells these items apart; items from one "
            "good process look like that, so judge by the tolerance",
        )
    between = [
        one for one in crossed
        if (percent := one.percent_of_tolerance) is not None and GOOD_PERCENT < percent <= ACCEPTABLE_PERCENT
    ]  # fmt: skip
    if between:
        named = ", ".join(f"{one.symbol} {one.flank or ''}".strip() for one in between)
        yield (
            "conditionally_suitable",
            f"between {GOOD_PERCENT:g} and {ACCEPTABLE_PERCENT:g} % of the tolerance, usable where the job "
            f"allows it: {named}",
        )
    if any(one.few for one in references):
        yield "few_values", "fewer than 25 values of a reference gear: spread and bias are rough"
    if any(one.reference_uncertainty_um is None for one in references):
        yield "no_reference_uncertainty", "without the uncertainty of the reference there is no uncertainty U"
    biased = [one for one in references if one.bias_significant]
    if biased:
        named = ", ".join(f"{one.symbol} {one.flank or ''}".strip() for one in biased)
        yield (
            "bias",
            f"the bias is not chance: {named}; it is not corrected but added to U in full",
        )
    larger = [
        one
        for one in references
        if one.U_um is not None and one.stated_um is not None and one.U_um > one.stated_um
    ]
    if larger:
        named = ", ".join(f"{one.symbol} {one.flank or ''}".strip() for one in larger)
        yield "stated_too_small", f"U found is larger than the part file states: {named}"
    if references:
        yield (
            "product_differs",
            "U covers the calibrated gear; what differs on the product (form, temperature) is extra",
        )

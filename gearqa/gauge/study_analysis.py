"""A gauge study, also from measured gears: spread and bias by parameter, the uncertainties that follow."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import astuple, replace
from typing import Final

import numpy as np
from scipy.special import chdtri

from gearqa.errors import MeasurementFileError, Notice, Problem, Reason
from gearqa.evaluation.criteria import Criteria, OneSidedLimits, criteria_of
from gearqa.gauge.study_cautions import cautions_of_study
from gearqa.model.gauge import (
    ACCEPTABLE_PERCENT,
    WANTED_INDEX,
    CrossedResult,
    CrossedSeries,
    GaugeResult,
    Linearity,
    ReferenceResult,
    ReferenceSeries,
    SquareSums,
    StudyTable,
    Variances,
    rounded_up,
)
from gearqa.model.measurement import InputFile
from gearqa.model.part import Part
from gearqa.model.results import GearResult
from gearqa.reading.values.study import MeasuredStudy, Place, crossed_series
from gearqa.statistics.gauge_study import (
    POOL_ABOVE,
    ReferenceGearStudy,
    certificate_comparison,
    gauge_study,
    linearity_study,
    reference_gear_study,
)
from gearqa.statistics.mixed_model import incomplete_gauge_study
from gearqa.statistics.performance import index_lower_bound
from gearqa.symbols import PARAMETERS, Flank, symbol_of

BIAS_SHARE: Final = 0.1
"""Of the width of the tolerance: beyond it Cgk is below 0, whatever the spread."""
FEWEST_GEARS: Final = 3
"""Calibrated gears from which a line of the bias can be drawn and judged."""
SIGNIFICANT_BELOW: Final = 0.05


def analyse_study(
    study: StudyTable,
    *,
    part: Part | None = None,
    inputs: Sequence[InputFile] = (),
    factor: str = "operators",
    pool_above: float = POOL_ABOVE,
    warnings: Sequence[Notice] = (),
) -> GaugeResult:
    """Analyse every parameter of a study.

    With `part` by its limits and stated uncertainties. The interaction is pooled with the repeatability
    if the p of its F test is above `pool_above`. There is an uncertainty U only where a calibrated
    reference gives the bias.
    """
    criteria = None if part is None else criteria_of(part)
    crossed: dict[str, list[CrossedResult]] = {}
    for series in study.crossed:
        limits = _limits(criteria, series.parameter, series.flank)
        crossed.setdefault(series.parameter, []).append(_crossed(series, limits, pool_above))
    references: dict[str, list[ReferenceResult]] = {}
    for one in study.references:
        limits = _limits(criteria, one.parameter, one.flank)
        stated = None if part is None else part.uncertainty(one.parameter)
        references.setdefault(one.parameter, []).append(_reference(one, limits, stated))
    whole = GaugeResult(
        kind=study.kind,
        part=None if part is None else part.part.model_dump(),
        standard=None if part is None else part.tolerance.standard,
        inputs=(study.file, *inputs),
        simulated=study.simulated,
        factor=factor,
        pool_above=pool_above,
        crossed={key: tuple(some) for key, some in crossed.items()},
        references={key: tuple(some) for key, some in references.items()},
        uncertainty_um=_uncertainties(references),
        linearity=tuple(_linearity(references)),
        cautions=(),
        warnings=(*study.notices, *warnings),
    )
    return replace(whole, cautions=tuple(cautions_of_study(whole)))


def study_from_gears(
    gears: Iterable[GearResult], table: MeasuredStudy, parameters: Sequence[str], *, simulated: bool
) -> StudyTable:
    """The crossed study that measured gears make.

    Slopes go by the mean over the traces of a flank, everything else by its value: the worst of the flank.

    Raises
    ------
    MeasurementFileError
        If the study has too few values.
    """
    graded = {gear.serial: gear for gear in gears if gear.serial in table.place_of}
    rows: dict[tuple[str, Flank | None], list[tuple[Place, float, int]]] = {}
    for line, (serial, place) in enumerate(table.place_of.items(), 2):
        for key in parameters:
            result = graded[serial].parameters.get(key)
            if result is None:
                continue
            if not PARAMETERS[key].per_flank:
                rows.setdefault((key, None), []).append((place, result.value_um, line))
            for flank, one in result.flanks.items():
                value = one.mean_um if PARAMETERS[key].signed else one.value_um
                rows.setdefault((key, flank), []).append((place, value, line))
    if not rows:
        found = "no parameter that could be evaluated"
        raise MeasurementFileError([Problem(Reason.NOTHING_TO_GRADE, table.file.file, found, "at least one")])
    crossed = crossed_series(rows, table.file.file)
    return StudyTable(table.file, "crossed", crossed, (), table.notices, simulated)


def _crossed(series: CrossedSeries, limits: OneSidedLimits | None, pool_above: float) -> CrossedResult:
    whole = series.complete
    analysed = gauge_study if whole else incomplete_gauge_study
    study = analysed(series.values_um, limits=limits, pool_above=pool_above)
    percent = study.percent_of_tolerance
    low, high = study.gauge_sd_interval
    upper = high if np.isfinite(high) else None
    suitable = None if percent is None or not series.values_differ else percent <= ACCEPTABLE_PERCENT
    return CrossedResult(
        symbol=symbol_of(series.parameter),
        flank=series.flank,
        items=study.items,
        operators=study.operators,
        trials=study.trials,
        values=int(np.isfinite(series.values_um).sum()),
        method="analysis of variance" if whole else "mixed model",
        sum_of_squares=None if study.sum_of_squares is None else SquareSums(*astuple(study.sum_of_squares)),
        interaction_p=study.interaction_p,
        interaction_pooled=study.interaction_pooled,
        variance=Variances(*astuple(study.variance)),
        variance_unclipped=Variances(*astuple(study.variance_unclipped)),
        gauge_sd_um=study.gauge_sd,
        gauge_sd_interval_um=(low, upper),
        percent_of_total_variation=study.percent_of_total_variation,
        percent_of_tolerance=percent,
        limits_um=limits,
        distinct_categories=study.distinct_categories,
        U_um=None,
        suitable=suitable,
        proven=bool(suitable)
        and study.operators > 1
        and upper is not None
        and (percent or 0.0) * upper / study.gauge_sd <= ACCEPTABLE_PERCENT,
        series=series,
    )


def _reference(
    series: ReferenceSeries, limits: OneSidedLimits | None, stated: float | None
) -> ReferenceResult:
    two_sided = (limits[0], limits[1]) if limits is not None and limits[0] is not None else None
    study = reference_gear_study(
        series.values_um, series.reference_um, series.reference_uncertainty_um, limits=two_sided
    )
    certificate = certificate_comparison(study, series.reference_uncertainty_um, stated)
    verdicts = [index >= WANTED_INDEX for index in (study.Cg, study.Cgk) if index is not None]
    verdicts += [one for one in (certificate.agrees, certificate.spread_within) if one is not None]
    if not series.values_differ and two_sided is not None:
        verdicts.append(abs(study.bias) <= BIAS_SHARE * (two_sided[1] - two_sided[0]))
    bias_judged = study.sd > 0 and (study.Cgk is not None or certificate.agrees is not None)
    suitable = _suitable(verdicts, bias_judged=bias_judged)
    return ReferenceResult(
        symbol=symbol_of(series.parameter),
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
        U_um=study.U if study.sd > 0 else None,
        stated_um=stated,
        en=certificate.en,
        agrees=certificate.agrees,
        spread_within=certificate.spread_within,
        few=study.few,
        suitable=suitable,
        proven=bool(suitable) and _holds_at_bounds(study, stated),
        series=series,
    )


def _holds_at_bounds(study: ReferenceGearStudy, stated: float | None) -> bool:
    """Whether the one-sided 95 % bounds of Cgk (noncentral t) and spread (chi-square) are good enough too.

    Where Cgk is, Cg is, which is never smaller.
    """
    if study.Cgk is not None and index_lower_bound(study.Cgk, study.n) < WANTED_INDEX:
        return False
    wider = float(np.sqrt((study.n - 1) / chdtri(study.n - 1, 0.95)))
    return stated is None or 2 * study.sd * wider <= stated


def _linearity(references: Mapping[str, Sequence[ReferenceResult]]) -> Iterator[Linearity]:
    """Lines of bias against calibrated value, where there are gears enough that differ."""
    for key, some in references.items():
        for flank in dict.fromkeys(one.flank for one in some):
            own = [one for one in some if one.flank == flank]
            known = np.array([one.reference_um for one in own])
            if len(own) < FEWEST_GEARS or np.ptp(known) == 0:
                continue
            line = linearity_study(known, np.array([one.bias_um for one in own]))
            yield Linearity(
                key, flank, line.gears, line.slope, line.slope_interval, line.intercept, line.p,
                line.p < SIGNIFICANT_BELOW,
            )  # fmt: skip


def _suitable(verdicts: Sequence[bool], *, bias_judged: bool) -> bool | None:
    """A spread that fits makes no instrument good enough whose bias was not judged."""
    if not all(verdicts):
        return False
    return True if bias_judged else None


def _limits(criteria: Criteria | None, parameter: str, flank: Flank | None) -> OneSidedLimits | None:
    """Limits of the drawing; the tighter ones where a series names no flank."""
    found = [] if criteria is None else criteria.drawing_limits(parameter, flank)
    return min(found, key=lambda pair: pair[1] - (pair[0] or 0.0), default=None)


def _uncertainties(references: Mapping[str, Sequence[ReferenceResult]]) -> dict[str, float]:
    """U by parameter: the largest over flanks and gears, rounded up to a hundredth of a micrometre."""
    found = {}
    for key, some in references.items():
        known = [one.U_um for one in some if one.U_um is not None]
        if known and len(known) == len(some):
            found[key] = rounded_up(max(known))
    return found

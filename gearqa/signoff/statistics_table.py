"""Statistics of a sample, per parameter and flank: one value per gear, never per tooth.

One definition for each kind of quantity, none chosen by fit: slopes are taken as normal, totals, forms
and runout as lognormal; pitch quantities, each the largest of many, get distribution-free statements only.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from gearqa.arrays import Array, IntArray
from gearqa.evaluation.criteria import Criteria, Criterion
from gearqa.model.lot import (
    INDEPENDENT_OF_ONE_CYCLE,
    Distribution,
    FlankKey,
    LotGear,
    Moments,
    NormalityCheck,
    ParameterStatistics,
    flank_key,
)
from gearqa.model.part import Part
from gearqa.model.plan import Plan
from gearqa.model.results import GearResult
from gearqa.signoff.gear_states import Reading, limits_of, reading
from gearqa.signoff.production import ProductionFacts, spread_over_cycles
from gearqa.statistics import location, normality, outliers, performance, tolerance_intervals
from gearqa.statistics.families import sidak
from gearqa.statistics.wear import fit_wear
from gearqa.symbols import PARAMETERS, Flank, Parameter
from gearqa.wording.numbers import count_text

Pair = tuple[float, float]

FEWEST_FOR_SD = 3
FEWEST_FOR_INDEX = 10
FEWEST_FOR_OUTLIERS = 7
FEWEST_FOR_NORMALITY = 20
FEWEST_FOR_TREND = 8
FEWEST_CYCLES = 5
FAMILY_OUTLIERS = 0.01
FAMILY_NORMALITY = 0.05
FAMILY_TREND = 0.01
MANY = 1e9
"""Stands for an unlimited effective number, where cycle means happen to be equal."""

CPK_WITHHELD = "a ground lot with dresses is a moving process: no index of a stable process is stated"
Model = Literal["independent", "one cycle of several", "few cycles", "cycles"]


@dataclass(frozen=True, slots=True)
class Sample:
    """What all series of a sample have in common."""

    facts: ProductionFacts
    plan: Plan
    several_cycles: bool
    series: int
    """Number of series shown: false-alarm rates are kept over all together."""

    @classmethod
    def of(cls, criteria: Criteria, facts: ProductionFacts, plan: Plan, several_cycles: bool) -> Sample:
        """What the series of these criteria have in common."""
        series = sum(criterion.graded for criterion in criteria.of.values())
        return cls(facts, plan, several_cycles, series)


@dataclass(frozen=True, slots=True)
class Spread:
    """Mean and spread of one series on its working scale, with what intervals need."""

    n: float
    mean: float
    sd: float
    df: float
    mean_sd: float
    """Standard deviation behind the mean of `mean_n` values with `mean_df` degrees of freedom."""
    mean_n: float
    mean_df: float


def lot_statistics(
    gears: Sequence[GearResult],
    judged: Sequence[LotGear],
    part: Part,
    criteria: Criteria,
    sample: Sample,
) -> dict[str, dict[FlankKey, ParameterStatistics]]:
    """Statistics of every parameter and flank that the drawing or the job asks for."""
    places = [place for place, criterion in criteria.of.items() if criterion.graded]
    table: dict[str, dict[FlankKey, ParameterStatistics]] = {}
    for key, flank in places:
        one = _series(gears, judged, part, criteria.of[key, flank], key, flank, sample)
        table.setdefault(key, {})[flank_key(flank)] = one
    return table


def distribution_of(parameter: Parameter) -> Distribution:
    """The one model of each kind of quantity."""
    if parameter.family == "pitch":
        return "not assumed"
    return "normal" if parameter.signed else "lognormal"


def _series(  # noqa: PLR0917
    gears: Sequence[GearResult], judged: Sequence[LotGear], part: Part, criterion: Criterion, key: str,
    flank: Flank | None, sample: Sample,
) -> ParameterStatistics:  # fmt: skip
    facts, plan = sample.facts, sample.plan
    order = facts.order if facts.order is not None else range(len(gears))
    rows = [(i, one) for i in order if (one := reading(gears[i], key, flank)) is not None]
    index = [i for i, _ in rows]
    readings = [one for _, one in rows]
    parameter = PARAMETERS[key]
    kind = distribution_of(parameter)
    values = _values(gears, rows, key, flank, parameter)
    states = [v for gear in judged for v in gear.values if v.parameter == key and v.flank == flank_key(flank)]
    lower, upper = limits_of(criterion) if criterion.required else (None, None)
    expanded = _uncertainties([gears[i] for i in index], part, key)
    n = len(values)
    cycles = None if facts.cycles is None else np.asarray([facts.cycles[i] for i in index])
    positions = None if facts.positions is None else facts.positions[index]
    model = _model(cycles, plan.dress_cycles, sample.several_cycles)
    working = _working_scale(values, kind)
    wear = _wear(values, cycles, positions)
    highs, lows = np.array([r.high for r in readings]), np.array([r.low for r in readings])
    withheld = _withheld(values, working, kind, model, criterion)
    sides = _sides(kind, values, highs, lows, lower, upper)
    ppk, bound = (None, None) if withheld else _index(sides, cycles, model, plan.confidence)
    interval, why = _tolerance_interval(kind, values, highs, lows, lower, cycles, model, plan)
    if interval is not None and wear is not None and not spread_over_cycles(facts, facts.cycle_length):
        interval, why = None, "the values change within a dress cycle and the sample is not spread over it"
    mean_interval, sd_interval = _intervals(kind, values, working, cycles, model, plan.confidence)
    free_n = n if cycles is None or model == "independent" else len(set(cycles.tolist()))
    worst = max(range(n), key=lambda j: abs(readings[j].value)) if n else None
    check, no_check = _normality(working, kind, sample.series)
    quantiles, ordered = _probability_plot(working, kind)
    in_order = facts.order is not None and n >= FEWEST_FOR_TREND
    return ParameterStatistics(
        symbol=parameter.symbol,
        n=n,
        n_cycles=None if cycles is None else len(set(cycles.tolist())),
        statistic=_statistic(parameter),
        mean_um=float(values.mean()) if n else None,
        sd_um=float(values.std(ddof=1)) if n >= FEWEST_FOR_SD else None,
        mean_interval_um=mean_interval,
        sd_interval_um=sd_interval,
        upper_limit_um=upper,
        lower_limit_um=lower,
        u_um=max(expanded) if expanded else None,
        distribution=kind,
        interval_model=_model_in_words(model, cycles),
        ppk=ppk,
        ppk_lower_bound=bound,
        ppk_withheld_reason=withheld,
        cpk=None,
        cpk_withheld_reason=CPK_WITHHELD,
        tolerance_interval_um=interval,
        tolerance_interval_withheld_reason=why,
        tolerance_interval_class=_class_of(interval, criterion),
        share_below_worst=tolerance_intervals.distribution_free_coverage(free_n, plan.confidence)
        if n
        else None,
        confidence=plan.confidence,
        coverage=plan.coverage,
        worst_um=None if worst is None else readings[worst].value,
        worst_serial=None if worst is None else gears[index[worst]].serial,
        not_proven=sum(v.state == "not proven" for v in states),
        not_conforming=sum(v.state == "does not conform" for v in states),
        n_effective=_n_effective(values, cycles),
        outliers=_outliers(working, [gears[i].serial for i in index], sample.series),
        normality=check,
        normality_withheld_reason=no_check,
        trend_p=location.trend_test(values) if in_order else None,
        runs_p=location.runs_test(values) if in_order else None,
        wear_um_per_part=wear,
        maximum=_moments(highs) if parameter.signed and n else None,
        minimum=_moments(lows) if parameter.signed and n else None,
        serials=tuple(gears[i].serial for i in index),
        values_um=tuple(values.tolist()),
        max_values_um=tuple(highs.tolist()) if parameter.signed else (),
        min_values_um=tuple(lows.tolist()) if parameter.signed else (),
        plot_quantiles=quantiles,
        plot_values_um=ordered,
    )


def _statistic(parameter: Parameter) -> str:
    if parameter.signed:
        return "mean over the traces of the flank; index and limits from the largest and the smallest trace"
    if parameter.family in {"profile", "helix"}:
        return "largest over the traces of the flank"
    return "value of the gear"


def _values(
    gears: Sequence[GearResult], rows: Sequence[tuple[int, Reading]], key: str, flank: Flank | None,
    parameter: Parameter,
) -> Array:  # fmt: skip
    if not parameter.signed or flank is None:
        return np.array([one.value for _, one in rows])
    return np.array([gears[i].parameters[key].flanks[flank].mean_um for i, _ in rows])


def _uncertainties(gears: Sequence[GearResult], part: Part, key: str) -> list[float]:
    instruments = {gear.production.instrument if gear.production else None for gear in gears} or {None}
    return [u for name in instruments if (u := part.uncertainty(key, name)) is not None]


def _probability_plot(
    working: Array | None, kind: Distribution
) -> tuple[tuple[float, ...], tuple[float, ...]]:
    if working is None or working.size < 2:
        return (), ()
    quantiles, ordered = normality.probability_plot(working)
    return tuple(quantiles.tolist()), tuple((np.exp(ordered) if kind == "lognormal" else ordered).tolist())


def _working_scale(values: Array, kind: Distribution) -> Array | None:
    """Values, or their logarithms; None where a value of 0 has none."""
    if kind != "lognormal":
        return values
    return np.log(values) if values.size and values.min() > 0 else None


def _model(cycles: IntArray | None, stated: int | None, several: bool) -> Model:
    if cycles is None or stated == 1:
        return "independent"
    count = len(set(cycles.tolist()))
    if count == 1:
        return "one cycle of several" if several else "independent"
    return "cycles" if count >= FEWEST_CYCLES else "few cycles"


def _model_in_words(model: Model, cycles: IntArray | None) -> str:
    if model == "independent":
        return "assumes independent gears" if cycles is None else INDEPENDENT_OF_ONE_CYCLE
    assert cycles is not None
    if cycles.size == 0:
        return "no model: no gear has a value"
    if model == "one cycle of several":
        return "no model: one dress cycle says nothing of the spread between cycles"
    counts = np.unique(cycles, return_counts=True)[1]
    sizes = f"{counts.min()}" if counts.min() == counts.max() else f"{counts.min()} to {counts.max()}"
    return f"gears in {count_text(counts.size, 'dress cycle')}, {sizes} each; cycles vary at random"


def _spread(x: Array, cycles: IntArray | None, model: Model) -> Spread:
    """Moments of a series under its model. At least two values."""
    n = x.size
    if model == "independent" or cycles is None:
        mean, sd = float(x.mean()), float(x.std(ddof=1))
        return Spread(n, mean, sd, n - 1, sd, n, n - 1)
    one = tolerance_intervals.grouped_spread(x, cycles)
    return Spread(
        min(one.n_effective, MANY), one.mean, one.sd, one.df, one.sd_between, one.groups, one.groups - 1
    )


def _withheld(
    values: Array, working: Array | None, kind: Distribution, model: Model, criterion: Criterion
) -> str | None:
    """Why no index is stated; None if one is."""
    reasons = {
        "the largest of many pitches follows no fixed distribution: distribution-free statement only": kind
        == "not assumed",
        "not required by the drawing: no limit to compare with": not criterion.required,
        f"fewer than {FEWEST_FOR_INDEX} gears": values.size < FEWEST_FOR_INDEX,
        "all gears come from one dress cycle: the spread between cycles is not known": model
        == "one cycle of several",
        "a value of 0 has no logarithm": working is None,
        "all values are equal": values.size > 0 and values.std() == 0,
    }
    return next((reason for reason, holds in reasons.items() if holds), None)


def _sides(  # noqa: PLR0917
    kind: Distribution, values: Array, highs: Array, lows: Array, lower: float | None, upper: float | None
) -> list[tuple[Array, float]]:
    """(series, limit) of each one-sided index, turned so that the limit is an upper one."""
    if kind == "normal":
        sides = [(highs, upper)] if upper is not None else []
        return sides + ([(-lows, -lower)] if lower is not None else [])
    if kind == "lognormal" and values.size and values.min() > 0:
        logs = np.log(values)
        sides = [(logs, math.log(upper))] if upper is not None and upper > 0 else []
        return sides + ([(-logs, -math.log(lower))] if lower is not None and lower > 0 else [])
    return []


def _index(
    sides: Sequence[tuple[Array, float]], cycles: IntArray | None, model: Model, confidence: float
) -> tuple[float | None, float | None]:
    """Smaller one-sided index, and the smaller of the lower bounds."""
    sides = [(x, limit) for x, limit in sides if x.std() > 0]
    if not sides:
        return None, None
    ppk = min(performance.upper_index(float(x.mean()), float(x.std(ddof=1)), limit) for x, limit in sides)
    bounds = []
    for x, limit in sides:
        one = _spread(x, cycles, model)
        index = performance.upper_index(one.mean, one.sd, limit)
        bounds.append(performance.index_lower_bound(index, one.n, confidence, one.df))
    return ppk, min(bounds)


def _tolerance_interval(  # noqa: PLR0917
    kind: Distribution, values: Array, highs: Array, lows: Array, lower: float | None,
    cycles: IntArray | None, model: Model, plan: Plan,
) -> tuple[tuple[float | None, float] | None, str | None]:  # fmt: skip
    """Limits that hold the stated share of the lot with the stated confidence, or why there are none."""
    if values.size < FEWEST_FOR_SD:
        return None, f"fewer than {FEWEST_FOR_SD} gears"
    if model in {"few cycles", "one cycle of several"}:
        assert cycles is not None
        count = len(set(cycles.tolist()))
        return None, f"{count_text(count, 'dress cycle')}: at least {FEWEST_CYCLES} are needed"
    if kind == "not assumed":
        return _distribution_free(values, cycles, model, plan)
    if kind == "lognormal":
        if values.min() <= 0:
            return None, "a value of 0 has no logarithm"
        logs = np.log(values)
        if lower is None:
            return (None, math.exp(_limit(logs, cycles, model, plan.coverage, plan.confidence))), None
        highs, lows = logs, logs
    # two one-sided limits, each with half of what may stay outside and half of the doubt (Bonferroni)
    coverage, confidence = (1 + plan.coverage) / 2, (1 + plan.confidence) / 2
    high = _limit(highs, cycles, model, coverage, confidence)
    low = -_limit(-lows, cycles, model, coverage, confidence)
    return ((math.exp(low), math.exp(high)) if kind == "lognormal" else (low, high)), None


def _limit(x: Array, cycles: IntArray | None, model: Model, coverage: float, confidence: float) -> float:
    one = _spread(x, cycles, model)
    return one.mean + tolerance_intervals.one_sided_factor(one.n, coverage, confidence, one.df) * one.sd


def _distribution_free(
    values: Array, cycles: IntArray | None, model: Model, plan: Plan
) -> tuple[tuple[None, float] | None, str | None]:
    """The largest value is a limit if there are enough independent gears (or cycles)."""
    counted, have = "gear", values.size
    if model == "cycles" and cycles is not None:
        counted, have = "dress cycle", len(set(cycles.tolist()))
    need = tolerance_intervals.distribution_free_sample_size(plan.coverage, plan.confidence)
    if have >= need:
        return (None, float(values.max())), None
    return None, f"{count_text(have, counted)}; without a distribution {need} are needed"


def _class_of(interval: tuple[float | None, float] | None, criterion: Criterion) -> int | None:
    if interval is None or not criterion.tolerances:
        return None
    largest = max(abs(v) for v in interval if v is not None)
    return criterion.class_of(largest)


def _intervals(  # noqa: PLR0917
    kind: Distribution, values: Array, working: Array | None, cycles: IntArray | None, model: Model,
    confidence: float,
) -> tuple[Pair | None, Pair | None]:  # fmt: skip
    """Intervals of mean and standard deviation under the model of the series."""
    n = values.size
    if n < FEWEST_FOR_SD or model == "one cycle of several" or values.std() == 0:
        return None, None
    if kind == "lognormal" and working is not None:
        one = _spread(working, cycles, model)
        return location.lognormal_intervals(
            one.mean, one.sd, one.n, one.df, confidence=confidence, mean_df=one.mean_df
        )
    one = _spread(values, cycles, model)
    mean = location.mean_interval(one.mean, one.mean_sd, one.mean_n, one.mean_df, confidence)
    if kind == "normal":
        return mean, location.sd_interval(one.sd, one.df, confidence)
    if model == "independent" and n >= FEWEST_FOR_INDEX:
        return mean, location.sd_interval_any_shape(values, confidence)
    return mean, None


def _moments(x: Array) -> Moments:
    return Moments(float(x.mean()), float(x.std(ddof=1)) if x.size >= FEWEST_FOR_SD else None)


def _n_effective(values: Array, cycles: IntArray | None) -> float | None:
    if cycles is None or len(set(cycles.tolist())) < 2 or values.size <= len(set(cycles.tolist())):
        return None
    one = tolerance_intervals.grouped_spread(values, cycles)
    return location.effective_sample_size(values.size, values.size / one.groups, one.correlation)


def _wear(values: Array, cycles: IntArray | None, positions: Array | None) -> float | None:
    """Slope within dress cycles where it is significant. [um/part]"""
    if cycles is None or positions is None or values.size < FEWEST_FOR_SD:
        return None
    numbers = np.unique(cycles, return_inverse=True)[1]
    fit = fit_wear(numbers, positions, values)
    return fit.slope if fit.identifiable and fit.significant else None


def _outliers(working: Array | None, serials: Sequence[str], series: int) -> tuple[str, ...]:
    """Serials of flagged values; after each flag the rest is looked at again."""
    if working is None:
        return ()
    left = list(range(working.size))
    flagged = []
    significance = sidak(FAMILY_OUTLIERS, series)
    while len(left) >= FEWEST_FOR_OUTLIERS and working[left].std() > 0:
        g, which = outliers.grubbs_statistic(working[left])
        if g <= outliers.grubbs_critical(len(left), significance):
            break
        flagged.append(left.pop(which))
    return tuple(serials[i] for i in flagged)


def _normality(
    working: Array | None, kind: Distribution, series: int
) -> tuple[NormalityCheck | None, str | None]:
    if kind == "not assumed":
        return None, "no distribution is assumed"
    if working is None:
        return None, "a value of 0 has no logarithm"
    if working.size < FEWEST_FOR_NORMALITY:
        return None, f"fewer than {FEWEST_FOR_NORMALITY} gears"
    if working.std() == 0:
        return None, "all values are equal"
    a2, p = normality.anderson_darling(working)
    return NormalityCheck(a2, p, p < sidak(FAMILY_NORMALITY, series)), None

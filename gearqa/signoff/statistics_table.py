"""Statistics of a sample, per parameter and flank: one value per gear, never per tooth.

One definition for each kind of quantity, none chosen by fit: slopes are taken as normal, totals, forms
and runout as lognormal; pitch quantities, each the largest of many, get distribution-free statements only.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from typing import Final, Literal

import numpy as np

from gearqa.arrays import Array, IntArray
from gearqa.evaluation.criteria import Criteria, Criterion
from gearqa.evaluation.sizes import SizeDeviation, size_criterion
from gearqa.evaluation.value_states import Limits
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
from gearqa.model.results import GearResult, State
from gearqa.model.size import middle_mm
from gearqa.signoff.gear_states import Measured, limits_of, measured
from gearqa.signoff.production import ProductionFacts
from gearqa.statistics import location, normality, outliers, performance, tolerance_intervals
from gearqa.statistics.dress_cycles import Pivots, grouped_spread, pivots
from gearqa.statistics.families import sidak
from gearqa.statistics.wear import fit_wear
from gearqa.symbols import SIZE, Flank, Parameter, quantity_of
from gearqa.wording.numbers import count_text

Pair = tuple[float, float]

FEWEST_FOR_SD = 3
FEWEST_FOR_INDEX = 10
FEWEST_FOR_OUTLIERS = 7
FEWEST_FOR_NORMALITY = 20
FEWEST_FOR_TREND = 8
FEWEST_FOR_LOGNORMAL = 90
"""Fewer hold none of a second population of 5 % more often than in 1 of 100 samples (0.95^90 = 0.01)."""
UNSUSPECTED = 0.30
"""Significance at which no test may suspect too long an upper tail before a tolerance interval of lognormal
values is stated: what it claims lies beyond what was measured."""
SEED: Final = 20_250_304
"""Of the draws behind bounds with dress cycles; a record keeps it."""
DRAWS = 10_000
FAMILY_OUTLIERS = 0.01
FAMILY_NORMALITY = 0.05
FAMILY_TREND = 0.01

MOST_UM = 1e3
"""A bound beyond a millimetre says nothing and is not stated."""
NO_LOGARITHM = "a value of 0 has no logarithm"
ALL_EQUAL = "all values are equal"
CPK_WITHHELD = "a ground lot with dresses is a moving process: no index of a stable process is stated"
ONE_CYCLE = "all gears come from one dress cycle: the spread between cycles is not known"
ONE_A_CYCLE = "one gear of each dress cycle: the spread within cycles is not known"
ALIKE = "the gears of each dress cycle are alike: the spread within cycles is not known"
NO_BOUND = "too few dress cycles: no bound"
NOT_SPREAD = "the sample is not spread over the dress cycle"
NOT_LOGNORMAL = "the values do not look lognormal"
UNTOLD = "the largest values leave it open whether they are lognormal"
Model = Literal["independent", "one cycle of several", "cycles"]


@cache
def uniform_draws() -> Array:
    """What the bounds with dress cycles are drawn from, the same for ever.

    Made from the bit stream, which numpy keeps from version to version (NEP 19), unlike its generators.
    """
    raw = np.random.PCG64(SEED).random_raw(3 * DRAWS) >> np.uint64(12)
    return np.asarray(((raw + 0.5) * 2.0**-52).reshape(3, DRAWS))


@dataclass(frozen=True, slots=True)
class Sample:
    """What all series of a sample have in common."""

    gears: Sequence[GearResult]
    part: Part
    facts: ProductionFacts
    plan: Plan
    several_cycles: bool
    spread: bool
    """Whether the sample is spread over the dress cycle, as far as that is known."""
    census: bool
    """Whether the whole lot was measured: of what was counted nothing is said with a confidence."""
    series: int
    """Number of series shown: false-alarm rates are kept over all together."""


@dataclass(frozen=True, slots=True, eq=False)
class SampleSeries:
    """One parameter on one flank: a value per gear, in order of production where that is known."""

    parameter: Parameter
    criterion: Criterion
    plan: Plan
    serials: tuple[str, ...]
    readings: tuple[Measured, ...]
    values: Array
    """Slopes: the mean over the traces of the flank; else the value of the gear."""
    expanded: float | None
    """Expanded uncertainty U; the largest where instruments differ."""
    cycles: IntArray | None
    positions: Array | None
    model: Model
    family: int
    """Number of series over which the rate of false alarms is kept."""

    @property
    def kind(self) -> Distribution:
        """The one distribution assumed of each kind of quantity."""
        if self.parameter.family == "pitch":
            return "not assumed"
        return "normal" if self.parameter.signed else "lognormal"

    @property
    def highs(self) -> Array:
        """Largest trace of each gear."""
        return np.array([one.max_um for one in self.readings])

    @property
    def lows(self) -> Array:
        """Smallest trace of each gear."""
        return np.array([one.min_um for one in self.readings])

    @property
    def working(self) -> Array | None:
        """Values, or their logarithms; None where a value of 0 has none."""
        if self.kind != "lognormal":
            return self.values
        return np.log(self.values) if self.values.size and self.values.min() > 0 else None

    @property
    def limits(self) -> Limits:
        """Limits that count for conformity."""
        return limits_of(self.criterion) if self.criterion.required else (None, None)

    @property
    def cycle_count(self) -> int | None:
        """Dress cycles; None where they are not known."""
        return None if self.cycles is None else len(set(self.cycles.tolist()))

    @property
    def independent(self) -> int:
        """Gears, or dress cycles where gears of one cycle are taken as alike."""
        if self.cycle_count is None or self.model == "independent":
            return len(self.values)
        return self.cycle_count

    def pivots(self, x: Array) -> Pivots | None:
        """Draws of mean and sd of these values of the gears, where there are dress cycles."""
        return None if self.cycles is None else pivots(grouped_spread(x, self.cycles), uniform_draws())

    def limit(self, x: Array, coverage: float, confidence: float) -> float | None:
        """Upper limit of the stated share of a normal quantity; None where the cycles give none."""
        if self.model == "independent":
            factor = tolerance_intervals.one_sided_factor(x.size, coverage, confidence)
            return float(x.mean() + factor * x.std(ddof=1))
        known = self.pivots(x)
        return None if known is None else known.upper_limit(coverage, confidence)

    def index_bound(self, x: Array, limit: float) -> float | None:
        """Lower bound of the index of these values against an upper limit; None likewise."""
        if self.model == "independent":
            index = performance.upper_index(float(x.mean()), float(x.std(ddof=1)), limit)
            return performance.index_lower_bound(index, x.size, self.plan.confidence)
        known = self.pivots(x)
        return None if known is None else known.index_lower_bound(limit, self.plan.confidence)

    @property
    def no_bound(self) -> str:
        """Why dress cycles give no bound."""
        if self.cycle_count == len(self.values):
            return ONE_A_CYCLE
        return ALIKE if self.pivots(self.values) is None else NO_BOUND

    @property
    def tail_p(self) -> float | None:
        """Whether the logarithms have too long an upper tail; None where that cannot be tested."""
        x = self.working
        if self.kind != "lognormal" or x is None or x.size < FEWEST_FOR_TREND or x.std() == 0:
            return None
        return normality.upper_tail_p(x)


def lot_statistics(
    gears: Sequence[GearResult], judged: Sequence[LotGear], part: Part, criteria: Criteria,
    facts: ProductionFacts, plan: Plan, *, several_cycles: bool, spread: bool,
    census: bool,
) -> dict[str, dict[FlankKey, ParameterStatistics]]:  # fmt: skip
    """Statistics of every parameter and flank that the drawing or the job asks for, and of the size."""
    graded = {place: criterion for place, criterion in criteria.of.items() if criterion.graded}
    if part.tolerance.size is not None:
        graded[SIZE, None] = size_criterion(part.tolerance.size)
    sample = Sample(gears, part, facts, plan, several_cycles, spread, census, series=len(graded))
    table: dict[str, dict[FlankKey, ParameterStatistics]] = {}
    for (key, flank), criterion in graded.items():
        at = (key, flank_key(flank))
        states = [v.state for gear in judged for v in gear.all_values if (v.parameter, v.flank) == at]
        series = _series(sample, criterion, key, flank)
        table.setdefault(key, {})[at[1]] = _statistics(series, sample, states)
    return table


def _series(sample: Sample, criterion: Criterion, key: str, flank: Flank | None) -> SampleSeries:
    gears, part = sample.gears, sample.part
    facts, parameter = sample.facts, quantity_of(key)
    order = facts.order if facts.order is not None else range(len(gears))
    rows = [(i, one) for i in order if (one := measured(gears[i], key, flank, part)) is not None]
    index = [i for i, _ in rows]
    instruments = {row.instrument if (row := gears[i].production) else None for i in index} or {None}
    known = [u for name in instruments if (u := part.uncertainty(key, name)) is not None]
    values = [one.value_um for _, one in rows]
    if key == SIZE:
        values = [one.mean_um for _, one in rows if isinstance(one, SizeDeviation)]
    elif parameter.signed and flank is not None:
        values = [gears[i].parameters[key].flanks[flank].mean_um for i in index]
    cycles = None if facts.cycles is None else np.asarray([facts.cycles[i] for i in index])
    return SampleSeries(
        parameter=parameter,
        criterion=criterion,
        plan=sample.plan,
        serials=tuple(gears[i].serial for i in index),
        readings=tuple(one for _, one in rows),
        values=np.array(values),
        expanded=max(known, default=None),
        cycles=cycles,
        positions=None if facts.positions is None else facts.positions[index],
        model=_model(cycles, sample.plan.dress_cycles, sample.several_cycles),
        family=sample.series,
    )


def _statistics(series: SampleSeries, sample: Sample, states: Sequence[State]) -> ParameterStatistics:
    parameter, plan, values = series.parameter, series.plan, series.values
    n, (lower, upper) = len(values), series.limits
    wear = _wear(series)
    withheld = _withheld(series)
    ppk, bound = (None, None) if withheld else _index(series)
    if withheld is None and bound is None:
        withheld = series.no_bound
    interval, why = _tolerance_interval(series)
    facts = sample.facts
    mean_interval, sd_interval = _intervals(series)
    below = tolerance_intervals.distribution_free_coverage(series.independent, plan.confidence) if n else None
    if not sample.spread:
        bound = interval = mean_interval = sd_interval = below = None
        withheld = withheld or NOT_SPREAD
        why = why or NOT_SPREAD
    if sample.census:
        interval, why, below = None, "the whole lot was measured", None
    worst = max(range(n), key=lambda j: abs(series.readings[j].value_um)) if n else None
    check, no_check = _normality(series)
    quantiles, ordered = _probability_plot(series)
    in_order = facts.order is not None and n >= FEWEST_FOR_TREND
    highs, lows = (series.highs, series.lows) if parameter.signed else (np.array([]), np.array([]))
    return ParameterStatistics(
        symbol=parameter.symbol, n=n, n_cycles=series.cycle_count, statistic=_statistic(parameter),
        mean_um=float(values.mean()) if n else None,
        sd_um=float(values.std(ddof=1)) if n >= FEWEST_FOR_SD else None,
        mean_interval_um=mean_interval, sd_interval_um=sd_interval,
        upper_limit_um=upper, lower_limit_um=lower, u_um=series.expanded,
        distribution=series.kind, interval_model=_model_in_words(series),
        ppk=ppk, ppk_lower_bound=bound, ppk_withheld_reason=withheld,
        cpk=None, cpk_withheld_reason=CPK_WITHHELD,
        tolerance_interval_um=interval, tolerance_interval_withheld_reason=why,
        tolerance_interval_class=_class_of(interval, series.criterion),
        share_below_worst=below, confidence=plan.confidence, coverage=plan.coverage,
        worst_um=None if worst is None else series.readings[worst].value_um,
        worst_serial=None if worst is None else series.serials[worst],
        not_proven=states.count("not proven"), not_conforming=states.count("does not conform"),
        n_effective=_n_effective(series), outliers=_outliers(series),
        normality=check, normality_withheld_reason=no_check,
        trend_p=location.trend_test(values) if in_order else None,
        runs_p=location.runs_test(values) if in_order else None, wear_um_per_part=wear,
        maximum=_moments(highs) if highs.size else None, minimum=_moments(lows) if lows.size else None,
        serials=series.serials, values_um=tuple(values.tolist()),
        max_values_um=tuple(highs.tolist()), min_values_um=tuple(lows.tolist()),
        plot_quantiles=quantiles, plot_values_um=ordered, zero_mm=_zero(parameter, sample.part),
    )  # fmt: skip


def _zero(parameter: Parameter, part: Part) -> float | None:
    """What the size is counted from."""
    asked = part.tolerance.size
    return None if parameter.key != SIZE or asked is None else middle_mm(asked.lower_mm, asked.upper_mm)


def _statistic(parameter: Parameter) -> str:
    if parameter.key == SIZE:
        return "mean over the readings; index and limits from the largest and the smallest reading"
    if parameter.signed:
        return "mean over the traces of the flank; index and limits from the largest and the smallest trace"
    if parameter.family in {"profile", "helix"}:
        return "largest over the traces of the flank"
    return "value of the gear"


def _probability_plot(series: SampleSeries) -> tuple[tuple[float, ...], tuple[float, ...]]:
    working = series.working
    if working is None or working.size < 2:
        return (), ()
    quantiles, ordered = normality.probability_plot(working)
    shown = np.exp(ordered) if series.kind == "lognormal" else ordered
    return tuple(quantiles.tolist()), tuple(shown.tolist())


def _model(cycles: IntArray | None, stated: int | None, several: bool) -> Model:
    if cycles is None or stated == 1:
        return "independent"
    if len(set(cycles.tolist())) == 1:
        return "one cycle of several" if several else "independent"
    return "cycles"


def _model_in_words(series: SampleSeries) -> str:
    cycles = series.cycles
    if cycles is None:
        return "assumes independent gears"
    if series.model == "independent":
        return INDEPENDENT_OF_ONE_CYCLE
    if cycles.size == 0:
        return "no model: no gear has a value"
    if series.model == "one cycle of several":
        return "no model: one dress cycle says nothing of the spread between cycles"
    counts = np.unique(cycles, return_counts=True)[1]
    sizes = f"{counts.min()}" if counts.min() == counts.max() else f"{counts.min()} to {counts.max()}"
    return f"gears in {count_text(counts.size, 'dress cycle')}, {sizes} each; cycles vary at random"


def _withheld(series: SampleSeries) -> str | None:
    """Why no index is stated; None if one is."""
    values = series.values
    reasons = {
        "the largest of many pitches follows no fixed distribution: distribution-free statement only":
            series.kind == "not assumed",
        "not required by the drawing: no limit to compare with": not series.criterion.required,
        f"fewer than {FEWEST_FOR_INDEX} gears": values.size < FEWEST_FOR_INDEX,
        ONE_CYCLE: series.model == "one cycle of several",
        NO_LOGARITHM: series.working is None,
        ALL_EQUAL: values.size > 0 and values.std() == 0,
        NOT_LOGNORMAL: _not_lognormal(series),
    }  # fmt: skip
    return next((reason for reason, holds in reasons.items() if holds), None)


def _not_lognormal(series: SampleSeries) -> bool:
    """Whether the sample shows that values taken as lognormal are not; false alarms over all series."""
    p, working = series.tail_p, series.working
    if p is None or working is None:
        return False
    significance = sidak(FAMILY_NORMALITY, series.family)
    enough = working.size >= FEWEST_FOR_NORMALITY
    return p < significance or (enough and normality.anderson_darling(working)[1] < significance)


def _sides(series: SampleSeries) -> list[tuple[Array, float]]:
    """(values, limit) of each one-sided index, mirrored where the limit is a lower one."""
    lower, upper = series.limits
    if series.kind == "normal":
        sides = [(series.highs, upper)] if upper is not None else []
        return sides + ([(-series.lows, -lower)] if lower is not None else [])
    logs = series.working
    if series.kind == "lognormal" and logs is not None:
        sides = [(logs, math.log(upper))] if upper is not None and upper > 0 else []
        return sides + ([(-logs, -math.log(lower))] if lower is not None and lower > 0 else [])
    return []


def _index(series: SampleSeries) -> tuple[float | None, float | None]:
    """Smaller one-sided index, and the smaller of the lower bounds where all are finite."""
    sides = [(x, limit) for x, limit in _sides(series) if x.std() > 0]
    if not sides:
        return None, None
    ppk = min(performance.upper_index(float(x.mean()), float(x.std(ddof=1)), limit) for x, limit in sides)
    bounds = [series.index_bound(x, limit) for x, limit in sides]
    known = [bound for bound in bounds if bound is not None and math.isfinite(bound)]
    return ppk, min(known) if len(known) == len(bounds) else None


def _tolerance_interval(series: SampleSeries) -> tuple[tuple[float | None, float] | None, str | None]:
    """Limits that hold the stated share of the lot with the stated confidence, or why there are none."""
    plan, kind, working = series.plan, series.kind, series.working
    if series.values.size < FEWEST_FOR_SD:
        return None, f"fewer than {FEWEST_FOR_SD} gears"
    if series.model == "one cycle of several":
        return None, ONE_CYCLE
    if kind == "not assumed":
        return _distribution_free(series)
    if working is None:
        return None, NO_LOGARITHM
    if kind == "lognormal" and (doubt := _lognormal_doubt(series)):
        return None, doubt
    highs, lows = (working, working) if kind == "lognormal" else (series.highs, series.lows)
    if kind == "lognormal" and series.limits[0] is None:
        low, high = 0.0, series.limit(working, plan.coverage, plan.confidence)
    else:
        # two one-sided limits, each with half of what may stay outside and half of the doubt (Bonferroni)
        coverage, confidence = (1 + plan.coverage) / 2, (1 + plan.confidence) / 2
        high, mirrored = (series.limit(x, coverage, confidence) for x in (highs, -lows))
        low = math.nan if mirrored is None else -mirrored
    most = math.log(MOST_UM) if kind == "lognormal" else MOST_UM
    if high is None or not (abs(low) < MOST_UM and high < most):
        return None, series.no_bound
    if kind == "lognormal":
        return (None if series.limits[0] is None else math.exp(low), math.exp(high)), None
    return (low, high), None


def _lognormal_doubt(series: SampleSeries) -> str | None:
    """Why the sample cannot tell whether its largest values are those of a lognormal quantity."""
    if series.values.size < FEWEST_FOR_LOGNORMAL:
        return f"fewer than {FEWEST_FOR_LOGNORMAL} gears cannot tell whether values are lognormal"
    if _not_lognormal(series):
        return NOT_LOGNORMAL
    p = series.tail_p
    return UNTOLD if p is not None and p < UNSUSPECTED else None


def _distribution_free(series: SampleSeries) -> tuple[tuple[None, float] | None, str | None]:
    """The largest value is a limit if there are enough independent gears (or cycles)."""
    plan, have = series.plan, series.independent
    need = tolerance_intervals.distribution_free_sample_size(plan.coverage, plan.confidence)
    if have >= need:
        return (None, float(series.values.max())), None
    counted = count_text(have, "gear" if series.model == "independent" else "dress cycle")
    return None, f"{counted}; without a distribution {need} are needed"


def _class_of(interval: tuple[float | None, float] | None, criterion: Criterion) -> int | None:
    if interval is None:
        return None
    largest = max(abs(v) for v in interval if v is not None)
    return criterion.class_of(largest)


def _intervals(series: SampleSeries) -> tuple[Pair | None, Pair | None]:
    """Intervals of mean and standard deviation under the model of the series."""
    values, confidence = series.values, series.plan.confidence
    if values.size < FEWEST_FOR_SD or series.model == "one cycle of several" or values.std() == 0:
        return None, None
    if _not_lognormal(series):
        return None, None
    if series.kind == "lognormal" and series.working is not None:
        return _lognormal_intervals(series, series.working)
    if series.model == "cycles" and series.cycles is not None:
        one, known = grouped_spread(values, series.cycles), series.pivots(values)
        mean = location.mean_interval(one.mean, one.sd_between, one.groups, confidence=confidence)
        normal = series.kind == "normal" and known is not None
        return mean, known.sd_interval(confidence) if normal and known is not None else None
    n, sd = values.size, float(values.std(ddof=1))
    mean = location.mean_interval(float(values.mean()), sd, n, confidence=confidence)
    if series.kind == "normal":
        return mean, location.sd_interval(sd, n - 1, confidence)
    return mean, location.sd_interval_any_shape(values, confidence) if n >= FEWEST_FOR_INDEX else None


def _lognormal_intervals(series: SampleSeries, logs: Array) -> tuple[Pair | None, Pair | None]:
    """Intervals of mean and standard deviation of lognormal values, each where it is finite."""
    confidence = series.plan.confidence
    if series.model == "independent":
        return location.lognormal_intervals(
            float(logs.mean()), float(logs.std(ddof=1)), logs.size, confidence
        )
    known = series.pivots(logs)
    if known is None:
        return None, None
    variance = known.sd**2
    log_mean = known.mean + variance / 2
    log_sd = log_mean + (variance + np.log1p(-np.exp(-variance))) / 2
    ends = ((1 - confidence) / 2, (1 + confidence) / 2)
    mean, sd = (np.quantile(draws, ends).tolist() for draws in (log_mean, log_sd))
    return _lengths(mean), _lengths(sd)


def _lengths(logs: list[float]) -> Pair | None:
    low, high = logs
    return (math.exp(low), math.exp(high)) if high < math.log(MOST_UM) else None


def _moments(x: Array) -> Moments:
    return Moments(float(x.mean()), float(x.std(ddof=1)) if x.size >= FEWEST_FOR_SD else None)


def _n_effective(series: SampleSeries) -> float | None:
    n, cycles = series.values.size, series.cycle_count
    if series.cycles is None or cycles is None or cycles < 2 or n <= cycles:
        return None
    one = grouped_spread(series.values, series.cycles)
    return location.effective_sample_size(n, n / one.groups, one.correlation)


def _wear(series: SampleSeries) -> float | None:
    """Slope within dress cycles where it is significant. [um/part]"""
    if series.cycles is None or series.positions is None or series.values.size < FEWEST_FOR_SD:
        return None
    numbers = np.unique(series.cycles, return_inverse=True)[1]
    fit = fit_wear(numbers, series.positions, series.values)
    return fit.slope if fit.identifiable and fit.significant else None


def _outliers(series: SampleSeries) -> tuple[str, ...]:
    """Serials of flagged values; after each flag the rest is looked at again."""
    working = series.working
    if working is None:
        return ()
    left = list(range(working.size))
    flagged = []
    significance = sidak(FAMILY_OUTLIERS, series.family)
    while len(left) >= FEWEST_FOR_OUTLIERS and working[left].std() > 0:
        g, which = outliers.grubbs_statistic(working[left])
        if g <= outliers.grubbs_critical(len(left), significance):
            break
        flagged.append(left.pop(which))
    return tuple(series.serials[i] for i in flagged)


def _normality(series: SampleSeries) -> tuple[NormalityCheck | None, str | None]:
    working = series.working
    if series.kind == "not assumed":
        return None, "no distribution is assumed"
    if working is None:
        return None, NO_LOGARITHM
    if working.size < FEWEST_FOR_NORMALITY:
        return None, f"fewer than {FEWEST_FOR_NORMALITY} gears"
    if working.std() == 0:
        return None, ALL_EQUAL
    a2, p = normality.anderson_darling(working)
    return NormalityCheck(a2, p, p < sidak(FAMILY_NORMALITY, series.family)), None

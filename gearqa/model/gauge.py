"""What came of a study of a measuring instrument. Field names are the JSON keys."""

from __future__ import annotations

import math
from collections.abc import Mapping
from itertools import chain
from typing import TYPE_CHECKING, Annotated, Final, Literal, TypeVar

from gearqa.errors import Notice
from gearqa.late_dataclass import dataclass
from gearqa.model.declared import KNOWN, Simulated
from gearqa.model.measurement import InputFile
from gearqa.symbols import Flank

if TYPE_CHECKING:
    from gearqa.arrays import Array

Method = Literal["analysis of variance", "mixed model"]
"""Mixed model, by restricted maximum likelihood: of an incomplete or uneven study."""
StudyKind = Literal["crossed", "reference"]
Result = TypeVar("Result")

GOOD_PERCENT: Final = 10.0
ACCEPTABLE_PERCENT: Final = 30.0
"""Gauge spread in per cent of the tolerance: common practice (AIAG Measurement Systems Analysis, from
memory)."""
U_STEP_UM: Final = 0.01
ONE_GEAR: Final = "reference gear"
"""Item of a study on a calibrated gear that names none."""
WANTED_INDEX: Final = 1.33
"""Wanted Cg and Cgk: common practice, no source."""


@dataclass(frozen=True, eq=False, slots=True)
class CrossedSeries:
    """Values of one parameter (and flank) of a crossed study."""

    parameter: str
    flank: Flank | None
    items: tuple[str, ...]
    operators: tuple[str, ...]
    values_um: Array
    """NaN where there is none. [um], shape (items, operators, trials)"""

    @property
    def complete(self) -> bool:
        """Every operator measured every item equally often."""
        return math.isfinite(self.values_um.sum())  # NaN counts through

    @property
    def repeats_differ(self) -> bool:
        """Whether the values of some operator on some item do; True where nobody measured twice."""
        return self.values_um.shape[2] < 2 or _differ(self.values_um, 2)

    @property
    def values_differ(self) -> bool:
        """Whether the values of some item do."""
        return _differ(self.values_um, (1, 2))


@dataclass(frozen=True, eq=False, slots=True)
class ReferenceSeries:
    """Repeated values of one parameter (and flank) of a gear with a calibrated value."""

    parameter: str
    flank: Flank | None
    item: str
    values_um: Array
    """[um], shape (n,)"""
    reference_um: float
    reference_uncertainty_um: float | None

    @property
    def values_differ(self) -> bool:
        """Whether the values do."""
        return _differ(self.values_um, 0)


def _differ(values: Array, axis: int | tuple[int, ...]) -> bool:
    """Compared as they stand: a standard deviation of equal values may be rounded to more than 0."""
    import numpy as np

    return bool(np.any(np.fmax.reduce(values, axis=axis) > np.fmin.reduce(values, axis=axis)))


@dataclass(frozen=True, slots=True)
class StudyTable:
    """A table of study values that was read."""

    file: InputFile
    kind: StudyKind
    crossed: tuple[CrossedSeries, ...]
    references: tuple[ReferenceSeries, ...]
    notices: tuple[Notice, ...]
    simulated: Simulated


@dataclass(frozen=True, slots=True)
class SquareSums:
    """Sums of squares of the analysis of variance. [um^2]"""

    item: float
    operator: float
    interaction: float
    repeatability: float
    total: float


@dataclass(frozen=True, slots=True)
class Variances:
    """Variance components. [um^2]"""

    repeatability: float
    operator: float
    interaction: float
    item: float
    gauge: float


@dataclass(frozen=True, eq=False, slots=True)
class CrossedResult:
    """A crossed study of one parameter."""

    symbol: str
    flank: Flank | None
    items: int
    operators: int
    trials: int
    """Most trials of an item by one operator."""
    values: int
    method: Method
    sum_of_squares: SquareSums | None
    """None for a mixed model."""
    interaction_p: float | None
    interaction_pooled: bool
    variance: Variances
    """Negative components are set to 0; `variance_unclipped` keeps what came out."""
    variance_unclipped: Variances
    gauge_sd_um: float
    gauge_sd_interval_um: tuple[float, float | None]
    percent_of_total_variation: float | None
    percent_of_tolerance: float | None
    limits_um: tuple[float | None, float] | None
    """Limits of the drawing, or of its class."""
    distinct_categories: int | None
    U_um: float | None
    """None: without a calibrated reference the bias is not known, so there is no uncertainty."""
    suitable: bool | None
    """At most 30 % of the tolerance; None without limits, or where no values differ."""
    proven: bool
    """Suitable at the upper end of the interval too, and from two operators or more."""
    series: CrossedSeries


@dataclass(frozen=True, eq=False, slots=True)
class ReferenceResult:
    """Repeated measurement of one calibrated gear."""

    symbol: str
    flank: Flank | None
    item: str
    n: int
    reference_um: float
    reference_uncertainty_um: float | None
    mean_um: float
    """Mean of the repeated values."""
    bias_um: float
    bias_interval_um: tuple[float, float]
    bias_significant: bool
    sd_um: float
    cg: float | None
    cgk: float | None
    limits_um: tuple[float | None, float] | None
    """Limits of the drawing, or of its class."""
    U_um: float | None
    stated_um: float | None
    """U that the part file states for the instrument."""
    en: float | None
    """Bias against the certificate and the stated U."""
    agrees: bool | None
    spread_within: bool | None
    few: bool
    """Fewer than 25 values."""
    suitable: bool | None
    proven: bool
    """Suitable at the 95 % bounds of spread, Cg and Cgk too."""
    series: ReferenceSeries


@dataclass(frozen=True, slots=True)
class Linearity:
    """Whether the bias changes with the size of what is measured, from several calibrated gears."""

    parameter: str
    flank: Flank | None
    gears: int
    slope: float
    """Bias per micrometre of the calibrated value."""
    slope_interval: tuple[float, float]
    intercept_um: float
    p: float
    significant: bool
    """p below 0.05."""


@dataclass(frozen=True, eq=False, slots=True)
class CrossedFlanks:
    """A parameter of a crossed study: the flank that spreads most, and all where there are several."""

    worst: CrossedResult
    series: Annotated[tuple[CrossedResult, ...], KNOWN]


@dataclass(frozen=True, eq=False, slots=True)
class ReferenceFlanks:
    """A parameter of a calibrated gear: the flank with the largest U, and all where there are several."""

    worst: ReferenceResult
    series: Annotated[tuple[ReferenceResult, ...], KNOWN]


@dataclass(frozen=True, eq=False, slots=True)
class GaugeResult:
    """A gauge study: every parameter, and the uncertainties that follow."""

    kind: StudyKind
    part: Mapping[str, str] | None
    inputs: tuple[InputFile, ...]
    simulated: Simulated
    factor: str
    """What the operators of a crossed study are: operators, set-ups, days."""
    pool_above: Annotated[float, {"minimum": 0, "maximum": 1}]
    crossed: Mapping[str, tuple[CrossedResult, ...]]
    references: Mapping[str, tuple[ReferenceResult, ...]]
    uncertainty_um: Mapping[str, Annotated[float, {"exclusiveMinimum": 0}]]
    """U by parameter, for part.toml; the largest over flanks and reference gears."""
    linearity: tuple[Linearity, ...]
    """One entry for each parameter and flank with three calibrated gears or more."""
    cautions: tuple[Notice, ...]
    warnings: tuple[Notice, ...] = ()
    standard: str | None = None
    """Tolerance system of the drawing; null without one."""

    @property
    def crossed_series(self) -> tuple[CrossedResult, ...]:
        """Every flank of every parameter of a crossed study."""
        return tuple(chain.from_iterable(self.crossed.values()))

    @property
    def reference_series(self) -> tuple[ReferenceResult, ...]:
        """Every flank and calibrated gear of every parameter."""
        return tuple(chain.from_iterable(self.references.values()))

    @property
    def all_series(self) -> tuple[CrossedResult | ReferenceResult, ...]:
        """Every series of every parameter, crossed ones first."""
        return (*self.crossed_series, *self.reference_series)

    @property
    def parameters(self) -> Mapping[str, CrossedFlanks | ReferenceFlanks]:
        """By parameter: of several flanks the worst, and all of them."""
        found: dict[str, CrossedFlanks | ReferenceFlanks] = {
            key: CrossedFlanks(max(some, key=lambda one: one.gauge_sd_um), _several(some))
            for key, some in self.crossed.items()
        }
        return found | {
            key: ReferenceFlanks(max(some, key=_spread), _several(some))
            for key, some in self.references.items()
        }

    @property
    def suitable(self) -> bool | None:
        """False if any parameter is not suitable, None if any (or all) could not be judged, else True."""
        found = [one.suitable for one in self.all_series]
        if False in found:
            return False
        return None if None in found or not found else True


def _several(some: tuple[Result, ...]) -> tuple[Result, ...]:
    return some if len(some) > 1 else ()


def _spread(one: ReferenceResult) -> float:
    return one.U_um if one.U_um is not None else abs(one.bias_um) + 2 * one.sd_um


def rounded_up(U: float) -> float:
    """An uncertainty as it is stated: rounded up to a hundredth of a micrometre. [um]

    >>> rounded_up(1.1203), rounded_up(1.12)
    (1.13, 1.12)
    """
    return round(math.ceil(U / U_STEP_UM - 1e-9) * U_STEP_UM, 9)

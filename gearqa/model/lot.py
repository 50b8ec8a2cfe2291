"""Result of a lot sign-off. Field names are the keys of the JSON result.

A trailing underscore (`class_`) avoids a Python keyword and is dropped in JSON. The tool recommends;
a person's `disposition` is a field of its own and never replaces the recommendation.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import field
from typing import Annotated, Any, Final, Literal

from gearqa.errors import Notice
from gearqa.late_dataclass import dataclass
from gearqa.model.declared import KNOWN, Identity, Simulated
from gearqa.model.measurement import FIRST_MEASUREMENT, InputFile, Production
from gearqa.model.results import State
from gearqa.symbols import Flank, TraceKind
from gearqa.wording.sentences import place_text

LotDecision = Literal["release", "hold", "reject"]
FlankKey = Literal["left", "right", "both"]
InLot = Literal["shown", "not shown", "refuted"]
Distribution = Literal["normal", "lognormal", "not assumed"]
SAMPLING_TABLE: Final = "ISO 2859-1"
METHODS: Final[Mapping[str, tuple[str, str]]] = {
    "ISO 14253-1": ("2017", "conformity and nonconformity proven with the stated probability"),
    "JCGM 106": ("2012", "probability of conformity without prior knowledge of the process"),
    "ISO 22514-2": ("2017", "performance indices, one definition for each kind of quantity"),
    "ISO 16269-6": (
        "2014",
        "statistical tolerance intervals: exact factors for independent gears, generalised pivotal "
        "quantities where dress cycles are known",
    ),
    SAMPLING_TABLE: (
        "1999",
        "table of single plans for normal inspection, used for one lot without the switching rules; the "
        "edition of 2026 was not at hand",
    ),
}
"""Standard of a method -> edition that is followed, and for what; the sampling table where a plan uses it."""
INDEPENDENT_OF_ONE_CYCLE: Final = "independent gears of one dress cycle"
"""Interval model of gears whose dress cycle is known and the only one of the lot."""
WholePlan = Annotated[
    Mapping[str, Any], {"properties": {"schema": {"const": "gearqa.plan/1"}}, "required": ["schema"]}
]
"""With the keys of a plan file."""


@dataclass(frozen=True, slots=True)
class LotReason:
    """A row of the decision table that fits; the first one decides."""

    code: str
    sentence: str
    row: str
    """Number of the row in the decision table."""
    decision: LotDecision
    """What this row says on its own."""
    decides: bool


@dataclass(frozen=True, slots=True)
class AppliedDecisionRule:
    """How single values were judged."""

    rule: str
    confidence: float
    guard: float | None
    """Guard band in standard uncertainties u; None where no uncertainty is known."""


@dataclass(frozen=True, slots=True)
class SamplingResult:
    """The sampling plan, what was measured, and what that plan lets through."""

    scheme: str
    edition: str | None
    basis: str
    """Where the required number comes from, in words."""
    code_letter: str | None
    code_letter_of_lot: str | None
    """Letter that lot size and level gave, before arrows were followed."""
    required_n: int | None
    ac: int | None
    re: int | None
    k: float | None
    measured_n: int
    nonconforming: int
    """Gears that count as not conforming (the same as d_low)."""
    d_low: int
    """Gears that count as not conforming."""
    d_high: int
    """d_low and the gears that are open: not proven (as the rule counts) or not assessed."""
    accept: bool | None
    aql: float | None
    lq: float | None
    consumer_risk: float | None
    """Planned: how often a lot of limiting quality may pass."""
    consumer_risk_measured: float | None
    """The same for the number of gears really measured."""
    producer_risk_at_aql: float | None
    p95: float | None
    """Fraction nonconforming that passes the plan really used with 95 % probability."""
    p50: float | None
    """The same with 50 %."""
    p10: float | None
    """The same with 10 %."""
    passes_at_one_percent: float | None
    """How often a process with 1 % nonconforming passes the plan really used."""
    operating_characteristic: tuple[tuple[float, float], ...]
    """Points (fraction nonconforming, probability of acceptance) of the plan really used."""
    variables: tuple[VariablesIndex, ...] = ()


@dataclass(frozen=True, slots=True)
class VariablesIndex:
    """Quality index Q of one parameter and flank in a plan by variables."""

    parameter: str
    flank: FlankKey
    q: float | None
    accept: bool | None


@dataclass(frozen=True, slots=True)
class MasterQualityOfLot:
    """What can be stated about master quality."""

    in_sample: bool | None
    in_lot: InLot
    confidence: float
    coverage: float
    share_lower_bound: float
    share_upper_bound: float
    proven: int
    """Gears proven master quality."""
    refuted: int
    """Gears proven not to be."""
    class_: int
    """The class that counts as master quality."""
    parameters: tuple[str, ...]
    sentence: str


@dataclass(frozen=True, slots=True)
class NormalityCheck:
    """Anderson-Darling test of the values (or of their logarithms)."""

    a_squared: float
    p: float
    departure: bool


@dataclass(frozen=True, slots=True)
class Moments:
    """Mean and standard deviation of one series."""

    mean_um: float
    sd_um: float | None


@dataclass(frozen=True, slots=True)
class ParameterStatistics:
    """One parameter on one flank over the gears of the sample, one value per gear."""

    symbol: str
    n: int
    n_cycles: int | None
    statistic: str
    """Which value of a gear was taken, in words."""
    mean_um: float | None
    sd_um: float | None
    mean_interval_um: tuple[float, float] | None
    sd_interval_um: tuple[float, float] | None
    upper_limit_um: float | None
    lower_limit_um: float | None
    u_um: float | None
    """Expanded uncertainty U; the largest where instruments differ."""
    distribution: Distribution
    interval_model: str
    """Under which model intervals and bounds hold."""
    ppk: float | None
    """Performance index, smaller side; of totals, forms and runout if lognormal."""
    ppk_lower_bound: float | None
    """Lower confidence bound of the index."""
    ppk_withheld_reason: str | None
    cpk: float | None
    """Always None: see cpk_withheld_reason."""
    cpk_withheld_reason: str
    tolerance_interval_um: tuple[float | None, float] | None
    """Holds the stated share of the lot with the stated confidence."""
    tolerance_interval_withheld_reason: str | None
    tolerance_interval_class: int | None
    """Class that the tolerance interval meets."""
    share_below_worst: float | None
    """Share that lies within the worst value seen, with the given confidence, whatever the distribution."""
    confidence: float
    coverage: float
    worst_um: float | None
    worst_serial: str | None
    not_proven: int
    not_conforming: int
    n_effective: float | None
    outliers: tuple[str, ...]
    normality: NormalityCheck | None
    normality_withheld_reason: str | None
    trend_p: float | None
    """p-value of a trend in order of production."""
    runs_p: float | None
    wear_um_per_part: float | None
    """Slope within dress cycles, where it is significant."""
    maximum: Moments | None = None
    """Slopes: of the largest trace of each gear."""
    minimum: Moments | None = None
    serials: tuple[str, ...] = ()
    values_um: tuple[float, ...] = ()
    """Values in the order of `serials`: order of production where known, else of the input."""
    max_values_um: tuple[float, ...] = ()
    min_values_um: tuple[float, ...] = ()
    plot_quantiles: tuple[float, ...] = ()
    """Probability plot: normal quantiles of the ordered values (or logarithms)."""
    plot_values_um: tuple[float, ...] = ()
    zero_mm: Annotated[float | None, KNOWN] = None
    """Size only: the middle of its limits, from which the values are counted."""


SeriesTable = Mapping[str, Mapping[FlankKey, ParameterStatistics]]
"""By parameter and flank."""


@dataclass(frozen=True, slots=True)
class ValueState:
    """One value of one gear under the measurement uncertainty."""

    parameter: str
    flank: FlankKey
    value_um: float
    """Value of largest magnitude over the traces, signed, not rounded."""
    lower_limit_um: float | None
    upper_limit_um: float | None
    u_um: float | None
    probability_of_conformity: float | None
    """That the true value lies inside its limits; None without uncertainty."""
    state: State
    """State of the value under the measurement uncertainty."""
    counts_as: State
    """How the decision rule counts that state."""
    class_indicated: int | None
    class_proven: int | None


@dataclass(frozen=True, slots=True)
class LimitCurveState:
    """The worst trace of one flank between the limit curves of the drawing."""

    kind: TraceKind
    flank: Flank
    margin_um: float
    """Smallest distance to either curve; negative where no shift brings the trace inside."""
    tooth: int
    u_um: float | None
    """Expanded uncertainty U of the total deviation; null if unknown: judged by value."""
    state: State
    counts_as: State
    probability_of_conformity: Annotated[float | None, KNOWN] = None
    """That the trace truly lies between its curves; None without uncertainty."""


@dataclass(frozen=True, slots=True)
class LotGear:
    """One gear of the sample."""

    serial: str
    measurement: Annotated[str, KNOWN] = field(default=FIRST_MEASUREMENT, kw_only=True)
    """Label of the measurement that counts."""
    state: State
    """State of the gear under the measurement uncertainty."""
    counts_as: State
    """How the decision rule counts that state."""
    probability_of_conformity: float | None
    """Of this one gear: the smallest over its values, limit curves and zones; null without uncertainty, and
    where a value is missing and none fails.
    """
    probability_parameter: str | None
    probability_flank: FlankKey | None
    class_indicated: int | None
    class_proven: int | None
    class_complete: bool
    """False if something graded was not assessed."""
    master_quality: State
    """Whether the gear is proven master quality, as a state."""
    missing: tuple[str, ...]
    """Required parameters (with flank) that were not assessed."""
    values: tuple[ValueState, ...]
    production: Production | None = None
    limit_curves: Annotated[tuple[LimitCurveState, ...], KNOWN] = ()
    """Against the limit curves of the drawing, a flank each."""
    zones: Annotated[tuple[ValueState, ...], KNOWN] = ()
    """Within the zones that the drawing requires, a deviation and flank each, without class."""
    warnings: Annotated[tuple[Notice, ...], KNOWN] = ()
    """What grading warns of, the reasons of what was not assessed among it."""
    size: Annotated[ValueState | None, KNOWN] = None
    """The size of the teeth, where the drawing limits it: from the middle of its limits, without class."""

    @property
    def all_values(self) -> tuple[ValueState, ...]:
        """All values that count for conformity, those without class too."""
        return (*self.values, *(() if self.size is None else (self.size,)), *self.zones)


@dataclass(frozen=True, slots=True)
class MeasuredOnce:
    """One measurement of a gear that was measured more than once."""

    measurement: str
    used: bool
    state: State
    """State of the gear by this measurement, under the measurement uncertainty."""
    counts_as: State
    """How the decision rule counts that state."""
    class_: int | None
    class_complete: bool
    beyond: bool
    warnings: Annotated[tuple[Notice, ...], KNOWN] = ()
    """What grading warns of."""


@dataclass(frozen=True, slots=True)
class Repeat:
    """A gear that was measured more than once, and which measurement counts."""

    serial: str
    use: str
    """Label of the measurement that counts."""
    reason: str
    """Why, as the plan says; empty: it is the first one."""
    by: str
    """Who says so."""
    measurements: tuple[MeasuredOnce, ...]

    @property
    def used(self) -> MeasuredOnce:
        """The measurement that counts."""
        return next(one for one in self.measurements if one.used)


@dataclass(frozen=True, slots=True)
class Exclusion:
    """A measured gear left out of the sample, and why."""

    serial: str
    reason: str


@dataclass(frozen=True, slots=True)
class DecisionRisks:
    """Risks of the decision as it is made: by the plan alone, by measuring alone, and by both."""

    good_quality: float
    """Fraction nonconforming that the producer's risk is stated for: the AQL, else p95 of the plan."""
    producer_plan: float
    """How often a process of that quality is not accepted, were every gear judged rightly."""
    producer: float | None
    """The same as measured here, with the spread seen; of the parameter that suffers most."""
    producer_measuring: float | None
    """Share of the good gears of that process that are not accepted one by one."""
    producer_parameter: str | None
    producer_flank: FlankKey | None
    bad_quality: float
    """Fraction nonconforming that the consumer's risk is stated for: the limiting quality, else p10."""
    consumer_plan: float
    """How often a lot of that quality is accepted, were every gear judged rightly."""
    consumer: float | None
    """The same as measured here, with the spread seen; of the parameter that suffers most."""
    consumer_at_most: float
    """The same at most, wherever beyond the limit the gears lie."""
    consumer_measuring: float
    """How often one nonconforming gear counts as conforming, at most."""
    unknown_reason: str | None
    """Why there are no figures with the spread seen."""


@dataclass(frozen=True, slots=True)
class LeftOut:
    """A measured gear that does not belong to the sample; it was judged like the others."""

    serial: str
    state: State
    """State of the gear under the measurement uncertainty."""
    reason: str
    how: Literal["excluded", "unselected", "sorted out"]


@dataclass(frozen=True, slots=True)
class Sorted:
    """Result of measuring a whole lot; gears that are open are in neither list."""

    accepted: tuple[str, ...]
    rejected: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class CycleCoverage:
    """Where in the dress cycle the sample was measured, the parts of all measured cycles together."""

    cycle_length: float
    """Lot size by number of dress cycles."""
    cycles: int
    """Dress cycles of the lot: as the plan states, else those of the production table."""
    longest_gap: tuple[int, int] | None
    """First and last part since dress of the longest stretch without a measured part."""

    measure: tuple[int, ...]
    """Parts since dress that would close a stretch longer than half a cycle; empty where there is none."""

    @property
    def spread(self) -> bool:
        """Whether no stretch without a measured part is longer than half a cycle."""
        return not self.measure


@dataclass(frozen=True, slots=True)
class Disposition:
    """What a person decided, beside what the tool recommends."""

    decision: LotDecision
    """What the person decided; the recommendation is unchanged."""
    by: str
    date: str
    reason: str = ""
    concession: str = ""


@dataclass(frozen=True, slots=True)
class LotOptions:
    """Facts of the lot for certificate and record that were not measured."""

    order: str = ""
    customer: str = ""
    inspector: str = ""
    date: str = ""
    remark: str = ""
    restricted_to: tuple[str, ...] = ()
    """Serials that the inspection was restricted to."""


@dataclass(frozen=True, slots=True)
class LotResult:
    """A lot sign-off: recommendation, reasons, and everything they rest on."""

    standard: str
    part: Identity
    inputs: tuple[InputFile, ...]
    simulated: Simulated
    lot_id: str | None
    decision: LotDecision
    """What gearqa recommends; see disposition for what a person decided."""
    reasons: tuple[LotReason, ...]
    """Every row of the decision table that fits; the first one decides."""
    lot_size: int | None
    """Without the gears that were sorted out of the lot."""
    sample_size: int
    class_: int | None
    """Worst class of the sample; None if a gear is beyond all classes."""
    class_complete: bool
    """False if something graded was not assessed."""
    beyond: bool
    """Whether a gear is beyond all classes."""
    conforming: int
    not_conforming: int
    not_proven: int
    not_assessed: int
    master_quality: MasterQualityOfLot
    """What can be stated about master quality, in the sample and in the lot."""
    decision_rule: AppliedDecisionRule
    sampling: SamplingResult
    risks: DecisionRisks | None
    """None where the plan has none to state: after a census, too few gears, by variables."""
    drawn: str
    segregate: tuple[str, ...]
    segregated_to: str
    remeasure: tuple[str, ...]
    excluded: tuple[Exclusion, ...]
    repeats: Annotated[tuple[Repeat, ...], KNOWN]
    """Gears that were measured more than once."""
    left_out: tuple[LeftOut, ...]
    """Measured gears that do not belong to the sample."""
    sorted_out: tuple[Exclusion, ...]
    """Gears that a person took out; one of a drawn sample stays counted."""
    sorted: Sorted | None
    """Of a lot that was measured whole; None of a sample."""
    cautions: tuple[Notice, ...]
    notes: tuple[Notice, ...]
    """What a reader must know about the method."""
    gears: tuple[LotGear, ...]
    parameters: SeriesTable
    disposition: Disposition | None
    options: LotOptions
    warnings: tuple[Notice, ...] = ()
    """Notices of the reading and grading of the folder."""
    order_known: bool = False
    cycle_coverage: CycleCoverage | None = None
    """None where the length of a cycle or the parts since dress are not known."""
    plan: WholePlan = field(default_factory=dict)
    """The plan whole, its defaults too: gearqa schema plan."""
    editions: Mapping[str, str] = field(default_factory=dict)
    """Standard -> edition that was followed, and how."""


def flank_key(flank: Flank | None) -> FlankKey:
    """Key of a flank in lot results: `both` for what has no flank."""
    return "both" if flank is None else flank


def series_text(key: str, flank: FlankKey) -> str:
    """A series as people name it, by symbol and flank.

    >>> series_text("helix_slope", "left"), series_text("runout", "both")
    ('fHβ left', 'Fr')
    """
    return place_text(key, None if flank == "both" else flank)

"""What a grinder does over parts and dress cycles. Field names are the keys of `drift --json`.

A trailing underscore is dropped in JSON. Micrometres throughout; `cycle` counts dress cycles of one
part and grinder in production order from 1, `dress` is the label on the shop floor.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import field
from datetime import datetime
from typing import Annotated, Final, Literal, NamedTuple

from gearqa.arrays import Array, IntArray
from gearqa.errors import Notice
from gearqa.late_dataclass import dataclass
from gearqa.model.declared import Simulated
from gearqa.model.diagnosis import CorrectionVerdict, GrinderDiagnosis
from gearqa.model.measurement import InputFile
from gearqa.symbols import SIZE, Flank

WavesAsShapes = Mapping[tuple[str, int], float]
"""Slopes and crownings that a radial wave can make on traced teeth that all see it at the same place:
parameter and order -> um per um of the wave."""
SeriesKey = tuple[str, str, str, Flank | None]
"""Part, grinder, parameter, flank."""
LimitKind = Literal["acceptance limit", "tolerance limit", "none"]
ChartName = Literal["levels", "levels_moving_range", "residual_ewma"]
WORTH_MEASURING: Final = 0.001
"""Chance to lie beyond a limit from which a part in cycles under suspicion is worth measuring."""
LEAST_OFFSET_UM: Final = 0.05
"""A smaller offset of the level is not worth a correction."""
COMPONENTS: Final[Mapping[str, str]] = {
    "eccentricity_0_deg": "eccentricity at 0°",
    "eccentricity_90_deg": "eccentricity at 90°",
    **{f"runout_order_{n}": f"order {n} of runout" for n in range(1, 13)},
    "pitch_order_1": "order 1 of pitch",
    "pitch_ramp": "ramp of pitch",
    "tilt_0_deg": "tilt at 0°",
    "tilt_90_deg": "tilt at 90°",
    "twist": "twist",
}
"""Physical errors that are followed: key -> name. They have no limits and no control charts: their levels
and labels name what changed. Orders and ramp go by their size; eccentricity (order 1 of runout) and tilt as
vectors too, clockwise from tooth 1 as seen from the datum face."""
DRIFT_PARAMETERS: tuple[str, ...] = (
    "single_pitch", "cumulative_pitch", "runout", "profile_slope", "profile_crowning", "helix_slope",
    "helix_crowning", SIZE, *COMPONENTS,
)  # fmt: skip
"""Followed by default: the leading indicators of a grinder, and what physically changed."""


class Observation(NamedTuple):
    """One parameter of one flank of one gear, with when and on what it was made; a tuple, since histories
    hold millions and a dataclass takes four times as long to make."""

    part: str
    grinder: str
    wheel: str | None
    dress: str | None
    parts_since_dress: int | None
    finished_at: datetime | None
    serial: str
    parameter: str
    flank: Flank | None
    mean_um: float
    """Mean over the traces of the flank: what is charted."""
    min_um: float
    max_um: float
    """Extreme traces: what conformity goes by."""
    limit_low: float | None = None
    limit_high: float | None = None
    """Limits of the drawing or class. [um]"""
    U: float | None = None
    """Expanded uncertainty, k = 2. [um]"""
    simulated: bool = False
    revision: str = ""
    """Revision of the part data that the limits come from."""
    fixture: str | None = None
    instrument: str | None = None
    operator: str | None = None
    temperature_degC: float | None = None


@dataclass(frozen=True, slots=True)
class MadePart:
    """A part of the production table of which nothing was measured."""

    part: str
    grinder: str
    serial: str
    wheel: str | None = None
    dress: str | None = None
    parts_since_dress: int | None = None
    finished_at: datetime | None = None


@dataclass(frozen=True, slots=True)
class Reference:
    """Cycles that the control limits come from; frozen when chosen on purpose."""

    from_: int
    to: int
    frozen: bool = False


@dataclass(frozen=True, slots=True)
class DriftSettings:
    """Choices of one analysis."""

    risk: float = 0.01
    """Risk that the last part before a dress lies beyond the limit."""
    confidence: float = 0.95
    family_false_alarm: float = 0.01
    """Chance of a false chart alarm per dress cycle, over all series together."""
    ewma_weight: float = 0.2
    parameters: tuple[str, ...] | None = None
    """Parameters that are followed; None: the usual ones."""
    reference: Reference | None = None
    """For every series that has none of its own in `references`."""
    references: Mapping[SeriesKey, Reference] = field(default_factory=dict)
    since: datetime | None = None
    """Signals from then on set the exit status; without it those of the current cycle."""
    until: datetime | None = None
    """Later gears are left out."""
    last_cycles: int | None = None
    """Earlier cycles are left out (their numbers are kept)."""
    cycle_time_s: float | None = None
    """Floor-to-floor time of one gear; estimates parts since dress where they are missing."""
    measuring_time_s: float | None = None
    escaped_parts: int | None = None
    """Parts that may be made before a change is seen; None: one dress cycle."""
    parts_per_dress: Mapping[str, int] = field(default_factory=dict)
    """Usual dress interval by grinder, where the production table does not show it."""
    waves_as_shapes: Mapping[str, WavesAsShapes] = field(default_factory=dict)
    """By part."""


@dataclass(frozen=True, slots=True)
class FamilyRates:
    """Chance of any false claim of a kind in one report, over all its series together."""

    wear: float = 0.01
    level: float = 0.03
    """Level change, trend, or a level that moved."""
    labels: float = 0.01


FAMILY: Final = FamilyRates()


@dataclass(frozen=True, slots=True)
class Sentence:
    """A reason or a piece of advice: stable code and sentence."""

    code: str
    sentence: str


class CyclePlace(NamedTuple):
    """A dress cycle with its labels on the shop floor."""

    cycle: int | None
    dress: str | None
    wheel: str | None
    at: datetime | None
    """When its first gear was made."""


@dataclass(frozen=True, slots=True)
class CycleLevel:
    """Level after the dress of one cycle, at its first part."""

    cycle: int
    dress: str | None
    level_um: float
    se_um: float | None
    """None: too few gears to know the scatter."""
    wheel: str | None
    at: datetime | None
    """When its first gear was made."""


@dataclass(frozen=True, slots=True)
class LevelChange:
    """A change of the level from one cycle to the next."""

    cycle: int
    """First cycle at the new level."""
    dress: str | None
    wheel: str | None
    at: datetime | None
    """When its first gear was made."""
    size_um: Annotated[float, {"type": ["number", "null"]}]
    """New less old level."""
    size_interval_um: tuple[float, float] | None
    event: str | None
    """The nearest of possible_causes."""
    p: float
    cycle_low: int
    cycle_high: int
    """First and last cycle at which the new level may have begun."""
    provisional: bool
    """Fewer than three cycles at the new level: one odd cycle looks like it."""
    possible_causes: tuple[str, ...]
    """What was recorded, or changed, within a cycle of where it may have begun; none of it is proven."""


@dataclass(frozen=True, slots=True)
class CorrectionEffect:
    """A recorded correction with a size, and what the level did."""

    cycle: int
    """First cycle made with it."""
    dress: str | None
    wheel: str | None
    at: datetime | None
    """When its first gear was made."""
    words: str
    """As it was recorded."""
    intended: float
    """Micrometres."""
    effect: float | None
    low: float | None
    high: float | None
    """Ends of the 95 % interval of the effect."""
    verdict: CorrectionVerdict
    remainder: float | None
    """Effect less intended."""
    alarm: bool
    """The last sized correction of the series, and what it did was not meant."""
    recorded_at: tuple[datetime, ...] = ()
    """When the sizes were recorded that are added here."""


LabelName = Literal["fixture", "instrument", "operator", "temperature", "pause"]


@dataclass(frozen=True, slots=True)
class LabelFinding:
    """Effect of a label on the values, tested within the family of the report."""

    name: LabelName
    value: str | None
    """The word that is compared; null for temperature (effect per degree) and pause (first part after a
    stop of more than four hours, against a warm machine)."""
    against: str | None
    """The most frequent word."""
    effect: float
    low: float
    high: float
    p: float
    """Of the label as a whole."""
    claimed: bool
    """Then the series is analysed with this effect taken out."""


@dataclass(frozen=True, slots=True)
class Suspicion:
    """The last cycles lie off the level, not enough for a claim; the dress interval allows for it."""

    cycles: int
    size_um: float
    measure_cycle: int | None
    measure_part: int | None
    """Of the parts made in these cycles and not measured, the one to measure next: largest chance to lie
    beyond a limit; None: there is none, or no limit."""
    measure_p: float | None
    """Its chance."""

    @property
    def matters(self) -> bool:
        """Whether a part made in these cycles may lie beyond a limit."""
        return self.measure_p is not None and self.measure_p >= WORTH_MEASURING


@dataclass(frozen=True, slots=True)
class CyclesToCorrection:
    """Dress cycles from now until a trend has used up the room of the usual cycle."""

    expected: int
    low: int
    high: int | None
    """None: perhaps never."""


@dataclass(frozen=True, slots=True)
class Signal:
    """A point beyond a control limit."""

    chart: ChartName
    rule: str
    serial: str
    cycle: int
    dress: str | None
    current: bool
    """Whether it counts for the exit status."""


@dataclass(frozen=True, slots=True)
class SeenSignal:
    """That somebody has seen a signal of a series: an acknowledgement in the store."""

    cycle: int
    """Running cycle when it was seen."""
    dress: str | None
    by: str
    cause: str
    action: str
    at: datetime


@dataclass(frozen=True, slots=True)
class PartsToLimit:
    """Parts of the running cycle, counted from its dress, until the worst trace reaches the limit."""

    expected: int
    low: int
    high: int
    from_now: int
    """Expected, counted from the last part made."""


@dataclass(frozen=True, slots=True)
class FalseAlarm:
    """What chance alone does to the charts."""

    family: float
    per_series: float
    in_control_run_length_parts: float | None
    """Mean number of parts made between two false alarms of this series."""


@dataclass(frozen=True, slots=True)
class Identifiable:
    """What can be known from the parts that were measured."""

    wear: bool
    trend: bool
    slope_variation: bool


@dataclass(frozen=True, slots=True)
class HoldRange:
    """Parts of one dress cycle that were made, not measured, and may lie beyond a limit."""

    part: str
    grinder: str
    cycle: int | None
    """None: no gear of this cycle was measured; its level is taken from the cycles beside it."""
    dress: str | None
    wheel: str | None
    at: datetime | None
    """When its first gear was made."""
    from_part: int
    """Parts since dress, 1 for the first; parts measured in between are free or named as failing."""
    to_part: int
    parts: int
    """How many of them are not measured."""
    from_serial: str | None
    to_serial: str | None
    """Where the production table names them."""
    largest_p: float
    measure_first: int
    """Part with the largest chance to lie beyond."""


@dataclass(frozen=True, slots=True)
class Quarantine:
    """Gears to hold: made since the last level change, with more than 1 % chance each to lie beyond."""

    ranges: tuple[HoldRange, ...]
    failing: tuple[str, ...]
    """Measured gears beyond a limit."""
    largest_p: float | None
    """Largest chance of a part that was made and not measured, held or not; None: none is known."""
    after_serial: str | None
    """Last measured gear before the first part to hold."""
    to_serial: str | None
    """Last measured gear."""
    measured: tuple[str, ...]
    """Measured gears between the first and the last part to hold."""


@dataclass(frozen=True, slots=True)
class Hold:
    """Over all series: which gears to hold."""

    ranges: tuple[HoldRange, ...]
    failing: tuple[str, ...]
    largest_p: float | None

    @property
    def needed(self) -> bool:
        """Whether there is anything to hold."""
        return bool(self.ranges or self.failing)


@dataclass(frozen=True, slots=True)
class DressChoice:
    """Parts per dress that a risk allows; no number is larger than the parts that were measured."""

    risk: float
    parts: int
    at_least: bool
    one_more_parts: int
    """Had one more gear been measured in every cycle."""
    one_more_at_least: bool


@dataclass(frozen=True, slots=True)
class DressDecision:
    """How often to dress one part on one grinder: the smallest interval of its limited series."""

    part: str
    grinder: str
    parts: int | None
    """None if one limited series has no interval."""
    at_least: bool
    """Every limited series allows more than the parts measured: lengthen in steps and measure."""
    parameter: str | None
    """The series that decides, or that has no interval."""
    flank: Flank | None
    reason: str | None
    usual_parts: int | None
    """Usual parts per dress."""
    made_parts: int | None
    """Parts made since the last dress."""
    from_now: int | None
    """Parts from now until the interval is used up; 0: it is."""
    holds_cycles: int | None
    """Under a trend: coming cycles for which the interval holds, of all series the fewest."""
    usual_risk: float | None
    """Risk that the last part of the usual interval lies beyond a limit, of all series the largest; None:
    more parts than were measured, or not known."""
    one_more_usual_risk: float | None
    """The same had one more gear been measured in every cycle."""
    centred_parts: int | None
    """Interval with every series centred that has an offset."""
    choices: tuple[DressChoice, ...]
    """What other risks, and one more measured gear per cycle, would allow."""


@dataclass(frozen=True, eq=False, slots=True)
class ForecastBand:
    """Forecast of the worst trace over the running cycle."""

    parts: Array
    """Parts since dress, 1 for the first. shape (k,)"""
    mean_um: Array
    low_um: Array
    high_um: Array
    """Interval of a single part."""


@dataclass(frozen=True, eq=False, slots=True)
class ChartData:
    """What the charts of a series show. Per gear in production order, per cycle, or over the forecast."""

    serial: tuple[str, ...]
    finished_at: tuple[datetime | None, ...]
    cycle: IntArray
    """Number of the cycle of each gear. shape (n,)"""
    parts_since_dress: Array
    """1 for the first; NaN where unknown. shape (n,)"""
    value_um: Array
    min_um: Array
    max_um: Array
    fitted_um: Array
    """Level of the cycle plus wear. shape (n,)"""
    levels_centre_um: float | None
    levels_lower_um: Array
    levels_upper_um: Array
    """Control limits of each cycle's level, NaN without limits. shape (cycles,)"""
    moving_range_um: Array
    """NaN for the first cycle. shape (cycles,)"""
    moving_range_upper_um: Array
    ewma: Array
    """Of the standardised residuals, in standard deviations; NaN without a reference. shape (n,)"""
    ewma_limit: Array
    """shape (n,)"""
    forecast: ForecastBand | None
    saw_parts: Array
    """Measured parts since dress, of many a few groups; averaged over the cycles. shape (k,)"""
    saw_mean_um: Array
    """Mean of the values less the level of their cycle. shape (k,)"""
    saw_se_um: Array
    saw_curve_um: Array
    """Wear curve there. shape (k,)"""
    risk_parts: Array
    """Parts per dress, 1, 2 ... up to the largest measured. shape (j,)"""
    risk: Array
    """Chance that the last of so many parts of the next cycle lies beyond a limit. shape (j,)"""
    events: tuple[tuple[int, str], ...]
    """Cycle in or before which an event was recorded, and its words."""


@dataclass(frozen=True, eq=False, slots=True)
class DriftSeries:
    """One parameter of one flank of one part on one grinder."""

    part: str
    grinder: str
    parameter: str
    flank: Flank | None
    """left or right; None where both flanks share one value."""
    sentence: str
    """The sentence that matters first."""
    gears: int
    cycles: int
    """Dress cycles; 0 where they are not known."""
    current_cycle: int
    current_dress: str | None
    made_parts: int | None
    """Last part made in the running cycle, counted from its dress."""
    in_control: bool | None
    """Whether no point lies beyond a control limit and no level change is unexplained; None where there
    are too few cycles to tell. See reasons."""
    reasons: tuple[Sentence, ...]
    """Why in_control is false or null."""
    wear_um_per_part: float | None
    """Change of the flank mean per part since dress; None where it cannot be told."""
    wear_interval_um_per_part: tuple[float, float] | None
    wear_confidence: float
    wear_significant: bool | None
    wear_p: float | None
    curved: bool | None
    """Whether the wear is not straight between the parts measured (p of a straight line at most 5 %)."""
    wear_robust_um_per_part: float | None
    wear_estimated: bool
    """Whether parts since dress were estimated from times."""
    sd_um: float | None
    """Standard deviation of a part about wear line and mean level: parts and cycles together."""
    sd_part_um: float | None
    sd_cycle_um: float | None
    level_trend_um_per_cycle: float | None
    """Null unless significant with the level changes in the model."""
    trend_interval: tuple[float, float] | None
    cycles_to_correction: CyclesToCorrection | None
    """Under a claimed trend: when the level itself needs a correction."""
    level_p: float | None
    """Of a level that stays; None below 8 cycles."""
    level_moved: bool
    """The level moved; level change or trend cannot be told apart."""
    rho: float
    """Correlation of the levels of neighbouring cycles."""
    suspected: Suspicion | None
    corrections: tuple[CorrectionEffect, ...]
    """Recorded corrections with a size, fitted at their place."""
    labels: tuple[LabelFinding, ...]
    cycle_levels_um: tuple[CycleLevel, ...]
    """Level after each dress, at its first part."""
    steps: tuple[LevelChange, ...]
    """Level changes: first cycle at the new level, new less old level."""
    segment_from_cycle: int
    """The present level rests on the cycles from here on; wear and scatter on all."""
    signals: tuple[Signal, ...]
    """First point of every cycle beyond a control limit; `current` ones count for the alarm."""
    limit_um: tuple[float | None, float | None]
    """Action limits, low and high: drawing or class, less the guard where U is known."""
    limit_kind: LimitKind
    limit_revision: str
    parts_to_limit: PartsToLimit | None
    """Parts of the running cycle, counted from its dress, until the worst trace reaches the limit."""
    parts_to_limit_reason: str | None
    dress_interval_parts: int | None
    """Parts per dress for the risk; see dress_interval_at_least."""
    dress_interval_at_least: bool
    """True: the history reaches no further, the interval may be longer."""
    dress_interval_reason: str | None
    dress_interval_holds_cycles: int | None
    """Under a claimed trend: coming cycles that keep the risk at this interval, or at the usual one if that
    is shorter; null: 200 or more, or no trend."""
    if_straight_parts: int | None
    """The interval if curved wear were straight between the parts measured; None unless that differs."""
    gap: tuple[int, int] | None
    """Parts since dress between which to measure, to know the wear there: where it bends, or where two
    positions cannot show that it is straight."""
    dress_interval_centred_parts: int | None
    """With the level moved by `centring_offset_um`."""
    current_dress_interval_parts: int | None
    """Usual parts per dress: from all rows of the production table, else as stated for the grinder, else the
    largest part measured in a cycle."""
    risk: float
    """Risk that the last part before a dress lies beyond the limit."""
    centring_offset_um: float | None
    """Move the level after dress by this, and the cycle lies amid its limits."""
    reference: Reference | None
    false_alarm: FalseAlarm
    identifiable: Identifiable
    quarantine: Quarantine | None
    warnings: tuple[Notice, ...]
    charts: ChartData
    """Not part of the JSON keys that are promised."""
    seen: tuple[SeenSignal, ...] = ()
    """Who has seen its signals, with cause and action; from a store only."""

    @property
    def key(self) -> SeriesKey:
        """Part, grinder, parameter, flank."""
        return (self.part, self.grinder, self.parameter, self.flank)

    @property
    def is_component(self) -> bool:
        """Whether it follows a physical error, not a parameter."""
        return self.parameter in COMPONENTS

    @property
    def too_short(self) -> bool:
        """Whether there are too few dress cycles to judge control, or the level of a component."""
        return (self.level_p if self.is_component else self.in_control) is None

    @property
    def limit_within_interval(self) -> bool:
        """Whether the running cycle is forecast to cross the limit before its usual dress."""
        if self.parts_to_limit is None or self.current_dress_interval_parts is None:
            return False
        return self.parts_to_limit.expected < self.current_dress_interval_parts

    @property
    def quiet(self) -> bool:
        """Whether there is no signal, level change, trend that matters or proven wear."""
        return not (
            self.signals
            or self.steps
            or self.wear_significant
            or self.level_trend_um_per_cycle is not None
            or self.level_moved
            or self.suspected is not None
            or self.correction_alarm
            or self.holds
            or any(label.claimed for label in self.labels)
            or self.in_control is False
        )

    @property
    def just_moved(self) -> bool:
        """Whether the last level change may be one odd cycle."""
        return bool(self.steps) and self.steps[-1].provisional

    @property
    def current_signals(self) -> tuple[Signal, ...]:
        """Signals that count for the exit status."""
        return tuple(signal for signal in self.signals if signal.current)

    @property
    def correction_alarm(self) -> bool:
        """Whether the last sized correction did something else than was meant."""
        return any(one.alarm for one in self.corrections)

    @property
    def holds(self) -> bool:
        """Whether gears are to be held."""
        return self.quarantine is not None and bool(self.quarantine.ranges or self.quarantine.failing)

    @property
    def alarm(self) -> bool:
        """Whether this series sets exit status 1: a signal that counts, the limit ahead, a correction that
        did not work, or gears to hold."""
        found = self.current_signals or self.limit_within_interval or self.correction_alarm or self.holds
        return bool(found)


@dataclass(frozen=True, slots=True)
class CommonChange:
    """Last level changes that may have begun at the same cycle: for the reader one change."""

    place: LevelChange
    """The one whose place is known best."""
    changes: tuple[tuple[DriftSeries, LevelChange], ...]
    """In the order of the series."""

    @property
    def possible_causes(self) -> tuple[str, ...]:
        """Of all of them."""
        return tuple(dict.fromkeys(cause for _, step in self.changes for cause in step.possible_causes))


def common_changes(series: Iterable[DriftSeries]) -> tuple[CommonChange, ...]:
    """The last level change of each series of one grinder, those together whose range holds the place of
    the one that is known best; the latest first."""
    last = [(one, one.steps[-1]) for one in series if one.steps]
    groups: list[tuple[LevelChange, list[int]]] = []
    for i in sorted(range(len(last)), key=lambda i: _uncertainty(last[i][1])):
        step = last[i][1]
        fitting = [one for one in groups if step.cycle_low <= one[0].cycle <= step.cycle_high]
        if fitting:
            min(fitting, key=lambda one: abs(one[0].cycle - step.cycle))[1].append(i)
        else:
            groups.append((step, [i]))
    found = [CommonChange(place, tuple(last[i] for i in sorted(members))) for place, members in groups]
    return tuple(sorted(found, key=lambda one: -one.place.cycle))


def _uncertainty(step: LevelChange) -> tuple[int, float]:
    return step.cycle_high - step.cycle_low, step.p


def deciding_series(series: Iterable[DriftSeries]) -> DriftSeries | None:
    """The limited series with the shortest dress interval, or the first without one, which decides when to
    dress; None: no series has a limit."""
    limited = [one for one in series if one.limit_kind != "none"]
    without = [one for one in limited if one.dress_interval_parts is None]
    if without:
        return without[0]
    return min(
        limited, key=lambda one: (one.dress_interval_parts or 0, one.dress_interval_at_least), default=None
    )


@dataclass(frozen=True, slots=True)
class DriftHeader:
    """Where the gears of an analysis come from."""

    source: str
    """Folders or the history store, in words."""
    inputs: tuple[InputFile, ...] = ()
    warnings: tuple[Notice, ...] = ()
    """What was noticed on reading."""
    standards: tuple[str, ...] = ()
    """Tolerance systems of the drawings: limits that come from a class are theirs."""


@dataclass(frozen=True, eq=False, slots=True)
class DriftResult:
    """An analysed history: the Python face of `drift --json`."""

    series: tuple[DriftSeries, ...]
    reasons: tuple[Sentence, ...]
    """Why there is an alarm, or why there is none."""
    advice: tuple[Sentence, ...]
    settings: DriftSettings
    simulated: Simulated
    family: FamilyRates = FAMILY
    hold: Hold = Hold((), (), None)
    dress_intervals: tuple[DressDecision, ...] = ()
    """One a part and grinder."""
    warnings: tuple[Notice, ...] = ()
    diagnosis: tuple[GrinderDiagnosis, ...] = ()
    """What the grinder does to the gears, one a part and grinder."""

    @property
    def alarm(self) -> bool:
        """A series has a signal that counts, reaches its limit within its dress interval, was corrected in
        vain, or has gears to hold: exit status 1."""
        return any(one.alarm for one in self.series)

    @property
    def headline(self) -> str | None:
        """Sentence of the most urgent series: alarms first, then the shortest way to the limit."""
        ranked = self.ranked()
        return ranked[0].sentence if ranked else None

    def ranked(self) -> tuple[DriftSeries, ...]:
        """The series, the most urgent first, quiet ones last."""

        def urgency(one: DriftSeries) -> tuple[bool, float, bool, bool, bool]:
            ahead = one.parts_to_limit.expected if one.parts_to_limit else float("inf")
            calm = one.in_control is not False and not one.steps
            return (not one.alarm, ahead, calm, not one.wear_significant, one.quiet)

        return tuple(sorted(self.series, key=urgency))


@dataclass(frozen=True, eq=False, slots=True)
class DriftReport:
    """An analysed history with where its gears come from: all of `drift --json`."""

    header: DriftHeader
    result: DriftResult

    @property
    def warnings(self) -> tuple[Notice, ...]:
        """Of reading and of analysis."""
        return (*self.header.warnings, *self.result.warnings)

"""What came of comparing a supplier's report with our measurement. Field names are the JSON keys.

A trailing underscore (`class_`) avoids a Python keyword and is dropped in JSON. Reported value, found
value, claim and verdict stay separate fields. Differences are reported less found.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from typing import Final, Literal, get_args

from gearqa.arrays import Array
from gearqa.errors import Notice
from gearqa.late_dataclass import dataclass
from gearqa.model.declared import Count, Identity, Simulated
from gearqa.model.lot import LotDecision, LotResult
from gearqa.model.measurement import InputFile
from gearqa.model.plausibility import Plausibility
from gearqa.model.results import State
from gearqa.symbols import Flank, TraceKind

Claim = Literal["confirmed", "not confirmed", "not proven", "none"]
"""A claim of a class, judged on our value; `none` where nothing was claimed or nothing can be judged."""
Verdict = Literal["agrees", "differs", "not comparable"]
"""Whether the reported figures agree with ours within both uncertainties."""
VerdictReason = Literal[
    "within_uncertainty", "beyond_uncertainty", "nothing_measured", "nothing_in_common", "no_uncertainty",
    "not_the_same_gears",
]  # fmt: skip
Basis = Literal["worst", "mean"]
Side = Literal["ours", "theirs"]
DecideOn = Literal["ours", "theirs", "both"]
Comparison = Literal["same data", "re-measured"]
PlaceKey = Literal["left", "right", "both"]
"""Flank of a series; `both` for what has no flank or was reported without one."""

SAME_UM: Final = 0.05
"""Micrometres below which two figures are the same, and two explanations predict the same."""


@dataclass(frozen=True, slots=True)
class ReportedValue:
    """One row of a table of reported values."""

    serial: str
    parameter: str
    value_um: float
    flank: Flank | None
    tooth: int | None
    basis: Basis | None
    class_: int | None
    """Class claimed; None where none was, or where it is no class of a known standard."""
    class_text: str
    """The claim as it was written."""
    standard: str | None
    """As written; None where the table does not say."""
    uncertainty_um: float | None
    our_serial: str | None
    decimals: int
    """Decimals of the value as typed, in micrometres; negative for whole tens and so on."""
    line: int


@dataclass(frozen=True, slots=True)
class ReportedTable:
    """A table of reported values that was read."""

    file: InputFile
    values: tuple[ReportedValue, ...]
    notices: tuple[Notice, ...]
    simulated: Simulated


@dataclass(frozen=True, slots=True)
class ComparedValue:
    """One reported value and what was found for it."""

    serial: str
    our_serial: str | None
    """Serial of our measurement; None where this gear was not measured."""
    parameter: str
    flank: Flank | None
    tooth: int | None
    basis: Basis | None
    """What the found value is: worst or mean over the traces; None where there is only one trace, or none."""
    reported_um: float
    half_digit_um: float
    """Half of the last digit that was reported: inside it a difference is none."""
    by_magnitude: bool
    """Slopes reported without sign are compared by magnitude."""
    found_um: float | None
    difference_um: float | None
    explained_um: float | None
    """What the best explanation predicts to be reported."""
    equal: bool | None
    """The difference lies within half a digit."""
    u_reported_um: float | None
    u_found_um: float | None
    allowed_um: float | None
    """What both uncertainties allow a difference to be. One that is not stated is taken as the other; where
    neither is, a tenth of the tolerance is taken for each side."""
    within: bool | None
    """Whether the difference, less half of the last digit, keeps to what is allowed."""
    en: float | None
    en_explained: float | None
    """En number of what the best explanation leaves."""
    class_claimed: int | None
    class_text: str
    standard_claimed: str | None
    class_reported: int | None
    """Class of the reported value by the claimed standard."""
    class_found: int | None
    """Class of our worst value by the drawing's standard."""
    beyond: bool | None
    """Whether our worst value exceeds even class 11 of the drawing's standard."""
    class_found_as_claimed: int | None
    """Class of our worst value by the claimed standard; None where that standard is not known here."""
    tolerance_claimed_um: float | None
    pc: float | None
    """Probability that the true value meets the claimed class."""
    claim: Claim
    claim_flank: Flank | None
    """Flank of ours on which the claim was judged: the other one where the explanation swaps them."""
    claim_reason: str
    """Why the claim was judged so, as a stable code."""
    judged_um: float | None
    """Our worst value on the flank that was meant: what claim and class found go by."""
    reported_state: State | None
    """The reported value against the drawing."""
    found_state: State | None
    """Our value against the drawing."""

    @property
    def share_of_allowed(self) -> float | None:
        """The difference, less half of the last digit, over what is allowed."""
        if self.difference_um is None or self.allowed_um is None:
            return None
        return max(abs(self.difference_um) - self.half_digit_um, 0.0) / self.allowed_um

    @property
    def compared_um(self) -> float:
        """What is compared with the found value: the reported one, or its magnitude."""
        return abs(self.reported_um) if self.by_magnitude else self.reported_um

    @property
    def contradicts_itself(self) -> bool:
        """Whether the claimed class is better than the reported value itself meets."""
        if self.class_claimed is None or self.tolerance_claimed_um is None:
            return False
        return self.class_reported is None or self.class_reported > self.class_claimed


@dataclass(frozen=True, slots=True)
class ClaimedValue:
    """A value that decides on the claim of a gear."""

    parameter: str
    flank: Flank | None
    """As the report names it."""
    judged_um: float | None
    """Our worst value there."""


@dataclass(frozen=True, slots=True)
class GearClaim:
    """All values of a gear against the worst class that was claimed for it."""

    serial: str
    our_serial: str
    class_: int
    standard: str
    claim: Claim
    deciding: tuple[ClaimedValue, ...]
    """Values that are not confirmed or, if there are none, not proven."""


@dataclass(frozen=True, slots=True)
class Bias:
    """A constant difference that is proven, what is explained allowed for."""

    parameter: str
    flank: Flank | None
    """None where both flanks differ alike, or there is none."""
    instrument: str | None
    """Ours."""
    gears: Count
    bias_um: float
    interval_um: tuple[float, float]


@dataclass(frozen=True, slots=True)
class DifferenceSplit:
    """How much of the difference is evaluation, and how much is measurement."""

    n: Count
    evaluation_um: float
    """Root mean square of what they report less their own traces evaluated as the drawing says."""
    measurement_um: float
    """The same of their traces less ours, both evaluated as the drawing says."""


@dataclass(frozen=True, slots=True)
class Agreement:
    """Agreement of one parameter on one flank over the gears, one pair per gear."""

    n: int
    bias_um: float
    bias_interval_um: tuple[float, float] | None
    sd_um: float | None
    limits_of_agreement_um: tuple[float, float] | None
    limits_interval_um: tuple[tuple[float, float], tuple[float, float]] | None
    """Interval of the lower limit and of the upper limit."""
    share_of_tolerance: float | None
    """Width of the limits of agreement over the width of what the drawing allows."""
    slope: float | None
    slope_interval: tuple[float, float] | None
    intercept_um: float | None
    intercept_interval_um: tuple[float, float] | None
    correlation: float | None
    trend_um_per_gear: float | None
    trend_p: float | None
    outliers: tuple[str, ...]
    equal: int
    """Pairs that agree within half a digit."""
    serials: tuple[str, ...]
    differences_um: tuple[float, ...]
    """In the order of the report."""


@dataclass(frozen=True, slots=True)
class SettingChange:
    """One setting that a laboratory may have had otherwise."""

    setting: str
    from_: str
    to: str


@dataclass(frozen=True, slots=True)
class Explanation:
    """One or two changes of settings, and how well they reproduce what was reported."""

    changes: tuple[SettingChange, ...]
    rms_before_um: float
    rms_after_um: float
    equivalent: bool
    """Predicts within 0.05 µm what the best explanation predicts."""
    same_predictions: bool
    """Predicts exactly what the best explanation predicts: no figures of this report can tell them apart."""
    sentence: str
    """The changes in words."""


@dataclass(frozen=True, slots=True)
class ExplanationResult:
    """What reproduces the reported values, and whether that is a cause to name."""

    explained: bool | None
    """None: there is nothing to explain, or nothing to explain it with."""
    reason: str
    """Why, as a stable code."""
    data: Side | None
    """Whose traces were evaluated again."""
    n: Count
    """Values compared."""
    rms_before_um: float | None
    explanations: tuple[Explanation, ...]
    """Best first."""
    few_values: bool
    """So few values that chance alone may reproduce them."""
    tried: int
    """Changes and pairs of changes that were tried and make a difference to these values."""
    shared: tuple[SettingChange, ...] = ()
    """What all explanations that fit have in common: this is named, and nothing else."""


@dataclass(frozen=True, slots=True)
class GearAlignment:
    """How the raw data of one gear lie over each other."""

    serial: str
    our_serial: str
    same: bool | None
    identical: bool
    """The very same numbers, once turned and shifted."""
    flanks_swapped: bool | None
    direction_reversed: bool | None
    tooth_shift: int | None
    """Added to their tooth number (after reversing) to get ours."""
    correlation: float | None
    """Of the pitch curves without their low orders."""
    chance_correlation: float | None
    """What the best of so many alignments of unlike gears reaches once in a thousand times."""
    residual_um: float | None
    """Root mean square difference of the aligned pitch curves."""
    trace_residual_um: float | None
    """The same of the traces on common teeth."""
    trace_correlation: float | None
    best_match: str | None
    """Serial of ours that their curves fit better than the one named, if there is one."""


@dataclass(frozen=True, eq=False, slots=True)
class AlignedCurves:
    """One curve of theirs laid over ours."""

    kind: Literal["pitch", "profile", "helix"]
    serial: str
    flank: Flank
    tooth: int | None
    """None for pitch."""
    position: Array
    ours_um: Array
    theirs_um: Array


@dataclass(frozen=True, slots=True)
class IncomingReason:
    """Why the whole comparison came out as it did: a stable code and a sentence."""

    code: str
    sentence: str


@dataclass(frozen=True, slots=True)
class Unmatched:
    """A reported serial that was not found among ours."""

    serial: str
    nearest: str | None
    hint: str


@dataclass(frozen=True, eq=False, slots=True)
class IncomingResult:
    """A supplier's report, compared, explained and decided."""

    supplier: str
    part: Identity
    standard: str
    inputs: tuple[InputFile, ...]
    simulated: Simulated
    measured: bool
    """Whether we measured any gear; else everything rests on reported values."""
    comparison: Comparison | None
    comparison_reason: str
    """As a stable code."""
    verdict: Verdict
    verdict_reason: VerdictReason
    values_judged: Count
    """Values that the verdict rests on."""
    values_beyond: Count
    """Of these, how many differ by more than both uncertainties allow."""
    values_beyond_allowed: Count
    """How many may, of so many, where both sides agree."""
    gear_claims: tuple[GearClaim, ...]
    lot_claim: Claim
    """The worst of the gears'."""
    biases: tuple[Bias, ...]
    split: DifferenceSplit | None
    """None without raw data of both sides."""
    rows: tuple[ComparedValue, ...]
    agreement: Mapping[str, Mapping[PlaceKey, Agreement]]
    agreement_explained: Mapping[str, Mapping[PlaceKey, Agreement]]
    """The same against what the best explanation predicts; empty where there is none."""
    explanation: ExplanationResult
    same_gears: bool | None
    same_gears_reason: str
    alignments: tuple[GearAlignment, ...]
    curves: tuple[AlignedCurves, ...]
    decision: LotDecision
    decided_on: DecideOn
    lots: Mapping[Side, LotResult]
    reasons: tuple[IncomingReason, ...]
    unmatched: tuple[Unmatched, ...]
    not_reported: tuple[str, ...]
    """Serials of ours that the report does not name."""
    cautions: tuple[Notice, ...]
    plausibility: Plausibility
    """Whether the reported figures can be true, looked at by themselves."""
    warnings: tuple[Notice, ...] = ()

    @property
    def claims(self) -> Mapping[Claim, Count]:
        """How many claims came out how."""
        counts = Counter(row.claim for row in self.rows)
        return {claim: counts[claim] for claim in get_args(Claim)}

    @property
    def contradicted(self) -> tuple[ComparedValue, ...]:
        """Claims that we cannot judge by a measurement, but that their own values refuse."""
        return tuple(row for row in self.rows if row.claim == "none" and row.contradicts_itself)

    @property
    def en_exceeded(self) -> tuple[ComparedValue, ...]:
        """Rows whose difference is more than both uncertainties allow, settings allowed for."""
        if self.verdict != "differs":
            return ()
        known = [(row, row.en if row.en_explained is None else row.en_explained) for row in self.rows]
        return tuple(row for row, en in known if en is not None and abs(en) > 1)

    @property
    def agrees(self) -> bool:
        """The figures agree and no claim is refused; exit status 0. The lot is not decided here."""
        return self.verdict == "agrees" and not self.claims["not confirmed"] and not self.contradicted


def flank_of(place: PlaceKey) -> Flank | None:
    """Flank of a series; None for `both`."""
    return None if place == "both" else place


TRACE_KIND: Final[Mapping[str, TraceKind]] = {
    f"{kind}_{what}": kind
    for kind in get_args(TraceKind)
    for what in ("total", "form", "slope", "crowning", "parabola_form")
}
"""Parameters that come from traces, and from which kind."""

"""Deliveries of suppliers over time: what each check found, and what to measure next. Names are JSON keys."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from datetime import datetime, timedelta
from typing import Annotated, Final, Literal, get_args

from gearqa.late_dataclass import dataclass
from gearqa.model.declared import IS_SHA256, Count, Simulated
from gearqa.model.history import FailedFolder
from gearqa.model.incoming import Claim, PlaceKey, Verdict, VerdictReason
from gearqa.model.lot import LotDecision
from gearqa.model.plausibility import Check
from gearqa.symbols import Flank

Level = Literal["skip", "reduced", "normal", "tightened"]
"""How much of a delivery is measured."""
Outcome = Literal["agrees", "differs", "open", "not measured"]
"""What a delivery counts as. `agrees`: the figures agree, no claim is refused, nothing asks for a look.
`differs`: the figures differ, a claim is refused, figures cannot be by definition, the gears are others, or
the lot is rejected. `open`: measured, but neither. `not measured`: no gear was measured by us."""
LevelReason = Literal[
    "too_few_deliveries", "differed", "tightened_until", "many_differed", "open_delivery", "pause",
    "bias_trend", "agreed_in_a_row", "skipped_last",
]  # fmt: skip
# The rule for how much to measure: own numbers, after those of ISO 2859-1:1999, 9.3 (from memory).
TIGHTEN, TIGHTEN_OF = 2, 5
"""Deliveries that differ, of so many measured ones under normal, before measuring is tightened."""
RELAX: Final = 5
"""Deliveries in a row that must agree before tightened ends."""
REDUCE: Final = 5
"""The same before normal is reduced."""
SKIP: Final = 10
"""The same, counted from the first one under normal, before every other delivery is not measured."""
MANY: Final = 5
"""Deliveries that differ under tightened before the supplier must act (ISO 2859-1, 9.4, from memory)."""
PAUSE: Final = timedelta(days=365)
"""Without a delivery for so long, what is known of a supplier is old."""

OUTCOMES: Final[tuple[Outcome, ...]] = get_args(Outcome)


@dataclass(frozen=True, slots=True)
class SeriesDifference:
    """Differences of one parameter and flank in one delivery, settings that explain them allowed for."""

    parameter: str
    place: PlaceKey
    gears: Count
    bias_um: float
    """Mean of reported less ours."""
    interval_um: tuple[float, float] | None
    """Of the mean, 95 %; None of one gear."""


@dataclass(frozen=True, slots=True)
class DeliveryCheck:
    """What checking the report of one delivery found, in short."""

    report: str
    """Name of the file."""
    standard: str
    gears_reported: Count
    gears_measured: Count
    """Of these, how many we measured."""
    verdict: Verdict
    verdict_reason: VerdictReason
    values_judged: Count
    values_beyond: Count
    values_beyond_allowed: Count
    claims: Mapping[Claim, int]
    claims_contradicted: Count
    """Claims that the reported values themselves refuse."""
    same_gears: bool | None
    decision: LotDecision
    explained_by: tuple[str, ...]
    """Changes of settings that explain the difference, in words; several where they give the same figures."""
    questions: tuple[Check, ...]
    """What in the figures asks for a look."""
    impossible: Count
    """Of these, how many are against the definition."""
    differences: tuple[SeriesDifference, ...]

    @property
    def outcome(self) -> Outcome:
        """What this delivery counts as."""
        refused = self.claims.get("not confirmed", 0) + self.claims_contradicted + self.impossible
        if self.verdict == "differs" or refused or self.same_gears is False or self.decision == "reject":
            return "differs"
        if not self.gears_measured:
            return "not measured" if not self.questions else "open"
        return "agrees" if self.verdict == "agrees" and not self.questions else "open"


@dataclass(frozen=True, slots=True)
class CheckedDelivery:
    """A delivery whose report was checked, and what tells it from others."""

    supplier: str
    part_number: str
    revision: str
    report_sha256: Annotated[str, IS_SHA256]
    simulated: Simulated
    check: DeliveryCheck
    decided_by: tuple[str, ...]
    """Why the lot is decided so, as sentences."""
    agrees: bool
    """The figures agree and no claim is refused: nothing counts against the report."""
    incomplete: bool
    """The report does not give all values that the drawing asks for."""


@dataclass(frozen=True, slots=True)
class DeliveryOfMany:
    """A delivery of many."""

    folder: str
    checked: CheckedDelivery
    kept: KeptDelivery | None
    """As a store keeps it, where one was named."""


@dataclass(frozen=True, slots=True)
class DeliveriesReport:
    """What checking many deliveries found, in the order of their folders."""

    checked: tuple[DeliveryOfMany, ...]
    failed: tuple[FailedFolder, ...]
    """Those that could not be checked, or not be kept."""


@dataclass(frozen=True, slots=True)
class StoredDelivery:
    """One delivery in a store."""

    id: int
    supplier: str
    part_number: str
    revision: str
    delivered_at: datetime
    report_sha256: Annotated[str, IS_SHA256]
    """Digest of the report: the same report is one delivery."""
    state: Literal["current", "superseded", "removed"]
    superseded_by: int | None
    simulated: Simulated
    added_at: datetime
    check: DeliveryCheck


@dataclass(frozen=True, slots=True)
class KeptDelivery:
    """What keeping a delivery did."""

    delivery: StoredDelivery
    new: bool
    """False: it was stored already, with the same values."""
    superseded: int | None
    """Number of the delivery whose place it takes."""


@dataclass(frozen=True, slots=True)
class ReviewedDelivery:
    """A delivery as it counts in the review of its supplier."""

    delivery: StoredDelivery
    outcome: Outcome
    level: Level
    """How much of it was to be measured, by the deliveries before it."""


@dataclass(frozen=True, slots=True)
class SupplierBias:
    """The difference of one parameter and flank over deliveries."""

    parameter: str
    flank: Flank | None
    deliveries: Count
    gears: Count
    bias_um: float
    """Mean over the means of the deliveries, reported less ours."""
    interval_um: tuple[float, float] | None
    """95 %, from the scatter of the deliveries; of one delivery from its gears; None of one gear."""
    proven: bool
    """Unlike zero from two deliveries on, at 5 % over all series of the supplier and part."""
    trend_um_per_delivery: float | None
    """None below five deliveries."""
    trend: bool
    """Whether the trend is proven, at 5 % over all series."""


@dataclass(frozen=True, slots=True)
class InspectionReason:
    """Why a level is advised: a stable code and the counts that led there."""

    code: LevelReason
    count: Count
    of: Count


@dataclass(frozen=True, slots=True)
class NextInspection:
    """How much of the next delivery to measure, by gearqa's own rule."""

    level: Level
    agreed_in_a_row: Count
    """Deliveries that agreed, one after the other, until now."""
    reasons: tuple[InspectionReason, ...]


@dataclass(frozen=True, slots=True)
class SupplierReview:
    """All deliveries of one part by one supplier."""

    supplier: str
    part_number: str
    next: NextInspection
    deliveries: tuple[ReviewedDelivery, ...]
    """In the order of delivery."""
    biases: tuple[SupplierBias, ...]

    @property
    def outcomes(self) -> Mapping[Outcome, Count]:
        """How many deliveries came out how."""
        counts = Counter(one.outcome for one in self.deliveries)
        return {outcome: counts[outcome] for outcome in OUTCOMES}

    @property
    def claims(self) -> Mapping[Claim, Count]:
        """Claims of all deliveries."""
        counts: Counter[Claim] = Counter()
        for one in self.deliveries:
            counts.update(one.delivery.check.claims)
        return {claim: counts[claim] for claim in get_args(Claim)}

    @property
    def share_confirmed(self) -> float | None:
        """Claims confirmed, of those that could be judged; None where none could."""
        judged = sum(count for claim, count in self.claims.items() if claim != "none")
        return self.claims["confirmed"] / judged if judged else None

    @property
    def simulated(self) -> bool:
        """Whether any delivery is simulated."""
        return any(one.delivery.simulated for one in self.deliveries)

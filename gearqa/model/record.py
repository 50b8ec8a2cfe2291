"""The record of a lot sign-off, and the result of verifying it. Field names are the keys in JSON."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Any, Final, Literal

from gearqa.late_dataclass import dataclass
from gearqa.model.declared import IS_SHA256, KNOWN
from gearqa.model.lot import WholePlan

Digest = Annotated[str, IS_SHA256]
Subject = Literal["files", "record", "chain", "signature", "values"]
Status = Literal["consistent", "differs", "not checked"]
SUBJECTS: Final[tuple[Subject, ...]] = ("files", "record", "chain", "signature", "values")
_GRAVEST_FIRST: Final[tuple[Status, ...]] = ("differs", "not checked", "consistent")


@dataclass(frozen=True, slots=True)
class Making:
    """Who made the sign-off, and when."""

    inspector: str
    date: str
    measured_by: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class RecordSettings:
    """How the folder was read."""

    part_file: str | None = None
    columns_file: str | None = None
    plan_file: str | None = None
    serials: tuple[str, ...] = ()
    """In records of versions before 0.3.0: the only serials that were read."""
    lot_size: int | None = None
    """As it was given, with the gears that were sorted out."""


@dataclass(frozen=True, slots=True)
class FirstResult:
    """Result of the first inspection of a lot."""

    digest: Digest
    decision: str
    d_low: int
    d_high: int
    measured_n: int


@dataclass(frozen=True, slots=True)
class EarlierRecord:
    """A record of the chain before this one, and the gears in it."""

    digest: Digest
    lot_id: str
    serials: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class RepeatedGear:
    """A gear that stands in an earlier record of the chain too."""

    serial: str
    lot_id: str
    """Lot of the last record that holds it."""


@dataclass(frozen=True, slots=True)
class Link:
    """What a record holds of the one before it; a repeated lot_id is a re-inspection."""

    digest: Digest
    lot_id: str
    decision: str
    reinspection: bool
    first_result: Annotated[FirstResult | None, KNOWN] = None
    """Kept from record to record: a second look never replaces the first."""
    earlier: Annotated[tuple[EarlierRecord, ...], KNOWN] = ()
    """Every record of the chain before this one, the first one first."""
    repeated: Annotated[tuple[RepeatedGear, ...], KNOWN] = ()
    """Gears of this lot that stand in an earlier record."""


@dataclass(frozen=True, slots=True)
class RecordSignature:
    """Over the same bytes as the digest."""

    algorithm: str
    public_key: str
    fingerprint: Digest
    value: str


@dataclass(frozen=True, slots=True)
class Record:
    """Everything that a sign-off rests on, in one document."""

    lot_id: Annotated[str, {"minLength": 1}]
    libraries: Mapping[str, str]
    made: Making
    part_file: Mapping[str, Any]
    """The part file whole: gearqa schema part."""
    plan: WholePlan
    """The plan whole, its defaults too: gearqa schema plan."""
    settings: Annotated[RecordSettings, {"required": ["lot_size"]}]
    seeds: tuple[int, ...]
    grade: Mapping[str, Any]
    lot: Mapping[str, Any]
    previous: Link | None
    digest: Digest
    """SHA-256 of the canonical form (RFC 8785) without digest and signature."""
    signature: Annotated[RecordSignature | None, KNOWN] = None


@dataclass(frozen=True, slots=True)
class RecordFinding:
    """One line of a verification."""

    subject: Subject
    status: Status
    where: str
    sentence: str


@dataclass(frozen=True, slots=True)
class Verification:
    """Result of verifying a record: at least one finding for each subject."""

    lot_id: str
    digest: str
    findings: tuple[RecordFinding, ...]

    @property
    def consistent(self) -> bool:
        """Whether nothing that was checked differs."""
        return all(one.status != "differs" for one in self.findings)

    @property
    def subjects(self) -> Mapping[Subject, Status]:
        """Status of each subject: the gravest of its findings."""
        return {subject: min(self._found(subject), key=_GRAVEST_FIRST.index) for subject in SUBJECTS}

    def _found(self, subject: Subject) -> list[Status]:
        return [one.status for one in self.findings if one.subject == subject]

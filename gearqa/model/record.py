"""The record of a lot sign-off. Field names are the keys in JSON."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated, Any

from gearqa.model.declared import IS_SHA256, KNOWN
from gearqa.model.lot import WholePlan

Digest = Annotated[str, IS_SHA256]


@dataclass(frozen=True, slots=True)
class Making:
    """Who made the sign-off, and when."""

    inspector: str
    date: str
    measured_by: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class RecordSettings:
    """How the folder was read: names of files, the serials that it was restricted to."""

    part_file: str | None = None
    columns_file: str | None = None
    plan_file: str | None = None
    serials: tuple[str, ...] = ()
    lot_size: int | None = None


@dataclass(frozen=True, slots=True)
class FirstResult:
    """What a lot came to when it was first inspected."""

    digest: Digest
    decision: str
    d_low: int
    d_high: int
    measured_n: int


@dataclass(frozen=True, slots=True)
class Link:
    """What a record holds of the one before it; a repeated lot_id is a re-inspection."""

    digest: Digest
    lot_id: str
    decision: str
    reinspection: bool
    first_result: Annotated[FirstResult | None, KNOWN] = None
    """Kept from record to record: a second look never replaces the first."""


@dataclass(frozen=True, slots=True)
class Signature:
    """Over the same bytes as the digest."""

    algorithm: str
    public_key: str
    fingerprint: Digest
    value: str


@dataclass(frozen=True, slots=True)
class Record:
    """Everything that a sign-off rests on in one document."""

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
    signature: Annotated[Signature | None, KNOWN] = None

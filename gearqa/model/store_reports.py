"""What `gearqa history` writes of a store. Field names are the keys in JSON; long lists may be streamed."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Annotated, Any, Literal

from gearqa.late_dataclass import dataclass
from gearqa.model.declared import KNOWN, Simulated
from gearqa.model.deliveries import StoredDelivery, SupplierReview
from gearqa.model.history import (
    Acknowledgement,
    CheckReport,
    FrozenReference,
    GradedAs,
    RegradeReport,
    StoredEvent,
    StoredGear,
)
from gearqa.model.measurement import InputFile

TimeText = Annotated[str, {"format": "date-time"}]


@dataclass(frozen=True, slots=True)
class StorePlace:
    """Which store."""

    location: str
    schema_version: Annotated[str | None, KNOWN] = None


@dataclass(frozen=True, slots=True)
class StoredInput:
    """A file that gears were read from."""

    folder: str
    file: InputFile


@dataclass(frozen=True, slots=True)
class ListedGear:
    """A gear in short."""

    gear: StoredGear
    graded: GradedAs
    standard: str
    """Tolerance system of the class."""


@dataclass(frozen=True, slots=True)
class StoredDocument:
    """A gear with its result as it was written, and the digests of what was measured, by kind of table."""

    gear: StoredGear
    digests: Mapping[str, str]
    result: Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class AuditEntry:
    """One thing that was done to the store."""

    id: int
    at: TimeText
    station: str
    version: str
    action: str
    part_number: str | None
    serial: str | None
    measured_key: str | None
    gear_id: int | None
    detail: Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class PartName:
    """Which part."""

    number: str
    name: str
    revision: str


@dataclass(frozen=True, slots=True)
class StoredIntake:
    """One adding of one folder."""

    id: int
    folder: str
    part_file: str | None
    column_map: str | None
    simulated: bool
    added_at: TimeText
    station: str
    version: str
    inputs: tuple[InputFile, ...]
    notices: tuple[Mapping[str, Any], ...]
    part: PartName


@dataclass(frozen=True, slots=True)
class StoredPart:
    """Part data of one revision."""

    id: int
    number: str
    name: str
    revision: str
    digest: str
    content: Mapping[str, Any]
    added_at: TimeText


@dataclass(frozen=True, slots=True)
class ListedStore:
    """Gears in short, with the events and references that count."""

    report: Literal["list"]
    store: StorePlace
    simulated: Simulated
    inputs: Iterable[StoredInput]
    gears: Iterable[ListedGear]
    events: Iterable[StoredEvent]
    references: Iterable[FrozenReference]
    acknowledgements: Iterable[Acknowledgement]


@dataclass(frozen=True, slots=True)
class ShownStore:
    """Gears with result, digests and log."""

    report: Literal["show"]
    store: StorePlace
    simulated: Simulated
    inputs: Iterable[StoredInput]
    gears: Iterable[StoredDocument]
    audit: Iterable[AuditEntry]


@dataclass(frozen=True, slots=True)
class ExportedStore:
    """Everything that the store holds of gears, part data of every revision and the whole log too."""

    report: Literal["export"]
    store: StorePlace
    simulated: Simulated
    inputs: Iterable[StoredInput]
    gears: Iterable[StoredDocument]
    events: Iterable[StoredEvent]
    references: Iterable[FrozenReference]
    acknowledgements: Iterable[Acknowledgement]
    intakes: Iterable[StoredIntake]
    parts: Iterable[StoredPart]
    deliveries: Iterable[StoredDelivery]
    """In every state."""
    audit: Iterable[AuditEntry]


@dataclass(frozen=True, slots=True)
class CheckedStore:
    """What checking a store found."""

    store: StorePlace
    check: CheckReport
    report: Literal["check"] = "check"

    @property
    def sound(self) -> bool:
        """Nothing is wrong."""
        return not self.check.findings


@dataclass(frozen=True, slots=True)
class SuppliersStore:
    """Suppliers over their deliveries."""

    store: StorePlace
    simulated: Simulated
    reviews: tuple[SupplierReview, ...]
    report: Literal["suppliers"] = "suppliers"


@dataclass(frozen=True, slots=True)
class RegradedStore:
    """What regrading gave."""

    store: StorePlace
    regrading: RegradeReport
    report: Literal["regrade"] = "regrade"

"""What `gearqa history` writes: one schema for six reports; `report` says which."""

from __future__ import annotations

from typing import Final

from gearqa.model.deliveries import StoredDelivery, SupplierReview
from gearqa.model.history import CheckReport, FrozenReference, RegradeReport, StoredEvent, StoredGear
from gearqa.model.measurement import InputFile
from gearqa.model.store_reports import (
    AuditEntry,
    CheckedStore,
    ExportedStore,
    ListedGear,
    ListedStore,
    RegradedStore,
    ShownStore,
    StoredDocument,
    StoredInput,
    StoredIntake,
    StoredPart,
    SuppliersStore,
)
from gearqa.results.codec import Table
from gearqa.results.document import ResultDocument
from gearqa.results.entries import names_of
from gearqa.results.grade_json import definitions

HISTORY: Final = ResultDocument(
    "gearqa.history/1",
    "gearqa history",
    ListedStore,
    {
        CheckedStore: (
            "report", "store", "sound", *(f"{name}=check.{name}" for name in names_of(CheckReport)),
        ),
        RegradedStore: (
            "report", "store", "conforms=regrading.conforms",
            *(f"{name}=regrading.{name}" for name in names_of(RegradeReport)),
        ),
        SuppliersStore: ("report", "store", "simulated", "reviews"),
        SupplierReview: (
            "supplier", "part_number", "simulated", "next", "outcomes", "claims", "share_confirmed",
            "deliveries", "biases",
        ),
        ListedGear: (
            *(f"{name}=gear.{name}" for name in names_of(StoredGear)),
            "measurement=graded.measurement", "conformity_state=graded.state", "standard",
        ),
        StoredDocument: (*(f"{name}=gear.{name}" for name in names_of(StoredGear)), "digests", "result"),
        StoredInput: ("folder", *(f"{name}=file.{name}" for name in names_of(InputFile))),
    },
    {
        ListedGear: "stored_gear", StoredEvent: "event", FrozenReference: "reference", AuditEntry: "audit",
        StoredIntake: "intake", StoredPart: "part", StoredInput: "input",
        StoredDelivery: "delivery",
    },
)  # fmt: skip


def history_json_schema() -> Table:
    """Schema of `history list`, `show`, `export`, `check`, `regrade` and `suppliers` with --json."""
    from gearqa.results.json_schema import DIALECT, Schemas, array, reference, with_head

    schemas = Schemas(HISTORY.views, HISTORY.definitions)
    whole_gears = array(schemas.of(StoredDocument, None, result=reference("gear")))
    bodies = [
        schemas.of(ListedStore),
        schemas.of(ShownStore, None, gears=whole_gears),
        schemas.of(ExportedStore, None, gears=whole_gears),
        schemas.of(CheckedStore),
        schemas.of(RegradedStore),
        schemas.of(SuppliersStore),
    ]
    return {
        "$schema": DIALECT,
        "title": HISTORY.title,
        "oneOf": [with_head(HISTORY.schema, body) for body in bodies],
        "$defs": definitions() | schemas.named(),
    }

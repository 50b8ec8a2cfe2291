"""What a history store holds and what was done to it. Times are aware."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import field
from datetime import datetime
from typing import Literal

from gearqa.errors import Notice
from gearqa.late_dataclass import dataclass
from gearqa.model.measurement import GrinderEvent
from gearqa.model.results import GearResult, GradeHeader

State = Literal["current", "superseded", "removed"]


@dataclass(frozen=True, slots=True)
class StoredGear:
    """One gear of the store: identity, where it was made, what came out. Fields are the keys in JSON."""

    id: int
    part_number: str
    revision: str
    serial: str
    measured_at: datetime | None
    finished_at: datetime | None
    grinder: str | None
    wheel: str | None
    dress: str | None
    parts_since_dress: int | None
    instrument: str | None
    class_: int | None
    class_complete: bool
    beyond: bool
    conforms: bool | None
    master_quality: bool | None
    simulated: bool
    state: State
    superseded_by: int | None
    """The gear that counts instead."""
    intake: int
    """The intake that brought it."""
    added_at: datetime


@dataclass(frozen=True, slots=True)
class StoredEvent:
    """What was done to a grinder, with its number in the store."""

    id: int
    at: datetime
    grinder: str
    event: str
    wheel: str | None
    parameter: str | None
    flank: str | None
    correction: float | None
    unit: str | None
    remark: str | None
    state: State


@dataclass(frozen=True, slots=True)
class RecordedEvent:
    """An event that was to be recorded."""

    event: GrinderEvent
    new: bool
    """Whether the store did not have it yet."""


@dataclass(frozen=True, slots=True)
class FrozenReference:
    """The period that control limits of one part on one grinder come from."""

    id: int
    part_number: str
    grinder: str
    from_at: datetime
    to_at: datetime
    frozen_at: datetime
    remark: str | None = None


@dataclass(frozen=True, slots=True)
class Acknowledgement:
    """A signal of a series that somebody has seen."""

    id: int
    part_number: str
    grinder: str
    parameter: str
    flank: str | None
    cycle: int
    """Running dress cycle when it was seen."""
    dress: str | None
    sentence: str
    """What the signal said."""
    seen_by: str
    cause: str
    action: str
    at: datetime
    undoes: int | None
    """The acknowledgement that this row takes back."""


@dataclass(frozen=True, slots=True)
class HistoryList:
    """What a store holds of the gears asked for."""

    gears: tuple[StoredGear, ...]
    """The last ones made, where not all were asked for."""
    total: int
    """How many there are."""
    events: tuple[StoredEvent, ...]
    references: tuple[FrozenReference, ...]
    acknowledgements: tuple[Acknowledgement, ...] = ()
    """Signals that somebody has seen; what was taken back is left out."""
    graded: Mapping[int, GradedAs] = field(default_factory=dict)
    """By number of the row: of gears that are left open, or stand in the list more than once."""
    standards: Mapping[int, str] = field(default_factory=dict)
    """Tolerance system of each class by number of the row; empty where the store has one only."""


@dataclass(frozen=True, slots=True)
class GradedAs:
    """What a result says of a stored gear beside its columns."""

    measurement: str
    """Label of the measurement."""
    state: str | None
    """State of the gear under the measurement uncertainty; None in results of the first versions."""


@dataclass(frozen=True, slots=True)
class StoredResult:
    """A stored gear with its whole result."""

    gear: StoredGear
    header: GradeHeader
    result: GearResult
    slope_span: str


@dataclass(frozen=True, slots=True)
class IntakeReport:
    """What adding one folder did."""

    folder: str
    part_number: str
    revision: str
    added: int
    unchanged: int
    replaced: int
    events: int
    """Events that were not known yet."""
    conforming: int
    not_conforming: int
    undecided: int
    simulated: bool
    intake: int | None
    """Number of this intake in the store; None if nothing was new."""

    @property
    def gears(self) -> int:
        """Gears of the folder."""
        return self.added + self.unchanged + self.replaced


@dataclass(frozen=True, slots=True)
class FailedFolder:
    """A folder of many that was not done, and why."""

    folder: str
    problems: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class ArchiveReport:
    """What adding an archive did."""

    added: tuple[IntakeReport, ...]
    unchanged: tuple[str, ...]
    """Folders whose files were in the store as they are."""
    failed: tuple[FailedFolder, ...]


@dataclass(frozen=True, slots=True)
class RegradedGear:
    """One gear graded anew: what it was and what it is."""

    serial: str
    measured_at: datetime | None
    source: Literal["stored values", "raw files"]
    standard_before: str
    """Tolerance system of the class before."""
    standard_after: str
    class_before: int | None
    class_after: int | None
    conforms_before: bool | None
    conforms_after: bool | None
    master_quality_before: bool | None
    master_quality_after: bool | None


@dataclass(frozen=True, slots=True)
class RegradeReport:
    """Result of regrading."""

    gears: tuple[RegradedGear, ...]
    unchanged: int
    """Gears whose part data asks for the same already."""
    written: bool
    simulated: bool

    @property
    def conforms(self) -> bool | None:
        """Whether all gears graded anew conform; None if some are open."""
        verdicts = {gear.conforms_after for gear in self.gears}
        return False if False in verdicts else None if None in verdicts else True


@dataclass(frozen=True, slots=True)
class StoreFinding:
    """Something wrong with a store: stable code and sentence."""

    code: str
    sentence: str


@dataclass(frozen=True, slots=True)
class ChainHead:
    """End of the chain that holds a digest of every row written."""

    entries: int
    head: str | None
    """Link of the last entry. Kept elsewhere, it shows whether all that was written before is still there."""


@dataclass(frozen=True, slots=True)
class CheckReport:
    """What checking a store found."""

    gears: int
    superseded: int
    removed: int
    events: int
    intakes: int
    deliveries: int
    files_checked: int
    chain: ChainHead
    findings: tuple[StoreFinding, ...]


@dataclass(frozen=True, slots=True)
class WatchedIntake:
    """A folder that was taken in while watching."""

    at: datetime
    report: IntakeReport


@dataclass(frozen=True, slots=True)
class WatchedProblem:
    """A folder that could not be taken in, and why."""

    at: datetime
    folder: str
    message: str
    again: bool
    """Tried again soon; else when its files change."""


@dataclass(frozen=True, slots=True)
class WatchSignal:
    """Something that a person must look at."""

    key: str
    """Identifies the folder or the series of gears that it is about."""
    part_number: str
    grinder: str | None
    sentence: str
    parameter: str | None = None
    flank: str | None = None
    cycle: int | None = None
    """Running dress cycle of a series; None of gears that do not conform."""
    dress: str | None = None
    since_cycle: int | None = None
    """Cycle in which the alarm began."""
    step_cycle: int | None = None
    """Where the last level change was found."""
    size_um: float | None = None
    """By how much the level has moved."""
    seen: Acknowledgement | None = None
    """Who has seen it already; then it is not told again."""


@dataclass(frozen=True, slots=True)
class WatchStatus:
    """State of a watch at a moment."""

    folder: str
    store: str
    started_at: datetime
    at: datetime
    running: bool
    gears_in_store: int
    gears_added: int
    """Since the watch began."""
    waiting: tuple[str, ...]
    """Folders whose files are still being written."""
    intakes: tuple[WatchedIntake, ...]
    """The last ones, newest first."""
    problems: tuple[WatchedProblem, ...]
    """Folders that still cannot be taken in."""
    signals: tuple[WatchSignal, ...]
    """The last ones, newest first."""
    notices: tuple[Notice, ...]
    simulated: bool
    standards: tuple[str, ...] = ()
    """Tolerance systems of the drawings in the store."""

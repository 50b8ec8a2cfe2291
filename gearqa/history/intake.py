"""Adds inspection folders to a store: graded first, then written in one short transaction.

Part number, serial and time of measurement identify a gear. The same values again change nothing; other
values supersede the old row, which is kept, and only where that was asked for.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import IO, Any, Final, TypeVar

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from gearqa.diagnosis.followed import Plans, with_components
from gearqa.errors import InputError, Problem, StoreConflictError
from gearqa.evaluation.evaluate import Counted, LotCounter, counted
from gearqa.evaluation.part_setup import setup_of
from gearqa.history.drafts import Draft, DraftSpool, batches, draft_of, spool_file
from gearqa.history.events import add_events
from gearqa.history.gear_rows import NewGear, insert_gears, supersede, superseding
from gearqa.history.measured_digests import completes, differing_kinds, measured_digests
from gearqa.history.parts import part_by_id, part_id
from gearqa.history.passing import OverGears, Passing, in_turn, unwatched
from gearqa.history.sealed_rows import insert_rows, next_id
from gearqa.history.sql_tables import AUDIT, CURRENT, GEAR, INTAKE
from gearqa.history.store import HistoryStore, LogEntry, log, now, station
from gearqa.history.stored_texts import dumps, loads, plain_text
from gearqa.model.history import IntakeReport
from gearqa.model.measurement import GrinderEvent, InputFile
from gearqa.model.part import PART_FILE, Part
from gearqa.model.results import GearResult, LotSummary
from gearqa.reading.folder.inspection import Inspection
from gearqa.reading.folder.listing import is_table
from gearqa.reading.folder.passes import read_folder
from gearqa.reading.rows.digests import sha256_of
from gearqa.results.codec import writer
from gearqa.stopping import point_of_no_return
from gearqa.version import __version__
from gearqa.wording.numbers import count_text
from gearqa.wording.sentences import first_lines

CONFLICTS_NAMED: Final = 20
Made = TypeVar("Made")


@dataclass(frozen=True, slots=True)
class FolderToAdd:
    """A folder and how it is read."""

    folder: Path
    part: Path | None = None
    columns: Path | None = None
    serials: tuple[str, ...] = ()


@dataclass(slots=True)
class Prepared:
    """A folder that was read and graded; nothing of it is in the store yet."""

    source: FolderToAdd
    part: Part
    intake: dict[str, Any]
    events: tuple[GrinderEvent, ...]
    lot: LotSummary
    simulated: bool
    drafts: DraftSpool = field(repr=False)


def prepare(
    source: FolderToAdd,
    *,
    passing: Passing = unwatched,
    over_gears: OverGears = in_turn,
    file: IO[bytes] | None = None,
) -> Prepared:
    """Read and grade a folder.

    `file` is a spool file to share with other folders, which are prepared one after the other.
    """
    drafts = DraftSpool(file)
    try:
        with read_folder(
            source.folder, part=source.part, columns=source.columns, serials=source.serials
        ) as inspection:
            part, simulated, lot = inspection.part, inspection.simulated, LotCounter()

            def made(gear: GearResult, digests: dict[str, str]) -> tuple[Counted, Draft]:
                return counted(gear), draft_of(gear, digests, part, simulated=simulated)

            graded = graded_gears(inspection, part, made, over_gears)
            for counts, draft in passing(graded, total=len(inspection)):
                lot.add(counts)
                drafts.add(draft)
            drafts.finish()
            return Prepared(
                source, part, _intake_row(source, inspection), inspection.events, lot.summary(), simulated,
                drafts,
            )  # fmt: skip
    except BaseException:
        drafts.close()
        raise


@dataclass(frozen=True, slots=True)
class Attempt:
    """What became of a folder of many: prepared, or its problems; neither if it is in the store already."""

    prepared: Prepared | None = None
    problems: tuple[Problem, ...] = ()


@dataclass(frozen=True, slots=True)
class ArchiveFolder:
    """A folder of many, and the digests of its files where it was added before."""

    source: FolderToAdd
    known: tuple[tuple[str, str], ...] = ()


def attempt(folder: ArchiveFolder) -> Attempt:
    """Prepare one folder of many, in whichever process; its faults do not stop the others."""
    try:
        if _as_known(folder):
            return Attempt()
        return Attempt(prepare(folder.source))
    except InputError as error:
        return Attempt(problems=tuple(error.problems))


def _as_known(folder: ArchiveFolder) -> bool:
    """Whether a folder holds exactly the files it held when it was added, with its own drawing.

    Where a column map names the files, or some were left out, only reading tells.
    """
    source, known = folder.source, dict(folder.known)
    if not known or source.part is not None or source.columns is not None:
        return False
    tables = {path.name for path in source.folder.iterdir() if is_table(path)}
    read = {name: digest for name, digest in known.items() if digest}
    if {*read} != {PART_FILE, *tables}:
        return False
    return all(sha256_of(source.folder / name) == digest for name, digest in read.items())


def known_files(store: HistoryStore) -> dict[str, tuple[tuple[str, str], ...]]:
    """Files with their digests, by folder, of the newest intake of each that took in the whole folder."""
    with store.reading() as connection:
        added = connection.execute(sa.select(AUDIT.c.detail).where(AUDIT.c.action == "add"))
        whole = {detail["intake"] for (text,) in added if (detail := loads(text)).get("whole")}
        columns = (INTAKE.c.id, INTAKE.c.folder, INTAKE.c.inputs)
        rows: Iterable[Any] = connection.execute(sa.select(*columns).order_by(INTAKE.c.id))
        return {
            row.folder: tuple((one["file"], one.get("sha256") or "") for one in loads(row.inputs))
            for row in rows
            if row.id in whole
        }


def graded_gears(
    inspection: Inspection,
    part: Part,
    made: Callable[[GearResult, dict[str, str]], Made],
    over_gears: OverGears = in_turn,
) -> Iterator[Made]:
    """What is made of each gear, graded and with its components, and the digests of what was measured."""
    setup, plans = setup_of(part), Plans()

    def work(some: range) -> list[Made]:
        gears = with_components(inspection.some(some), setup, plans)
        return [made(gear, measured_digests(measured)) for measured, gear in gears]

    return over_gears(work, len(inspection))


def add_folders(
    store: HistoryStore,
    folders: Sequence[FolderToAdd],
    *,
    replace: bool = False,
    complete: bool = False,
    passing: Passing = unwatched,
    over_gears: OverGears = in_turn,
) -> list[IntakeReport]:
    """Add folders in their order, all of them or none.

    Gears that are stored with other values or part data are superseded with `replace`; with `complete` those
    to which only tables were added; else StoreConflictError names them. Raises InputError with the problems
    of all folders that cannot be read.
    """
    prepared: list[Prepared] = []
    faults: list[InputError] = []
    with spool_file() as file:
        for source in folders:
            try:
                prepared.append(prepare(source, passing=passing, over_gears=over_gears, file=file))
            except InputError as error:
                faults.append(error)
        if len(faults) == 1:
            raise faults[0]
        if faults:
            raise InputError([problem for fault in faults for problem in fault.problems])
        return add_prepared(store, prepared, replace=replace, complete=complete)


def add_prepared(
    store: HistoryStore, prepared: Sequence[Prepared], *, replace: bool = False, complete: bool = False
) -> list[IntakeReport]:
    """Write graded folders in one transaction."""
    with store.writing() as connection:
        writings = [_Writing(connection, one, replace=replace, complete=complete) for one in prepared]
        reports = [writing.run() for writing in writings]
        conflicts = [conflict for writing in writings for conflict in writing.conflicts]
        if conflicts:
            raise _conflict_error(conflicts, store.shown)
        point_of_no_return()
    return reports


@dataclass(slots=True)
class _Writing:
    """One folder being written."""

    connection: Connection
    prepared: Prepared
    replace: bool
    complete: bool
    conflicts: list[str] = field(default_factory=list)
    entries: list[LogEntry] = field(default_factory=list)
    _met: set[tuple[str, str]] = field(default_factory=set)
    """Identities of the gears of this folder."""
    _part_id: int = 0
    _intake_id: int | None = None
    _next_gear: int = 0
    _added_at: str = ""

    def run(self) -> IntakeReport:
        prepared = self.prepared
        self._part_id = part_id(self.connection, prepared.part)
        self._next_gear = next_id(self.connection, GEAR)
        self._added_at = now()
        counts = {"added": 0, "unchanged": 0, "replaced": 0}
        for batch in batches(prepared.drafts):
            for word, number in self._write(batch).items():
                counts[word] += number
        folder = prepared.intake["folder"]
        events = add_events(self.connection, prepared.events, folder=folder)
        identity = prepared.part.part
        detail = {"folder": folder, "intake": self._intake_id, "revision": identity.revision, **counts}
        detail["events"], detail["whole"] = events, not prepared.source.serials
        log(self.connection, LogEntry("add", identity.number, detail=detail), *self.entries)
        lot = prepared.lot
        return IntakeReport(
            folder=str(prepared.source.folder),
            part_number=identity.number,
            revision=identity.revision,
            events=events,
            conforming=lot.conforming,
            not_conforming=lot.not_conforming,
            undecided=lot.undecided,
            simulated=prepared.simulated,
            intake=self._intake_id,
            **counts,
        )

    def _write(self, batch: list[Draft]) -> dict[str, int]:
        stored = self._stored(batch)
        new: list[Draft] = []
        replacing: list[tuple[int, int]] = []
        unchanged = 0
        for draft in batch:
            identity = (draft.serial, draft.measured_key)
            if identity in self._met:
                self.conflicts.append(_twice(draft))
                continue
            self._met.add(identity)
            old = stored.get(identity)
            if old is not None:
                known, same_part = loads(old.digests), old.part_id == self._part_id
                if known == draft.digests and same_part:
                    unchanged += 1
                    continue
                allowed = self.replace or (self.complete and same_part and completes(known, draft.digests))
                if not allowed:
                    self.conflicts.append(self._conflict(draft, known, old.part_id))
                    continue
                number = self._next_gear + len(new)
                replacing.append((old.id, number))
                changed = [*differing_kinds(known, draft.digests), *([] if same_part else ["part data"])]
                self.entries.append(superseding(draft, number, old.id, changed))
            new.append(draft)
        if new and not self.conflicts:
            self._insert(new, replacing)
        return {"added": len(new) - len(replacing), "unchanged": unchanged, "replaced": len(replacing)}

    def _stored(self, batch: list[Draft]) -> dict[tuple[str, str], sa.Row[Any]]:
        query = sa.select(
            GEAR.c.id, GEAR.c.serial, GEAR.c.measured_key, GEAR.c.part_id, GEAR.c.digests
        ).where(
            GEAR.c.part_number == self.prepared.part.part.number,
            GEAR.c.state == CURRENT,
            GEAR.c.serial.in_([draft.serial for draft in batch]),
        )
        rows: Iterable[Any] = self.connection.execute(query)
        return {(row.serial, row.measured_key): row for row in rows}

    def _insert(self, new: list[Draft], replacing: list[tuple[int, int]]) -> None:
        supersede(self.connection, replacing)
        intake = self._intake()
        gears = [
            NewGear(number, draft, self._part_id, intake) for number, draft in enumerate(new, self._next_gear)
        ]
        insert_gears(self.connection, gears, self._added_at)
        self._next_gear += len(new)

    def _intake(self) -> int:
        """Row of this intake, made with its first new gear."""
        if self._intake_id is None:
            self._intake_id = next_id(self.connection, INTAKE)
            own = {"id": self._intake_id, "part_id": self._part_id, "added_at": self._added_at}
            insert_rows(self.connection, INTAKE, [{**own, **self.prepared.intake}])
        return self._intake_id

    def _conflict(self, draft: Draft, known: dict[str, str], old_part: int) -> str:
        measured = f", measured {draft.measured_key}" if draft.measured_key else ""
        what = f"another {' and '.join(kinds)}" if (kinds := differing_kinds(known, draft.digests)) else ""
        if old_part != self._part_id:
            old, new = part_by_id(self.connection, old_part).part.revision, self.prepared.part.part.revision
            revisions = f" (revision {old or '-'} stored, {new or '-'} here)" if old != new else ""
            what += f"{' and ' if what else ''}other part data{revisions}"
        return f"{draft.serial}{measured}: {what}"


def _twice(draft: Draft) -> str:
    when = f"with measured_at {draft.measured_key}" if draft.measured_key else "without a measured_at"
    return f"{draft.serial}: two measurements {when} in one folder"


def _intake_row(source: FolderToAdd, inspection: Inspection) -> dict[str, Any]:
    def place(path: Path | None) -> str | None:
        return None if path is None else plain_text(str(path.resolve()))

    inputs = map(writer(InputFile), inspection.inputs)
    return {
        "folder": plain_text(str(source.folder.resolve())),
        "part_file": place(source.part),
        "column_map": place(source.columns),
        "inputs": dumps([{k: v and plain_text(v) for k, v in one.items()} for one in inputs]),
        "notices": dumps([{"code": n.code, "message": plain_text(n.message)} for n in inspection.notices]),
        "simulated": inspection.simulated,
        "station": station(),
        "version": __version__,
    }


def _conflict_error(conflicts: Sequence[str], shown: str) -> StoreConflictError:
    count = len(conflicts)
    head = f"{count_text(count, 'gear is', 'gears are')} in the history store {shown} with other values"
    lines = [f"{head}; nothing was changed:", *first_lines(conflicts, CONFLICTS_NAMED)]
    return StoreConflictError(
        "\n".join(lines),
        hint="--replace supersedes the stored ones, which are kept; a second measurement of a gear needs a "
        "measured_at of its own in the production table",
    )

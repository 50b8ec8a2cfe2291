"""Grades stored gears anew under another class, drawing or evaluation setting.

Where only the requirements change, the stored values are judged again; where traces are evaluated in another
way, the raw files are read again from where they lay, and their digests compared.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import AbstractContextManager
from dataclasses import dataclass
from itertools import chain
from typing import Any, Literal, Protocol

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from gearqa.errors import StoreConflictError, StoreError
from gearqa.evaluation.part_setup import PartSetup, setup_of
from gearqa.evaluation.rejudge import judged_anew, why_raw_data
from gearqa.history.drafts import BATCH, Draft, DraftSpool, batches, draft_of
from gearqa.history.gear_rows import NewGear, insert_gears, supersede, superseding
from gearqa.history.intake import graded_gears
from gearqa.history.measured_digests import measured_digests
from gearqa.history.new_grading import NewGrading, changed_part
from gearqa.history.parts import part_by_id, part_digest, part_id
from gearqa.history.passing import OverGears, Passing, in_turn, unwatched
from gearqa.history.queries import GEAR_COLUMNS, Selection, gear_of, result_of, select_results
from gearqa.history.raw_files import Intake, folder_faults, read_intakes
from gearqa.history.sealed_rows import next_id
from gearqa.history.sql_tables import CURRENT, GEAR, PART
from gearqa.history.store import HistoryStore, LogEntry, log, now
from gearqa.history.stored_texts import identity_text, loads, plain_text
from gearqa.model.history import RegradedGear, RegradeReport, StoredGear
from gearqa.model.measurement import GearMeasurement
from gearqa.model.part import Part
from gearqa.model.results import GearResult
from gearqa.reading.folder.inspection import Inspection
from gearqa.reading.folder.passes import read_folder
from gearqa.wording.sentences import first_lines, some_of

FAULTS_NAMED = 20
SERIALS_NAMED = 5
Source = Literal["stored values", "raw files"]


@dataclass(frozen=True, slots=True)
class _Chosen:
    """A gear to be graded anew, the row of its part data, and its time of measurement as identity."""

    stored: StoredGear
    part: int
    measured_key: str


@dataclass(frozen=True, slots=True)
class _Drawing:
    """One drawing, old and new."""

    old: Part
    new: Part
    setup: PartSetup
    differs: bool
    why_files: str | None
    """Why the raw files are needed; None: stored values will do."""

    @classmethod
    def of(cls, old: Part, grading: NewGrading) -> _Drawing:
        new = changed_part(old, grading)
        setup = setup_of(new)
        why = why_raw_data(old, setup_of(old).criteria, new, setup.criteria)
        differs = grading.from_files or part_digest(old) != part_digest(new)
        return cls(old, new, setup, differs, why or ("--from-files" if grading.from_files else None))


class Spreading(Protocol):
    """Has many things worked on at once; gives each with its result, in their order."""

    def __call__(self, function: Callable[[Any], Any], items: Sequence[Any]) -> Iterable[tuple[Any, Any]]: ...


_Identity = tuple[str, str]
"""Serial and time of measurement, as a store tells gears of a part apart."""


@dataclass(frozen=True, slots=True)
class _Anew:
    """A gear graded anew: its new verdicts, and what is written; None in a dry run."""

    class_: int | None
    conforms: bool | None
    master_quality: bool | None
    draft: Draft | None

    @classmethod
    def of(
        cls, result: GearResult, digests: dict[str, str], drawing: Part, *, simulated: bool, dry_run: bool
    ) -> _Anew:
        draft = None if dry_run else draft_of(result, digests, drawing, simulated=simulated)
        return cls(result.class_, result.conforms, result.master_quality, draft)


_Graded = tuple[_Chosen, _Anew, Source]
"""A gear, graded anew, and from what."""


def regrade(
    store: HistoryStore,
    which: Selection,
    new: NewGrading,
    *,
    dry_run: bool = False,
    spreading: Spreading | None = None,
    passing: Passing = unwatched,
    over_gears: OverGears = in_turn,
) -> RegradeReport:
    """Grade the chosen gears anew; their former results are superseded and kept.

    A dry run writes nothing, and its store need not be open for writing. Raises StoreError with all raw
    files that are needed and are gone or changed; then nothing is changed.
    """
    with store.reading() as connection:
        gears = list(_chosen(connection, which))
        parts = {number: part_by_id(connection, number) for number in {gear.part for gear in gears}}
        intakes = read_intakes(connection, {gear.stored.intake for gear in gears})
    drawings = {number: _Drawing.of(part, new) for number, part in parts.items()}
    wanted = [gear for gear in gears if drawings[gear.part].differs]
    by_values = [gear for gear in wanted if drawings[gear.part].why_files is None]
    by_files = [gear for gear in wanted if drawings[gear.part].why_files is not None]
    graded: Iterator[_Graded] = chain(
        _from_values(store, by_values, drawings, dry_run=dry_run),
        _from_files(store, by_files, drawings, intakes, spreading, over_gears, dry_run=dry_run),
    )
    order: list[_Chosen] = []
    regraded: list[RegradedGear] = []
    with DraftSpool() as spool:
        for gear, anew, source in passing(graded, total=len(wanted)):
            if anew.draft is not None:
                spool.add(anew.draft)
            order.append(gear)
            regraded.append(_outcome(gear.stored, anew, source, drawings[gear.part]))
        if not dry_run and order:
            _write(store, order, spool, drawings, new)
    return RegradeReport(
        tuple(regraded),
        unchanged=len(gears) - len(wanted),
        written=not dry_run,
        simulated=any(gear.stored.simulated for gear in gears),
    )


def _chosen(connection: Connection, which: Selection) -> Iterator[_Chosen]:
    query = (
        sa.select(*GEAR_COLUMNS, GEAR.c.part_id, GEAR.c.measured_key)
        .join(PART, PART.c.id == GEAR.c.part_id)
        .where(*which.conditions())
        .order_by(GEAR.c.id)
    )
    rows: Iterable[Any] = connection.execute(query)
    for row in rows:
        yield _Chosen(gear_of(row), row.part_id, row.measured_key)


def _from_values(
    store: HistoryStore, gears: Sequence[_Chosen], drawings: Mapping[int, _Drawing], *, dry_run: bool
) -> Iterator[_Graded]:
    for start in range(0, len(gears), BATCH):
        portion = {gear.stored.id: gear for gear in gears[start : start + BATCH]}
        with store.reading() as connection:
            found = list(select_results(connection, Selection(ids=tuple(portion), every_state=True)))
        for stored, document, digests in found:
            gear = portion[stored.id]
            drawing = drawings[gear.part]
            result = judged_anew(result_of(document), drawing.setup)
            anew = _Anew.of(result, digests, drawing.new, simulated=gear.stored.simulated, dry_run=dry_run)
            yield gear, anew, "stored values"


def _from_files(
    store: HistoryStore,
    gears: Sequence[_Chosen],
    drawings: Mapping[int, _Drawing],
    intakes: Mapping[int, Intake],
    spreading: Spreading | None,
    over_gears: OverGears,
    *,
    dry_run: bool,
) -> Iterator[_Graded]:
    groups: dict[tuple[int, int], dict[_Identity, _Chosen]] = {}
    for gear in gears:
        identity = gear.stored.serial, gear.measured_key
        groups.setdefault((gear.stored.intake, gear.part), {})[identity] = gear
    stored = _stored_digests(store, gears)
    folders = [
        _Folder(
            intakes[number],
            drawings[part].old,
            drawings[part].new,
            {identity: stored[gear.stored.id] for identity, gear in group.items()},
            next(iter(group.values())).stored.simulated,
            dry_run,
        )
        for (number, part), group in groups.items()
    ]
    found: Iterable[Iterable[_OfFolder]] = (_each_anew(folder, over_gears) for folder in folders)
    if not all(one.intake.folder.is_dir() for one in folders):  # told at once
        found = map(_raw_faults, folders)
    elif spreading is not None and len(folders) > 1:
        found = (graded for _, graded in spreading(_all_anew, folders))
    faults: list[str] = []
    for group, graded in zip(groups.values(), found, strict=True):
        for one in graded:
            if isinstance(one, str):
                faults.append(one)
            elif not faults:
                identity, anew = one
                yield group[identity], anew, "raw files"
    if faults:
        raise _raw_error(faults, drawings[gears[0].part].why_files, store.shown)


@dataclass(frozen=True, slots=True)
class _Folder:
    """A folder to be graded anew, in whichever process."""

    intake: Intake
    old: Part
    new: Part
    gears: Mapping[_Identity, dict[str, str]]
    """Which ones, with the digests of their values."""
    simulated: bool
    dry_run: bool

    def read(self, part: Part) -> AbstractContextManager[Inspection]:
        """Its gears, read by a drawing."""
        serials = tuple(dict.fromkeys(serial for serial, _ in self.gears))
        return read_folder(self.intake.folder, part=part, columns=self.intake.column_map, serials=serials)


_OfFolder = tuple[_Identity, _Anew] | str
"""A gear graded anew; or what is wrong with the raw files."""


def _each_anew(folder: _Folder, over_gears: OverGears = in_turn) -> Iterator[_OfFolder]:
    drawing, how = folder.new, {"simulated": folder.simulated, "dry_run": folder.dry_run}

    def anew(gear: GearResult, digests: dict[str, str]) -> tuple[_Identity, _Anew] | None:
        identity = _identity(gear)
        return (identity, _Anew.of(gear, digests, drawing, **how)) if identity in folder.gears else None

    try:
        with folder.read(drawing) as inspection:
            read = {(plain_text(one.file), one.sha256) for one in inspection.inputs}
            faults = [] if folder.intake.digests.items() <= read else _raw_faults(folder)
            yield from faults or filter(None, graded_gears(inspection, drawing, anew, over_gears))
    except (ValueError, OSError):  # what the reader raises, and files that went away
        faults = _raw_faults(folder)
        if not faults:
            raise
        yield from faults


def _all_anew(folder: _Folder) -> Iterable[_OfFolder]:
    return list(_each_anew(folder))


def _identity(gear: GearMeasurement | GearResult) -> _Identity:
    at = gear.production.measured_at if gear.production else None
    return gear.serial, identity_text(at)


def _stored_digests(store: HistoryStore, gears: Sequence[_Chosen]) -> dict[int, dict[str, str]]:
    found: dict[int, dict[str, str]] = {}
    ids = [gear.stored.id for gear in gears]
    for start in range(0, len(ids), BATCH):
        with store.reading() as connection:
            query = sa.select(GEAR.c.id, GEAR.c.digests).where(GEAR.c.id.in_(ids[start : start + BATCH]))
            found.update({row.id: loads(row.digests) for row in connection.execute(query)})
    return found


def _raw_faults(folder: _Folder) -> list[str]:
    """What is wrong with the raw files of a folder; nothing if its gears are as they were."""
    intake = folder.intake
    faults = folder_faults(intake)
    if not faults or not intake.folder.is_dir():
        return faults
    try:  # files may have grown by other gears
        with folder.read(folder.old) as inspection:
            found = {_identity(gear): measured_digests(gear) for gear in inspection}
    except (ValueError, OSError) as error:
        return [*faults, f"{intake.folder}: cannot be read any more ({str(error).splitlines()[0]})"]
    changed = [identity[0] for identity, digests in folder.gears.items() if found.get(identity) != digests]
    if not changed:
        return []
    return [*faults, f"{intake.folder}: other values of {some_of(changed, SERIALS_NAMED)}"]


def _raw_error(faults: Sequence[str], why: str | None, shown: str) -> StoreError:
    head = f"the raw files are needed ({why}), and some are gone or changed; nothing was regraded"
    return StoreError(
        "\n".join([f"history store {shown}: {head}:", *first_lines(faults, FAULTS_NAMED)]),
        hint="bring the folders back to where they were, or choose other gears; another class alone "
        "(--class) needs no raw files",
    )


def _outcome(stored: StoredGear, anew: _Anew, source: Source, drawing: _Drawing) -> RegradedGear:
    return RegradedGear(
        serial=stored.serial,
        measured_at=stored.measured_at,
        source=source,
        standard_before=drawing.old.tolerance.standard,
        standard_after=drawing.new.tolerance.standard,
        class_before=stored.class_,
        class_after=anew.class_,
        conforms_before=stored.conforms,
        conforms_after=anew.conforms,
        master_quality_before=stored.master_quality,
        master_quality_after=anew.master_quality,
    )


def _write(
    store: HistoryStore,
    order: Sequence[_Chosen],
    spool: DraftSpool,
    drawings: Mapping[int, _Drawing],
    new: NewGrading,
) -> None:
    places = iter(order)
    with store.writing() as connection:
        rows = {number: part_id(connection, one.new) for number, one in drawings.items()}
        number, added_at = next_id(connection, GEAR), now()
        for batch in batches(spool):
            old = [next(places) for _ in batch]
            _require_current(connection, [gear.stored.id for gear in old], store.shown)
            gears = [
                NewGear(n, draft, rows[gear.part], gear.stored.intake)
                for n, (gear, draft) in enumerate(zip(old, batch, strict=True), number)
            ]
            pairs = [(before.stored.id, gear) for before, gear in zip(old, gears, strict=True)]
            supersede(connection, [(before, gear.id) for before, gear in pairs])
            insert_gears(connection, gears, added_at)
            log(connection, *(superseding(one.draft, one.id, before, ["grading"]) for before, one in pairs))
            number += len(batch)
        revision = None if new.part is None else new.part.part.revision
        settings = dict(new.settings)
        detail = {"gears": len(order), "class": new.class_, "settings": settings, "part_file": revision}
        log(connection, LogEntry("regrade", detail=detail))


def _require_current(connection: Connection, ids: Sequence[int], shown: str) -> None:
    query = sa.select(sa.func.count()).where(GEAR.c.id.in_(ids), GEAR.c.state == CURRENT)
    if connection.execute(query).scalar_one() != len(ids):
        raise StoreConflictError(
            f"history store {shown}: another station has changed some of these gears meanwhile",
            hint="nothing was changed; try again",
        )

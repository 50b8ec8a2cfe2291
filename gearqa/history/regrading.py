"""Grades stored gears anew under another class, drawing or evaluation setting.

Where only what is asked for changes, the stored values are judged again; where traces are evaluated in
another way, the raw files are read again from where they lay, after their digests were compared.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Final

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from gearqa.errors import EvaluationError, PartFileError, Problem, Reason, StoreConflictError, StoreError
from gearqa.evaluation.part_setup import PartSetup, setup_of
from gearqa.evaluation.rejudge import judged_anew, why_raw_data
from gearqa.history.drafts import BATCH, Draft, DraftSpool, batches, draft_of
from gearqa.history.intake import graded_gears, insert_gears, supersede
from gearqa.history.measured_digests import measured_digests
from gearqa.history.parts import part_by_id, part_digest, part_id, part_text
from gearqa.history.queries import GEAR_COLUMNS, Selection, gear_of, result_of, select_results
from gearqa.history.raw_files import Intake, folder_faults, read_intakes
from gearqa.history.sql_tables import CURRENT, GEAR, PART
from gearqa.history.store import Entry, HistoryStore, log, next_id, now
from gearqa.model.history import Regraded, RegradeReport, StoredGear
from gearqa.model.part import Part
from gearqa.model.results import GearResult
from gearqa.reading.folder.passes import read_folder

FAULTS_NAMED: Final = 20
Step = Callable[[int, int], None]


@dataclass(frozen=True, slots=True)
class Change:
    """How gears are graded anew; nothing said: as their part data asks, by this program."""

    class_: int | None = None
    """Class required in general; what the drawing states by parameter or flank stays."""
    part: Part | None = None
    settings: Mapping[str, Any] = field(default_factory=dict)
    """Dotted keys of the part file with their new values."""
    from_files: bool = False
    """Evaluate the raw files again even where stored values would do."""


def changed_part(part: Part, change: Change) -> Part:
    """The part data under which gears are graded anew; raises PartFileError."""
    document = json.loads(part_text(change.part or part))
    settings = {**change.settings, **({} if change.class_ is None else {"tolerance.class": change.class_})}
    for key, value in settings.items():
        *tables, name = key.split(".")
        table = document
        for step in tables:
            table = table.setdefault(step, {})
            if not isinstance(table, dict):
                raise PartFileError([_setting_problem(key, value, "the name of a key", "no such table")])
        table[name] = value
    for name in ("ignore", "columns"):  # how the gears' own folders are read
        document.pop(name, None)
        if (value := getattr(part, name)) not in (None, ()):
            document[name] = value
    try:
        new = Part.model_validate_json(json.dumps(document))
    except ValueError as error:
        raise PartFileError(_validation_problems(error, settings)) from error
    if new.part.number != part.part.number:
        raise EvaluationError(
            f"the part file is of part number {new.part.number}, the gears are of {part.part.number}",
            hint="choose gears of one part number with --part-number",
        )
    return new


def regrade(
    store: HistoryStore,
    which: Selection,
    change: Change,
    *,
    dry_run: bool = False,
    step: Step | None = None,
) -> RegradeReport:
    """Grade the chosen gears anew; their former results are superseded and kept.

    Parameters
    ----------
    store : HistoryStore
        Opened for writing, unless it is a dry run.
    which : Selection
        Gears that count.
    change : Change
        What is different.
    dry_run : bool
        Only tell what would come out.
    step : callable, optional
        Called with the number of gears done and their total.

    Raises
    ------
    StoreError
        If raw files that are needed are gone or changed: all of them named, nothing changed.
    """
    with store.reading() as connection:
        gears = list(_chosen(connection, which))
        parts = {number: part_by_id(connection, number) for number in {gear.part for gear in gears}}
        intakes = read_intakes(connection, {gear.stored.intake for gear in gears})
    plans = {number: _Anew.of(part, changed_part(part, change)) for number, part in parts.items()}
    wanted = [gear for gear in gears if change.from_files or plans[gear.part].differs]
    by_values = [gear for gear in wanted if not change.from_files and plans[gear.part].why_raw is None]
    by_files = [gear for gear in wanted if change.from_files or plans[gear.part].why_raw is not None]
    progress = _Progress(len(wanted), step)
    with DraftSpool() as spool:
        order: list[_Chosen] = []
        regraded: list[Regraded] = []

        def keep(gear: _Chosen, result: GearResult, digests: dict[str, str], source: str) -> None:
            new = plans[gear.part].new
            spool.add(draft_of(result, digests, new, simulated=gear.stored.simulated))
            order.append(gear)
            regraded.append(_outcome(gear.stored, result, source))
            progress.step()

        for gear, result, digests in _from_values(store, by_values, plans):
            keep(gear, result, digests, "stored values")
        for gear, result, digests in _from_files(store, by_files, plans, intakes):
            keep(gear, result, digests, "raw files")
        if not dry_run and order:
            _write(store, order, spool, plans, change)
    return RegradeReport(
        tuple(regraded),
        unchanged=len(gears) - len(wanted),
        written=not dry_run,
        simulated=any(gear.stored.simulated for gear in gears),
    )


@dataclass(frozen=True, slots=True)
class _Chosen:
    """A gear to be graded anew, and the row of its part data."""

    stored: StoredGear
    part: int


@dataclass(frozen=True, slots=True)
class _Anew:
    """One drawing's old and new form."""

    old: Part
    new: Part
    setup: PartSetup
    differs: bool
    why_raw: str | None
    """Why the measured points are needed."""

    @classmethod
    def of(cls, old: Part, new: Part) -> _Anew:
        setup = setup_of(new)
        why = why_raw_data(old, setup_of(old).criteria, new, setup.criteria)
        return cls(old, new, setup, part_digest(old) != part_digest(new), why)


@dataclass(slots=True)
class _Progress:
    total: int
    told: Step | None
    done: int = 0

    def step(self) -> None:
        self.done += 1
        if self.told is not None:
            self.told(self.done, self.total)


def _chosen(connection: Connection, which: Selection) -> Iterator[_Chosen]:
    query = (
        sa.select(*GEAR_COLUMNS, GEAR.c.part_id)
        .join(PART, PART.c.id == GEAR.c.part_id)
        .where(*which.conditions())
        .order_by(GEAR.c.id)
    )
    rows: Iterable[Any] = connection.execute(query)
    for row in rows:
        yield _Chosen(gear_of(row), row.part_id)


def _from_values(
    store: HistoryStore, gears: Sequence[_Chosen], plans: Mapping[int, _Anew]
) -> Iterator[tuple[_Chosen, GearResult, dict[str, str]]]:
    for start in range(0, len(gears), BATCH):
        portion = {gear.stored.id: gear for gear in gears[start : start + BATCH]}
        with store.reading() as connection:
            found = list(select_results(connection, Selection(ids=tuple(portion), every_state=True)))
        for stored, document, digests in found:
            gear = portion[stored.id]
            yield gear, judged_anew(result_of(document), plans[gear.part].setup), digests


def _from_files(
    store: HistoryStore,
    gears: Sequence[_Chosen],
    plans: Mapping[int, _Anew],
    intakes: Mapping[int, Intake],
) -> Iterator[tuple[_Chosen, GearResult, dict[str, str]]]:
    groups: dict[tuple[int, int], dict[str, _Chosen]] = {}
    for gear in gears:
        groups.setdefault((gear.stored.intake, gear.part), {})[gear.stored.serial] = gear
    stored = _stored_digests(store, gears)
    faults = [
        fault
        for (number, part), group in groups.items()
        for fault in _raw_faults(intakes[number], group, plans[part].old, stored)
    ]
    if faults:
        raise _raw_error(faults, plans[gears[0].part].why_raw, store.shown)
    for (number, part), group in groups.items():
        intake, anew = intakes[number], plans[part]
        with read_folder(
            intake.folder, part=anew.new, columns=intake.column_map, serials=tuple(group)
        ) as inspection:
            for result, digests in graded_gears(inspection, anew.new):
                yield group[result.serial], result, digests


def _stored_digests(store: HistoryStore, gears: Sequence[_Chosen]) -> dict[int, dict[str, str]]:
    found: dict[int, dict[str, str]] = {}
    ids = [gear.stored.id for gear in gears]
    for start in range(0, len(ids), BATCH):
        with store.reading() as connection:
            query = sa.select(GEAR.c.id, GEAR.c.digests).where(GEAR.c.id.in_(ids[start : start + BATCH]))
            found.update({row.id: json.loads(row.digests) for row in connection.execute(query)})
    return found


def _raw_faults(
    intake: Intake,
    group: Mapping[str, _Chosen],
    old: Part,
    stored: Mapping[int, dict[str, str]],
) -> list[str]:
    """What is wrong with the raw files of some gears of one folder; nothing if the gears are as they were."""
    faults = folder_faults(intake)
    if not faults:
        return []
    if not intake.folder.is_dir():
        return faults
    try:  # files may have grown by other gears
        with read_folder(
            intake.folder, part=old, columns=intake.column_map, serials=tuple(group)
        ) as inspection:
            changed = [
                gear.serial
                for gear in inspection
                if measured_digests(gear) != stored[group[gear.serial].stored.id]
            ]
    except (ValueError, OSError) as error:  # what the reader raises, and files that went away
        return [*faults, f"{intake.folder}: cannot be read any more ({str(error).splitlines()[0]})"]
    if not changed:
        return []
    more = f" and {len(changed) - 5} more" if len(changed) > 5 else ""
    return [*faults, f"{intake.folder}: other values of {', '.join(changed[:5])}{more}"]


def _raw_error(faults: Sequence[str], why: str | None, shown: str) -> StoreError:
    head = (
        f"the raw files are needed ({why or 'as asked'}), and some are gone or changed; nothing was regraded"
    )
    lines = [f"history store {shown}: {head}:", *faults[:FAULTS_NAMED]]
    if len(faults) > FAULTS_NAMED:
        lines.append(f"and {len(faults) - FAULTS_NAMED} more")
    return StoreError(
        "\n".join(lines),
        hint="bring the folders back to where they were, or choose other gears; another class alone "
        "(--class) needs no raw files",
    )


def _outcome(stored: StoredGear, result: GearResult, source: str) -> Regraded:
    return Regraded(
        serial=stored.serial,
        measured_at=stored.measured_at,
        source="stored values" if source == "stored values" else "raw files",
        class_before=stored.class_,
        class_after=result.class_,
        conforms_before=stored.conforms,
        conforms_after=result.conforms,
        master_quality_before=stored.master_quality,
        master_quality_after=result.master_quality,
    )


def _write(
    store: HistoryStore,
    order: Sequence[_Chosen],
    spool: DraftSpool,
    plans: Mapping[int, _Anew],
    change: Change,
) -> None:
    places = iter(order)
    with store.writing() as connection:
        rows = {number: part_id(connection, anew.new) for number, anew in plans.items()}
        number, added_at = next_id(connection, GEAR), now()
        for batch in batches(spool):
            old = [next(places) for _ in batch]
            _require_current(connection, [gear.stored.id for gear in old], store.shown)
            new = range(number, number + len(batch))
            supersede(connection, [(gear.stored.id, n) for gear, n in zip(old, new, strict=True)])
            insert_gears(
                connection,
                [
                    {
                        "id": n,
                        "part_id": rows[gear.part],
                        "intake_id": gear.stored.intake,
                        "state": CURRENT,
                        "added_at": added_at,
                        **draft.row,
                    }
                    for n, gear, draft in zip(new, old, batch, strict=True)
                ],
                [{"gear_id": n, **one} for n, draft in zip(new, batch, strict=True) for one in draft.figures],
            )
            log(connection, *(_entry(g, d, n) for g, d, n in zip(old, batch, new, strict=True)))
            number += len(batch)
        detail = {
            "gears": len(order),
            "class": change.class_,
            "settings": dict(change.settings),
            "part_file": None if change.part is None else change.part.part.revision,
        }
        log(connection, Entry("regrade", detail=detail))


def _entry(gear: _Chosen, draft: Draft, number: int) -> Entry:
    return Entry(
        "supersede",
        gear.stored.part_number,
        draft.serial,
        draft.measured_key,
        number,
        {"supersedes": gear.stored.id, "changed": ["grading"]},
    )


def _require_current(connection: Connection, ids: Sequence[int], shown: str) -> None:
    query = sa.select(sa.func.count()).where(GEAR.c.id.in_(ids), GEAR.c.state == CURRENT)
    if connection.execute(query).scalar_one() != len(ids):
        raise StoreConflictError(
            f"history store {shown}: another station changed some of these gears meanwhile",
            hint="nothing was changed; try again",
        )


def _setting_problem(key: str, value: Any, expected: str, hint: str = "") -> Problem:
    found = "nothing" if value is None else f"'{value}'"
    return Problem(Reason.VALUE_OUT_OF_RANGE, "--set", found, expected, key=key, hint=hint)


def _validation_problems(error: ValueError, settings: Mapping[str, Any]) -> list[Problem]:
    """Problems of a changed drawing, from what its schema says."""
    listed: Callable[[], list[dict[str, Any]]] | None = getattr(error, "errors", None)
    if listed is None:
        return [Problem(Reason.VALUE_OUT_OF_RANGE, "--set", str(error), "a valid part file")]
    problems = []
    for one in listed():
        place = ".".join(str(step) for step in one["loc"])
        key = next((k for k in settings if k == place or k.endswith(f".{place}")), place)
        unknown = one["type"] == "extra_forbidden"
        problems.append(
            Problem(
                Reason.UNKNOWN_KEY if unknown else Reason.VALUE_OUT_OF_RANGE,
                "--set",
                repr(one.get("input")),
                "a key of the part file" if unknown else str(one["msg"]),
                key=key,
                hint="gearqa schema part lists the keys",
            )
        )
    return problems

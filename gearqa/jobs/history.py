"""The job `history`: graded gears kept for years, with what was done to the grinders."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime
from functools import partial
from pathlib import Path
from typing import Any, BinaryIO, Final, Literal

from gearqa.errors import ArgumentError
from gearqa.history.acknowledgements import select_acknowledgements
from gearqa.history.events import drop_event, keep_event
from gearqa.history.gear_rows import one_measurement_each, remove_gears
from gearqa.history.queries import (
    Selection,
    count_gears,
    graded_as,
    input_files,
    known_gears,
    part_of,
    result_of,
    select_events,
    select_gears,
    select_references,
    select_results,
    standards_of,
)
from gearqa.history.references import freeze_period, period_of_dresses, release_period
from gearqa.history.store import HistoryStore
from gearqa.jobs.folders import path_or_none, require_folder
from gearqa.jobs.parameters import require_parameter, require_within
from gearqa.jobs.progress import UNSEEN, Progress
from gearqa.jobs.side_by_side import over_gears
from gearqa.jobs.spread import spread, worker_count
from gearqa.jobs.stores import AnyStore, opened
from gearqa.jobs.times import moment, parsed_time
from gearqa.model.drift import Observation
from gearqa.model.history import (
    CheckReport,
    FrozenReference,
    HistoryList,
    IntakeReport,
    RecordedEvent,
    RegradeReport,
    StoredGear,
    StoredResult,
)
from gearqa.model.measurement import GrinderEvent
from gearqa.model.ranges import Range
from gearqa.reading.folder.table_kinds import LARGEST
from gearqa.standards import PACKAGES
from gearqa.symbols import Flank

Time = str | datetime | None
CORRECTION: Final = Range(-LARGEST["correction"], LARGEST["correction"])
EVENT_WORDS = {
    "dress": "dress",
    "wheel-change": "wheel change",
    "dresser-change": "dresser change",
    "set-up": "set-up",
    "correction": "correction",
    "other": "other",
}
"""What can be done to a grinder, as it is typed -> as it is stored."""


def add_to_history(
    folders: str | Path | Sequence[str | Path],
    *,
    part: str | Path | None = None,
    columns: str | Path | None = None,
    serial: Sequence[str] | None = None,
    store: AnyStore = None,
    replace: bool = False,
    workers: int | None = 1,
    progress: Progress = UNSEEN,
) -> list[IntakeReport]:
    """Grade inspection folders and keep their gears and events; all folders are added or none.

    Parameters
    ----------
    folders : path or sequence of path
        Inspection folders.
    part, columns : path, optional
        Part file and column map to use instead of those of the folders.
    serial : sequence of str, optional
        Only these serials.
    store : HistoryStore, str or path, optional
        A file, a server's URL, or an open store; else $GEARQA_STORE, else one file in the user's data folder.
    replace : bool
        Gears stored with other values are superseded, which is logged; else they are an error.
    workers : int, optional
        Processes at most that grade; None: one a core. What is stored does not depend on it.
    progress : Progress, optional
        Shows how many gears were graded.

    Returns
    -------
    list of IntakeReport
        What was added, for each folder.

    Raises
    ------
    InputError
        With the problems of all folders that cannot be read.
    StoreConflictError
        With all gears that are stored with other values.

    Examples
    --------
    >>> import gearqa, tempfile
    >>> store = Path(tempfile.mkdtemp()) / "gears.sqlite"
    >>> (report,) = gearqa.add_to_history("sample_measurements/ring_master", store=store)
    >>> report.part_number, report.added, report.not_conforming
    ('OT-4471', 12, 0)
    >>> [gear.serial for gear in gearqa.list_history(last=2, store=store).gears]
    ['OT-0111', 'OT-0112']
    >>> gearqa.regrade_history(class_=4, dry_run=True, store=store).conforms
    True
    """
    from gearqa.history.intake import FolderToAdd, add_folders

    listed = [folders] if isinstance(folders, str | Path) else list(folders)
    for folder in listed:
        require_folder(folder)
    sources = [
        FolderToAdd(Path(folder), path_or_none(part), path_or_none(columns), tuple(serial or ()))
        for folder in listed
    ]
    with opened(store, writing=True) as history:
        passing = partial(progress.over, doing="adding", noun="gears")
        shared = partial(over_gears, workers=workers)
        return add_folders(history, sources, replace=replace, passing=passing, over_gears=shared)


def list_history(
    *,
    part_number: str | None = None,
    serial: Sequence[str] | None = None,
    grinder: str | None = None,
    since: Time = None,
    until: Time = None,
    last: int | None = None,
    store: AnyStore = None,
) -> HistoryList:
    """List the gears that count, in the order they were made, with events and frozen references.

    Parameters
    ----------
    part_number, grinder : str, optional
        Only gears of this part number, made on this grinder.
    serial : sequence of str, optional
        Only these serials.
    since, until : str or datetime, optional
        Only what was made then; ISO 8601, a date is the whole day.
    last : int, optional
        Only so many gears, the last ones made.
    store : HistoryStore, str or path, optional
        As in `add_to_history`.
    """
    which = _selection(part_number, serial, grinder, since, until)
    with opened(store) as history, history.reading() as connection:
        gears = tuple(select_gears(connection, which, last=last))
        return HistoryList(
            gears,
            count_gears(connection, which),
            tuple(select_events(connection, grinder=grinder, since=which.since, until=which.until)),
            tuple(select_references(connection, part_number=part_number, grinder=grinder)),
            tuple(select_acknowledgements(connection, part_number=part_number, grinder=grinder)),
            graded_as(connection, gears),
            standards_of(connection, which),
        )


def stored_results(
    serial: Sequence[str], *, part_number: str | None = None, store: AnyStore = None
) -> list[StoredResult]:
    """Return the results of gears in full, also those that no longer count; raises StoreError if unknown."""
    from gearqa.evaluation.evaluate import grade_header

    which = _selection(part_number, serial, every_state=True)
    with opened(store) as history:
        known_gears(history, which)
        with history.reading() as connection:
            found = list(select_results(connection, which))
            results = []
            for gear, document, _ in found:
                part = part_of(connection, gear.id)
                header = grade_header(part, input_files(connection, gear.intake), gear.simulated)
                results.append(StoredResult(gear, header, result_of(document), part.slope_span))
    return results


def export_history(
    *,
    json: BinaryIO | None = None,
    csv: BinaryIO | None = None,
    parquet: BinaryIO | None = None,
    contents: Literal["list", "show", "export"] = "export",
    part_number: str | None = None,
    serial: Sequence[str] | None = None,
    grinder: str | None = None,
    since: Time = None,
    until: Time = None,
    every_state: bool = False,
    store: AnyStore = None,
) -> int:
    """Write what a store holds, gear by gear; return the number of gears.

    Parameters
    ----------
    json, csv, parquet : binary stream, optional
        Where to write the document, and the key figures (one row a gear, parameter and flank).
    contents : {"list", "show", "export"}
        Of the document: gears in short with events and references; gears in full with their log (every
        serial must be known); or everything.
    part_number, serial, grinder, since, until
        Only these gears, as in `list_history`.
    every_state : bool
        Superseded and removed gears too.
    store : HistoryStore, str or path, optional
        As in `add_to_history`.
    """
    from gearqa.history.documents import write_history_csv, write_history_json, write_history_parquet

    which = _selection(part_number, serial, grinder, since, until, every_state=every_state)
    count = 0
    with opened(store) as history:
        if contents == "show":
            known_gears(history, which)
        if json is not None:
            count = write_history_json(json, history, contents, which)
        if csv is not None:
            count = write_history_csv(csv, history, which)
        if parquet is not None:
            count = write_history_parquet(parquet, history, which)
    return count


def remove_from_history(
    serial: Sequence[str],
    *,
    part_number: str | None = None,
    measured_at: Time = None,
    remark: str | None = None,
    store: AnyStore = None,
) -> list[StoredGear]:
    """Take gears out of the count and return them; they are kept as removed, and logged.

    A serial that was measured several times needs `measured_at`.
    """
    when = moment(measured_at, "measured_at")
    with opened(store, writing=True) as history:
        gears = one_measurement_each(known_gears(history, _selection(part_number, serial)), when)
        chosen = Selection(ids=tuple(gear.id for gear in gears))
        return list(remove_gears(history, chosen, remark=remark))


def remove_event(event: int, *, store: AnyStore = None) -> None:
    """Take the event of this number out of the count; it is kept as removed, and logged."""
    with opened(store, writing=True) as history:
        drop_event(history, event)


def check_history(
    *, files: bool = False, head: str | None = None, store: AnyStore = None, progress: Progress = UNSEEN
) -> CheckReport:
    """Check a whole store; with `files` also that the raw files are still what was read.

    `head` is the end of the chain that an earlier check reported: all that was written until then must still
    be there.
    """
    from gearqa.history.checking import check_store

    with opened(store) as history:
        return check_store(
            history, files=files, head=head, passing=partial(progress.over, doing="checking", noun="gears")
        )


def record_event(
    kind: str,
    grinder: str,
    *,
    at: Time = None,
    wheel: str | None = None,
    parameter: str | None = None,
    flank: Flank | None = None,
    correction: float | None = None,
    unit: str = "um",
    remark: str | None = None,
    store: AnyStore = None,
) -> RecordedEvent:
    """Record what was done to a grinder: the cause of a level change can be found only where it is recorded.

    Parameters
    ----------
    kind : str
        dress, wheel-change, dresser-change, set-up, correction (needs its amount) or other (needs a remark).
    grinder : str
        On which grinder.
    at : str or datetime, optional
        When; now by default.
    wheel : str, optional
        Which wheel.
    parameter, flank : str, optional
        Which parameter was corrected, on which flank.
    correction : float, optional
        By how much, signed. [unit]
    unit : str
        Unit of the correction.
    remark : str, optional
        Anything else.
    store : HistoryStore, str or path, optional
        As in `add_to_history`.
    """
    if kind not in EVENT_WORDS:
        raise ArgumentError("kind", f"found '{kind}', expected one of {', '.join(EVENT_WORDS)}")
    if kind == "correction" and correction is None:
        raise ArgumentError("correction", "a correction needs its amount")
    require_within("correction", correction, CORRECTION)
    if kind == "other" and not remark:
        raise ArgumentError("remark", "say what was done")
    if parameter is not None:
        require_parameter(parameter)
    event = GrinderEvent(
        at=moment(at, "at") or datetime.now().astimezone().replace(microsecond=0),
        event=EVENT_WORDS[kind],
        grinder=grinder,
        wheel=wheel,
        parameter=parameter,
        flank=flank,
        correction=correction,
        unit=unit if correction is not None else None,
        remark=remark,
    )
    with opened(store, writing=True) as history:
        return RecordedEvent(event, keep_event(history, event))


def freeze_reference(
    part_number: str,
    grinder: str,
    from_: str | datetime,
    to: str | datetime,
    *,
    remark: str | None = None,
    store: AnyStore = None,
) -> tuple[FrozenReference, int]:
    """Freeze the period that the control limits of a part on a grinder come from.

    It stays until another one is frozen or it is released.

    Parameters
    ----------
    part_number, grinder : str
        What it is for.
    from_, to : str or datetime
        Two times of production, or the labels of the first and the last dress.
    remark : str, optional
        Why; is kept.
    store : HistoryStore, str or path, optional
        As in `add_to_history`.

    Returns
    -------
    FrozenReference
        The period.
    int
        Gears in it.
    """
    with opened(store, writing=True) as history:
        first, last = _period(history, part_number, grinder, from_, to)
        return freeze_period(history, part_number, grinder, first, last, remark=remark)


def release_reference(part_number: str, grinder: str, *, store: AnyStore = None) -> None:
    """Take the frozen reference of a part on a grinder out of use; raises StoreError if there is none."""
    with opened(store, writing=True) as history:
        release_period(history, part_number, grinder)


def regrade_history(
    *,
    part_number: str | None = None,
    serial: Sequence[str] | None = None,
    grinder: str | None = None,
    since: Time = None,
    until: Time = None,
    class_: int | None = None,
    standard: str | None = None,
    part: str | Path | None = None,
    settings: Mapping[str, Any] | None = None,
    from_files: bool = False,
    dry_run: bool = False,
    workers: int | None = 1,
    scheduler: str | None = None,
    store: AnyStore = None,
    progress: Progress = UNSEEN,
) -> RegradeReport:
    """Grade stored gears anew; the former results are kept as superseded.

    Where only the requirements change, the stored values are judged again; else the raw files are read again,
    which must be where they were and unchanged.

    Parameters
    ----------
    part_number, serial, grinder, since, until
        Only these gears, as in `list_history`.
    class_ : int, optional
        Class required in general; exceptions of the drawing stay.
    standard : str, optional
        Standard and edition.
    part : path, optional
        Part file to grade by, such as a revision.
    settings : mapping, optional
        Keys of the part file with their values: ``{"evaluation.slope_span": "evaluation"}``.
    from_files : bool
        Evaluate the raw files again in any case.
    dry_run : bool
        Grade, but write nothing.
    workers, scheduler : optional
        Who reads the raw files of several folders, as in `add_archive`; the outcome does not depend on it.
    store : HistoryStore, str or path, optional
        As in `add_to_history`.
    progress : Progress, optional
        Shows how many gears were graded.
    """
    from gearqa.history.new_grading import NewGrading
    from gearqa.history.regrading import regrade
    from gearqa.reading.settings.part_file import read_part

    which = _selection(part_number, serial, grinder, since, until)
    values = dict(settings or {})
    if standard is not None:
        _require_grading(standard)
        values["tolerance.standard"] = standard
    new = NewGrading(class_, None if part is None else read_part(part), values, from_files)
    with opened(store, writing=not dry_run) as history:
        if serial:
            known_gears(history, which)
        passing = partial(progress.over, doing="regrading", noun="gears")
        several = scheduler is not None or worker_count(workers) > 1
        spreading = partial(spread, workers=workers, scheduler=scheduler) if several else None
        shared = partial(over_gears, workers=workers)
        return regrade(
            history, which, new, dry_run=dry_run, spreading=spreading, passing=passing, over_gears=shared
        )


def latest_observations(
    last_gears: int, *, parameters: Sequence[str] | None = None, store: AnyStore = None
) -> Iterator[Observation]:
    """Yield the key figures of the last gears made, of the parameters that drift analysis looks at."""
    from gearqa.history.observations import load_observations

    with opened(store) as history:
        yield from load_observations(history, parameters=parameters, last_gears=last_gears)


def _selection(
    part_number: str | None = None,
    serials: Sequence[str] | None = None,
    grinder: str | None = None,
    since: Time = None,
    until: Time = None,
    *,
    every_state: bool = False,
) -> Selection:
    return Selection(
        part_number,
        tuple(serials or ()),
        grinder,
        moment(since, "since"),
        moment(until, "until", end_of_day=True),
        every_state,
    )


def _require_grading(standard: str) -> None:
    if standard not in PACKAGES:
        raise ArgumentError("standard", f"'{standard}'; known: {', '.join(PACKAGES)}")


def _period(
    history: HistoryStore, part_number: str, grinder: str, first: str | datetime, last: str | datetime
) -> tuple[datetime, datetime]:
    """A period from two times or two labels of dresses."""
    ends = [_time_or_label(first), _time_or_label(last, end_of_day=True)]
    times = [end for end in ends if isinstance(end, datetime)]
    labels = [end for end in ends if isinstance(end, str)]
    if len(labels) == 1:
        raise ArgumentError("from", "give two times, or two labels of dresses")
    if times:
        return times[0], times[1]
    return period_of_dresses(history, part_number, grinder, labels[0], labels[1])


def _time_or_label(end: str | datetime, *, end_of_day: bool = False) -> str | datetime:
    try:
        return parsed_time(end, end_of_day=end_of_day)
    except ValueError:
        return str(end)

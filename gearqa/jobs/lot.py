"""Decide a lot: release, hold or reject, and the record by which that can be checked again."""

from __future__ import annotations

import os
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from gearqa.errors import ArgumentError
from gearqa.evaluation.evaluate import evaluate, grade_header
from gearqa.jobs.folders import open_folder, require_folder
from gearqa.jobs.parameters import COUNT, require_within
from gearqa.jobs.progress import UNSEEN, Progress
from gearqa.model.lot import Disposition, Exclusion, LotDecision, LotOptions, LotResult
from gearqa.model.measurement import InputFile
from gearqa.model.part import Part
from gearqa.model.plan import Plan
from gearqa.model.results import GearResult, GradeHeader
from gearqa.reading.rows.digests import sha256_of
from gearqa.signoff.lot import sign_off, with_decision_of

if TYPE_CHECKING:
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey


@dataclass(frozen=True, slots=True)
class DecidedLot:
    """A lot that was decided, with everything its record needs."""

    result: LotResult
    part: Part
    plan: Plan
    header: GradeHeader
    gears: tuple[GearResult, ...]
    """Every gear measured, the excluded ones too."""
    settings: Mapping[str, Any]
    """How the folder was read: `part_file`, `columns_file`, `plan_file` (as found from it), `lot_size`."""


def decide_lot(
    folder: str | Path,
    *,
    part: str | Path | None = None,
    columns: str | Path | None = None,
    serial: Sequence[str] | None = None,
    lot_size: int | None = None,
    plan: str | Path | None = None,
    lot_id: str | None = None,
    order: str = "",
    customer: str = "",
    inspector: str = "",
    date: str = "",
    remark: str = "",
    exclude: Sequence[str] | None = None,
    sorted_out: Sequence[str] | None = None,
    disposition: LotDecision | None = None,
    disposed_by: str = "",
    disposed_on: str = "",
    reason: str = "",
    concession: str = "",
    progress: Progress = UNSEEN,
) -> DecidedLot:
    """Decide a lot from the measured sample in an inspection folder.

    Parameters
    ----------
    folder : str or Path
        Inspection folder: part.toml and CSV tables.
    part, columns : str or Path, optional
        Part file and column map, as `gearqa lot` takes them.
    serial : sequence of str, optional
        Only these serials are the sample; the others of the folder are judged all the same.
    lot_size : int, optional
        Gears in the lot.
    plan : str or Path, optional
        Plan file: decision rule and sampling plan; all defaults without it.
    lot_id : str, optional
        What the lot is called; a record needs it.
    order, customer, inspector, date, remark : str
        For certificate and record; `date` in ISO 8601.
    exclude : sequence of str, optional
        Measured gears to leave out of the sample, each as "SERIAL=REASON"; they are judged all the same.
    sorted_out : sequence of str, optional
        Gears that were taken out of the lot, likewise: left out of the sample, or after a census.
    disposition : {"release", "hold", "reject"}, optional
        What a person decided; the recommendation stays as it is.
    disposed_by, disposed_on, reason, concession : str
        Who decided that, when (ISO 8601; `date` where empty), why, and on which concession.
    progress : Progress, optional
        Shows the progress of grading.

    Returns
    -------
    DecidedLot
        `result` is the recommendation with its reasons; `record_lot` makes a record of the whole.

    Raises
    ------
    ArgumentError
        If an argument cannot be right or needs another one.
    InputError
        If the folder cannot be read; all problems at once.
    LotError
        If no gear is left, more gears were measured than the lot holds, or an exclusion names no gear.

    Examples
    --------
    >>> lot = decide_lot("sample_measurements/ring_faults", lot_size=60, lot_id="OT-25-032")
    >>> lot.result.decision, lot.result.reasons[0].code
    ('reject', 'rejected_by_plan')
    """
    require_folder(folder)
    require_within("lot_size", lot_size, COUNT)
    _exclusions("exclude", exclude or ())
    _exclusions("sorted_out", sorted_out or ())
    person = _person_decided(
        disposition, disposed_by=disposed_by, disposed_on=disposed_on, date=date, reason=reason,
        concession=concession,
    )  # fmt: skip
    options = LotOptions(order, customer, inspector, _iso_date("date", date), remark, tuple(serial or ()))
    rules, place = _load_plan(plan), Path(folder)
    with open_folder(folder, part=part, columns=columns) as inspection:
        files = tuple(_input_files(inspection.inputs, place, (part, columns), plan))
        header = grade_header(inspection.part, files, inspection.simulated, inspection.notices)
        gears = tuple(progress.over(evaluate(inspection, inspection.part), "grading", "gears"))
        drawing = inspection.part
        rules = with_decision_of(drawing, rules)
        result = sign_off(
            header, drawing, gears, rules, lot_size=lot_size, lot_id=lot_id,
            excluded=_exclusions("exclude", exclude or (), inspection.serials),
            sorted_out=_exclusions("sorted_out", sorted_out or (), inspection.serials), options=options,
            disposition=person, other_production=inspection.other_production,
        )  # fmt: skip
    settings = {
        "part_file": _from_folder(part, place),
        "columns_file": _from_folder(columns, place),
        "plan_file": _from_folder(plan, place),
        "lot_size": lot_size,
    }
    return DecidedLot(result, drawing, rules, header, gears, settings)


def record_lot(
    lot: DecidedLot, *, previous: Mapping[str, Any] | None = None, key: Ed25519PrivateKey | None = None
) -> dict[str, Any]:
    """Make the record of a decided lot, which `verify_record` checks; `write_record` writes its file.

    Parameters
    ----------
    lot : DecidedLot
        As `decide_lot` returns it, with a `lot_id`.
    previous : mapping, optional
        The record before it, of the same part, as `load_record` reads it: makes a chain.
    key : Ed25519PrivateKey, optional
        Signs the record; `load_private_key` reads it.

    Returns
    -------
    dict
        The record, sealed with its digest.

    Raises
    ------
    RecordError
        Without a `lot_id`, or if the previous record belongs to another part.

    Examples
    --------
    >>> lot = decide_lot("sample_measurements/pinion", lot_id="P-1")
    >>> record = record_lot(lot)
    >>> record["lot_id"], len(record["digest"])
    ('P-1', 64)
    """
    from gearqa.signoff.record import make_record

    return make_record(
        lot.result, lot.part, lot.plan, lot.header, lot.gears, settings=lot.settings, previous=previous,
        key=key,
    )  # fmt: skip


def _exclusions(argument: str, words: Sequence[str], serials: Sequence[str] = ()) -> tuple[Exclusion, ...]:
    """`SERIAL=REASON` of each gear; a serial that holds an equals sign is known by the folder."""
    found: dict[str, Exclusion] = {}
    how = "excluded" if argument == "exclude" else "sorted out"
    for word in words:
        places = [k for k, character in enumerate(word) if character == "="]
        known = [k for k in places if word[:k].strip() in serials]
        if not places:
            raise ArgumentError(argument, f"'{word}'; expected SERIAL=REASON")
        at = known[0] if known else places[0]
        serial, reason = word[:at].strip(), word[at + 1 :].strip()
        if not serial or not reason:
            raise ArgumentError(argument, f"'{word}'; expected SERIAL=REASON, both not empty")
        if serial in found:
            raise ArgumentError(argument, f"'{serial}' is {how} twice")
        found[serial] = Exclusion(serial, reason)
    return tuple(found.values())


def _iso_date(argument: str, word: str) -> str:
    """A date, or a date with time, in ISO 8601, as it was given; empty stays empty."""
    if word:
        try:
            datetime.fromisoformat(word)
        except ValueError:
            raise ArgumentError(argument, f"'{word}'; expected a date such as 2025-03-14") from None
    return word


def _person_decided(
    disposition: LotDecision | None, *, disposed_by: str, disposed_on: str, date: str, reason: str,
    concession: str,
) -> Disposition | None:  # fmt: skip
    """What a person decided; whoever decides is named, with the date, which is that of the sign-off
    where no other is given."""
    more = {
        "disposed_by": disposed_by, "disposed_on": disposed_on, "reason": reason, "concession": concession,
    }  # fmt: skip
    if disposition is None:
        for argument, value in more.items():
            if value:
                raise ArgumentError(argument, "needs --disposition")
        return None
    disposed_on = disposed_on or date
    if not disposed_by or not disposed_on:
        raise ArgumentError("disposition", "needs --disposed-by NAME and --disposed-on DATE (or --date DATE)")
    return Disposition(disposition, disposed_by, _iso_date("disposed_on", disposed_on), reason, concession)


def _load_plan(path: str | Path | None) -> Plan:
    """The plan of a file; all defaults without one."""
    from gearqa.reading.settings.toml_file import load_toml

    return Plan() if path is None else load_toml(Path(path), Plan)


def _from_folder(path: str | Path | None, folder: Path) -> str | None:
    """How a record names a file: relative to the folder, so without a place on one machine."""
    if path is None:
        return None
    try:
        return Path(os.path.relpath(Path(path).resolve(), folder.resolve())).as_posix()
    except ValueError:  # another drive
        return Path(path).name


def _input_files(
    inputs: Sequence[InputFile], folder: Path, outside: Sequence[str | Path | None], plan: str | Path | None
) -> Iterator[InputFile]:
    """Input files named from the folder, the plan with them."""
    names = {str(path): _from_folder(path, folder) for path in outside}
    name_of_plan = _from_folder(plan, folder)
    for one in inputs:
        name = names.get(one.file) or one.file
        if name != name_of_plan:
            yield replace(one, file=name)
    if plan is not None and name_of_plan is not None:
        yield InputFile(name_of_plan, sha256_of(Path(plan)))

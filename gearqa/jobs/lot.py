"""Decide a lot: release, hold or reject, and the record by which that can be checked again."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from gearqa.errors import ArgumentError
from gearqa.evaluation.evaluate import evaluate, grade_header
from gearqa.jobs.folders import open_folder, require_folder
from gearqa.jobs.lot_inputs import exclusions, from_folder, input_files, iso_date, load_plan, person_decided
from gearqa.jobs.progress import UNSEEN, Progress
from gearqa.model.lot import LotDecision, LotOptions, LotResult
from gearqa.model.part import Part
from gearqa.model.plan import Plan
from gearqa.model.results import GearResult, GradeHeader
from gearqa.signoff.lot import sign_off

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
    """How the folder was read: `part_file`, `columns_file`, `plan_file` (as found from it), `serials`."""


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
        Only these serials.
    lot_size : int, optional
        Gears in the lot.
    plan : str or Path, optional
        Plan file: decision rule and sampling plan; all defaults without it.
    lot_id : str, optional
        What the lot is called; a record needs it.
    order, customer, inspector, date, remark : str
        For certificate and record; `date` in ISO 8601.
    exclude : sequence of str, optional
        Measured gears to leave out, each as "SERIAL=REASON".
    disposition : {"release", "hold", "reject"}, optional
        What a person decided; recorded apart from the recommendation.
    disposed_by, disposed_on, reason, concession : str
        Who decided that, when (ISO 8601), why, and on which concession.
    progress : Progress, optional
        Shows how far the grading is.

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
    if lot_size is not None and lot_size < 1:
        raise ArgumentError("lot_size", f"{lot_size}; expected 1 or more")
    exclusions(exclude or ())
    person = person_decided(
        disposition, disposed_by=disposed_by, disposed_on=disposed_on, reason=reason, concession=concession
    )
    options = LotOptions(order, customer, inspector, iso_date("date", date), remark, tuple(serial or ()))
    rules, place = load_plan(plan), Path(folder)
    with open_folder(folder, part=part, columns=columns, serials=serial) as inspection:
        files = tuple(input_files(inspection.inputs, place, (part, columns), plan))
        header = grade_header(inspection.part, files, inspection.simulated, inspection.notices)
        gears = tuple(progress.over(evaluate(inspection, inspection.part), "grading", "gears"))
        drawing = inspection.part
        result = sign_off(
            header, drawing, gears, rules, lot_size=lot_size, lot_id=lot_id,
            excluded=exclusions(exclude or (), inspection.serials), options=options,
            disposition=person, other_production=inspection.other_production,
        )  # fmt: skip
    settings = {
        "part_file": from_folder(part, place),
        "columns_file": from_folder(columns, place),
        "plan_file": from_folder(plan, place),
        "serials": list(serial or ()),
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

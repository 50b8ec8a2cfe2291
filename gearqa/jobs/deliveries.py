"""The job `incoming` over many deliveries: each checked for itself, on many cores or machines."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from contextlib import ExitStack
from dataclasses import dataclass
from datetime import datetime
from fnmatch import fnmatch
from functools import partial
from itertools import chain
from pathlib import Path
from typing import Any, Final

from gearqa.errors import ArgumentError, GearqaError, InputError
from gearqa.incoming.delivery_checks import checked_delivery
from gearqa.jobs.folders import folders_below
from gearqa.jobs.incoming import check_report
from gearqa.jobs.parameters import COUNT, require_within
from gearqa.jobs.progress import UNSEEN, Progress
from gearqa.jobs.spread import spread
from gearqa.jobs.stores import AnyStore, opened
from gearqa.jobs.suppliers import keep_checked
from gearqa.model.deliveries import CheckedDelivery, DeliveriesReport, DeliveryOfMany
from gearqa.model.history import FailedFolder
from gearqa.model.incoming import DecideOn, IncomingResult
from gearqa.model.part import PART_FILE
from gearqa.reading.folder.listing import is_table
from gearqa.results.file_kinds import made_by_gearqa
from gearqa.stopping import more_follows
from gearqa.wording.visible import clip

REPORTS: Final = "report*.csv"
"""Names of a report in the folder of its delivery."""
_DATE: Final = re.compile(r"(?<!\d)\d{4}-\d{2}-\d{2}(?!\d)")
Make = Callable[[IncomingResult], Any]
Take = Callable[[DeliveryOfMany, Any], None]


@dataclass(frozen=True, slots=True)
class _Delivery:
    """A delivery and how it is checked; can be sent to another process."""

    folder: Path
    reports: str
    options: dict[str, Any]
    make: Make | None


@dataclass(frozen=True, slots=True)
class _Outcome:
    """What became of it: the check and what was made of it, or its problems."""

    checked: CheckedDelivery | None = None
    made: Any = None
    problems: tuple[str, ...] = ()


def check_deliveries(
    roots: str | Path | Sequence[str | Path],
    *,
    reports: str = REPORTS,
    part: str | Path | None = None,
    columns: str | Path | None = None,
    supplier: str = "",
    plan: str | Path | None = None,
    lot_size: int | None = None,
    decide_on: DecideOn | None = None,
    store: AnyStore = None,
    keep: bool = False,
    delivered: str | datetime | None = None,
    replace: bool = False,
    make: Make | None = None,
    take: Take | None = None,
    workers: int | None = 1,
    scheduler: str | None = None,
    progress: Progress = UNSEEN,
) -> DeliveriesReport:
    """Check the supplier's reports of many deliveries, each as `check_report` does, for itself.

    A delivery is a folder with the report and, where we measured, the tables of our measurement. One at fault
    is listed and the others are checked.

    Parameters
    ----------
    roots : path or sequence of path
        Trees of folders, or patterns such as ``deliveries/2025-*``.
    reports : str
        Pattern of the name of the report; one file of a delivery fits it.
    part, columns : path, optional
        Part file and column map to use instead of those of the folders.
    supplier, plan, lot_size, decide_on : optional
        As in `check_report`, for all of them.
    store : HistoryStore, str or path, optional
        As in `add_to_history`; used with `keep`.
    keep : bool
        Keep every check in the store, as `keep_delivery` does, in the order of the folders.
    delivered : str or datetime, optional
        When they all came; by default the date in the name of each folder (2025-04-12).
    replace : bool
        Other findings of a stored report supersede the stored ones.
    make : callable, optional
        Function of a module that makes something of a result where it was found, such as its page.
    take : callable, optional
        Is given each delivery and what was made of it, in the order of the folders.
    workers, scheduler : optional
        Who checks, as in `add_archive`; the outcome does not depend on it.
    progress : Progress, optional
        Shows how many deliveries are done.

    Returns
    -------
    DeliveriesReport
        What was found of each, and what failed.

    Raises
    ------
    ArgumentError
        If there is no such folder, or no supplier to keep deliveries of.

    Examples
    --------
    >>> import gearqa
    >>> part = "sample_measurements/ring_conforming/part.toml"
    >>> found = gearqa.check_deliveries("sample_measurements/supplier_report", part=part)
    >>> [(one.checked.check.verdict, one.checked.agrees) for one in found.checked], found.failed
    ([('not comparable', False)], ())
    """
    if keep and not supplier.strip():
        raise ArgumentError("supplier", "name who made the reports, to keep them with that supplier's others")
    require_within("lot_size", lot_size, COUNT)
    listed = [roots] if isinstance(roots, str | Path) else list(roots)
    below = {str(root): folders_below([root], partial(_reports, pattern=reports)) for root in listed}
    folders = list(dict.fromkeys(chain.from_iterable(below.values())))
    if not folders:
        raise ArgumentError("folder", f"no folder with {reports} below {', '.join(map(str, listed))}")
    without = [root for root, found in below.items() if not found]
    without += map(str, folders_below(listed, lambda folder: _lacks_report(folder, reports)))
    if without:
        import logging

        names = ", ".join(map(clip, dict.fromkeys(without)))
        logging.getLogger("gearqa").warning("no %s, not checked: %s", reports, names)
    options = {
        "part": part, "columns": columns, "supplier": supplier, "plan": plan, "lot_size": lot_size,
        "decide_on": decide_on,
    }  # fmt: skip
    deliveries = [_Delivery(folder, reports, options, make) for folder in folders]
    checked: list[DeliveryOfMany] = []
    failed: list[FailedFolder] = []
    with ExitStack() as stack:
        history = stack.enter_context(opened(store, writing=True)) if keep else None
        done = spread(_attempt, deliveries, workers=workers, scheduler=scheduler)
        for one, outcome in progress.over(done, "checking", "deliveries", total=len(folders)):
            name, problems = str(one.folder), outcome.problems
            if outcome.checked is not None:
                try:
                    kept = None
                    if history is not None:
                        when = delivered or _date_of(one.folder)
                        kept = keep_checked(outcome.checked, delivered=when, replace=replace, store=history)
                    delivery = DeliveryOfMany(name, outcome.checked, kept)
                    if take is not None:
                        take(delivery, outcome.made)
                    checked.append(delivery)
                except GearqaError as error:
                    problems = _problems(error)
            if problems:
                failed.append(FailedFolder(name, problems))
            more_follows("what was written of the deliveries before stays")
    return DeliveriesReport(tuple(checked), tuple(failed))


def _reports(folder: Path, pattern: str) -> list[Path]:
    """Files of a folder that fit the name of a report."""
    files = (path for path in folder.iterdir() if fnmatch(path.name.casefold(), pattern.casefold()))
    return sorted(path for path in files if path.is_file() or not path.exists())  # a link to nowhere


def _lacks_report(folder: Path, pattern: str) -> bool:
    """Whether a folder is empty, or holds tables of ours, and no report."""
    return not _reports(folder, pattern) and (_measured(folder) or not any(folder.iterdir()))


def _measured(folder: Path, report: Path | None = None) -> bool:
    """Whether a folder holds tables of ours beside the report."""
    return not all(made_by_gearqa(path) for path in folder.iterdir() if is_table(path) and path != report)


def _attempt(one: _Delivery) -> _Outcome:
    """Check one delivery, in whichever process; its faults do not stop the others."""
    try:
        result = _checked(one)
    except GearqaError as error:
        return _Outcome(problems=_problems(error))
    except OSError as error:
        return _Outcome(problems=(f"{error.filename}: {error.strerror}",))
    return _Outcome(checked_delivery(result), None if one.make is None else one.make(result))


def _checked(one: _Delivery) -> IncomingResult:
    found = _reports(one.folder, one.reports)
    if len(found) != 1:
        names = ", ".join(path.name for path in found) or "none"
        hint = "--reports PATTERN says which"
        raise GearqaError(f"one report is expected, found {names}", hint=hint)
    own = one.folder / PART_FILE
    options = dict(one.options)
    if _measured(one.folder, found[0]):
        return check_report(found[0], one.folder, **options)
    if options["part"] is None:
        if not own.is_file():
            raise GearqaError(
                f"{one.folder}: the drawing is missing", hint=f"put {PART_FILE} there, or give --part FILE"
            )
        options["part"] = own
    return check_report(found[0], **options)


def _problems(error: GearqaError) -> tuple[str, ...]:
    if isinstance(error, InputError):
        return tuple(map(str, error.problems))
    return (f"{error}; {error.hint}" if error.hint else str(error),)


def _date_of(folder: Path) -> str:
    """The date in the name of a folder: a delivery of the past is not kept as one of today."""
    found = _DATE.findall(folder.name)
    if len(found) != 1:
        raise GearqaError(
            f"the name {folder.name} holds no date such as 2025-04-12", hint="give --delivered T"
        )
    return str(found[0])

"""Start an inspection folder: part file, plan file, empty tables. Nothing that exists is overwritten."""

from __future__ import annotations

import re
import tempfile
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final

from gearqa.errors import GearqaError, PartFileError, Problem, Reason, ReportError
from gearqa.model.part import PART_FILE
from gearqa.reading.folder.blank_tables import reported_sheet, table_template
from gearqa.reading.folder.listing import is_table
from gearqa.reading.folder.table_kinds import TABLES
from gearqa.reading.settings.part_file import read_part
from gearqa.reading.settings.templates import part_file_text, plan_file_text

PLAN_FILE: Final = "plan.toml"
REPORTED_FILE: Final = "reported.csv"
TEMPLATES: Final = "templates"


def start_folder(folder: str | Path, answers: Mapping[str, Any]) -> list[Path]:
    """Write `part.toml`, and templates of all tables where the folder has no table yet.

    Parameters
    ----------
    folder : str or Path
        Made where it does not exist.
    answers : mapping
        Dotted key of part.toml -> value, such as `{"gear.teeth": 87}`; None counts as not given.

    Returns
    -------
    list of Path
        The files written.

    Raises
    ------
    PartFileError
        With all faults of the answers; nothing is written then.
    ReportError
        If there is a part file already, or nothing can be written there.

    Examples
    --------
    >>> import tempfile
    >>> folder = Path(tempfile.mkdtemp(), "OT-4471")
    >>> answers = {"part.number": "OT-4471", "gear.kind": "external", "gear.teeth": 31, "tolerance.class": 6}
    >>> size = {"gear.normal_module_mm": 2.0, "gear.face_width_mm": 20.0}
    >>> [path.name for path in start_folder(folder, answers | size)][:3]
    ['part.toml', 'profile.csv', 'helix.csv']
    """
    folder = Path(folder)
    target = folder / PART_FILE
    if target.exists():
        raise ReportError(f"{target} exists and is never overwritten", hint="take another folder")
    text = part_file_text(answers)
    _check(text, answers)
    tables = {f"{kind}.csv": table_template(kind) for kind in TABLES}
    try:
        folder.mkdir(parents=True, exist_ok=True)
        has_tables = any(map(is_table, folder.iterdir()))
        written = [_write_new(target, text)]
        if not has_tables:
            (folder / TEMPLATES).mkdir(exist_ok=True)
            places = {folder / TEMPLATES / name: content for name, content in tables.items()}
            written += [_write_new(path, content) for path, content in places.items() if not path.exists()]
    except OSError as error:
        raise ReportError(f"cannot write {error.filename or folder}: {error.strerror}") from error
    return written


def start_plan(folder: str | Path) -> Path:
    """Write `plan.toml` for deciding lots, with every key explained and commented out.

    Raises
    ------
    ReportError
        If there is a plan already, or it cannot be written.
    """
    target = Path(folder) / PLAN_FILE
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        return _write_new(target, plan_file_text())
    except OSError as error:
        raise _not_written(target, error) from error


def start_reported_sheet(folder: str | Path) -> Path:
    """Write `reported.csv`, an empty sheet for values that somebody else reports on the part of a folder.

    Raises
    ------
    GearqaError
        If the folder has no part file: the sheet lists the parameters of its part.
    PartFileError
        If the part file is at fault.
    ReportError
        If there is such a sheet already, or it cannot be written.
    """
    part, target = Path(folder, PART_FILE), Path(folder, REPORTED_FILE)
    if not part.is_file():
        raise GearqaError(
            f"{part} does not exist: the sheet lists the parameters of its part",
            hint=f"First: gearqa new {folder}",
        )
    text = reported_sheet(read_part(part))
    try:
        return _write_new(target, text)
    except OSError as error:
        raise _not_written(target, error) from error


def _check(text: str, answers: Mapping[str, Any]) -> None:
    unknown = sorted(key for key, value in answers.items() if value is not None and not _is_in(key, text))
    problems = [
        Problem(Reason.UNKNOWN_KEY, PART_FILE, f"the unknown key '{key}'", "a key of part.toml", key=key)
        for key in unknown
    ]
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder, PART_FILE)
        path.write_text(text, encoding="utf-8")
        try:
            read_part(path)
        except PartFileError as error:
            # the file is not written: line numbers would lead nowhere
            problems += [
                Problem(p.reason, p.file, p.found, p.expected, None, p.column, p.hint, p.key)
                for p in error.problems
            ]
    if problems:
        raise PartFileError(problems, hint="nothing was written")


def _is_in(key: str, text: str) -> bool:
    table, _, last = key.rpartition(".")
    header = rf"^\[{re.escape(table)}\]\n" if table else r"\A"
    return re.search(rf"{header}(?:(?!\[).*\n)*{re.escape(last)} = ", text, re.MULTILINE) is not None


def _not_written(target: Path | str, error: OSError) -> ReportError:
    if isinstance(error, FileExistsError):
        return ReportError(f"{target} exists and is never overwritten")
    return ReportError(f"cannot write {target}: {error.strerror}")


def _write_new(path: Path, text: str) -> Path:
    with path.open("x", encoding="utf-8", newline="\n") as file:
        file.write(text)
    return path

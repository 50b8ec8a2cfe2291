"""What `gearqa lot` is told beside the folder: exclusions, dates, plan, disposition; all checked early."""

from __future__ import annotations

import os
from collections.abc import Sequence
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING

import typer

if TYPE_CHECKING:
    from gearqa.model.lot import Disposition, Exclusion, LotDecision
    from gearqa.model.measurement import InputFile
    from gearqa.model.plan import Plan


def exclusions(words: Sequence[str], serials: Sequence[str]) -> tuple[Exclusion, ...]:
    """`SERIAL=REASON` of each exclusion; a serial that holds an equals sign is known by the folder."""
    from gearqa.model.lot import Exclusion

    found: dict[str, Exclusion] = {}
    for word in words:
        places = [k for k, character in enumerate(word) if character == "="]
        known = [k for k in places if word[:k].strip() in serials]
        if not places:
            raise typer.BadParameter(f"'{word}'; expected SERIAL=REASON", param_hint="--exclude")
        at = known[0] if known else places[0]
        serial, reason = word[:at].strip(), word[at + 1 :].strip()
        if not serial or not reason:
            raise typer.BadParameter(
                f"'{word}'; expected SERIAL=REASON, both not empty", param_hint="--exclude"
            )
        if serial in found:
            raise typer.BadParameter(f"'{serial}' is excluded twice", param_hint="--exclude")
        found[serial] = Exclusion(serial, reason)
    return tuple(found.values())


def check_exclusions(words: Sequence[str]) -> None:
    """Raise for exclusions that cannot be right, before anything is read."""
    exclusions(words, ())


def iso_date(word: str, option: str) -> str:
    """A date, or a date with time, in ISO 8601, as it was given; empty stays empty."""
    if not word:
        return ""
    try:
        date.fromisoformat(word)
    except ValueError:
        try:
            datetime.fromisoformat(word)
        except ValueError:
            raise typer.BadParameter(
                f"'{word}'; expected a date such as 2025-03-14", param_hint=option
            ) from None
    return word


def disposition(
    decision: LotDecision | None, by: str, at: str, reason: str, concession: str
) -> Disposition | None:
    """What a person decided; whoever decides is named, with the date."""
    from gearqa.model.lot import Disposition

    if decision is None:
        given = {"--disposed-by": by, "--disposed-on": at, "--reason": reason, "--concession": concession}
        for option, value in given.items():
            if value:
                raise typer.BadParameter("needs --disposition", param_hint=option)
        return None
    if not by or not at:
        raise typer.BadParameter(
            "needs --disposed-by NAME and --disposed-on DATE", param_hint="--disposition"
        )
    return Disposition(decision, by, at, reason, concession)


def load_plan(path: Path | None) -> Plan:
    """The plan of a file; all defaults without one."""
    from gearqa.model.plan import Plan

    if path is None:
        return Plan()
    from gearqa.reading.settings.toml_file import load_toml

    return load_toml(path, Plan)


def beside(path: Path | None, folder: Path) -> str | None:
    """How a record names a file: as it is found from the folder, so that no place of one machine stays."""
    if path is None:
        return None
    try:
        return Path(os.path.relpath(path.resolve(), folder.resolve())).as_posix()
    except ValueError:  # another drive
        return path.name


def input_files(
    inputs: Sequence[InputFile], folder: Path, outside: Sequence[Path | None], plan: Path | None
) -> tuple[InputFile, ...]:
    """Input files named from the folder, the plan with them."""
    from dataclasses import replace

    from gearqa.model.measurement import InputFile
    from gearqa.reading.rows.digests import sha256_of

    names = {str(path): beside(path, folder) for path in outside if path is not None}
    named = [replace(one, file=names.get(one.file) or one.file) for one in inputs]
    if plan is None:
        return tuple(named)
    name = beside(plan, folder) or plan.name
    return (*(one for one in named if one.file != name), InputFile(name, sha256_of(plan)))

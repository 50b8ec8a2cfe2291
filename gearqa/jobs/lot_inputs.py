"""What a lot is decided with apart from its folder: exclusions, dates, plan, disposition; checked early."""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import datetime
from pathlib import Path

from gearqa.errors import ArgumentError
from gearqa.model.lot import Disposition, Exclusion, LotDecision
from gearqa.model.measurement import InputFile
from gearqa.model.plan import Plan
from gearqa.reading.rows.digests import sha256_of


def exclusions(words: Sequence[str], serials: Sequence[str] = ()) -> tuple[Exclusion, ...]:
    """`SERIAL=REASON` of each exclusion; a serial that holds an equals sign is known by the folder."""
    found: dict[str, Exclusion] = {}
    for word in words:
        places = [k for k, character in enumerate(word) if character == "="]
        known = [k for k in places if word[:k].strip() in serials]
        if not places:
            raise ArgumentError("exclude", f"'{word}'; expected SERIAL=REASON")
        at = known[0] if known else places[0]
        serial, reason = word[:at].strip(), word[at + 1 :].strip()
        if not serial or not reason:
            raise ArgumentError("exclude", f"'{word}'; expected SERIAL=REASON, both not empty")
        if serial in found:
            raise ArgumentError("exclude", f"'{serial}' is excluded twice")
        found[serial] = Exclusion(serial, reason)
    return tuple(found.values())


def iso_date(argument: str, word: str) -> str:
    """A date, or a date with time, in ISO 8601, as it was given; empty stays empty."""
    if word:
        try:
            datetime.fromisoformat(word)
        except ValueError:
            raise ArgumentError(argument, f"'{word}'; expected a date such as 2025-03-14") from None
    return word


def person_decided(
    disposition: LotDecision | None, *, disposed_by: str, disposed_on: str, reason: str, concession: str
) -> Disposition | None:
    """What a person decided; whoever decides is named, with the date."""
    more = {
        "disposed_by": disposed_by, "disposed_on": disposed_on, "reason": reason, "concession": concession,
    }  # fmt: skip
    if disposition is None:
        for argument, value in more.items():
            if value:
                raise ArgumentError(argument, "needs --disposition")
        return None
    if not disposed_by or not disposed_on:
        raise ArgumentError("disposition", "needs --disposed-by NAME and --disposed-on DATE")
    return Disposition(disposition, disposed_by, iso_date("disposed_on", disposed_on), reason, concession)


def load_plan(path: str | Path | None) -> Plan:
    """The plan of a file; all defaults without one."""
    from gearqa.reading.settings.toml_file import load_toml

    return Plan() if path is None else load_toml(Path(path), Plan)


def from_folder(path: str | Path | None, folder: Path) -> str | None:
    """How a record names a file: by the way from the folder, so that it names no place of one machine."""
    if path is None:
        return None
    try:
        return Path(os.path.relpath(Path(path).resolve(), folder.resolve())).as_posix()
    except ValueError:  # another drive
        return Path(path).name


def input_files(
    inputs: Sequence[InputFile], folder: Path, outside: Sequence[str | Path | None], plan: str | Path | None
) -> Iterator[InputFile]:
    """Input files named from the folder, the plan with them."""
    names = {str(path): from_folder(path, folder) for path in outside}
    name_of_plan = from_folder(plan, folder)
    for one in inputs:
        name = names.get(one.file) or one.file
        if name != name_of_plan:
            yield replace(one, file=name)
    if plan is not None and name_of_plan is not None:
        yield InputFile(name_of_plan, sha256_of(Path(plan)))

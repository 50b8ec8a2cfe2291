"""Where the raw files of stored gears lie, and whether they are still what was read."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from pathlib import Path

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from gearqa.history.sql_tables import INTAKE
from gearqa.history.stored_texts import loads
from gearqa.model.part import PART_FILE
from gearqa.reading.rows.digests import sha256_of


@dataclass(frozen=True, slots=True)
class Intake:
    """One adding of a folder: where its files lay and their digests."""

    number: int
    folder: Path
    part_file: Path | None
    column_map: Path | None
    digests: dict[str, str]
    """Files that were read, by their names; without the part file, whose content the store holds."""


def read_intakes(connection: Connection, numbers: Collection[int] | None = None) -> dict[int, Intake]:
    """Intakes by their numbers; all of them by default."""
    query = sa.select(
        INTAKE.c.id, INTAKE.c.folder, INTAKE.c.part_file, INTAKE.c.column_map, INTAKE.c.inputs
    ).order_by(INTAKE.c.id)
    found: dict[int, Intake] = {}
    for row in connection.execute(query):
        if numbers is not None and row.id not in numbers:
            continue
        folder = Path(row.folder)
        part_file, column_map = (name and Path(name) for name in (row.part_file, row.column_map))
        own = part_file or folder / PART_FILE
        digests = {
            one["file"]: one["sha256"]
            for one in loads(row.inputs)
            if one["sha256"] is not None and folder / one["file"] != own
        }
        found[row.id] = Intake(row.id, folder, part_file, column_map, digests)
    return found


def folder_faults(intake: Intake) -> list[str]:
    """Files that are gone or no longer what was read, one sentence each."""
    if not intake.folder.is_dir():
        return [f"{intake.folder}: the folder is gone"]
    faults = []
    for name, digest in intake.digests.items():
        path = intake.folder / name
        try:
            if sha256_of(path) != digest:
                faults.append(f"{path}: changed since it was added")
        except FileNotFoundError:
            faults.append(f"{path}: gone")
        except OSError as error:
            faults.append(f"{path}: cannot be read ({error.strerror or error})")
    return faults

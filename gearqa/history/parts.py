"""Part data of the store: the whole drawing as it was when gears were graded by it."""

from __future__ import annotations

import hashlib
from typing import Final

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from gearqa.history.sealed_rows import insert_rows, next_id
from gearqa.history.sql_tables import PART
from gearqa.history.store import now
from gearqa.model.part import Part

READING_KEYS: Final = {"ignore", "columns"}
"""Which files are read and how: no part of the drawing."""


def part_text(part: Part) -> str:
    """The drawing as JSON; keys as in `part.toml`, only what it states."""
    return part.model_dump_json(by_alias=True, exclude_unset=True)


def part_digest(part: Part) -> str:
    """Digest of everything that a result depends on."""
    text = part.model_dump_json(by_alias=True, exclude=READING_KEYS)
    return hashlib.sha256(text.encode()).hexdigest()


def part_from_text(text: str) -> Part:
    """Parse a stored drawing."""
    return Part.model_validate_json(text)


def part_id(connection: Connection, part: Part) -> int:
    """Row of the drawing, added where it is new."""
    digest = part_digest(part)
    found = connection.execute(sa.select(PART.c.id).where(PART.c.digest == digest)).scalar_one_or_none()
    if found is not None:
        return int(found)
    number = next_id(connection, PART)
    row = {
        "id": number,
        "number": part.part.number,
        "name": part.part.name,
        "revision": part.part.revision,
        "digest": digest,
        "content": part_text(part),
        "added_at": now(),
    }
    insert_rows(connection, PART, [row])
    return number


def part_by_id(connection: Connection, number: int) -> Part:
    """The drawing of a row."""
    query = sa.select(PART.c.content).where(PART.c.id == number)
    return part_from_text(connection.execute(query).scalar_one())

"""Values as the store holds them: JSON text, packed results, times."""

from __future__ import annotations

import zlib
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from typing import Any, Final

import orjson
from isal import isal_zlib

PACKING: Final = 1
"""A fifth of the size, as level 3 of zlib in a quarter of its time; higher levels gain little."""


def dumps(value: Mapping[str, Any] | Sequence[Any]) -> str:
    """JSON text."""
    return orjson.dumps(value).decode()


def loads(text: str | bytes) -> Any:
    """Parse JSON text."""
    return orjson.loads(text)


def packed(document: bytes) -> bytes:
    """The JSON text of a document, compressed for zlib."""
    return isal_zlib.compress(document, PACKING)


def unpacked(data: bytes) -> Any:
    """Unpack a document."""
    return orjson.loads(zlib.decompress(data))


def aware(moment: datetime) -> datetime:
    """The moment with a time zone; without one it is local."""
    if moment.tzinfo is not None:
        return moment
    try:
        return moment.astimezone()
    except (OverflowError, ValueError, OSError):  # at the ends of the calendar
        return moment.replace(tzinfo=UTC)


def in_utc(moment: datetime) -> datetime:
    """The moment in UTC."""
    try:
        return aware(moment).astimezone(UTC)
    except OverflowError:  # at the ends of the calendar
        return moment.replace(tzinfo=UTC)


def utc_text(moment: datetime) -> str:
    """Text that sorts by time."""
    return in_utc(moment).isoformat(timespec="microseconds")


def identity_text(moment: datetime | None) -> str:
    """Text of a time that is part of an identity: the same on every station, empty where unknown."""
    if moment is None:
        return ""
    if moment.tzinfo is None:
        return moment.isoformat()
    return in_utc(moment).isoformat()


def stored_text(moment: datetime | None) -> str | None:
    """A time with its own offset."""
    return None if moment is None else aware(moment).isoformat()


def stored_time(text: str | None) -> datetime | None:
    """Parse a stored time."""
    return None if text is None else datetime.fromisoformat(text)


def plain_text(text: str) -> str:
    """Text that every database takes: file names may hold bytes that are no UTF-8."""
    return text.encode("utf-8", "surrogateescape").decode("utf-8", "backslashreplace")

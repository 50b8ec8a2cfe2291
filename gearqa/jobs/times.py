"""Times as a job takes them: a datetime, or text in ISO 8601."""

from __future__ import annotations

from datetime import datetime, timedelta

from gearqa.errors import ArgumentError

A_DAY = "2025-04-07"


def moment(time: str | datetime | None, argument: str, *, end_of_day: bool = False) -> datetime | None:
    """Time of an argument; without a zone it is local, a bare date is the whole day.

    >>> moment("2025-04-07T06:05:00+02:00", "since").isoformat()
    '2025-04-07T06:05:00+02:00'
    """
    if time is None:
        return None
    try:
        return parsed_time(time, end_of_day=end_of_day)
    except ValueError:
        raise ArgumentError(
            argument,
            f"found '{time}', expected a time such as 2025-04-07T06:05, 2025-04-07T06:05+02:00 or {A_DAY}",
        ) from None


def parsed_time(time: str | datetime, *, end_of_day: bool = False) -> datetime:
    """As `moment`; raises ValueError for what is no time."""
    if isinstance(time, datetime):
        found = time
    else:
        found = datetime.fromisoformat(time.strip())
        if end_of_day and len(time.strip()) <= len(A_DAY):
            found += timedelta(days=1) - timedelta(microseconds=1)
    return found if found.tzinfo is not None else found.astimezone()

"""Times as people read them."""

from __future__ import annotations

from datetime import datetime

from gearqa.wording.numbers import DASH


def time_text(moment: datetime | None) -> str:
    """A time with its own offset.

    >>> time_text(datetime.fromisoformat("2025-04-07T06:05:35+02:00")), time_text(None)
    ('2025-04-07 06:05 +02:00', '–')
    """
    return DASH if moment is None else f"{moment:%Y-%m-%d %H:%M} {moment.isoformat()[-6:]}"


def clock_text(moment: datetime) -> str:
    """The time of day.

    >>> clock_text(datetime.fromisoformat("2025-04-07T06:05:35+02:00"))
    '06:05:35'
    """
    return f"{moment:%H:%M:%S}"


def date_text(moment: datetime) -> str:
    """The day, as it was where the time was noted.

    >>> date_text(datetime.fromisoformat("2025-04-07T06:05:35+02:00"))
    '2025-04-07'
    """
    return f"{moment:%Y-%m-%d}"

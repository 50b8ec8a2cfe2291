"""Arguments that several jobs take: keys of parameters, the size of a lot."""

from __future__ import annotations

from difflib import get_close_matches
from typing import Final

from gearqa.errors import ArgumentError
from gearqa.model.drift import COMPONENTS
from gearqa.model.ranges import LARGEST_NUMBER, Range
from gearqa.symbols import QUANTITIES
from gearqa.wording.numbers import short_text

COUNT: Final = Range(1, LARGEST_NUMBER)


def require_within(argument: str, value: float | None, allowed: Range) -> None:
    """Raise ArgumentError for a number that was given and lies outside what is allowed."""
    if value is not None and not allowed.holds(value):
        raise ArgumentError(argument, f"found {short_text(value)}, expected {allowed}")


def require_parameter(key: str) -> None:
    """Raise ArgumentError, which names the nearest one, unless `key` is a parameter or the size."""
    known = (*QUANTITIES, *COMPONENTS)
    if key not in known:
        near = get_close_matches(key, known, n=1)
        nearest = f"; nearest: {near[0]}" if near else ""
        raise ArgumentError("parameter", f"'{key}' is no parameter{nearest}. Parameters: {', '.join(known)}")

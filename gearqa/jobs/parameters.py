"""Arguments that several jobs take: keys of parameters, the size of a lot."""

from __future__ import annotations

from difflib import get_close_matches
from typing import Final

from gearqa.errors import ArgumentError
from gearqa.model.drift import COMPONENTS
from gearqa.symbols import QUANTITIES

LARGEST_LOT: Final = 10**9
"""Far beyond any lot, and far from overflow."""


def require_lot_size(size: int | None) -> None:
    """Raise ArgumentError for a size that no lot has."""
    if size is not None and size < 1:
        raise ArgumentError("lot_size", f"{size}; expected 1 or more")
    if size is not None and size > LARGEST_LOT:
        raise ArgumentError("lot_size", f"a number beyond {LARGEST_LOT}; expected the gears in the lot")


def require_parameter(key: str) -> None:
    """Raise ArgumentError, which names the nearest one, unless `key` is a parameter or the size."""
    known = (*QUANTITIES, *COMPONENTS)
    if key not in known:
        near = get_close_matches(key, known, n=1)
        nearest = f"; nearest: {near[0]}" if near else ""
        raise ArgumentError("parameter", f"'{key}' is no parameter{nearest}. Parameters: {', '.join(known)}")

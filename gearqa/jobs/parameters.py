"""Keys of parameters that a job takes."""

from __future__ import annotations

from difflib import get_close_matches

from gearqa.errors import ArgumentError
from gearqa.model.drift import SIZE
from gearqa.symbols import PARAMETERS


def require_parameter(key: str) -> None:
    """Raise ArgumentError, which names the nearest one, unless `key` is a parameter or the size."""
    known = (*PARAMETERS, SIZE)
    if key not in known:
        near = get_close_matches(key, known, n=1)
        nearest = f"; nearest: {near[0]}" if near else ""
        raise ArgumentError("parameter", f"'{key}' is no parameter{nearest}. Parameters: {', '.join(known)}")

"""Result models as plain objects for JSON: keys are the field names."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import fields, is_dataclass
from typing import Any

import numpy as np

from gearqa.io.jsonio import key_of


def plain(value: Any, *, without: frozenset[str] = frozenset()) -> Any:
    """Dataclasses as objects, tuples and arrays as lists; fields named in `without` are left out.

    >>> from gearqa.errors import Notice
    >>> plain((Notice("code", "words"),))
    [{'code': 'code', 'message': 'words'}]
    """
    if is_dataclass(value) and not isinstance(value, type):
        return {
            key_of(f.name): plain(getattr(value, f.name), without=without)
            for f in fields(value)
            if f.name not in without
        }
    if isinstance(value, Mapping):
        return {str(key): plain(one, without=without) for key, one in value.items()}
    if isinstance(value, np.ndarray):
        return value.tolist()
    if isinstance(value, Sequence) and not isinstance(value, str):
        return [plain(one, without=without) for one in value]
    return value

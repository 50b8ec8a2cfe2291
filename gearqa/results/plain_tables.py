"""Result models as plain objects for JSON: keys are the field names."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import fields, is_dataclass
from datetime import datetime
from typing import Any

import numpy as np

from gearqa.model.measurement import Production
from gearqa.results.codec import writer
from gearqa.results.entries import key_of


def plain(value: Any, *, without: frozenset[str] = frozenset()) -> Any:
    """Dataclasses as objects, tuples and arrays as lists, times as ISO 8601 text, what is no number as null.

    Fields named in `without` are left out; of production data what is not known is.

    >>> from gearqa.errors import Notice
    >>> plain((Notice("code", "words"), math.nan))
    [{'code': 'code', 'message': 'words'}, None]
    """
    if isinstance(value, Production):
        return plain(writer(Production)(value))
    if is_dataclass(value) and not isinstance(value, type):
        return {
            key_of(f.name): plain(getattr(value, f.name), without=without)
            for f in fields(value)
            if f.name not in without
        }
    if isinstance(value, Mapping):
        return {str(key): plain(one, without=without) for key, one in value.items()}
    listed = value.tolist() if isinstance(value, np.ndarray) else value
    if isinstance(listed, Sequence) and not isinstance(listed, str):
        return [plain(one, without=without) for one in listed]
    return _scalar(listed)


def _scalar(value: Any) -> Any:
    if isinstance(value, datetime):
        return value.isoformat()
    return None if isinstance(value, float) and not math.isfinite(value) else value

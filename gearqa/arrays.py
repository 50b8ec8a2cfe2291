"""Types of the arrays that the package passes around."""

from __future__ import annotations

from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

Number = TypeVar("Number", bound=np.generic)

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]


def distinct(values: NDArray[Number]) -> NDArray[Number]:
    """Values that occur, each once, in order: as `np.unique`, which loads masked arrays first.

    >>> distinct(np.array([3, 1, 3])).tolist()
    [1, 3]
    """
    ordered = np.sort(values, axis=None)
    first = np.ones(len(ordered), dtype=np.bool_)
    first[1:] = ordered[1:] != ordered[:-1]
    return ordered[first]

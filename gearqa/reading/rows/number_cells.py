"""The grammar of numbers in measurement files, and their conversion to binary.

`[+-]digits[.digits][e+-n]` in ASCII, finite; surrounding blanks do not matter, and the digits on one
side of the point may be missing (`.5`). Nothing else is a number: no `nan`, no `1_000`, no thousands.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Final, Literal

import numpy as np

from gearqa.arrays import Array

_GRAMMAR: Final = r"[ \t\v\f]*+[+-]?+(?:[0-9]++(?:\.[0-9]*+)?+|\.[0-9]++)(?:[eE][+-]?+[0-9]++)?+[ \t\v\f]*+"
_NUMBER: Final = re.compile(_GRAMMAR)
_COLUMN: Final = re.compile(rf"(?:{_GRAMMAR}\0)*+")


def parse_column(cells: Sequence[str], decimal: Literal[".", ","] = ".") -> tuple[Array, list[int]]:
    """Numbers of a column, and the rows whose cell is none (NaN there; infinities are kept).

    >>> parse_column(["1.5", " -2e-1 ", "1_0", "nan"])
    (array([ 1.5, -0.2,  nan,  nan]), [2, 3])
    """
    joined = "\0".join([*cells, ""])
    if decimal == ",":
        # a point in such a file is no decimal mark: make it something that is no number
        joined = joined.replace(".", "x").replace(",", ".")
    ready = joined.split("\0")[:-1]
    if len(ready) == len(cells) and _COLUMN.fullmatch(joined):
        return np.array(list(map(float, ready)), dtype=np.float64), []
    values = np.full(len(cells), np.nan)
    bad = []
    for row, cell in enumerate(ready):
        if _NUMBER.fullmatch(cell):
            values[row] = float(cell)
        else:
            bad.append(row)
    return values, bad

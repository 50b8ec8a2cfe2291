"""Compare with a value as a source prints it: same digits, no tolerance."""

from __future__ import annotations

from decimal import Decimal

import numpy as np


def as_printed(value: float, text: str) -> str:
    """`value` with the number of decimals of `text`, to be compared with `same(text)`."""
    decimals = len(text.partition(".")[2])
    return f"{value:.{decimals}f}"


def same(text: str) -> str:
    """`text` with the leading zero that a source may leave out."""
    return f"{Decimal(text):f}"


def numbers(text: str) -> np.ndarray:
    """The numbers of a printed row."""
    return np.array([float(word) for word in text.split()])

"""Tolerances that are a sum of terms: factors as data, which docstrings show from there."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import NamedTuple, TypeVar

Formula = TypeVar("Formula", bound=Callable[..., float])


class Terms(NamedTuple):
    """Factors of a sum of terms in diameter, module and face width (mm) that gives micrometres."""

    d: float = 0.0
    root_d: float = 0.0
    m: float = 0.0
    root_m: float = 0.0
    root_b: float = 0.0
    constant: float = 0.0

    def at(self, d: float = 0.0, m: float = 0.0, b: float = 0.0) -> float:
        """Value at a diameter, a module and a face width."""
        return (
            self.d * d
            + self.root_d * math.sqrt(d)
            + self.m * m
            + self.root_m * math.sqrt(m)
            + self.root_b * math.sqrt(b)
            + self.constant
        )

    def shown(self, function: Formula) -> Formula:
        """Decorator that puts the factors where the docstring has their names as <name>."""
        text = function.__doc__ or ""
        for name, factor in self._asdict().items():
            text = text.replace(f"<{name}>", str(factor))
        function.__doc__ = text
        return function

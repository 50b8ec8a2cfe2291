"""Tolerances that are a sum of terms, their factors as data that docstrings show; and their rounding."""

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
        roots = self.root_d * math.sqrt(d), self.root_m * math.sqrt(m), self.root_b * math.sqrt(b)
        return self.d * d + roots[0] + self.m * m + roots[1] + roots[2] + self.constant

    @property
    def text(self) -> str:
        """The sum in words of a formula."""
        names = ("d", "√d", "m", "√m", "√b", "")
        terms = [f"{factor} {name}".strip() for factor, name in zip(self, names, strict=True) if factor]
        return " + ".join(terms)

    def shown(self, function: Formula) -> Formula:
        """Decorator that puts the factors where the docstring has their names as <name>."""
        text = function.__doc__ or ""
        for name, factor in self._asdict().items():
            text = text.replace(f"<{name}>", str(factor))
        function.__doc__ = text
        return function


def half_up(value: float, per_micrometre: int) -> float:
    """Round to whole steps of a micrometre; halves, met at nine decimals, go up.

    House rule: in whole numbers, as dividing by 0.1 in binary would turn halves the wrong way.

    Parameters
    ----------
    value : float
        Not negative. [um]
    per_micrometre : int
        Steps in a micrometre. [-]

    Returns
    -------
    float
        Rounded value. [um]

    Examples
    --------
    >>> half_up(4.95, 10), half_up(7.25, 2), half_up(10.5, 1)
    (5.0, 7.5, 11.0)
    """
    step = 10**9 // per_micrometre
    return (round(value * 1e9) + step // 2) // step / per_micrometre

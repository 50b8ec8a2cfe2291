"""What a number may be: keys of part files and other settings, and arguments of jobs."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from gearqa.late_dataclass import dataclass
from gearqa.wording.numbers import short_text

LARGEST: Final[Mapping[str, float]] = {"_mm": 1e5, "_um": 1e6, "_deg": 36_000.0}
"""Magnitude that a number may have, by the unit in its key: 100 m, 1 m, a hundred turns."""
LARGEST_NUMBER: Final = 1e9
"""The same for all other numbers."""
LEAST_LENGTH_MM: Final = 1e-4
"""A length that must be positive is no smaller: a tenth of a micrometre."""


@dataclass(frozen=True, slots=True)
class Range:
    """Where a number may lie; open ends are not part of it."""

    low: float
    high: float
    low_open: bool = False
    high_open: bool = False

    def holds(self, value: float) -> bool:
        """Whether a number lies inside; NaN does not."""
        above = self.low < value if self.low_open else self.low <= value
        return above and (value < self.high if self.high_open else value <= self.high)

    @property
    def bounds(self) -> dict[str, float]:
        """The same as keywords of a field: `ge`, `gt`, `le`, `lt`."""
        return {"gt" if self.low_open else "ge": self.low, "lt" if self.high_open else "le": self.high}

    def __str__(self) -> str:
        if not self.low_open and not self.high_open:
            return f"{_text(self.low)} to {_text(self.high)}"
        low = f"{'more than' if self.low_open else 'at least'} {_text(self.low)}"
        return f"{low} and {'less than' if self.high_open else 'at most'} {_text(self.high)}"


def _text(value: float) -> str:
    return str(int(value)) if value == int(value) else short_text(value)


TEETH: Final = Range(1, 10_000)
LENGTH_MM: Final = Range(LEAST_LENGTH_MM, LARGEST["_mm"])
PRESSURE_ANGLE_DEG: Final = Range(1, 45, high_open=True)
HELIX_ANGLE_DEG: Final = Range(0, 90, high_open=True)
PROFILE_SHIFT: Final = Range(-5, 5)
WHEEL_THREADS: Final = Range(1, 100)


def plausible_range(key: str, kind: str, bounds: Mapping[str, Any]) -> dict[str, Any]:
    """Bounds (`ge`, `gt`, `le`, `lt`) that a number gets where its table names none, by key and type.

    >>> plausible_range("pin_diameter_mm", "float", {"gt": 0})
    {'le': 100000.0, 'ge': 0.0001}
    """
    largest = next((size for unit, size in LARGEST.items() if key.endswith(unit)), LARGEST_NUMBER)
    number = int if kind == "int" else float
    given = {name for name in ("ge", "gt", "le", "lt") if bounds.get(name) is not None}
    added: dict[str, Any] = {} if given & {"le", "lt"} else {"le": number(largest)}
    if not given & {"ge", "gt"}:
        added["ge"] = number(-largest)
    elif added and bounds.get("gt") == 0 and key.endswith("_mm"):
        added["ge"] = LEAST_LENGTH_MM
    return added

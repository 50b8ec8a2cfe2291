"""ISO 1328-1:2013, cylindrical gears, flank tolerance classification.

Formulas and constants are recalled, not read off a copy of the standard ("from memory"); they are
checked against printed and computed values in `tests/oracle`.
"""

from __future__ import annotations

from typing import Final

from gearqa.standards.iso1328_1_2013.classes import (
    CLASSES,
    class_5_tolerances,
    round_tolerance,
    rounded_tolerances,
    rows,
    unrounded_class_5,
)
from gearqa.standards.iso1328_1_2013.scope import RANGES, violations
from gearqa.standards.iso1328_1_2013.tolerances import sector_span

__title__: Final = "ISO 1328-1:2013"
__edition__: Final = 2013
__scope__: Final = RANGES

__all__ = [
    "CLASSES", "RANGES", "class_5_tolerances", "round_tolerance", "rounded_tolerances", "rows",
    "sector_span", "unrounded_class_5", "violations",
]  # fmt: skip

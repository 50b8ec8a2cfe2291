"""ISO 1328-1:1995 with the runout of ISO 1328-2:1997, kept to compare figures that others state.

Not a grading standard here. Formulas, ranges and rounding are recalled, not read off a copy
("from memory"); 1144 recalled table cells agree with them.
"""

from __future__ import annotations

from typing import Final

from gearqa.standards.iso1328_1_1995.scope import B_LIMITS, D_LIMITS, M_LIMITS, violations
from gearqa.standards.iso1328_1_1995.tolerances import (
    CLASSES,
    grade_5_tolerances,
    rounded_tolerances,
    tolerance_table,
)

__title__: Final = "ISO 1328-1:1995"
__edition__: Final = 1995
__scope__: Final = {"d": D_LIMITS, "m_n": M_LIMITS, "b": B_LIMITS}

__all__ = ["CLASSES", "grade_5_tolerances", "rounded_tolerances", "tolerance_table", "violations"]

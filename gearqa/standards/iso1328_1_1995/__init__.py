"""ISO 1328-1:1995 with the runout of ISO 1328-2:1997.

GB/T 10095.1-2008 and JIS B 1702-1:1998 have the same text (stated in their forewords). Formulas, ranges and
rounding are recalled, not read off a copy ("from memory"); 1144 recalled table cells agree with them.
"""

from __future__ import annotations

from typing import Final

from gearqa.standards.iso1328_1_1995.scope import B_LIMITS, D_LIMITS, M_LIMITS, violations
from gearqa.standards.iso1328_1_1995.tolerances import (
    CLASSES,
    grade_5_tolerances,
    rounded_tolerances,
    rows,
)
from gearqa.standards.iso1328_1_2013.tolerances import sector_span

__title__: Final = "ISO 1328-1:1995"
__edition__: Final = 1995
__scope__: Final = {"d": D_LIMITS, "m_n": M_LIMITS, "b": B_LIMITS}

__all__ = ["CLASSES", "grade_5_tolerances", "rounded_tolerances", "rows", "sector_span", "violations"]

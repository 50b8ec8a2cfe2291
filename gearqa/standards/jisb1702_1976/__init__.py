"""JIS B 1702:1976, accuracy for spur and helical gears: pitch only.

The formulas of single and cumulative pitch and the factors of the adjacent pitch difference are printed in
"Elements of Metric Gear Technology", table T-132; the limits of profile, helix and runout are not, and are
left out.
"""

from __future__ import annotations

from typing import Final

from gearqa.standards.jisb1702_1976.tolerances import CLASSES, rows, sector_span, violations

__title__: Final = "JIS B 1702:1976"
__edition__: Final = 1976
__scope__: Final = "pitch"

__all__ = ["CLASSES", "rows", "sector_span", "violations"]

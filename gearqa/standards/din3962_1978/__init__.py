"""DIN 3962-1 and -2:1978, tolerances for cylindrical gear teeth: printed cells that could be confirmed.

Profile and pitch for modules of 1 to 2 mm, helix for any module; everything else is left out, since how the
tables are rounded could not be confirmed.
"""

from __future__ import annotations

from typing import Final

from gearqa.standards.din3962_1978.tolerances import CLASSES, rows, sector_span, violations

__title__: Final = "DIN 3962:1978"
__edition__: Final = 1978
__scope__: Final = "modules of 1 to 2 mm; helix slope for any module"

__all__ = ["CLASSES", "rows", "sector_span", "violations"]

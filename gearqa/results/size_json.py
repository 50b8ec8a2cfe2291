"""Size of teeth as JSON."""

from __future__ import annotations

from typing import Final

from gearqa.model.size import ToothSize
from gearqa.results.document import ResultDocument

SIZE: Final = ResultDocument("gearqa.size/1", "gearqa size: nominal size of teeth and limits", ToothSize)

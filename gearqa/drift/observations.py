"""From graded gears to observations. The rule stands in `gearqa.evaluation.observations`, where the
history store uses it too."""

from __future__ import annotations

from gearqa.evaluation.observations import UNKNOWN_GRINDER, observations_from_results

__all__ = ["UNKNOWN_GRINDER", "observations_from_results"]

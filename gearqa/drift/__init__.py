"""Drift of a grinder: wear between dresses, level changes, forecast, dress interval, advice."""

from gearqa.drift.analyse import analyse_drift
from gearqa.drift.observations import observations_from_results

__all__ = ["analyse_drift", "observations_from_results"]

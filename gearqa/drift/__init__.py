"""Drift of a grinder: wear between dresses, level changes, forecast, dress interval, advice."""

from gearqa.drift.analysis import analyse_observations

__all__ = ["analyse_observations"]

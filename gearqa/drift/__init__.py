"""Drift of a grinder: wear between dresses, level changes, forecast, dress interval, advice."""

from gearqa.drift.analyse import analyse_drift

__all__ = ["analyse_drift"]

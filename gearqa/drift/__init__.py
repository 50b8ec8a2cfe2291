"""Drift of a grinder: wear between dresses, level changes, forecast, dress interval, advice."""

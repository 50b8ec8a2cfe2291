"""Inspection folders from a physical model: displaced flank surfaces, a process, an instrument."""

from gearqa.simulate.folder import load_scenario, write_folder
from gearqa.simulate.made_gears import simulate_gears
from gearqa.simulate.process import measured_count, simulate_events
from gearqa.simulate.scenario import Scenario

__all__ = ["Scenario", "load_scenario", "measured_count", "simulate_events", "simulate_gears", "write_folder"]

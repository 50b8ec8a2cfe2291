"""A gear as it would have been measured without some of its errors."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from gearqa.arrays import Array
from gearqa.diagnosis.effects import Effect
from gearqa.diagnosis.observations import index_of, radial_of
from gearqa.diagnosis.points import FlankPoints, pitch_points, trace_points
from gearqa.evaluation.part_setup import PartSetup
from gearqa.model.measurement import GearMeasurement, PitchReadings, RunoutReadings
from gearqa.symbols import FLANKS

Part = tuple[Effect, Array]
"""An error with its amplitudes."""


def without(gear: GearMeasurement, errors: Sequence[Part], setup: PartSetup) -> GearMeasurement:
    """The gear less these errors; sizes stay as measured."""
    if not errors:
        return gear
    traces = tuple(
        replace(
            trace,
            deviation_um=trace.deviation_um
            - deviation(trace_points(trace, trace.position_mm, setup), errors),
        )
        for trace in gear.traces
    )
    index = index_of(deviation(pitch_points(setup, measured=True), errors), setup)
    pitch = {
        flank: PitchReadings(flank, readings.index_um - index[FLANKS.index(flank)], readings.closure_um)
        for flank, readings in gear.pitch.items()
    }
    runout = gear.runout
    if runout is not None:
        at_reference = deviation(pitch_points(setup, measured=False), errors)
        runout = RunoutReadings(runout.radial_um - radial_of(at_reference, setup))
    return replace(gear, traces=traces, pitch=pitch, runout=runout)


def deviation(at: FlankPoints, errors: Sequence[Part]) -> Array:
    """What the errors make of the flanks at some points. [um]"""
    total = np.zeros(at.theta_T.shape)
    for effect, amplitudes in errors:
        total = total + np.tensordot(amplitudes, effect.columns(at), axes=1)
    return total

"""What inspection sheets need from core and standards beyond the results."""

from __future__ import annotations

import numpy as np

from gearqa.core.geometry import diameter_at_roll
from gearqa.core.pitch import first_harmonic, single_pitches, tooth_angles
from gearqa.core.runout import radial_positions
from gearqa.evaluation.criteria import criteria_of
from gearqa.model.measurement import GearMeasurement
from gearqa.model.part import Part
from gearqa.part_geometry import part_geometry
from gearqa.report.gear_figures import RunoutCurve
from gearqa.report.sheet_model import SheetAids


def sheet_aids(part: Part) -> SheetAids:
    """Return the numeric helpers for sheets of one part."""
    geometry = part_geometry(part)
    criteria = criteria_of(part)

    def class_of(key: str, value: float) -> int | None:
        one = next(c for (name, _), c in criteria.of.items() if name == key)
        return one.class_of(value)

    def runout(gear: GearMeasurement) -> RunoutCurve | None:
        if gear.runout is not None:
            radial = gear.runout.radial_um
        elif len(gear.pitch) == 2:  # noqa: PLR2004 - both flanks
            radial = radial_positions(gear.pitch["left"].index_um, gear.pitch["right"].index_um, geometry)
        else:
            return None
        if np.isnan(radial).any():
            return None
        amplitude, crest = first_harmonic(radial)
        half_space = np.pi / geometry.z
        wave = radial.mean() + amplitude * np.cos(tooth_angles(geometry.z) - crest)
        return RunoutCurve(radial, wave, float(amplitude), float(np.degrees(crest + half_space) % 360))

    return SheetAids(
        diameter_at_roll=lambda rolls: diameter_at_roll(rolls, geometry.d_b),
        single_pitches=single_pitches,
        class_of=class_of,
        runout=runout,
    )

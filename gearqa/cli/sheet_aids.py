"""What inspection sheets need from core and standards beyond the results."""

from __future__ import annotations

import numpy as np

from gearqa.core.geometry import diameter_at_roll
from gearqa.core.pitch import first_harmonic, single_pitches, tooth_angles
from gearqa.core.runout import radial_positions
from gearqa.evaluation.part_geometry import part_geometry
from gearqa.model.measurement import GearMeasurement
from gearqa.model.part import Part
from gearqa.report.grading.gear_figures import RunoutCurve
from gearqa.report.grading.page import SheetAids
from gearqa.standards import standard


def sheet_aids(part: Part) -> SheetAids:
    """Return the numeric helpers for sheets of one part."""
    geometry = part_geometry(part)
    edition = standard(part.tolerance.standard)
    class_5 = edition.class_5_tolerances(
        geometry.z, geometry.m_n, geometry.d, geometry.b, part.gear.helix_angle_deg
    )
    tolerances = {key: edition.rounded_tolerances(T) for key, T in class_5.items()}

    def class_of(key: str, value: float) -> int | None:
        grade: int | None = edition.class_of(value, tolerances[key])
        return grade

    def runout(gear: GearMeasurement) -> RunoutCurve | None:
        if gear.runout is not None:
            radial = gear.runout.radial_um
        elif len(gear.pitch) == 2:
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

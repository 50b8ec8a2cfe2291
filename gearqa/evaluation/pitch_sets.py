"""Pitch, runout and tooth thickness of many gears, evaluated together; readings in doubt are left out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import field
from typing import NamedTuple

import numpy as np

from gearqa.arrays import Array
from gearqa.core import pitch as pitch_core
from gearqa.core import runout as runout_core
from gearqa.evaluation.part_setup import Measured, PartSetup, Where
from gearqa.evaluation.plausibility import table_unit_doubts
from gearqa.evaluation.probe_faults import table_fault
from gearqa.late_dataclass import dataclass
from gearqa.model.measurement import GearMeasurement, PitchReadings
from gearqa.model.results import GapCode, PitchResult, RunoutMethod
from gearqa.symbols import FLANKS, Family, Flank


class TableDoubt(NamedTuple):
    """Readings of a flank, or radial ones (flank None), that are doubtful, and why."""

    flank: Flank | None
    reason: str
    code: GapCode


@dataclass(slots=True)
class PitchSet:
    """What became of pitch and runout of one gear."""

    measured: dict[Where, Measured] = field(default_factory=dict)
    pitch: list[PitchResult] = field(default_factory=list)
    doubts: list[TableDoubt] = field(default_factory=list)
    left_out: set[Flank | None] = field(default_factory=set)
    """Flanks whose pitch is not evaluated for doubt; None: the radial readings."""

    def gaps(self, flank: Flank | None) -> list[TableDoubt]:
        """Doubts about the pitch of a flank, or about the radial readings."""
        return [doubt for doubt in self.doubts if doubt.flank == flank]


def evaluate_pitch_sets(gears: Sequence[GearMeasurement], setup: PartSetup) -> list[PitchSet]:
    """Evaluate pitch, runout and tooth thickness of many gears together."""
    sets = [PitchSet() for _ in gears]
    for gear, one in zip(gears, sets, strict=True):
        _doubt(gear, one, setup)
    complete = [
        (number, flank, gear.pitch[flank])
        for number, gear in enumerate(gears)
        for flank in FLANKS
        if flank in gear.pitch and flank not in sets[number].left_out and not gear.pitch[flank].missing_teeth
    ]
    if complete:
        _evaluate_pitch(complete, sets, setup)
    _evaluate_runout(gears, sets, setup)
    return sets


def _doubt(gear: GearMeasurement, found: PitchSet, setup: PartSetup) -> None:
    """Note the readings of a gear that are doubtful, and leave out what nobody confirmed."""
    units = table_unit_doubts(gear, setup.plausible)
    for flank, readings in gear.pitch.items():
        table = f"the pitch of the {flank} flank"
        given = readings.index_um
        if readings.closure_um:  # looked at as they stand in the table
            given = np.round(pitch_core.single_pitches(given) + readings.closure_um / len(given), 9)
        _doubt_table(
            gear.serial, found, flank, table, given / setup.pitch_factor, readings.copy_of,
            units.get(flank), setup,
        )  # fmt: skip
    if gear.runout is not None:
        _doubt_table(
            gear.serial, found, None, "the runout table", gear.runout.radial_um, gear.runout.copy_of,
            units.get(None), setup,
        )  # fmt: skip


def _doubt_table(
    serial: str, found: PitchSet, flank: Flank | None, table: str, given: Array, copy_of: str,
    unit: str | None, setup: PartSetup,
) -> None:  # fmt: skip
    family: Family = "runout" if flank is None else "pitch"
    doubts: list[TableDoubt] = []
    if copy_of:
        reason = f"{table} repeats {copy_of} value for value: which one was measured?"
        doubts.append(TableDoubt(flank, reason, "copied"))
    elif fault := table_fault(given):
        doubts.append(TableDoubt(flank, f"{table} {fault.text}", fault.code))
    if unit and not doubts:
        doubts.append(TableDoubt(flank, unit, "unit_doubt"))
    found.doubts += doubts
    if any(not setup.confirmed(one.code, family, serial) for one in doubts):
        found.left_out.add(flank)


def _evaluate_pitch(
    complete: list[tuple[int, Flank, PitchReadings]], sets: list[PitchSet], setup: PartSetup
) -> None:
    index = np.array([readings.index_um for _, _, readings in complete])
    amplitude, angle = pitch_core.first_harmonic(index)
    left_over = pitch_core.without_first_harmonic(index)
    worst = {
        "single_pitch": pitch_core.f_p(index),
        "cumulative_pitch": pitch_core.F_p(index),
        "sector_pitch": pitch_core.F_pk(index, setup.sector),
        "adjacent_pitch": pitch_core.f_u(index),
    }
    for key, columns in worst.items():
        _store(key, [(number, flank) for number, flank, _ in complete], columns, sets)
    for (number, flank, readings), crest, angle_deg, single, cumulative in zip(
        complete,
        amplitude.tolist(),
        np.degrees(angle).tolist(),
        pitch_core.f_p(left_over).value.tolist(),
        pitch_core.F_p(left_over).value.tolist(),
        strict=True,
    ):
        whole = sets[number].measured["cumulative_pitch", flank].value
        sets[number].pitch.append(
            PitchResult(
                flank=flank,
                closure_um=readings.closure_um,
                first_harmonic_um=crest,
                first_harmonic_deg=angle_deg,
                first_harmonic_share=2 * crest / whole if whole > 0 else None,
                single_pitch_without_first_harmonic_um=single,
                cumulative_pitch_without_first_harmonic_um=cumulative,
            )
        )


def _evaluate_runout(gears: Sequence[GearMeasurement], sets: list[PitchSet], setup: PartSetup) -> None:
    """Readings win over pitch; a runout table with a space missing is not replaced by pitch."""
    both = [
        number for number, one in enumerate(sets) if all(("single_pitch", f) in one.measured for f in FLANKS)
    ]
    if both:
        left, right = (np.array([gears[number].pitch[flank].index_um for number in both]) for flank in FLANKS)
        variation = runout_core.R_s(left, right, setup.geometry.s)
        _store("tooth_thickness_variation", [(number, None) for number in both], variation, sets)
    from_pitch = [place for place, number in enumerate(both) if gears[number].runout is None]
    if from_pitch:
        radial = runout_core.radial_positions(left[from_pitch], right[from_pitch], setup.geometry)
        places = [(both[place], None) for place in from_pitch]
        _store("runout", places, runout_core.F_r(radial), sets, method="pitch")
    read = [
        (number, gear.runout.radial_um)
        for number, gear in enumerate(gears)
        if gear.runout is not None and None not in sets[number].left_out and not gear.runout.missing_spaces
    ]
    if read:
        worst = runout_core.F_r(np.array([radial for _, radial in read]))
        _store("runout", [(number, None) for number, _ in read], worst, sets, method="readings")


def _store(
    key: str,
    places: Sequence[tuple[int, Flank | None]],
    worst: pitch_core.Worst,
    sets: list[PitchSet],
    *,
    method: RunoutMethod | None = None,
) -> None:
    values, teeth = worst.value.tolist(), worst.tooth.tolist()
    teeth_to = [None] * len(values) if worst.tooth_to is None else worst.tooth_to.tolist()
    for (number, flank), value, tooth, tooth_to in zip(places, values, teeth, teeth_to, strict=True):
        sets[number].measured[key, flank] = Measured(value, value, value, value, tooth, tooth_to, method)

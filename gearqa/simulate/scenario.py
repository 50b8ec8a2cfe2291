"""What a scenario file says: the true gear, the process that made it, how it was measured.

This module is the schema of the file, as `gearqa.model.part` is that of the part file. All
shapes are deviations from the design of the part: micrometres in the transverse plane, plus =
more material; slopes signed as in a result (profile: rise towards the tip, helix: rise away from
the datum face) and over the span that the part's `slope_span` names, crowning and twist over the
evaluation lengths. Angles are clockwise, looking onto the datum face, tooth 1 at 0. `both` moves
the two flanks together; `left` and `right` are added to it.
"""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Final, Literal, Self, get_args

import numpy as np
from pydantic import Field, model_validator

from gearqa.arrays import Array
from gearqa.errors import Reason
from gearqa.model.table import TomlTable, fault
from gearqa.symbols import Flank

NotNegative = Annotated[float, Field(ge=0)]
Positive = Annotated[float, Field(gt=0)]
Whole = Annotated[int, Field(ge=1)]
TableName = Literal["profile", "helix", "pitch", "runout", "size", "production", "events"]
ALL_TABLES: Final[tuple[TableName, ...]] = get_args(TableName)


def _check_time(key: str, text: str) -> None:
    try:
        datetime.fromisoformat(text)
    except ValueError:
        raise fault(
            key, f"'{text}'", "a time such as '2025-03-03T06:00:00'", reason=Reason.BAD_TIME
        ) from None


class Shape(TomlTable):
    """What all teeth of a flank have in common, as deviation from the design."""

    material_um: float = 0.0
    """Uniform material; moves the size, no trace."""
    profile_slope_um: float = 0.0
    profile_crowning_um: float = 0.0
    profile_s_shape_um: float = 0.0
    """Width of the third-order part; plus = material at the tip."""
    helix_slope_um: float = 0.0
    helix_crowning_um: float = 0.0
    helix_s_shape_um: float = 0.0
    twist_um: float = 0.0
    """Profile slope at the far end less profile slope at the datum end."""

    def array(self) -> Array:
        """Coefficients in the order of `SHAPE_KEYS`. [um], shape (8,)"""
        return np.array([getattr(self, key) for key in SHAPE_KEYS], dtype=np.float64)


SHAPE_KEYS: Final[tuple[str, ...]] = tuple(Shape.model_fields)


class FlankShape(TomlTable):
    """A shape for both flanks together, and what comes to it on one flank alone."""

    both: Shape = Shape()
    left: Shape = Shape()
    right: Shape = Shape()

    def array(self) -> Array:
        """Coefficients of the left and the right flank. [um], shape (2, 8)"""
        return self.both.array() + np.stack([self.left.array(), self.right.array()])

    def draw(self, rng: np.random.Generator) -> Array:
        """Normal scatter with these standard deviations, `both` shared by the flanks. [um], shape (2, 8)"""
        common, own = rng.standard_normal(len(SHAPE_KEYS)), rng.standard_normal((2, len(SHAPE_KEYS)))
        return self.both.array() * common + np.stack([self.left.array(), self.right.array()]) * own


class Lot(TomlTable):
    """`[lot]`: how many gears are made, in production order, and their serials."""

    parts: Whole
    serial_prefix: str = ""
    serial_digits: int = Field(default=4, ge=1, le=12)
    first_number: int = Field(default=1, ge=0)


class Mounting(TomlTable):
    """`[mounting]`: rigid displacement of the gear against the datum axis."""

    eccentricity_um: NotNegative = 0.0
    eccentricity_deg: float = 0.0
    """Direction of the shift."""
    eccentricity_scatter_um: NotNegative = 0.0
    """Standard deviation of each of the two components, from gear to gear."""
    tilt_mrad: NotNegative = 0.0
    tilt_deg: float = 0.0
    """Direction of the rotation vector (right-hand rule, z away from the viewer): the far end leans 90
    degrees anticlockwise of it."""
    tilt_scatter_mrad: NotNegative = 0.0


class Lobes(TomlTable):
    """`[[lobes]]`: a thin ring, clamped out of round, ground round and released."""

    n: int = Field(ge=1, le=60)
    amplitude_um: float
    """Radial movement of the ring, plus = outwards at the crests; runout is about twice that."""
    phase_deg: float | None = None
    """Direction of one crest; left out: random for each gear."""
    amplitude_scatter_um: NotNegative = 0.0
    neutral_diameter_mm: Positive | None = None
    """Neutral fibre of the ring, about which a section turns; default: reference diameter."""


class Ripple(TomlTable):
    """`[[ripple]]`: a wave of the generating rotation, on traces, pitch and balls alike."""

    order: Positive
    """Waves per turn of the gear, need not be whole."""
    amplitude_um: float
    phase_deg: float | None = None
    """Phase of the cosine at angle 0; left out: random for each gear."""
    flank: Flank | None = None


class PitchErrors(TomlTable):
    """`[pitch]`: teeth that sit at a wrong angle."""

    tangential_um: float = 0.0
    """Once per turn, both flanks alike, teeth as a whole; arc at the reference circle."""
    tangential_deg: float | None = None
    """Direction of the largest clockwise index; left out: random for each gear."""
    table_um: float = 0.0
    """Of the work table while flanks are generated, arc at the reference circle: each point has the error as
    it stood when it was made, so that traces show it too."""
    table_deg: float | None = None
    """Direction of a largest clockwise index; left out: random for each gear."""
    table_order: int = Field(default=1, ge=1)
    """Errors of the table per turn."""
    scatter_um: NotNegative = 0.0
    """Standard deviation of the index of each flank of each tooth on its own."""


class Happening(TomlTable):
    """What is written in the events table."""

    event: str = Field(min_length=1)
    parameter: str | None = None
    flank: Flank | None = None
    correction: float | None = None
    unit: str | None = None
    remark: str | None = None


class Step(TomlTable):
    """`[[process.step]]`: a lasting change, recorded in the events table or not."""

    at_cycle: Whole | None = None
    at_part: Whole | None = None
    shift: FlankShape = FlankShape()
    wheel: str | None = None
    record: Happening | None = None

    @model_validator(mode="after")
    def _place(self) -> Self:
        if (self.at_cycle is None) == (self.at_part is None):
            found = "neither" if self.at_cycle is None else "both"
            raise fault("at_cycle", found, "exactly one of at_cycle and at_part")
        return self


class Thermal(TomlTable):
    """`[process.thermal]`: exponential drift since the start of each working day."""

    time_constant_min: Positive
    drift: FlankShape


class Process(TomlTable):
    """`[process]`: what the grinder does over parts and dress cycles."""

    grinder: str = "G1"
    wheel: str = "W1"
    fixture: str | None = None
    started_at: str = "2025-03-03T06:00:00"
    cycle_time_s: Positive = 100.0
    parts_per_dress: Whole | None = None
    """Left out: one dress before the first part."""
    parts_of_cycle: tuple[Whole, ...] = Field(default=(), strict=False)
    """The parts since dress that are simulated and counted, rising; left out: all of a cycle."""
    dress_time_s: NotNegative = 300.0
    hours_per_day: float = Field(default=24.0, gt=0, le=24)
    record_dresses: bool = True
    wear: FlankShape = FlankShape()
    """Change per part since dress."""
    wear_scatter: FlankShape = FlankShape()
    """Standard deviation of the wear rate from cycle to cycle."""
    level_scatter: FlankShape = FlankShape()
    """Standard deviation of the level after each dress."""
    trend: FlankShape = FlankShape()
    """Change per dress cycle that dressing does not reset."""
    part_scatter: FlankShape = FlankShape()
    """Standard deviation from part to part."""
    tooth_scatter: FlankShape = FlankShape()
    """Standard deviation from tooth to tooth of one part (without pitch)."""
    thermal: Thermal | None = None
    step: tuple[Step, ...] = Field(default=(), strict=False)

    @model_validator(mode="after")
    def _time(self) -> Self:
        _check_time("started_at", self.started_at)
        parts = self.parts_of_cycle
        if parts and (self.parts_per_dress or 0) < parts[-1]:
            found, largest = f"part {parts[-1]} of a cycle", self.parts_per_dress or "not given"
            raise fault("parts_of_cycle", found, f"no part beyond parts_per_dress ({largest})")
        if list(parts) != sorted(set(parts)):
            raise fault("parts_of_cycle", "parts that do not rise", "each part once, in rising order")
        return self


class Measuring(TomlTable):
    """`[measuring]`: which gears are measured, how, and how well."""

    first_of_cycle: int = Field(default=0, ge=0)
    last_of_cycle: int = Field(default=0, ge=0)
    every: Whole | None = None
    """Every k-th part since dress, beginning with the first; all three left out: every gear."""
    tables: tuple[TableName, ...] = Field(default=ALL_TABLES, strict=False, min_length=1)
    teeth: Whole | Annotated[tuple[Whole, ...], Field(strict=False, min_length=1)] = 4
    """Number of evenly spaced teeth with traces, or their numbers."""
    profile_points: int = Field(default=480, ge=3)
    helix_points: int = Field(default=480, ge=3)
    profile_face_positions_mm: tuple[float, ...] = Field(default=(), strict=False)
    """Default: one profile in the middle of the face, its column not written."""
    helix_diameters_mm: tuple[Positive, ...] = Field(default=(), strict=False)
    """Default: one helix in the middle of the evaluated profile, its column not written."""
    profile_overrun_mm: NotNegative = 0.1
    """How far a profile goes beyond control and tip form diameter, as roll length."""
    helix_end_gap_mm: NotNegative = 0.2
    """What a helix leaves out at either end of the face."""
    trace_noise_um: NotNegative = 0.0
    pitch_noise_um: NotNegative = 0.0
    runout_noise_um: NotNegative = 0.0
    size_noise_um: NotNegative = 0.0
    runout_ball_mm: Positive | None = None
    """Default: the ball that touches at the reference circle."""
    size_method: Literal["balls", "span"] = "balls"
    size_pin_mm: Positive | None = None
    """Default: from `[tolerance.size]` of the part, else as for runout, to 0.25 mm."""
    size_teeth_spanned: Whole | None = None
    size_places: int = Field(default=2, ge=1, le=12)
    """Readings around the gear."""
    position_decimals: int = Field(default=4, ge=1, le=6)
    deviation_decimals: int = Field(default=3, ge=0, le=6)
    instrument: str | None = None
    operators: tuple[str, ...] = Field(default=(), strict=False)
    """Take turns from day to day."""
    temperature_degC: float | None = None
    temperature_scatter_degC: NotNegative = 0.0
    calibration_ref: str | None = None
    calibration_due: str | None = None
    delay_min: NotNegative = 30.0
    """From the end of grinding to the measurement."""

    @model_validator(mode="after")
    def _time(self) -> Self:
        if self.calibration_due is not None:
            _check_time("calibration_due", self.calibration_due)
        return self


class ToothShift(TomlTable):
    """One flank of one tooth at a wrong place."""

    tooth: Whole
    flank: Flank
    shift_um: float


class Missing(TomlTable):
    """Teeth without a pitch reading."""

    left: tuple[Whole, ...] = Field(default=(), strict=False)
    right: tuple[Whole, ...] = Field(default=(), strict=False)


class Override(TomlTable):
    """`[[gear]]`: one serial that is not like the others."""

    serial: str
    eccentricity_um: NotNegative | None = None
    """Replaces the shift of `[mounting]`, scatter included."""
    eccentricity_deg: float = 0.0
    tilt_mrad: NotNegative | None = None
    tilt_deg: float = 0.0
    shape: FlankShape = FlankShape()
    """Added to the shape the process gives."""
    lobes: tuple[Lobes, ...] = Field(default=(), strict=False)
    ripple: tuple[Ripple, ...] = Field(default=(), strict=False)
    tooth_shift: tuple[ToothShift, ...] = Field(default=(), strict=False)
    missing_teeth: Missing = Missing()
    missing_spaces: tuple[Whole, ...] = Field(default=(), strict=False)
    omit: tuple[TableName, ...] = Field(default=(), strict=False)
    remark: str | None = None


class MeasuredAgain(TomlTable):
    """`[[repeat]]`: gears that are measured again."""

    label: str = Field(min_length=1)
    """What stands in the column `measurement`; the measurement before is `1`."""
    serials: tuple[str, ...] = Field(default=(), strict=False)
    """Left out: every gear that is measured."""
    shape: FlankShape = FlankShape()
    """What this measurement sees beside the gear: a chip under the probe, a skew clamping."""
    tables: tuple[TableName, ...] = Field(default=(), strict=False)
    """Left out: all that the first measurement has."""
    delay_min: NotNegative = 60.0
    """From the measurement of this gear before to this one."""
    operator: str | None = None
    remark: str | None = None


class Scenario(TomlTable):
    """A whole scenario file."""

    schema_: Literal["gearqa.scenario/1"] = Field(alias="schema")
    title: str = ""
    part: str = Field(min_length=1)
    """Path of the part file, relative to the scenario file; copied into the folder."""
    seed: int = Field(default=1, ge=0)
    lot: Lot
    shape: FlankShape = FlankShape()
    mounting: Mounting = Mounting()
    lobes: tuple[Lobes, ...] = Field(default=(), strict=False)
    pitch: PitchErrors = PitchErrors()
    ripple: tuple[Ripple, ...] = Field(default=(), strict=False)
    process: Process = Process()
    measuring: Measuring = Measuring()
    gear: tuple[Override, ...] = Field(default=(), strict=False)
    repeat: tuple[MeasuredAgain, ...] = Field(default=(), strict=False)

"""The drawing of one part number, as `part.toml` states it: schema and invariants.

This module is the schema: `gearqa schema part` prints what stands here, the reader checks
against it, and nothing else repeats the keys. Numbers are as written (mm, degrees, micrometres).
"""

from __future__ import annotations

import math
from typing import Annotated, Any, Final, Literal, Self

from pydantic import BaseModel, ConfigDict, Field, field_validator, model_validator

from gearqa.symbols import DEFAULT_GRADED, FLANKS, GRADABLE, PARAMETERS, Flank

Positive = Annotated[float, Field(gt=0)]
FlankToleranceClass = Annotated[int, Field(ge=1, le=11)]
ISO_1328_1_2013: Final = "ISO 1328-1:2013"
DEFAULT_MASTER_CLASS = 4


class Table(BaseModel):
    """A TOML table: every key known, strict types, no NaN or infinity, immutable."""

    model_config = ConfigDict(
        extra="forbid", strict=True, frozen=True, allow_inf_nan=False, populate_by_name=True
    )


class PartIdentity(Table):
    """`[part]`."""

    number: str = Field(min_length=1)
    name: str = ""
    revision: str = ""


class Gear(Table):
    """`[gear]`: ISO 21771 quantities; diameters and tooth number positive for internal gears too."""

    kind: Literal["internal", "external"]
    teeth: int = Field(gt=0)
    normal_module_mm: Positive | None = None
    normal_diametral_pitch: Positive | None = None
    normal_pressure_angle_deg: float = Field(gt=0, lt=45)
    helix_angle_deg: float = Field(ge=0, lt=90)
    helix_hand: Literal["right", "left"] | None = None
    face_width_mm: Positive
    profile_shift_coefficient: float = Field(default=0.0, ge=-5, le=5)
    tip_diameter_mm: Positive | None = None
    root_diameter_mm: Positive | None = None

    @model_validator(mode="after")
    def _module_and_hand(self) -> Self:
        if (self.normal_module_mm is None) == (self.normal_diametral_pitch is None):
            raise ValueError("exactly one of normal_module_mm and normal_diametral_pitch must be given")
        if self.helix_angle_deg > 0 and self.helix_hand is None:
            raise ValueError("helix_hand must be 'right' or 'left' when helix_angle_deg is not 0")
        return self

    @property
    def module_mm(self) -> float:
        """Normal module. [mm]"""
        if self.normal_module_mm is not None:
            return self.normal_module_mm
        assert self.normal_diametral_pitch is not None
        return 25.4 / self.normal_diametral_pitch


class ProfileRange(Table):
    """`[evaluation.profile]`."""

    control_diameter_mm: Positive | None = None
    tip_form_diameter_mm: Positive | None = None
    start_roll_length_mm: Annotated[float, Field(ge=0)] | None = None
    end_roll_length_mm: Annotated[float, Field(ge=0)] | None = None

    @model_validator(mode="after")
    def _pairs(self) -> Self:
        if (self.start_roll_length_mm is None) != (self.end_roll_length_mm is None):
            raise ValueError("start_roll_length_mm and end_roll_length_mm go together")
        return self

    @property
    def explicit(self) -> bool:
        """Whether the range ends are given themselves (no 95 % rule, no tip zone)."""
        return self.start_roll_length_mm is not None


class HelixRange(Table):
    """`[evaluation.helix]`."""

    start_face_position_mm: float | None = None
    end_face_position_mm: float | None = None

    @model_validator(mode="after")
    def _pairs(self) -> Self:
        if (self.start_face_position_mm is None) != (self.end_face_position_mm is None):
            raise ValueError("start_face_position_mm and end_face_position_mm go together")
        if (
            self.start_face_position_mm is not None
            and self.end_face_position_mm is not None
            and self.end_face_position_mm <= self.start_face_position_mm
        ):
            raise ValueError("end_face_position_mm must be larger than start_face_position_mm")
        return self


class PitchEvaluation(Table):
    """`[evaluation.pitch]`."""

    measuring_diameter_mm: Positive | None = None


class Filter(Table):
    """`[evaluation.filter]`: Gaussian low-pass; cutoffs default to a thirtieth of the range."""

    enabled: bool = True
    profile_cutoff_mm: Positive | None = None
    helix_cutoff_mm: Positive | None = None


class Evaluation(Table):
    """`[evaluation]`."""

    profile: ProfileRange = ProfileRange()
    helix: HelixRange = HelixRange()
    pitch: PitchEvaluation = PitchEvaluation()
    filter: Filter = Filter()
    deviation_plane: Literal["transverse", "normal"] = "transverse"
    slope_span: Literal["full", "evaluation"] = "full"


class ProfileDesign(Table):
    """`[design.profile]`: micrometres removed from the involute, transverse."""

    crowning_um: float = 0.0
    slope_um: float = 0.0
    tip_relief_um: float = Field(default=0.0, ge=0)
    tip_relief_start_roll_length_mm: float = Field(default=0.0, ge=0)
    root_relief_um: float = Field(default=0.0, ge=0)
    root_relief_start_roll_length_mm: float = Field(default=0.0, ge=0)

    @model_validator(mode="after")
    def _starts(self) -> Self:
        for end in ("tip", "root"):
            if (
                getattr(self, f"{end}_relief_um") > 0
                and getattr(self, f"{end}_relief_start_roll_length_mm") <= 0
            ):
                raise ValueError(f"{end}_relief_start_roll_length_mm must be given with {end}_relief_um")
        return self


class HelixDesign(Table):
    """`[design.helix]`."""

    crowning_um: float = 0.0
    slope_um: float = 0.0


class Design(Table):
    """`[design]`: the design trace."""

    profile: ProfileDesign = ProfileDesign()
    helix: HelixDesign = HelixDesign()


Limits = tuple[float, float]


def _limits(value: Any, parameter: str) -> Any:
    """Turn one positive number into a pair; slopes are symmetric, the rest starts at 0."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        return tuple(value) if isinstance(value, list) else value
    if value <= 0:
        raise ValueError(f"limits_um of {parameter}: one number must be positive, found {value:g}")
    signed = parameter in PARAMETERS and PARAMETERS[parameter].signed
    return (-float(value) if signed else 0.0, float(value))


def _check_keys(keys: Any, what: str) -> None:
    for key in keys:
        if key not in GRADABLE:
            raise ValueError(f"{what}: '{key}' is not one of {', '.join(GRADABLE)}")


class FlankTolerance(Table):
    """What may be said for one flank alone: `[tolerance.left]`, `[tolerance.right]`."""

    class_: FlankToleranceClass | None = Field(default=None, alias="class")
    classes: dict[str, FlankToleranceClass] = {}
    limits_um: dict[str, Limits] = {}

    @field_validator("limits_um", mode="before")
    @classmethod
    def _pairs(cls, value: Any) -> Any:
        if not isinstance(value, dict):
            return value
        return {key: _limits(limits, key) for key, limits in value.items()}

    @field_validator("limits_um", mode="after")
    @classmethod
    def _ordered(cls, value: dict[str, Limits]) -> dict[str, Limits]:
        for key, (low, high) in value.items():
            if low >= high:
                raise ValueError(f"limits_um of {key}: the lower limit {low:g} must be below {high:g}")
        return value

    @model_validator(mode="after")
    def _known(self) -> Self:
        _check_keys(self.classes, "classes")
        _check_keys(self.limits_um, "limits_um")
        return self


class SizeTolerance(Table):
    """`[tolerance.size]`: dimension over or between balls, or span."""

    method: Literal["balls", "span"]
    pin_diameter_mm: Positive | None = None
    teeth_spanned: Annotated[int, Field(gt=0)] | None = None
    lower_mm: Positive
    upper_mm: Positive

    @model_validator(mode="after")
    def _ordered(self) -> Self:
        if self.lower_mm >= self.upper_mm:
            raise ValueError("lower_mm must be below upper_mm")
        if self.method == "balls" and self.pin_diameter_mm is None:
            raise ValueError("pin_diameter_mm must be given with method 'balls'")
        return self


class Tolerance(FlankTolerance):
    """`[tolerance]`: the class required, exceptions by parameter and by flank, drawing limits."""

    standard: Literal["ISO 1328-1:2013"] = ISO_1328_1_2013
    class_: FlankToleranceClass = Field(alias="class")
    flanks: tuple[Flank, ...] = Field(default=FLANKS, strict=False, min_length=1)
    parameters: tuple[str, ...] = Field(default=DEFAULT_GRADED, strict=False, min_length=1)
    left: FlankTolerance = FlankTolerance()
    right: FlankTolerance = FlankTolerance()
    size: SizeTolerance | None = None

    @model_validator(mode="after")
    def _parameters_known(self) -> Self:
        _check_keys(self.parameters, "parameters")
        for name in ("flanks", "parameters"):
            values = getattr(self, name)
            if len(set(values)) != len(values):
                raise ValueError(f"{name}: the same word stands twice")
        return self

    def for_flank(self, flank: Flank | None) -> FlankTolerance:
        """The flank's own table; an empty one for what has no flank (runout)."""
        return {"left": self.left, "right": self.right}.get(flank or "", FlankTolerance())

    def limits_for(self, parameter: str, flank: Flank | None) -> Limits | None:
        """Drawing limits; they win over every class. The flank's own win over the general ones."""
        own = self.for_flank(flank).limits_um
        return own.get(parameter, self.limits_um.get(parameter))

    def class_for(self, parameter: str, flank: Flank | None) -> int:
        """Required class: by parameter (flank, then general), else by flank, else the general one."""
        own = self.for_flank(flank)
        by_parameter = own.classes.get(parameter, self.classes.get(parameter))
        if by_parameter is not None:
            return by_parameter
        return own.class_ if own.class_ is not None else self.class_

    @property
    def required(self) -> tuple[str, ...]:
        """Parameters that count for class and conformity, in table order."""
        named = {*self.parameters}
        for table in (self, self.left, self.right):
            named |= {*table.classes, *table.limits_um}
        return tuple(key for key in PARAMETERS if key in named)


class MasterQuality(Table):
    """`[master_quality]`: what this job calls master quality; no standard defines it."""

    class_: FlankToleranceClass = Field(default=DEFAULT_MASTER_CLASS, alias="class")
    parameters: tuple[str, ...] | None = Field(default=None, strict=False, min_length=1)

    @model_validator(mode="after")
    def _known(self) -> Self:
        _check_keys(self.parameters or (), "parameters")
        return self


class Part(Table):
    """A whole `part.toml`."""

    schema_: Literal["gearqa.part/1"] = Field(alias="schema")
    part: PartIdentity
    gear: Gear
    evaluation: Evaluation = Evaluation()
    design: Design = Design()
    tolerance: Tolerance
    master_quality: MasterQuality = MasterQuality()
    uncertainty_um: dict[str, Positive | dict[str, Positive]] = {}
    ignore: tuple[str, ...] = Field(default=(), strict=False)
    columns: str | None = None

    @model_validator(mode="after")
    def _uncertainty_keys(self) -> Self:
        for key, value in self.uncertainty_um.items():
            table = value if isinstance(value, dict) else {key: value}
            for name in table:
                if name not in PARAMETERS:
                    raise ValueError(f"uncertainty_um: '{name}' is not one of {', '.join(PARAMETERS)}")
        return self

    @property
    def master_parameters(self) -> tuple[str, ...]:
        """Parameters that count for master quality, in table order."""
        named = self.master_quality.parameters or self.tolerance.parameters
        return tuple(key for key in PARAMETERS if key in named)

    def uncertainty(self, parameter: str, instrument: str | None = None) -> float | None:
        """Expanded uncertainty U (k = 2) of a parameter, by instrument where given. [um]"""
        own = self.uncertainty_um.get(instrument or "")
        if isinstance(own, dict) and parameter in own:
            return own[parameter]
        value = self.uncertainty_um.get(parameter)
        return value if isinstance(value, float | int) and math.isfinite(value) else None

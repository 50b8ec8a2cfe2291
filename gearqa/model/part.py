"""The drawing of one part number, as `part.toml` states it: schema and invariants.

This module is the schema: `gearqa schema part` prints what is here, the reader checks
against it, and nothing else repeats the keys. Numbers are as written (mm, degrees, micrometres).
"""

from __future__ import annotations

from collections.abc import Collection
from typing import Annotated, Any, Final, Literal, Self

from gearqa.errors import Reason
from gearqa.model.decision_rule import DecisionTable
from gearqa.model.editions import (
    EDITIONS,
    ISO_1328_1_2013,
    EditionRules,
    SlopeSpan,
    StandardTitle,
    why_left_out,
)
from gearqa.model.limit_curves import Over, Points, ToleranceCurves, check_order
from gearqa.model.ranges import (
    HELIX_ANGLE_DEG,
    LARGEST,
    PRESSURE_ANGLE_DEG,
    PROFILE_SHIFT,
    TEETH,
    WHEEL_THREADS,
)
from gearqa.model.table import (
    Field,
    TomlTable,
    WithJsonSchema,
    about,
    fault,
    field_validator,
    model_validator,
    optional,
    section,
)
from gearqa.model.zones import ToleranceZone
from gearqa.symbols import DEFAULT_GRADED, FLANKS, GRADABLE, PARAMETERS, QUANTITIES, Flank
from gearqa.wording.numbers import short_text

Positive = Annotated[float, Field(gt=0)]
FlankToleranceClass = Annotated[int, Field(ge=0, le=12)]
_FAMILIES: Final = tuple(dict.fromkeys(one.family for one in PARAMETERS.values()))
PART_FILE: Final = "part.toml"
DEFAULT_MASTER_CLASS = 4


class PartIdentity(TomlTable):
    """`[part]`."""

    number: str = about("part number", min_length=1)
    name: str = about("what the part is", default="")
    revision: str = about("revision of the drawing", default="")


class Gear(TomlTable):
    """`[gear]`: ISO 21771 quantities; diameters and tooth number positive for internal gears too."""

    kind: Literal["internal", "external"] = about("internal (a ring) or external")
    teeth: int = about("number of teeth, always positive", **TEETH.bounds)
    normal_module_mm: Positive | None = optional("normal module; or give normal_diametral_pitch")
    normal_diametral_pitch: Positive | None = optional(
        "normal diametral pitch, teeth per inch, instead of normal_module_mm"
    )
    normal_pressure_angle_deg: float = about("normal pressure angle", **PRESSURE_ANGLE_DEG.bounds)
    helix_angle_deg: float = about(
        "helix angle at the reference circle, 0 for a spur gear", **HELIX_ANGLE_DEG.bounds
    )
    helix_hand: Literal["right", "left"] | None = optional("hand of the helix, not for a spur gear")
    face_width_mm: Positive = about("toothed width, without chamfers")
    profile_shift_coefficient: float = about(
        "profile shift coefficient x; positive thickens the tooth, of internal gears too",
        default=0.0, **PROFILE_SHIFT.bounds,
    )  # fmt: skip
    tip_diameter_mm: Positive | None = optional(
        "tip diameter, wanted for the profile slope over the full span"
    )
    root_diameter_mm: Positive | None = optional("root diameter")

    @model_validator(mode="after")
    def _module_and_hand(self) -> Self:
        if (self.normal_module_mm is None) == (self.normal_diametral_pitch is None):
            found = "no module" if self.normal_module_mm is None else "module and diametral pitch"
            expected = "exactly one of normal_module_mm and normal_diametral_pitch"
            reason = Reason.MISSING_KEY if self.normal_module_mm is None else Reason.CONTRADICTION
            raise fault(
                "normal_module_mm", found, expected, reason=reason, concerns=("normal_diametral_pitch",)
            )
        if self.helix_angle_deg > 0 and self.helix_hand is None:
            found = f"no hand for a helix angle of {short_text(self.helix_angle_deg)} degrees"
            raise fault("helix_hand", found, "'right' or 'left'", reason=Reason.MISSING_KEY)
        return self

    @property
    def module_mm(self) -> float:
        """Normal module. [mm]"""
        if self.normal_module_mm is not None:
            return self.normal_module_mm
        assert self.normal_diametral_pitch is not None
        return 25.4 / self.normal_diametral_pitch


class ProfileRange(TomlTable):
    """`[evaluation.profile]`."""

    control_diameter_mm: Positive | None = optional(
        "root-side limit, profile control diameter d_Cf of ISO 1328-1"
    )
    tip_form_diameter_mm: Positive | None = optional("tip-side limit, tip form diameter d_Fa of ISO 1328-1")
    start_roll_length_mm: Annotated[float, Field(ge=0)] | None = optional(
        "root-side end of the range itself (no 95 % rule); on an internal gear the larger one"
    )
    end_roll_length_mm: Annotated[float, Field(ge=0)] | None = optional("tip-side end of the range itself")

    @model_validator(mode="after")
    def _pairs(self) -> Self:
        _together(self, "start_roll_length_mm", "end_roll_length_mm")
        return self

    @property
    def explicit(self) -> bool:
        """Whether the range ends are given themselves (no 95 % rule, no tip zone)."""
        return self.start_roll_length_mm is not None


class HelixRange(TomlTable):
    """`[evaluation.helix]`."""

    start_face_position_mm: float | None = optional(
        "start of the range, from the datum face; else the face width less 5 % or one module at each end"
    )
    end_face_position_mm: float | None = optional("end of the range, from the datum face")

    @model_validator(mode="after")
    def _pairs(self) -> Self:
        _together(self, "start_face_position_mm", "end_face_position_mm")
        start, end = self.start_face_position_mm, self.end_face_position_mm
        if start is not None and end is not None and end <= start:
            least = f"more than {short_text(start)} (start_face_position_mm)"
            raise fault("end_face_position_mm", short_text(end), least)
        return self


def _together(table: TomlTable, first: str, second: str) -> None:
    for here, other in ((first, second), (second, first)):
        if getattr(table, here) is None and getattr(table, other) is not None:
            raise fault(here, f"only {other}", "both or neither", reason=Reason.MISSING_KEY)


class PitchEvaluation(TomlTable):
    """`[evaluation.pitch]`."""

    measuring_diameter_mm: Positive | None = optional(
        "diameter at which pitch was measured; the reference diameter where absent"
    )


class Filter(TomlTable):
    """`[evaluation.filter]`: Gaussian low-pass; cutoffs default to a thirtieth of the range."""

    enabled: bool = about("filter the traces before they are evaluated", default=True)
    profile_cutoff_mm: Positive | None = optional(
        "cutoff for profiles; else a thirtieth of the evaluation length, not below 0.05 mm"
    )
    helix_cutoff_mm: Positive | None = optional("cutoff for helices; else likewise")


class Confirmation(TomlTable):
    """`[[evaluation.confirmed]]`: doubtful readings that a person takes as they stand."""

    code: Literal["unit_doubt", "stuck", "clipped"] = about("the doubt, as the result names it")
    parameter: str = about(f"a parameter, or all of one table: {', '.join(_FAMILIES)}")
    serials: Literal["all"] | Annotated[tuple[str, ...], Field(strict=False, min_length=1)] = about(
        'of these gears, or "all"'
    )
    reason: str = about("why the values are right as they stand", min_length=1)
    by: str = about("who confirms them", min_length=1)

    @field_validator("parameter", mode="after")
    @classmethod
    def _known(cls, value: str) -> str:
        if value not in (known := (*PARAMETERS, *_FAMILIES)):
            raise _unknown_key("parameter", value, known, reason=Reason.UNKNOWN_WORD)
        return value

    def covers(self, code: str, parameter: str, serial: str) -> bool:
        """Whether this is about that doubt."""
        named = self.parameter in (parameter, PARAMETERS[parameter].family)
        return self.code == code and named and (self.serials == "all" or serial in self.serials)


class Evaluation(TomlTable):
    """`[evaluation]`."""

    profile: ProfileRange = section()
    helix: HelixRange = section()
    pitch: PitchEvaluation = section()
    filter: Filter = section()
    deviation_plane: Literal["transverse", "normal"] = about(
        "plane in which profile and helix deviations of the tables are given", default="transverse"
    )
    slope_span: SlopeSpan | None = optional(
        "slopes over the full profile and face width (default of ISO 1328-1:2013), or over the evaluation "
        "range only (default of the older systems)"
    )
    fewest_teeth: int = about(
        "teeth that must be traced on each graded flank (ISO 1328-1 asks for 3)", default=3, ge=1, le=1000
    )
    confirmed: tuple[Confirmation, ...] = about(
        "doubtful readings that a person takes as they stand", default=(), strict=False
    )


class ProfileDesign(TomlTable):
    """`[design.profile]`: micrometres removed from the involute, transverse."""

    crowning_um: float = about("parabolic crowning over the evaluation range", default=0.0)
    slope_um: float = about("slope over the evaluation range, plus = material towards the tip", default=0.0)
    tip_relief_um: float = about("tip relief at the tip form diameter", default=0.0, ge=0)
    tip_relief_start_roll_length_mm: float = about("where tip relief begins", default=0.0, ge=0)
    root_relief_um: float = about("root relief at the control diameter", default=0.0, ge=0)
    root_relief_start_roll_length_mm: float = about("where root relief begins", default=0.0, ge=0)
    points: Points | None = optional(
        "shape of any form, added to the rest: [[position, deviation], ...], straight lines between; minus = "
        "material removed"
    )
    points_over: Over = about("what the positions of the points are", default="roll_length_mm")

    @model_validator(mode="after")
    def _starts(self) -> Self:
        check_order("points", self.points)
        for end in ("tip", "root"):
            relief, start = f"{end}_relief_um", f"{end}_relief_start_roll_length_mm"
            if getattr(self, relief) > 0 and getattr(self, start) <= 0:
                raise fault(start, f"none with {relief}", "a roll length", reason=Reason.MISSING_KEY)
        return self


class HelixDesign(TomlTable):
    """`[design.helix]`."""

    crowning_um: float = about("parabolic crowning over the evaluation range", default=0.0)
    slope_um: float = about(
        "slope over the evaluation range, plus = material away from the datum face", default=0.0
    )
    points: Points | None = optional(
        "shape of any form, added to the rest: [[position, deviation], ...] over face position in mm"
    )

    @model_validator(mode="after")
    def _order(self) -> Self:
        check_order("points", self.points)
        return self


class Design(TomlTable):
    """`[design]`: the design trace."""

    profile: ProfileDesign = section()
    helix: HelixDesign = section()


_LIMITS_SCHEMA = {
    "anyOf": [
        {"type": "number", "exclusiveMinimum": 0, "maximum": LARGEST["_um"]},
        {
            "type": "array",
            "items": {"type": "number", "minimum": -LARGEST["_um"], "maximum": LARGEST["_um"]},
            "minItems": 2,
            "maxItems": 2,
        },
    ]
}
Limits = Annotated[tuple[float, float], WithJsonSchema(_LIMITS_SCHEMA)]
"""Lower and upper limit; in the file one positive number may give both."""


def _limits(value: Any, parameter: str) -> Any:
    """Turn one positive number into a pair; slopes are symmetric, the rest starts at 0."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        return tuple(value) if isinstance(value, list) else value
    if value <= 0:
        expected = "a positive number or a pair"
        raise fault(parameter, short_text(value), expected, reason=Reason.VALUE_OUT_OF_RANGE)
    signed = parameter in PARAMETERS and PARAMETERS[parameter].signed
    return (-float(value) if signed else 0.0, float(value))


def _unknown_key(
    where: str, key: str, known: Collection[str], *, reason: Reason, note: str = ""
) -> Exception:
    """A fault for a key that is none of those known."""
    from difflib import get_close_matches

    near = get_close_matches(key, known, n=1, cutoff=0.6)
    hint = f"did you mean '{near[0]}'?" if near else ""
    return fault(where, f"'{key}'{note}", f"one of {', '.join(known)}", reason=reason, hint=hint)


def _check_keys(keys: Any, what: str, known: Collection[str] = GRADABLE) -> None:
    table = isinstance(keys, dict)
    for number, key in enumerate(keys):
        if key not in known:
            where, reason = (key, Reason.UNKNOWN_KEY) if table else (number, Reason.UNKNOWN_WORD)
            note = ", which has no class, but limits_um may grade it" if key in PARAMETERS else ""
            raise _unknown_key(f"{what}.{where}", key, known, reason=reason, note=note)


def _each_once(values: tuple[str, ...], what: str) -> None:
    for number, value in enumerate(values):
        if value in values[:number]:
            raise fault(f"{what}.{number}", f"'{value}' a second time", "each once")


class FlankTolerance(TomlTable):
    """What may be given for one flank alone: `[tolerance.left]`, `[tolerance.right]`."""

    class_: FlankToleranceClass | None = optional(
        "flank tolerance class required for this flank", alias="class"
    )
    classes: dict[str, FlankToleranceClass] = about("another class, per parameter", default={})
    limits_um: dict[str, Limits] = about(
        "drawing limits per parameter, which win over the class: a pair, or one number v for [-v, v] of "
        "a slope and [0, v] of the rest",
        default={},
    )

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
                found = f"[{short_text(low)}, {short_text(high)}]"
                raise fault(key, found, "the lower limit first, below the upper one")
        return value

    @model_validator(mode="after")
    def _known(self) -> Self:
        _check_keys(self.classes, "classes")
        _check_keys(self.limits_um, "limits_um", tuple(PARAMETERS))
        return self


class SizeTolerance(TomlTable):
    """`[tolerance.size]`: dimension over or between balls, or span."""

    method: Literal["balls", "span"] = about("dimension over or between balls or pins, or span")
    pin_diameter_mm: Positive | None = optional("diameter of ball or pin")
    teeth_spanned: Annotated[int, Field(gt=0)] | None = optional("teeth spanned")
    lower_mm: Positive = about("lower limit")
    upper_mm: Positive = about("upper limit")

    @model_validator(mode="after")
    def _ordered(self) -> Self:
        if self.lower_mm >= self.upper_mm:
            expected = f"less than upper_mm = {short_text(self.upper_mm)}"
            raise fault("lower_mm", short_text(self.lower_mm), expected)
        if self.method == "balls" and self.pin_diameter_mm is None:
            found = "none with method 'balls'"
            raise fault("pin_diameter_mm", found, "the ball diameter", reason=Reason.MISSING_KEY)
        return self


class Tolerance(FlankTolerance):
    """`[tolerance]`: the class required, exceptions by parameter and by flank, drawing limits."""

    standard: StandardTitle = about("standard and edition", default=ISO_1328_1_2013)
    class_: FlankToleranceClass | None = optional(
        "flank tolerance class required for every graded parameter; may be missing where all have limits",
        alias="class",
    )
    flanks: tuple[Flank, ...] = about("flanks that are graded", default=FLANKS, strict=False, min_length=1)
    parameters: tuple[str, ...] = about(
        "what counts for class and conformity; none where limit curves or zones alone do",
        default=DEFAULT_GRADED, strict=False,
    )  # fmt: skip
    left: FlankTolerance = section("for left flanks only")
    right: FlankTolerance = section("for right flanks only")
    size: SizeTolerance | None = optional("size, judged apart from the flank classes")
    curve: ToleranceCurves = section("limit curves by points, judged apart from the flank classes")
    zone: tuple[ToleranceZone, ...] = about(
        "zones of profile or helix with tolerances of their own, judged apart from the flank classes",
        default=(), strict=False,
    )  # fmt: skip

    @field_validator("standard", mode="before")
    @classmethod
    def _known_or_left_out(cls, value: Any) -> Any:
        if isinstance(value, str) and value not in EDITIONS and (why := why_left_out(value)):
            expected = " or ".join(repr(title) for title in EDITIONS)
            raise fault("", f'"{value}"', expected, reason=Reason.UNKNOWN_WORD, hint=why)
        return value

    @model_validator(mode="after")
    def _parameters_and_flanks(self) -> Self:
        _check_keys(self.parameters, "parameters")
        alone = self.curve.profile or self.curve.helix or any(zone.required for zone in self.zone)
        if not self.parameters and not alone:
            raise fault(
                "parameters", "none", "what counts for conformity, limit curves or a required zone",
                reason=Reason.VALUE_OUT_OF_RANGE,
            )  # fmt: skip
        _each_once(self.flanks, "flanks")
        _each_once(self.parameters, "parameters")
        for number, zone in enumerate(self.zone):
            if zone.flank not in (None, *self.flanks):
                raise fault(f"zone.{number}.flank", f'"{zone.flank}"', "a graded flank, see `flanks`")
        for flank in FLANKS:
            own: FlankTolerance = getattr(self, flank)
            for table, keys in (("classes", own.classes), ("limits_um", own.limits_um)):
                for key in (key for key in keys if not PARAMETERS[key].per_flank):
                    place, found = f"{flank}.{table}.{key}", f"'{key}' for the {flank} flank alone"
                    expected = "parameters that each flank has of its own"
                    raise fault(place, found, expected, hint=f"put it under [tolerance.{table}]")
        return self

    @model_validator(mode="after")
    def _class_or_limits(self) -> Self:
        for key in self.required:
            for flank in self.flanks if PARAMETERS[key].per_flank else (None,):
                if self.limits_for(key, flank) is not None:
                    continue
                if key not in GRADABLE:
                    place = f"limits_um.{key}"
                    raise fault(place, "limits of one flank alone", "limits of every graded flank")
                if self.class_for(key, flank) is None:
                    expected = f"a class, since {key} has no limits"
                    raise fault("class", "none", expected, reason=Reason.MISSING_KEY)
        return self

    def for_flank(self, flank: Flank | None) -> FlankTolerance:
        """The flank's own table; an empty one for what has no flank (runout)."""
        if flank is None:
            return FlankTolerance()
        return self.left if flank == "left" else self.right

    def limits_for(self, parameter: str, flank: Flank | None) -> Limits | None:
        """Drawing limits; they win over every class. The flank's own win over the general ones."""
        own = self.for_flank(flank).limits_um
        return own.get(parameter, self.limits_um.get(parameter))

    def class_for(self, parameter: str, flank: Flank | None) -> int | None:
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


class MasterQuality(TomlTable):
    """`[master_quality]`: what this job calls master quality; no standard defines it."""

    class_: FlankToleranceClass = about(
        "class that counts as master quality on this job", default=DEFAULT_MASTER_CLASS, alias="class"
    )
    parameters: tuple[str, ...] | None = about(
        "what counts for master quality; as [tolerance] where absent",
        default=None, strict=False, min_length=1,
    )  # fmt: skip

    @model_validator(mode="after")
    def _known(self) -> Self:
        _check_keys(self.parameters or (), "parameters")
        _each_once(self.parameters or (), "parameters")
        return self


class GrinderData(TomlTable):
    """`[grinder.NAME]`: what is known of one grinder, by its name in the production table."""

    parts_per_dress: int | None = optional(
        "parts made from one dress to the next, where the production table lists measured gears only", ge=1
    )
    wheel_threads: int | None = optional("threads of the grinding worm or wheel", **WHEEL_THREADS.bounds)
    wheel_diameter_mm: float | None = optional("diameter of the grinding wheel", ge=1, le=2000)
    wheel_speed_rpm: float | None = optional("speed of the grinding wheel, turns a minute", gt=0, le=200_000)
    active_wheel_width_mm: float | None = optional("width of the wheel that grinds", gt=0, le=1000)
    crossed_axis_angle_deg: float | None = optional("angle between the axes of wheel and work", ge=-90, le=90)
    feed_mm: float | None = optional("axial feed per turn of the work; for the record only", gt=0, le=100)
    jaws: int | None = optional("jaws or pads that clamp the work", ge=2, le=60)
    overtravel_datum_mm: float | None = optional(
        "travel of the wheel's middle beyond the datum face", ge=-1000, le=1000
    )
    overtravel_far_mm: float | None = optional(
        "travel of the wheel's middle beyond the far face", ge=-1000, le=1000
    )
    clearance_datum_mm: float | None = optional(
        "free length beyond the datum face, to a shoulder or bottom", ge=0, le=10_000
    )
    clearance_far_mm: float | None = optional(
        "free length beyond the far face, to a shoulder or bottom", ge=0, le=10_000
    )


class Part(TomlTable):
    """A whole `part.toml`."""

    schema_: Literal["gearqa.part/1"] = about("format of this file", alias="schema")
    part: PartIdentity = about("which part")
    gear: Gear = about("geometry of the gear, ISO 21771")
    evaluation: Evaluation = section("how traces and pitch are evaluated")
    design: Design = section("what the drawing takes off the involute and the helix")
    tolerance: Tolerance = about("what the drawing asks for")
    master_quality: MasterQuality = section("no standard defines master quality; the job does")
    uncertainty_um: dict[str, Positive | dict[str, Positive]] = about(
        "expanded uncertainty U (k = 2) by parameter or of the size, or in a table by instrument", default={}
    )
    decision: DecisionTable | None = optional(
        "what counts as proven under U, for grade and lot alike; a plan's own table wins. Without it grade "
        "accepts simply and lot guards"
    )
    grinder: dict[str, GrinderData] = about("machine data by name of the grinder", default={})
    ignore: tuple[str, ...] = about("files of the folder to leave out", default=(), strict=False)
    columns: str | None = optional("column map for foreign tables of this folder", min_length=1)

    @field_validator("uncertainty_um", mode="after")
    @classmethod
    def _uncertainty_keys(cls, value: dict[str, Any]) -> dict[str, Any]:
        for key, entry in value.items():
            table = entry if isinstance(entry, dict) else {key: entry}
            for name in table:
                if name not in QUANTITIES:
                    where = f"{key}.{name}" if isinstance(entry, dict) else name
                    raise _unknown_key(where, name, QUANTITIES, reason=Reason.UNKNOWN_KEY)
        return value

    @property
    def edition(self) -> EditionRules:
        """The tolerance system that the drawing names."""
        return EDITIONS[self.tolerance.standard]

    @model_validator(mode="after")
    def _slope_span_said(self) -> Self:
        """Records and stores hold the span that was used, whoever named it."""
        if self.evaluation.slope_span is None:
            said = self.evaluation.model_copy(update={"slope_span": self.edition.slope_span})
            self.__dict__["evaluation"] = said
        return self

    @property
    def slope_span(self) -> SlopeSpan:
        """Length over which slopes are stated: as the file says, else as the tolerance system does."""
        return self.evaluation.slope_span or self.edition.slope_span

    @property
    def master_parameters(self) -> tuple[str, ...]:
        """Parameters that count for master quality, in table order."""
        named = self.master_quality.parameters or self.tolerance.parameters
        return tuple(key for key in PARAMETERS if key in named)

    def uncertainty(self, parameter: str, instrument: str | None = None) -> float | None:
        """Expanded uncertainty U (k = 2) of a parameter or the size, by instrument where given. [um]"""
        own = self.uncertainty_um.get(instrument or "")
        if isinstance(own, dict) and parameter in own:
            return own[parameter]
        value = self.uncertainty_um.get(parameter)
        return None if isinstance(value, dict) else value

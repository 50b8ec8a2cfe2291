"""What came out: values, classes, verdicts. Field names are the keys of the JSON result.

A trailing underscore (`class_`) avoids a Python keyword and is dropped in JSON. Measured value,
tolerance and verdict stay separate fields; a verdict is never recomputed downstream.
`None` as a verdict means: not assessed, not decidable; the reason is in `not_assessed`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import field
from typing import Annotated, ClassVar, Literal

from gearqa.errors import Notice
from gearqa.late_dataclass import dataclass
from gearqa.model.declared import FINITE, KNOWN, NEVER_NULL, Identity, Key, Only, Simulated, Within, only
from gearqa.model.measurement import FIRST_MEASUREMENT, InputFile, Production
from gearqa.model.size import half_um, middle_mm
from gearqa.symbols import PARAMETERS, Flank, TraceKind

Hand = Literal["right-hand", "left-hand"]
DoubtCode = Literal["unit_doubt", "stuck", "clipped", "copied", "no_reading", "too_few_teeth"]
"""Why readings are not assessed although they are there."""
GapCode = Annotated[
    Literal["missing", "incomplete", "not_evaluable", DoubtCode],
    "Not there; teeth or spaces lacking; a trace that does not cover its range; or the doubt: readings in "
    "another unit, of a probe that stood still or was cut off, equal to others, marks for no reading, fewer "
    "traced teeth than asked for.",
]
RunoutMethod = Literal["readings", "pitch"]
"""From radial readings, or from the pitch of both flanks."""
State = Literal["conforms", "does not conform", "not proven", "not assessed"]
ValueState = Annotated[
    State | None,
    KNOWN,
    "State under the measurement uncertainty, by value where no U is known, before the decision rule; not "
    "given where the drawing does not ask for the value.",
]
Conforms = Annotated[
    bool | None,
    "Meets the drawing; null if it could not be assessed, or is not proven and the rule counts that as open.",
]
MasterQuality = Annotated[
    bool | None, "Meets what the job calls master quality; null if it cannot be decided."
]
Class = Annotated[int | None, "Smallest flank tolerance class that is met; null if none or not graded."]
ClassExact = Annotated[
    float | None, "Class as a real number, from the unrounded formula; null for a value of 0."
]
Beyond = Annotated[
    bool, "Whether even the last class is exceeded; then class is null and sorts as the worst."
]
Worst = Annotated[float, "Value of largest magnitude over flanks and teeth, signed, not rounded."]
Smallest = Annotated[float, "Smallest signed value over traces."]
Largest = Annotated[float, "Largest signed value over traces."]
Tolerance = Annotated[
    float | None, "Rounded tolerance of the required class; null where the drawing states limits."
]
Limits = Annotated[tuple[float, float] | None, "Limits of the drawing; they win over the class."]

LabelMm = Annotated[
    float | None, KNOWN, Key({"profile": "face_position_mm", "helix": "diameter_mm"}),
    "Where on the flank the trace lies, where given.",
]  # fmt: skip
CurveMargin = Annotated[
    float, "Smallest distance to either limit curve; negative where no shift brings the trace inside."
]
CurveShift = Annotated[float, "What was added to the deviations: the shift with the largest margin."]
UpperAt = Annotated[float, "Length of roll or face position where the trace is nearest to the upper curve."]
LowerAt = Annotated[float, "Length of roll or face position where the trace is nearest to the lower curve."]
ZoneParameter = Literal["profile_total", "profile_form", "helix_total", "helix_form"]
ZoneValue = Annotated[float, "Width within the zone: about the design trace, or about the mean line there."]
HighestAt = Annotated[float, "Length of roll or face position of the highest point of the width."]
LowestAt = Annotated[float, "Length of roll or face position of the lowest point of the width."]

OF_A_TOOTH = only(*(key for key in PARAMETERS if key != "runout"))
OF_TWO_TEETH = only("cumulative_pitch", "sector_pitch", "tooth_thickness_variation")
OF_SLOPES = only("profile_slope", "helix_slope")


@dataclass(frozen=True, slots=True, kw_only=True)
class TraceResult:
    """One profile or helix trace, evaluated."""

    KIND: ClassVar[str] = "kind"

    kind: TraceKind
    flank: Flank
    tooth: int
    total_um: float
    form_um: float
    slope_um: float
    """Slope over the span that the part file asks for."""
    slope_evaluation_um: float
    """Rise of the mean line over the evaluation length."""
    slope_full_um: float
    """Rise over control to tip diameter (profile) or the whole face width (helix)."""
    slope_by_helix_angle_um: Annotated[float | None, Only(frozenset({"helix"}))] = None
    """Helix slope, plus = larger helix angle."""
    hand: Annotated[Hand | None, KNOWN] = None
    """Helix slope of a spur gear: towards a right-hand or a left-hand helix."""
    crowning_um: float
    """Height of the middle of the mean parabola over its chord, design included."""
    points: int
    start_mm: float
    end_mm: float
    tip_zone_counted: bool = False
    label_mm: LabelMm = None
    form_about_parabola_um: Annotated[float | None, KNOWN] = None
    """Width about the mean parabola over the evaluation range, without the tip zone: what crowning leaves of
    the form deviation."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PitchResult:
    """Pitch of one flank: what is known besides fp and Fp."""

    kind: Literal["pitch"] = "pitch"
    flank: Flank
    closure_um: float
    first_harmonic_um: float
    first_harmonic_deg: float
    """Clockwise angle of the crest, tooth 1 at 0."""
    first_harmonic_share: float | None
    single_pitch_without_first_harmonic_um: float
    cumulative_pitch_without_first_harmonic_um: float


@dataclass(frozen=True, slots=True)
class FlankResult:
    """One parameter on one flank: the keys of ParameterResult, with mean and spread over traces."""

    KIND: ClassVar[str] = "symbol"

    symbol: str
    value_um: Worst
    min_um: Smallest
    max_um: Largest
    mean_um: float
    """Mean over the traces of the flank."""
    spread_um: float
    """Largest less smallest value over the traces of the flank."""
    tooth: Annotated[int | None, OF_A_TOOTH]
    tooth_to: Annotated[int | None, OF_TWO_TEETH]
    class_: Class
    class_exact: ClassExact
    beyond: Beyond
    required_class: int | None
    tolerance_um: Tolerance
    limits_um: Limits
    conforms: Conforms
    master_quality: MasterQuality
    pressure_angle_deviation_arcmin: Annotated[float | None, only("profile_slope")] = None
    """Transverse pressure angle: what the flank's mean slope over the evaluation length amounts to; plus =
    too large. Not graded."""
    base_radius_deviation_um: Annotated[float | None, only("profile_slope")] = None
    """Base radius: what the flank's mean slope over the evaluation length amounts to; plus = too large. Not
    graded."""
    helix_angle_deviation_arcmin: Annotated[float | None, only("helix_slope")] = None
    """Helix angle: what the flank's mean slope over the evaluation length amounts to; plus = too large, of a
    spur gear towards a right-hand helix. Not graded."""
    state: ValueState = None


@dataclass(frozen=True, slots=True)
class ParameterResult:
    """One parameter of one gear, worst over flanks and traces."""

    KIND: ClassVar[str] = "symbol"

    symbol: str
    value_um: Annotated[Worst, FINITE]
    min_um: Smallest
    max_um: Largest
    flank: Flank | None
    tooth: Annotated[int | None, OF_A_TOOTH]
    tooth_to: Annotated[int | None, OF_TWO_TEETH]
    space: Annotated[int | None, only("runout")]
    space_to: Annotated[int | None, only("runout")]
    method: Annotated[RunoutMethod | None, only("runout"), NEVER_NULL]
    """Runout from radial readings or from the pitch of both flanks."""
    class_: Class
    class_exact: ClassExact
    beyond: Beyond
    required_class: int | None
    tolerance_um: Tolerance
    limits_um: Limits
    conforms: Conforms
    master_quality: MasterQuality
    master_tolerance_um: float | None = None
    uncertainty_um: float | None = None
    slope_other_span_um: Annotated[float | None, OF_SLOPES] = None
    """The worst value over the span that the part file does not ask for."""
    slope_other_span_class: Annotated[int | None, OF_SLOPES] = None
    state: ValueState = None
    flanks: Mapping[Flank, FlankResult] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class NotAssessed:
    """A parameter (and flank) that the drawing asks for and that could not be judged."""

    parameter: str
    flank: Flank | None
    reason: str
    code: Annotated[GapCode, KNOWN] = "missing"


@dataclass(frozen=True, slots=True)
class SizeResult:
    """A dimension over or between balls, or a span, against the drawing's limits."""

    method: str
    value_mm: float
    pin_diameter_mm: float | None
    teeth_spanned: int | None
    position: str
    lower_mm: float | None
    upper_mm: float | None
    conforms: Conforms
    uncertainty_um: Annotated[float | None, KNOWN] = None
    """Expanded uncertainty U of the size, where the part file states one."""
    state: Annotated[State | None, KNOWN] = None
    """Under the uncertainty U, before the decision rule."""

    @property
    def limits_um(self) -> tuple[float, float] | None:
        """Limits from their middle; None where the drawing limits another size, or none."""
        if self.lower_mm is None or self.upper_mm is None:
            return None
        half = half_um(self.lower_mm, self.upper_mm)
        return -half, half

    @property
    def deviation_um(self) -> float:
        """Size from the middle of its limits; without limits as it is."""
        limited = self.lower_mm is not None and self.upper_mm is not None
        middle = middle_mm(self.lower_mm or 0.0, self.upper_mm or 0.0) if limited else 0.0
        return round(1000 * (self.value_mm - middle), 6)


@dataclass(frozen=True, slots=True, kw_only=True)
class CurveTrace:
    """One trace between the limit curves of the drawing, at the shift that serves it best."""

    KIND: ClassVar[str] = "kind"

    kind: TraceKind
    tooth: int
    label_mm: LabelMm = None
    margin_um: CurveMargin
    shift_um: CurveShift
    upper_at_mm: UpperAt
    lower_at_mm: LowerAt


@dataclass(frozen=True, slots=True, kw_only=True)
class LimitCurveResult:
    """Traces of one flank between the limit curves of the drawing: the worst one, then all."""

    kind: TraceKind
    flank: Flank
    margin_um: CurveMargin
    shift_um: CurveShift
    tooth: int
    upper_at_mm: UpperAt
    lower_at_mm: LowerAt
    conforms: Conforms
    state: Annotated[State, "Under the uncertainty U of the total deviation, before the decision rule."]
    traces: tuple[CurveTrace, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class ZoneTrace:
    """One trace within a zone."""

    KIND: ClassVar[str] = "kind"

    kind: TraceKind
    tooth: int
    label_mm: LabelMm = None
    value_um: ZoneValue
    highest_at_mm: HighestAt
    lowest_at_mm: LowestAt


@dataclass(frozen=True, slots=True, kw_only=True)
class ZoneResult:
    """Total or form deviation of the traces of one flank within a zone: the worst one, then all."""

    zone: Annotated[int, {"minimum": 1}]
    """Number of the zone in the order of the drawing."""
    parameter: ZoneParameter
    """What is taken within the zone."""
    kind: TraceKind
    flank: Flank
    start_mm: float
    end_mm: float
    """Length of roll or face position of the ends, the smaller one first."""
    required: bool
    """Whether the zone counts for conformity; else it is for information."""
    value_um: ZoneValue
    tolerance_um: float
    tooth: int
    highest_at_mm: HighestAt
    lowest_at_mm: LowestAt
    conforms: Conforms
    state: Annotated[
        State, "Under the uncertainty U of the same deviation of the whole trace, before the decision rule."
    ]
    traces: tuple[ZoneTrace, ...]

    @property
    def key(self) -> str:
        """Its name beside the parameters; `symbols.symbol_of` gives its printed symbol."""
        return zone_key(self.parameter, self.zone)

    @property
    def share(self) -> float:
        """Share of the tolerance that the value uses."""
        return self.value_um / self.tolerance_um


def zone_key(parameter: str, zone: int) -> str:
    """Name of a deviation within a zone, beside the parameters.

    >>> zone_key("profile_total", 2)
    'profile_total_zone_2'
    """
    return f"{parameter}_zone_{zone}"


@dataclass(frozen=True, slots=True)
class ComponentFigure:
    """A physical error in the deviations of a gear, as drift follows it."""

    key: str
    flank: Flank | None
    value_um: float
    u_um: Annotated[float | None, KNOWN] = None
    """Expanded uncertainty, k = 2, from what the fit leaves of the readings; of a size: of one direction."""


@dataclass(frozen=True, slots=True)
class GearResult:
    """One gear: class, conformity, master quality, and everything they rest on."""

    serial: str
    measurement: Annotated[str, KNOWN] = field(default=FIRST_MEASUREMENT, kw_only=True)
    """Label of this measurement of the gear; of several the first counts."""
    class_: int | None
    """The worst class of the graded parameters; null if one is beyond all classes."""
    class_complete: bool
    """False if something graded was not assessed."""
    beyond: Beyond
    governing: tuple[str, ...]
    """Parameters that share the worst class."""
    conforms: Conforms
    master_quality: MasterQuality
    master_deciding: tuple[str, ...]
    """Parameters that keep the gear from master quality, or leave it open."""
    near_limit: int | None
    """Values within the expanded uncertainty U of a limit; null if no U is given."""
    not_assessed: tuple[NotAssessed, ...]
    warnings: tuple[Notice, ...]
    parameters: Mapping[str, ParameterResult]
    traces: tuple[TraceResult, ...]
    pitch: Annotated[tuple[PitchResult, ...], Within("traces")]
    size: Annotated[tuple[SizeResult, ...], KNOWN] = ()
    limit_curves: Annotated[tuple[LimitCurveResult, ...], KNOWN] = ()
    """Against the limit curves of the drawing, a flank each. Inside says nothing about slope or form."""
    zones: Annotated[tuple[ZoneResult, ...], KNOWN] = ()
    """Within the zones of the drawing, a deviation and flank each."""
    production: Annotated[Production | None, KNOWN] = None
    state: Annotated[State | None, KNOWN] = None
    """Conformity to the drawing under the measurement uncertainty, before the decision rule."""
    master_state: Annotated[State | None, KNOWN] = None
    """Master quality likewise."""
    components: Annotated[tuple[ComponentFigure, ...], KNOWN] = ()
    """Physical errors for drift to follow; in a store only."""

    @property
    def required_zones(self) -> tuple[ZoneResult, ...]:
        """What counts for conformity within zones."""
        return tuple(one for one in self.zones if one.required)


@dataclass(frozen=True, slots=True)
class LotSummary:
    """Counts over the gears of a folder, and the two answers for the whole job."""

    gears: int
    conforming: int
    not_conforming: int
    undecided: int
    master_quality: int
    """Gears that meet what the job calls master quality."""
    master_quality_undecided: int
    class_: int | None
    """Class of the worst gear."""
    beyond: int
    """Gears beyond all classes."""
    conforms: bool | None
    """Every gear meets the drawing; null if that is open."""
    reached_master_quality: bool | None
    """Every gear meets what the job calls master quality; null if that is open."""
    not_proven: Annotated[int, KNOWN] = 0
    """Gears whose conformity the measurement uncertainty leaves open, however the decision rule counts
    them."""


@dataclass(frozen=True, slots=True)
class MasterCriterion:
    """What this job calls master quality."""

    class_: int
    """The class that counts as master quality."""
    parameters: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class GradeHeader:
    """What is true of the whole inspection, known before the first gear."""

    standard: str
    part: Identity
    inputs: tuple[InputFile, ...]
    simulated: Simulated
    decision_rule: str
    """How measurement uncertainty enters the verdicts."""
    master_quality: MasterCriterion
    warnings: tuple[Notice, ...] = ()
    """Notices about the folder as a whole."""
    decision_confidence: Annotated[float, KNOWN] = 0.95
    """Probability with which conformity counts as proven."""


@dataclass(frozen=True, slots=True)
class GradeResult:
    """A graded inspection folder: the Python face of `grade --json`."""

    header: GradeHeader
    gears: tuple[GearResult, ...]
    lot: LotSummary

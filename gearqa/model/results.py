"""What came out: values, classes, verdicts. Field names are the keys of the JSON result.

A trailing underscore (`class_`) avoids a Python keyword and is dropped in JSON. Measured value,
tolerance and verdict stay separate fields; a verdict is never recomputed downstream.
`None` as a verdict means: not assessed, not decidable; the reason stands in `not_assessed`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from gearqa.arrays import Array
from gearqa.errors import Notice
from gearqa.model.measurement import InputFile, Production
from gearqa.symbols import Flank, TraceKind


@dataclass(frozen=True, slots=True)
class TraceResult:
    """One profile or helix trace, evaluated. Micrometres and millimetres."""

    kind: TraceKind
    flank: Flank
    tooth: int
    total_um: float
    form_um: float
    slope_um: float
    """As `slope_span` of the part asks."""
    slope_evaluation_um: float
    """Rise of the mean line over the evaluation length."""
    slope_full_um: float
    """Rise over control to tip diameter (profile) or the whole face width (helix)."""
    crowning_um: float
    points: int
    start_mm: float
    end_mm: float
    tip_zone_counted: bool = False
    slope_by_helix_angle_um: float | None = None
    """Helix only: plus = larger helix angle."""
    hand: str | None = None
    """Helix of a spur gear: 'right-hand' or 'left-hand' instead of a sign."""
    label_mm: float | None = None
    """Face position of a profile trace, diameter of a helix trace, where given."""


@dataclass(frozen=True, slots=True)
class PitchResult:
    """Pitch of one flank: what stands beside fp and Fp."""

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

    value_um: float
    min_um: float
    max_um: float
    mean_um: float
    spread_um: float
    tooth: int | None
    tooth_to: int | None
    class_: int | None
    class_exact: float | None
    beyond: bool
    required_class: int | None
    tolerance_um: float | None
    limits_um: tuple[float, float] | None
    conforms: bool | None
    master_quality: bool | None
    pressure_angle_deviation_arcmin: float | None = None
    """Profile slope: transverse pressure angle that the mean over the evaluation length amounts to."""
    base_radius_deviation_um: float | None = None
    """Profile slope: base radius that the mean over the evaluation length amounts to."""
    helix_angle_deviation_arcmin: float | None = None
    """Helix slope, mean over the evaluation length: plus = larger helix angle; spur: plus = right-hand."""


@dataclass(frozen=True, slots=True)
class ParameterResult:
    """One parameter of one gear, worst over flanks and traces."""

    symbol: str
    value_um: float
    min_um: float
    max_um: float
    flank: Flank | None
    tooth: int | None
    tooth_to: int | None
    space: int | None
    space_to: int | None
    method: str | None
    """Runout: 'readings' or 'pitch'."""
    class_: int | None
    class_exact: float | None
    beyond: bool
    required_class: int | None
    tolerance_um: float | None
    limits_um: tuple[float, float] | None
    conforms: bool | None
    master_quality: bool | None
    master_tolerance_um: float | None = None
    uncertainty_um: float | None = None
    slope_other_span_um: float | None = None
    """Slopes: the worst value over the span that `slope_span` does not name."""
    slope_other_span_class: int | None = None
    flanks: Mapping[Flank, FlankResult] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class NotAssessed:
    """A parameter (and flank) that the drawing asks for and that could not be judged."""

    parameter: str
    flank: Flank | None
    reason: str


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
    conforms: bool | None


@dataclass(frozen=True, slots=True)
class GearResult:
    """One gear: class, conformity, master quality, and everything they rest on."""

    serial: str
    class_: int | None
    class_complete: bool
    beyond: bool
    governing: tuple[str, ...]
    """Parameters that share the worst class, in table order."""
    conforms: bool | None
    master_quality: bool | None
    master_deciding: tuple[str, ...]
    """Parameters that keep the gear from master quality (or leave it open), in table order."""
    near_limit: int | None
    """Values within U of a limit; None where no uncertainty is given."""
    not_assessed: tuple[NotAssessed, ...]
    warnings: tuple[Notice, ...]
    parameters: Mapping[str, ParameterResult]
    traces: tuple[TraceResult, ...]
    pitch: tuple[PitchResult, ...]
    size: tuple[SizeResult, ...] = ()
    production: Production | None = None


@dataclass(frozen=True, slots=True)
class LotSummary:
    """Counts over the gears of a folder, and the two answers for the whole job."""

    gears: int
    conforming: int
    not_conforming: int
    undecided: int
    master_quality: int
    master_quality_undecided: int
    class_: int | None
    beyond: int
    conforms: bool | None
    reached_master_quality: bool | None


@dataclass(frozen=True, slots=True)
class MasterCriterion:
    """What this job calls master quality."""

    class_: int
    parameters: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class GradeHeader:
    """What is true of the whole inspection, known before the first gear."""

    standard: str
    part: Mapping[str, str]
    inputs: tuple[InputFile, ...]
    simulated: bool
    decision_rule: str
    master_quality: MasterCriterion
    warnings: tuple[Notice, ...] = ()
    """Notices about the folder as a whole."""


@dataclass(frozen=True, slots=True)
class GradeResult:
    """A graded inspection folder: the Python face of `grade --json`."""

    header: GradeHeader
    gears: tuple[GearResult, ...]
    lot: LotSummary


@dataclass(frozen=True, eq=False, slots=True)
class TraceCurves:
    """One trace as it is drawn: measured, filtered, design and mean line on its positions."""

    kind: TraceKind
    flank: Flank
    tooth: int
    label_mm: float | None
    position_mm: Array
    measured_um: Array
    filtered_um: Array
    design_um: Array
    """NaN outside the evaluation range (and tip zone)."""
    start_mm: float
    end_mm: float
    """Evaluation range, start < end."""
    tip_zone_mm: tuple[float, float] | None
    mean_line_um: tuple[float, float]
    """Mean line (with the design removed) at start_mm and end_mm."""
    result: TraceResult | None
    """None if the trace could not be evaluated."""

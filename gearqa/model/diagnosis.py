"""What keeps gears from a better class, what causes it, what to correct. Field names are the JSON keys."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import field
from datetime import datetime
from typing import TYPE_CHECKING, Annotated, Literal

from gearqa.errors import Notice
from gearqa.late_dataclass import dataclass
from gearqa.model.declared import KNOWN, Identity, Simulated
from gearqa.model.measurement import InputFile
from gearqa.model.results import MasterCriterion
from gearqa.symbols import Flank, TraceKind

if TYPE_CHECKING:
    from gearqa.arrays import Array

CorrectionVerdict = Literal["as intended", "smaller", "larger", "no effect", "opposite", "not decidable"]
Amplitude = Annotated[
    float,
    "Eccentricity: offset of the toothing; tilt: offset of the far end against the datum end; waves: half "
    "of peak to valley, lobes and radial orders radially; slopes: rise over the whole face width or from "
    "control to tip diameter, lead by the sign of the helix angle, taper and the slope of one flank plus = "
    "material away from the datum face; crowning as C; S-shapes: rise from end to end of the range; twist: "
    "profile slope at the far end less that at the datum end; ends: height at the end of the range; a ramp: "
    "the step, plus = index rises clockwise; a tooth: how far clockwise it sits.",
]


@dataclass(frozen=True, slots=True)
class Component:
    """One physical error in the deviations."""

    key: str
    flank: Flank | None
    """None: both flanks together."""
    order: int | None
    """Waves per turn of the gear; None also where the order cannot be told."""
    amplitude_um: Amplitude
    phase_deg: float | None
    """Clockwise from the centre of tooth 1, of the crest: where the toothing lies farthest from the axis, of
    a tilt its far end, teeth are most clockwise, ripple has most material; of a ramp, the step."""
    u_um: float | None
    """Expanded uncertainty, k = 2, from the scatter; None where that is not known."""
    significant: bool
    """Beyond chance within the report as a whole."""
    explains: Mapping[str, float]
    """Share of each deviation that goes when the component is taken out; over the components at most 1, 0
    for one that makes up for another."""
    tooth: Annotated[int | None, KNOWN] = None
    """The tooth that sits wrong."""
    end: Annotated[Literal["datum", "far", "root", "tip"] | None, KNOWN] = None
    """End of the range that turns up or down."""
    waves_per_trace: Annotated[float | None, KNOWN] = None
    orders_alike: Annotated[tuple[int, ...], KNOWN] = ()
    """Orders that fit as well, where the order cannot be told."""
    origin: Annotated[Literal["mesh", "wheel", "jaws", "clamping", "ghost"] | None, KNOWN] = None
    """Ripple: of an order that all teeth share, of whole turns of the grinding wheel, or neither; lobes: as
    many as jaws, or a multiple; of a lot: in another direction on every gear (`clamping`)."""
    wheel_turns: Annotated[int | None, KNOWN] = None
    """Waves per turn of the grinding wheel."""
    frequency_hz: Annotated[float | None, KNOWN] = None
    """Vibration that would make such a wave at the speed of the wheel."""
    natural_um: Annotated[float | None, KNOWN] = None
    """Twist that crowning makes by itself if a cylindrical worm made it by radial motion alone."""
    scatter_um: Annotated[float | None, KNOWN] = None
    """Lot: standard deviation from gear to gear of the amplitude, of those with a phase of the vector."""


@dataclass(frozen=True, slots=True)
class NotIdentifiable:
    """What these measurements cannot tell, and which could."""

    key: str
    reason: str
    measure: str


@dataclass(frozen=True, slots=True)
class Rung:
    """What the class would be without some components; the measured class is the one that counts."""

    without: tuple[str, ...]
    class_: int | None
    class_exact: float | None
    beyond: bool
    conforms: bool | None
    master_quality: bool | None


@dataclass(frozen=True, slots=True)
class Correction:
    """A change at the grinder that takes a component away, in whole; apply the fraction."""

    quantity: str
    """Plus is a larger angle (spur gear: right-hand), deeper infeed, material at the tip or away from the
    datum face, more convex. infeed_ends: at the ends of the evaluation range. centre_0_deg, centre_90_deg:
    how far the toothing is to move towards tooth 1, and 90 degrees clockwise of it; the workpiece moves the
    other way."""
    flank: Flank | None
    change: float
    unit: str
    u: float | None
    """Half width of the interval of the change, k = 2."""
    fraction: float
    """Share of the change to apply at first; from a known gain on also more than 1."""
    basis: str
    expect: str
    """What the next part should show of it: the deviation whose value is expect_um."""
    gain: Annotated[float | None, KNOWN] = None
    """What the grinder made of recorded changes of this kind: effect over size."""
    gain_u: Annotated[float | None, KNOWN] = None
    """Expanded uncertainty of the gain, k = 2."""
    instead_of: Annotated[str | None, KNOWN] = None
    """Another quantity of the list that takes the same error away: only one of the two is changed."""
    deviation_um: Annotated[float | None, KNOWN] = None
    """What the whole change takes away."""
    deviation_u_um: Annotated[float | None, KNOWN] = None
    scatter_um: Annotated[float | None, KNOWN] = None
    """Standard deviation of it from gear to gear."""
    expect_um: Annotated[float | None, KNOWN] = None
    """What is left of it on the next part, once the fraction is applied, if the correction was right; without
    a known gain: if that is 1."""
    expect_u_um: Annotated[float | None, KNOWN] = None
    """Half width of its interval, k = 2; with the scatter from gear to gear where that is known."""


@dataclass(frozen=True, slots=True)
class Corrected:
    """What the class would be if the corrections were made together, each at its fraction."""

    quantities: tuple[str, ...]
    """What is changed: of changes that stand instead of each other the first."""
    class_: int | None
    class_exact: float | None
    beyond: bool
    conforms: bool | None
    master_quality: bool | None


@dataclass(frozen=True, slots=True)
class Cause:
    """Probable causes of a component that was found, in order."""

    keys: tuple[str, ...]
    signature: str
    causes: tuple[str, ...]
    correction: str
    confidence: Literal["high", "medium", "low"]
    basis: str


@dataclass(frozen=True, slots=True)
class OrderAmplitude:
    """Amplitude of one order of pitch or runout, with what would have been seen."""

    kind: Literal["radial", "tangential"]
    order: int
    amplitude_um: float
    u_um: float | None
    threshold_um: float | None
    """Smallest amplitude that would count as beyond chance."""


@dataclass(frozen=True, slots=True)
class GearDiagnosis:
    """One gear taken apart."""

    serial: str
    class_: int | None
    beyond: bool
    master_quality: bool | None
    components: tuple[Component, ...]
    """The largest share of a class first."""
    not_identifiable: tuple[NotIdentifiable, ...]
    ladder: tuple[Rung, ...]
    corrections: tuple[Correction, ...]
    corrected: Corrected | None
    """None: no correction is suggested."""
    causes: tuple[Cause, ...]
    orders: tuple[OrderAmplitude, ...]
    scatter_um: Mapping[str, float]
    """What is left between teeth, by kind of observation."""
    warnings: tuple[Notice, ...] = ()
    """What was left out for doubt, and what puts the diagnosis in question."""
    views: GearViews | None = None
    """What charts show."""


@dataclass(frozen=True, slots=True)
class SharedBy:
    """A component that all gears of a label have, in the same direction, other gears of the lot not so."""

    label: Literal["fixture", "instrument"]
    value: str
    """The fixture or instrument."""
    key: str
    flank: Flank | None
    order: int | None
    amplitude_um: Amplitude
    """Of the mean of these gears."""
    phase_deg: float | None
    u_um: float | None
    """Expanded uncertainty of the mean, k = 2, from the scatter within labels."""
    gears: int


@dataclass(frozen=True, slots=True)
class LotDiagnosis:
    """What the gears have in common."""

    gears: int
    class_: int | None
    beyond: bool
    master_quality: bool | None
    components: tuple[Component, ...]
    not_identifiable: tuple[NotIdentifiable, ...]
    ladder: tuple[Rung, ...]
    corrections: tuple[Correction, ...]
    corrected: Corrected | None
    """All gears with the same changes; None: no correction is suggested."""
    causes: tuple[Cause, ...]
    shared_by: tuple[SharedBy, ...] = ()
    """Labels from the production table whose gears share a component; where at least two values of a label
    have three gears each. Chance of any in a report on gears without such a link: 1 %."""


@dataclass(frozen=True, slots=True)
class RecordedChange:
    """A change of the grinder in the events table, with what it made of it; changes that act on the same
    observations are solved together."""

    quantity: str
    """Parameter, or quantity of the correction sheet."""
    flank: Flank | None
    grinder: str
    at: datetime
    size: float
    unit: str
    gain: float | None
    """Effect found over effect meant."""
    gain_u: float | None
    """Expanded uncertainty, k = 2."""
    reason: str | None
    """Why there is no gain."""


@dataclass(frozen=True, slots=True)
class MovedComponent:
    """A component that is followed over the dress cycles and moved."""

    key: str
    flank: Flank | None
    order: int | None
    cycle: int
    """First cycle at the new level."""
    dress: str | None
    change_um: float
    """New less old; of a vector the length of the change."""
    direction_deg: float | None
    """Of a vector, clockwise from tooth 1."""
    possible_causes: tuple[str, ...]
    """What was recorded, or changed, near it; none of it is proven."""


@dataclass(frozen=True, slots=True)
class GrinderDiagnosis:
    """What a grinder does to the gears of a part now: means over the dress cycles since the last change of
    each component, from what is kept of every gear; amid the usual dress cycle where wear is proven."""

    part: str
    grinder: str
    components: tuple[Component, ...]
    """What uses up most of a tolerance first; `significant` are those of 0.05 um and more. `explains` is
    worked out on the mean gear: orders and eccentricity as their own range over that of the deviation,
    slopes by what is left without them."""
    moved: tuple[MovedComponent, ...]
    corrections: tuple[Correction, ...]
    gains_most: str | None
    """Quantity of the correction that takes away the component which uses up most of a tolerance."""
    causes: tuple[Cause, ...]
    not_identifiable: tuple[NotIdentifiable, ...]
    changes: tuple[RecordedChange, ...] = ()
    """In order of time."""


@dataclass(frozen=True, slots=True)
class RecordedCorrection:
    """What a correction in the events table did, against what was meant."""

    parameter: str
    flank: Flank | None
    grinder: str
    words: str
    """As it was recorded."""
    intended_um: float
    effect_um: float | None
    low_um: float | None
    high_um: float | None
    """Ends of the 95 % interval of the effect."""
    verdict: CorrectionVerdict


@dataclass(frozen=True, slots=True)
class StrokeEnd:
    """Whether the stroke of a wheel at crossed axes goes far enough beyond one end of the face."""

    grinder: str
    end: Literal["datum", "far"]
    needed_mm: float
    """Travel of the wheel's middle beyond the face."""
    overtravel_mm: float | None
    """As the part file states it."""
    clearance_mm: float | None
    """Free length beyond the face, as the part file states it."""
    reach_mm: float | None
    """How far the wheel reaches beyond its middle along the work axis; None: its diameter is not known."""
    room_mm: float | None
    """Travel of the wheel's middle that the workpiece leaves: the clearance less the reach."""
    needed_less_set_mm: float | None
    """By how much the stroke that is set falls short; below 0: to spare."""
    needed_less_room_mm: float | None
    """By how much the stroke does not fit the workpiece; below 0: to spare."""
    enough: bool | None
    """None: not known."""
    turned_up: int
    """Gears whose helices gain material at this end."""
    gears: int


@dataclass(frozen=True, slots=True)
class DiagnosisResult:
    """Gears and lot, taken apart."""

    standard: str
    part: Identity
    inputs: tuple[InputFile, ...]
    simulated: Simulated
    master_quality: MasterCriterion
    lot: LotDiagnosis
    gears: tuple[GearDiagnosis, ...]
    recorded: tuple[RecordedCorrection, ...]
    """The last recorded correction with a size of each parameter, flank and grinder."""
    changes: tuple[RecordedChange, ...]
    """All recorded changes with a size, as they were recorded, with the gains learned from them."""
    stroke: tuple[StrokeEnd, ...]
    """Internal gears ground at crossed axes, where the part file tells the wheel's width. Common practice."""
    warnings: tuple[Notice, ...]


@dataclass(frozen=True, eq=False, slots=True)
class SurfaceView:
    """A flank along several traces of one kind: means over the teeth, less the design."""

    flank: Flank
    kind: TraceKind
    places_mm: tuple[float, ...]
    """Face positions of profiles, from the datum face on, or diameters of helices."""
    position_mm: Array
    """Along the traces, profiles towards the tip. [mm], shape (n,)"""
    height_um: Array
    """[um], shape (places, n), each about its mean"""


@dataclass(frozen=True, eq=False, slots=True)
class GearViews:
    """Curves of a gear for charts: index of each flank with the fitted first harmonic, flank surfaces."""

    index_um: Mapping[Flank, Array] = field(default_factory=dict)
    """[um], shape (z,), about its mean"""
    first_order_um: Mapping[Flank, Array] = field(default_factory=dict)
    """Index that eccentricity and tangential first order make. [um], shape (z,)"""
    radial_um: Array | None = None
    """Ball readings, or ball positions from pitch, about their mean. [um], shape (z,)"""
    eccentric_um: Array | None = None
    """Ball positions that the eccentricity makes. [um], shape (z,)"""
    surfaces: tuple[SurfaceView, ...] = ()

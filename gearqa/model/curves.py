"""What the charts of one gear show: traces, pitch and runout, point by point."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING

from gearqa.arrays import Array
from gearqa.late_dataclass import dataclass
from gearqa.model.results import TraceResult
from gearqa.symbols import Flank, TraceKind

if TYPE_CHECKING:
    from gearqa.model.diagnosis import GearDiagnosis

Line = tuple[Array, Array]
"""Positions and deviations. [mm, um]"""


@dataclass(frozen=True, eq=False, slots=True)
class ZoneRoom:
    """One deviation of a trace within a zone, and the room of its tolerance."""

    key: str
    number: int
    value_um: float
    tolerance_um: float
    outline: Line
    """Round the room where the trace lies in its middle, closed."""


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
    classes: Mapping[str, int | None]
    """Parameter key -> class of this trace's value, None beyond the last; only what is graded."""
    diameters_mm: tuple[float, float] | None
    """Diameters at start_mm and end_mm of a profile."""
    limit_curves: tuple[Line, ...] = ()
    """Upper and lower limit curve of the drawing, shifted to where the trace lies best between them."""
    margin_um: float | None = None
    """Smallest distance to either of them."""
    zones: tuple[ZoneRoom, ...] = ()


@dataclass(frozen=True, eq=False, slots=True)
class RollAxis:
    """Diameters along the profiles of a gear."""

    roll_mm: Array
    """From the least to the greatest length of roll measured."""
    diameter_mm: Array


@dataclass(frozen=True, eq=False, slots=True)
class PitchCurve:
    """Pitch of one flank, tooth by tooth; NaN where a tooth was not measured."""

    flank: Flank
    index_um: Array
    single_um: Array
    first_harmonic_um: Array | None
    """First harmonic of the index about its mean; None where a tooth was not measured."""


@dataclass(frozen=True, eq=False, slots=True)
class RunoutCurve:
    """Radial positions of all spaces and their first harmonic."""

    radial_um: Array
    first_harmonic_um: Array
    amplitude_um: float
    crest_deg: float
    """Clockwise angle of the crest, tooth 1 at 0."""


@dataclass(frozen=True, eq=False, slots=True)
class GearCurves:
    """All that the charts of one gear show."""

    traces: tuple[TraceCurves, ...]
    """In the order of the result's traces, those that could not be evaluated last."""
    roll_axis: RollAxis | None
    """None without a profile trace."""
    pitch: tuple[PitchCurve, ...]
    """Left before right."""
    runout: RunoutCurve | None
    """From radial readings, else from the pitch of both flanks; None where a reading is missing."""
    files: tuple[str, ...] | None = None
    """Files that the gear rests on, where they are known."""
    diagnosed: Callable[[], GearDiagnosis | None] | None = None
    """Takes a gear apart that does not conform; called where a sheet is made only, for the time it takes."""

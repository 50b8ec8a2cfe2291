"""What is the same for every gear of a part, worked out once."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Final, NamedTuple

from gearqa.core.geometry import GearGeometry
from gearqa.core.traces import TraceSpec
from gearqa.errors import EvaluationError
from gearqa.evaluation.criteria import Criteria, criteria_of
from gearqa.evaluation.part_geometry import part_geometry, plane_factors
from gearqa.evaluation.plausibility import PlausibleRanges, plausible_ranges
from gearqa.evaluation.trace_specs import Apart, specs_apart, trace_spec
from gearqa.late_dataclass import dataclass
from gearqa.model.part import Confirmation, Part
from gearqa.model.results import RunoutMethod
from gearqa.standards import standard
from gearqa.symbols import PARAMETERS, QUANTITIES, Family, Flank, TraceKind
from gearqa.wording.numbers import fixed_text

TRACE_KINDS: Final[tuple[TraceKind, TraceKind]] = ("profile", "helix")


class SlopeAngles(NamedTuple):
    """Angles of a mean slope over the evaluation length; None where they do not apply, none is graded."""

    pressure_angle_arcmin: float | None = None
    base_radius_um: float | None = None
    helix_angle_arcmin: float | None = None
    """Plus = larger helix angle; of a spur gear: plus = right-hand."""


class Measured(NamedTuple):
    """One parameter on one flank: the worst value, its place, and its spread over traces."""

    value: float
    low: float
    high: float
    mean: float
    tooth: int
    tooth_to: int | None = None
    method: RunoutMethod | None = None
    """Runout: from readings or from pitch."""
    other_span: float | None = None
    """Slopes: the worst value over the span that is not graded."""
    angles: SlopeAngles = SlopeAngles()
    """Slopes: what the mean over the evaluation length amounts to."""


Where = tuple[str, Flank | None]
"""Parameter key and flank; None for what has no flank."""


@dataclass(frozen=True, slots=True)
class PartSetup:
    """Everything that is the same for every gear of a part."""

    part: Part
    geometry: GearGeometry
    criteria: Criteria
    specs: Mapping[TraceKind, TraceSpec | None]
    sector: int
    plausible: PlausibleRanges
    flank_factor: float
    """What profile and helix readings of a table were multiplied by."""
    pitch_factor: float
    apart: Mapping[tuple[TraceKind, Flank], tuple[Apart, ...]]
    """Limit curves and zones of the graded flanks that have any."""

    def confirmation(self, code: str, parameter: str, serial: str) -> Confirmation | None:
        """Who takes doubtful readings of a parameter as they stand, if anybody does."""
        given = self.part.evaluation.confirmed
        return next((one for one in given if one.covers(code, parameter, serial)), None)

    def confirmed(self, code: str, family: Family, serial: str) -> bool:
        """Whether doubtful readings are taken as they stand for any parameter that comes from them."""
        return bool(self.part.evaluation.confirmed) and any(
            self.confirmation(code, key, serial) for key, one in PARAMETERS.items() if one.family == family
        )

    def uncertainty(self, instrument: str | None) -> dict[str, float]:
        """Expanded uncertainty U of the parameters, and of the size, for which one is stated. [um]"""
        return {
            key: U
            for key in (QUANTITIES if self.part.uncertainty_um else ())
            if (U := self.part.uncertainty(key, instrument)) is not None
        }


def setup_of(part: Part) -> PartSetup:
    """Work out the setup of a part; raises OutOfScopeError or EvaluationError when there can be none."""
    geometry = part_geometry(part)
    specs = {kind: trace_spec(part, kind) for kind in TRACE_KINDS}
    for kind, spec in specs.items():
        if spec is not None and not all(
            math.isfinite(v) for v in (spec.start, spec.end, spec.full_start, spec.full_end)
        ):
            raise EvaluationError(
                f"a diameter that limits the {kind} lies below the base circle, "
                f"d_b = {fixed_text(geometry.d_b, 4)} mm",
                hint="correct control, tip form or tip diameter in the part file",
            )
    return PartSetup(
        part,
        geometry,
        criteria_of(part),
        specs,
        standard(part.tolerance.standard).sector_span(geometry.z),
        plausible_ranges(part, {kind: (one.low, one.high) for kind, one in specs.items() if one is not None}),
        *plane_factors(part),
        specs_apart(part),
    )

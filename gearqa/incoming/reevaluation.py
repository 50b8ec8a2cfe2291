"""Evaluates the traces of many gears again under other settings, each setting once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Literal, get_args

import numpy as np
from numpy.typing import NDArray

from gearqa.arrays import Array, IntArray
from gearqa.core.geometry import GearGeometry, diameter_at_roll
from gearqa.core.traces import (
    Relief,
    TraceDesign,
    TraceSpec,
    coverage,
    default_cutoff,
    evaluate_traces,
    trace_operator,
)
from gearqa.evaluation.part_geometry import part_geometry
from gearqa.evaluation.trace_specs import trace_spec
from gearqa.incoming.settings import Setup, helix_ends
from gearqa.model.measurement import GearMeasurement
from gearqa.model.part import Part
from gearqa.symbols import TraceKind

What = Literal["total", "form", "slope", "slope_full", "crowning", "parabola_form"]
WHATS: tuple[What, ...] = get_args(What)


@dataclass(frozen=True, eq=False, slots=True)
class _Pattern:
    """Traces of one kind and one sampling pattern."""

    kind: TraceKind
    position: Array
    members: NDArray[np.intp]
    deviation: Array
    """[um], shape (traces, n)"""


@dataclass(eq=False)
class TraceBatch:
    """All traces of a comparison, ready to be evaluated under any settings.

    `gear`, `kind` (0 profile, 1 helix), `flank` (0 left, 1 right) and `tooth` say where each trace was taken.
    """

    part: Part
    geometry: GearGeometry
    gear: NDArray[np.intp]
    kind: NDArray[np.int8]
    flank: NDArray[np.int8]
    tooth: IntArray
    _patterns: tuple[_Pattern, ...] = field(repr=False)
    _done: dict[tuple[TraceKind, TraceSpec, bool], dict[What, Array]] = field(
        default_factory=dict, repr=False
    )

    @classmethod
    def of(cls, gears: Sequence[GearMeasurement], part: Part) -> TraceBatch:
        """Gather the traces of gears; traces sampled alike are evaluated together."""
        owners = [(number, trace) for number, gear in enumerate(gears) for trace in gear.traces]
        groups: dict[tuple[TraceKind, bytes], list[int]] = {}
        for place, (_, trace) in enumerate(owners):
            groups.setdefault((trace.kind, trace.position_mm.tobytes()), []).append(place)
        traces = [trace for _, trace in owners]
        patterns = [
            _Pattern(
                kind,
                traces[places[0]].position_mm,
                np.array(places, dtype=np.intp),
                np.stack([traces[place].deviation_um for place in places]),
            )
            for (kind, _), places in groups.items()
        ]
        return cls(
            part=part,
            geometry=part_geometry(part),
            gear=np.array([number for number, _ in owners], dtype=np.intp),
            kind=np.array([trace.kind == "helix" for trace in traces], dtype=np.int8),
            flank=np.array([trace.flank == "right" for trace in traces], dtype=np.int8),
            tooth=np.array([trace.tooth for trace in traces], dtype=np.int64),
            _patterns=tuple(patterns),
        )

    def values(self, setup: Setup) -> dict[What, Array]:
        """Deviations of every trace, NaN where one cannot be evaluated so. [um], each shape (traces,)"""
        out = {what: np.full(len(self.gear), np.nan) for what in WHATS}
        for kind in ("profile", "helix"):
            spec = trace_spec(self.part, kind)
            if spec is None:
                continue
            over_diameter = kind == "profile" and setup.axis == "diameter"
            found = self._evaluated(kind, changed_spec(spec, kind, setup, self.part), over_diameter)
            own = self.kind == (kind == "helix")
            for what in WHATS:
                out[what][own] = found[what][own]
        return out

    def _evaluated(self, kind: TraceKind, spec: TraceSpec, diameter_axis: bool) -> dict[What, Array]:
        known = self._done.get((kind, spec, diameter_axis))
        if known is not None:
            return known
        out = {what: np.full(len(self.gear), np.nan) for what in WHATS}
        over = spec_over_diameter(spec, self.geometry.d_b) if diameter_axis else spec
        for pattern in self._patterns:
            if pattern.kind != kind or coverage(pattern.position, spec).fault is not None:
                continue
            x = diameter_at_roll(pattern.position, self.geometry.d_b) if diameter_axis else pattern.position
            found = evaluate_traces(trace_operator(x, over), pattern.deviation)
            for what in WHATS:
                out[what][pattern.members] = getattr(found, what)
        self._done[kind, spec, diameter_axis] = out
        return out


def changed_spec(spec: TraceSpec, kind: TraceKind, setup: Setup, part: Part) -> TraceSpec:
    """A trace's evaluation under a setup: range, tip zone and filter."""
    filtering = part.evaluation.filter
    given = filtering.profile_cutoff_mm if kind == "profile" else filtering.helix_cutoff_mm
    if kind == "profile":
        if setup.share is not None and spec.zone_end is not None:
            spec = replace(spec, end=spec.start + setup.share * (spec.zone_end - spec.start))
        if not setup.tip_zone:
            spec = replace(spec, zone_end=None)
    elif ends := helix_ends(setup.helix_range, part.gear.face_width_mm, part.gear.module_mm):
        spec = replace(spec, start=ends[0], end=ends[1])
    if setup.cutoff is None:
        return replace(spec, cutoff=None)
    cutoff = default_cutoff(spec.length) if given is None else given
    return replace(spec, cutoff=cutoff * setup.cutoff)


def spec_over_diameter(spec: TraceSpec, d_b: float) -> TraceSpec:
    """The same evaluation with the diameter as the axis, the cutoff over the length kept."""

    def at(roll: float) -> float:
        return diameter_at_roll(roll, d_b)

    start, end = at(spec.start), at(spec.end)
    reliefs = tuple(Relief(r.amount, at(r.start), at(r.end)) for r in spec.design.reliefs)
    points = tuple((at(roll), height) for roll, height in spec.design.points)
    return TraceSpec(
        start=start,
        end=end,
        full_start=at(spec.full_start),
        full_end=at(spec.full_end),
        zone_end=None if spec.zone_end is None else at(spec.zone_end),
        cutoff=None if spec.cutoff is None else spec.cutoff * abs(end - start) / spec.length,
        design=TraceDesign(spec.design.crowning, spec.design.slope, reliefs, points),
    )

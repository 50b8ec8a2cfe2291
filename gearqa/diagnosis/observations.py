"""What is fitted: a few figures of every trace, the index of every flank, the ball readings.

Of a trace the fit sees the amplitudes of its slope, crowning and S-shape; what is finer goes to the
search for ripple. Gears that were looked at in the same places share one `Layout`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import numpy as np

from gearqa.arrays import Array, IntArray
from gearqa.core.filtering import share_of_length
from gearqa.core.flank_shapes import full_span_scale, third_order
from gearqa.core.runout import radial_positions
from gearqa.core.traces import TraceSpec, coverage, design_trace, range_fraction
from gearqa.diagnosis.effects import Effect
from gearqa.diagnosis.points import FLANK_SIGN, pitch_points, trace_points
from gearqa.evaluation.part_setup import PartSetup
from gearqa.model.measurement import GearMeasurement, Trace
from gearqa.symbols import FLANKS, Flank

GROUPS: Final = (
    "profile_slope", "profile_crowning", "profile_s_shape", "helix_slope", "helix_crowning", "helix_s_shape",
    "profile_slope_along", "profile_crowning_along", "profile_s_shape_along", "helix_slope_along",
    "helix_crowning_along", "helix_s_shape_along", "pitch", "runout",
)  # fmt: skip
"""Kinds of observation; each has a scatter of its own. `along`: what traces of one flank at several places
differ by; what they share is one observation, since the flank's own error is in all of them."""
GRID: Final = 41
"""Places along a trace at which an effect is asked for; effects are smooth."""
PITCH, RUNOUT = GROUPS.index("pitch"), GROUPS.index("runout")


@dataclass(frozen=True, eq=False)
class Layout:
    """Where a gear was looked at, and how effects show there."""

    setup: PartSetup
    traces: tuple[Trace, ...]
    """One of each place; their values do not matter."""
    pitch: tuple[tuple[Flank, IntArray], ...]
    """Flanks with pitch, and the indices of the teeth that were measured."""
    spaces: IntArray
    """Indices of the spaces with a ball reading."""
    runout_less_pitch: tuple[Flank, ...]
    """Flanks whose pitch is complete: of the ball readings the fit sees what these do not say, since teeth
    that sit wrong move both alike."""

    @property
    def groups(self) -> IntArray:
        """Number of the group of each observation."""
        of_traces = [
            GROUPS.index(f"{trace.kind}_slope{'_along' if along else ''}") + np.arange(3, dtype=np.int64)
            for trace, along in zip(self.traces, by_flank(self.traces)[1], strict=True)
        ]
        of_pitch = [np.full(len(teeth), PITCH, dtype=np.int64) for _, teeth in self.pitch]
        return np.concatenate(
            [*of_traces, *of_pitch, np.full(len(self.spaces), RUNOUT, dtype=np.int64)], dtype=np.int64
        )

    def nuisance(self) -> Array:
        """Unknown zeros of the index of each flank and of the ball readings. shape (n, zeros)"""
        groups = self.groups
        columns = []
        first = 3 * len(self.traces)
        for _, teeth in self.pitch:
            column = np.zeros(len(groups))
            column[first : first + len(teeth)] = 1.0
            columns.append(column)
            first += len(teeth)
        if len(self.spaces):
            columns.append(np.where(groups == RUNOUT, 1.0, 0.0))
        return np.stack(columns, axis=1) if columns else np.zeros((len(groups), 0))

    def responses(self, effects: Sequence[Effect]) -> list[Array]:
        """How each effect shows in the observations. Each of shape (n, amplitudes)"""
        parts = [self._of_traces(effects), self._of_pitch(effects), self._of_runout(effects)]
        return [np.concatenate([part[i] for part in parts], axis=0) for i in range(len(effects))]

    def _of_traces(self, effects: Sequence[Effect]) -> list[Array]:
        rows: list[list[Array]] = [[] for _ in effects]
        for trace in self.traces:
            spec = _spec(trace, self.setup)
            x = np.linspace(spec.low, spec.high, GRID)
            at, figures = trace_points(trace, x, self.setup), _figures(x.tobytes(), spec)
            for row, effect in zip(rows, effects, strict=True):
                row.append(figures @ effect.columns(at).T)
        empty = np.zeros((0, 0))
        together = by_flank(self.traces)[0]
        return [
            np.tensordot(together, np.stack(row), axes=1).reshape(3 * len(row), -1)
            if row
            else empty.reshape(0, _amplitudes(effect, self.setup))
            for row, effect in zip(rows, effects, strict=True)
        ]

    def _of_pitch(self, effects: Sequence[Effect]) -> list[Array]:
        at = pitch_points(self.setup, measured=True)
        found = []
        for effect in effects:
            index = index_of(effect.columns(at), self.setup)
            rows = [index[:, FLANKS.index(flank), teeth].T for flank, teeth in self.pitch]
            found.append(np.concatenate(rows) if rows else np.zeros((0, len(index))))
        return found

    def _of_runout(self, effects: Sequence[Effect]) -> list[Array]:
        at, at_pitch = pitch_points(self.setup, measured=False), pitch_points(self.setup, measured=True)
        found = []
        for effect in effects:
            radial = radial_of(effect.columns(at), self.setup)
            if self.runout_less_pitch:
                told = np.array([[float(flank in self.runout_less_pitch)] for flank in FLANKS])
                radial = radial - radial_of(told * effect.columns(at_pitch), self.setup)
            found.append(radial[:, self.spaces].T)
        return found


def _amplitudes(effect: Effect, setup: PartSetup) -> int:
    return len(effect.columns(pitch_points(setup, measured=True)))


def index_of(deviation: Array, setup: PartSetup) -> Array:
    """Index along the arc at the reference circle. deviation shape (..., 2, z) -> [um], same shape"""
    g = setup.geometry
    sign = np.array([[FLANK_SIGN[flank]] for flank in FLANKS])
    return np.asarray(g.s * sign * deviation / np.cos(g.alpha_t))


def radial_of(deviation: Array, setup: PartSetup) -> Array:
    """Radial ball positions in the spaces. deviation at the reference circle, (..., 2, z) -> (..., z)"""
    index = index_of(deviation, setup)
    return radial_positions(index[..., 0, :], index[..., 1, :], setup.geometry)


def observe(gear: GearMeasurement, setup: PartSetup) -> tuple[Layout, Array]:
    """What can be fitted of a gear: where, and the figures. [um], shape (n,)

    Traces that do not cover their range are left out, as in grading.
    """
    traces = tuple(trace for trace in gear.traces if usable(trace, setup))
    pitch = [
        (flank, np.flatnonzero(np.isfinite(gear.pitch[flank].index_um)))
        for flank in FLANKS
        if flank in gear.pitch
    ]
    pitch = [(flank, teeth) for flank, teeth in pitch if len(teeth)]
    radial = gear.runout.radial_um if gear.runout is not None else np.zeros(0)
    spaces = np.flatnonzero(np.isfinite(radial))
    values = [np.zeros(0)]
    if traces:
        figures = np.stack([_figures_of(trace, setup) for trace in traces])
        values = [(by_flank(traces)[0] @ figures).ravel()]
    values += [gear.pitch[flank].index_um[teeth] for flank, teeth in pitch]
    g = setup.geometry
    less_pitch = tuple(flank for flank, teeth in pitch if len(teeth) == g.z)
    if less_pitch and len(spaces):
        left, right = (
            gear.pitch[flank].index_um if flank in less_pitch else np.zeros(g.z) for flank in FLANKS
        )
        radial = radial - radial_positions(left, right, g)
    values.append(radial[spaces])
    return Layout(setup, traces, tuple(pitch), spaces, less_pitch), np.concatenate(values)


def by_flank(traces: Sequence[Trace]) -> tuple[Array, list[bool]]:
    """Makes of traces of one kind on one flank of a tooth their mean and, as orthonormal differences, what
    they differ by; and which of the two each one then is. shape (traces, traces)"""
    together, along = np.eye(len(traces)), [False] * len(traces)
    places: dict[tuple[str, Flank, int], list[int]] = {}
    for number, trace in enumerate(traces):
        places.setdefault((trace.kind, trace.flank, trace.tooth), []).append(number)
    for those in places.values():
        together[those[0], those] = 1 / len(those)
        for k, number in enumerate(those[1:], start=1):
            together[number, those[: k + 1]] = [*[-1 / k] * k, 1.0]
            together[number] *= math.sqrt(k / (k + 1))
            along[number] = True
    return together, along


def layout_key(layout: Layout) -> tuple[object, ...]:
    """Equal for gears that were looked at in the same places."""
    return (
        tuple((t.kind, t.flank, t.tooth, t.label_mm) for t in layout.traces),
        tuple((flank, teeth.tobytes()) for flank, teeth in layout.pitch),
        layout.spaces.tobytes(),
    )


def usable(trace: Trace, setup: PartSetup) -> bool:
    spec = setup.specs[trace.kind]
    return spec is not None and coverage(trace.position_mm, spec).fault is None


def _spec(trace: Trace, setup: PartSetup) -> TraceSpec:
    spec = setup.specs[trace.kind]
    assert spec is not None
    return spec


def _figures_of(trace: Trace, setup: PartSetup) -> Array:
    spec = _spec(trace, setup)
    inside = in_range(trace.position_mm, spec)
    x = trace.position_mm[inside]
    return np.asarray(_figures(x.tobytes(), spec) @ (trace.deviation_um[inside] - design_trace(x, spec)))


def in_range(x: Array, spec: TraceSpec) -> slice:
    """Samples in the evaluation range."""
    low, high = np.searchsorted(x, (spec.low - 1e-9, spec.high + 1e-9))
    return slice(int(low), int(high))


@lru_cache(maxsize=256)
def _figures(positions: bytes, spec: TraceSpec) -> Array:
    """What gives slope over the full span, crowning and S-shape of a trace by a product. shape (3, n)"""
    x = np.frombuffer(positions)
    t = range_fraction(x, spec)
    basis = np.stack([np.ones_like(t), t * full_span_scale(spec), -4 * t**2, third_order(t)], axis=1)
    root = np.sqrt(share_of_length(x))
    return np.asarray((np.linalg.pinv(root[:, None] * basis) * root)[1:])

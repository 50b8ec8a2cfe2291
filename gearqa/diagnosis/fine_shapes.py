"""Ripple and turned ends of a gear: what is finer than the few figures that the joint fit sees of a trace."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from gearqa.arrays import Array
from gearqa.core.traces import design_trace, range_fraction
from gearqa.diagnosis.effects import Columns, Effect
from gearqa.diagnosis.ends import DEGREE, EndFound, end_shape, find_ends
from gearqa.diagnosis.observations import in_range, usable
from gearqa.diagnosis.points import FlankPoints, middle_roll, ranges, trace_points
from gearqa.diagnosis.ripple import RippleBasis, RippleFound, find_ripple, ripple_basis
from gearqa.evaluation.part_setup import PartSetup
from gearqa.model.measurement import GearMeasurement, Trace
from gearqa.symbols import FLANKS, Flank, TraceKind

END_KEYS: Final[dict[tuple[TraceKind, int], tuple[str, str]]] = {
    ("helix", -1): ("overtravel", "datum"),
    ("helix", 1): ("overtravel", "far"),
    ("profile", -1): ("root_end", "root"),
    ("profile", 1): ("tip_end", "tip"),
}


@dataclass(frozen=True, eq=False, slots=True)
class FineShape:
    """A wave or a turned end on one flank, as an effect with its amplitudes."""

    effect: Effect
    amplitudes: Array
    flank: Flank
    kind: TraceKind
    """Traces on which it was found."""
    found: RippleFound | EndFound


class FineSearch:
    """Searches gears of one part; keeps the waves of a set of positions for the next gear."""

    def __init__(self, setup: PartSetup, risk: float) -> None:
        self.setup, self.risk = setup, risk
        self._bases: dict[bytes, RippleBasis | None] = {}

    def of(self, gear: GearMeasurement) -> list[FineShape]:
        """Fine shapes of a gear, ripple first."""
        found: list[FineShape] = []
        for flank in FLANKS:
            waves: list[FineShape] = []
            profiles = self._measured(gear, flank, "profile")
            if profiles is not None:
                waves = self._waves(profiles, flank)
                for wave in waves:
                    profiles.take_out(wave)
                found += self._ends(profiles, flank)
            helices = self._measured(gear, flank, "helix")
            if helices is not None:
                waves = [self._as_locked(wave, helices) for wave in waves]
                if self.setup.geometry.H:
                    own = self._waves(helices, flank)
                    for wave in own:
                        helices.take_out(wave)
                    waves = _joined(waves, own, helices)
                found += self._ends(helices, flank)
            found = [*waves, *found]
        return found

    def _measured(self, gear: GearMeasurement, flank: Flank, kind: TraceKind) -> _Measured | None:
        traces = [
            one for one in gear.traces if one.kind == kind and one.flank == flank and usable(one, self.setup)
        ]
        return _Measured(traces, kind, self.setup) if traces else None

    def _ends(self, measured: _Measured, flank: Flank) -> list[FineShape]:
        t = [range_fraction(at, measured.spec) for at in measured.positions]
        return [
            FineShape(_end(end, flank, measured.kind), np.array([end.height]), flank, measured.kind, end)
            for end in find_ends(t, measured.deviations, self.risk)
        ]

    def _as_locked(self, wave: FineShape, helices: _Measured) -> FineShape:
        """The wave as it shows on helices: taken out of them where it goes with the rotation of the gear,
        constant along the tooth trace where it does not."""
        if not self.setup.geometry.H or not _named(wave):
            return wave
        before = helices.roughness()
        helices.take_out(wave)
        if helices.roughness() < before:
            return wave
        helices.take_out(wave, sign=-1.0)
        return replace(wave, effect=wave_on_flank(wave.effect.order or 0, wave.flank, along_trace=False))

    def _waves(self, measured: _Measured, flank: Flank) -> list[FineShape]:
        angles = [at.theta_T for at in measured.points]
        key = b"".join(one.tobytes() for one in angles)
        z = self.setup.geometry.z
        if key not in self._bases:
            self._bases[key] = ripple_basis(angles, z)
        basis = self._bases[key]
        if basis is None:
            return []
        return [
            FineShape(
                wave_on_flank(one.order, flank) if one.named else _unnamed(one.order, flank, measured.kind),
                np.array([one.cos, one.sin]),
                flank,
                measured.kind,
                one,
            )
            for one in find_ripple(basis, measured.deviations, self.risk, z)
        ]


class _Measured:
    """Traces of one kind on one flank, less the design, within their range."""

    def __init__(self, traces: Sequence[Trace], kind: TraceKind, setup: PartSetup) -> None:
        spec = setup.specs[kind]
        assert spec is not None
        self.kind, self.spec = kind, spec
        self.placed = all(trace.label_mm is not None for trace in traces)
        self.positions: list[Array] = []
        self.deviations: list[Array] = []
        self.points: list[FlankPoints] = []
        for trace in traces:
            inside = in_range(trace.position_mm, spec)
            x = trace.position_mm[inside]
            self.positions.append(x)
            self.deviations.append(trace.deviation_um[inside] - design_trace(x, spec))
            self.points.append(trace_points(trace, x, setup))

    def take_out(self, shape: FineShape, sign: float = 1.0) -> None:
        """Less a shape that was found."""
        self.deviations = [
            y - sign * (shape.amplitudes @ shape.effect.columns(at))
            for y, at in zip(self.deviations, self.points, strict=True)
        ]

    def roughness(self) -> float:
        """Sum of squares beside the polynomials of the traces."""
        total = 0.0
        for x, y in zip(self.positions, self.deviations, strict=True):
            legendre = np.polynomial.legendre.legvander(2 * range_fraction(x, self.spec), DEGREE)
            Q = np.linalg.qr(legendre)[0]
            total += float(y @ y - (Q.T @ y) @ (Q.T @ y))
        return total


def _joined(waves: list[FineShape], own: list[FineShape], helices: _Measured) -> list[FineShape]:
    """Waves of profiles and helices; one order found on both is one wave where nobody knows at which
    diameter the helices lie, and so which phase belongs to them."""
    if helices.placed:
        return waves + own
    rest = {one.effect.order: one for one in own if _named(one)}
    joined = [one for one in own if not _named(one)]
    for wave in waves:
        if not _named(wave):
            joined.append(wave)
            continue
        same = rest.pop(wave.effect.order, None)
        apart = np.zeros(2) if same is None else same.amplitudes
        effect = replace(wave.effect, columns=_with_helices(wave.effect))
        joined.append(replace(wave, effect=effect, amplitudes=np.concatenate([wave.amplitudes, apart])))
    return joined + list(rest.values())


def _with_helices(wave: Effect) -> Columns:
    """Columns of a wave, and again for helices alone."""
    own = wave_on_flank(wave.order or 0, wave.flank or "left")

    def columns(at: FlankPoints) -> Array:
        alone = np.asarray(np.asarray(at.L) == middle_roll(at.setup), dtype=np.float64)
        return np.concatenate([wave.columns(at), own.columns(at) * alone])

    return columns


def wave_on_flank(order: int, flank: Flank, *, along_trace: bool = True) -> Effect:
    def columns(at: FlankPoints) -> Array:
        theta = at.theta_T if along_trace else at.theta_T - (at.section_angle - at.flank_angle)
        on_it = dict(at.is_flank)[flank]
        return np.stack([on_it * np.cos(order * theta), on_it * np.sin(order * theta)])

    return Effect("ripple", columns, flank, order)


def _named(wave: FineShape) -> bool:
    return isinstance(wave.found, RippleFound) and wave.found.named


def _unnamed(order: int, flank: Flank, kind: TraceKind) -> Effect:
    """A wave whose order cannot be told: only what it makes along traces of its kind beside line, crowning
    and S-shape is known; nothing of other teeth, or of pitch."""
    wave = wave_on_flank(order, flank)

    def columns(at: FlankPoints) -> Array:
        made = wave.columns(at)
        profile, helix = ranges(at.setup)
        x, spec = (at.L, profile) if kind == "profile" else (at.face, helix)
        if made.ndim != 2 or not np.ptp(x):
            return np.zeros_like(made)
        t = range_fraction(x, spec)
        legendre = np.polynomial.legendre.legvander(2 * t, DEGREE)
        inside = np.abs(t) <= 0.5 + 1e-6
        theta = np.linalg.lstsq(legendre[inside], made.T[inside], rcond=None)[0]
        return np.asarray(made - (legendre @ theta).T)

    return Effect("ripple", columns, flank, order)


def _end(end: EndFound, flank: Flank, kind: TraceKind) -> Effect:
    def columns(at: FlankPoints) -> Array:
        profile, helix = ranges(at.setup)
        t = range_fraction(at.L, profile) if kind == "profile" else range_fraction(at.face, helix)
        return np.asarray(dict(at.is_flank)[flank] * end_shape(t, end.side, end.length))[None]

    return Effect(END_KEYS[kind, end.side][0], columns, flank)

"""From what was found to components for people: amplitude, phase, uncertainty."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from gearqa.arrays import Array
from gearqa.diagnosis.decomposition import Decomposition, Found
from gearqa.diagnosis.effects import Effect
from gearqa.diagnosis.ends import EndFound
from gearqa.diagnosis.fine_shapes import END_KEYS, FineShape
from gearqa.evaluation.part_setup import PartSetup
from gearqa.model.diagnosis import Component

DIRECTED: Final = frozenset(
    {"eccentricity", "tilt", "tangential", "lobes", "radial_order", "pitch_order", "ripple"}
)
"""Keys whose first two amplitudes are cosine and sine."""

FEWEST_FREEDOM: Final = 0.5
"""Degrees of freedom below which nothing is known of a scatter."""
MUCH_FREEDOM: Final = 1e6
"""Degrees of freedom from which on Student's t is normal."""


@dataclass(frozen=True, eq=False, slots=True)
class Piece:
    """A component with the error behind it, so that it can be taken out."""

    component: Component
    effect: Effect
    amplitudes: Array
    covariance: Array
    """Of the amplitudes, from the scatter between teeth."""

    @property
    def identity(self) -> tuple[object, ...]:
        """Equal for the same error of different gears."""
        c = self.component
        order = None if c.key == "ripple" and c.order is None else self.effect.order
        return c.key, c.flank, order, c.tooth, c.end


def pieces_of(fit: Decomposition, fine: Sequence[FineShape], setup: PartSetup) -> list[Piece]:
    """Everything found in a gear."""
    found = [_of_fit(one, setup) for one in fit.found]
    return found + [_of_fine(one) for one in fine]


def _of_fit(one: Found, setup: PartSetup) -> Piece:
    effect = one.effect
    amplitude, phase, u = amplitude_of(effect, one.amplitudes, one.covariance, one.freedom, setup.geometry.z)
    component = Component(
        key=effect.key,
        flank=effect.flank,
        order=effect.order,
        amplitude_um=amplitude,
        phase_deg=phase,
        u_um=u,
        significant=one.significant,
        explains={},
        tooth=effect.tooth,
    )
    return Piece(component, effect, one.amplitudes, one.covariance)


def amplitude_of(
    effect: Effect, amplitudes: Array, covariance: Array, freedom: float, z: int
) -> tuple[float, float | None, float | None]:
    """Amplitude, phase in degrees, expanded uncertainty of the amplitude."""
    if effect.key in DIRECTED:
        size = float(np.hypot(amplitudes[0], amplitudes[1]))
        along = amplitudes[:2] / size if size > 0 else np.array([1.0, 0.0])
        variance = float(along @ covariance[:2, :2] @ along) if np.isfinite(covariance).all() else math.inf
        phase = math.degrees(math.atan2(amplitudes[1], amplitudes[0]))
        order = effect.order or 1
        return size, (phase % 360) / order, expanded(variance, freedom)
    variance = float(np.diag(covariance).max()) if np.isfinite(covariance).all() else math.inf
    if effect.key == "wheel_thread":
        pattern = np.append(amplitudes, -amplitudes.sum())
        crest = int(np.argmax(pattern))
        return float(np.ptp(pattern)) / 2, 360 * crest / z, expanded(variance, freedom)
    step = 360 * (effect.tooth - 1.5) / z % 360 if effect.key == "pitch_ramp" and effect.tooth else None
    return float(amplitudes[0]), step, expanded(variance, freedom)


def expanded(variance: float, freedom: float) -> float | None:
    """Expanded uncertainty: k = 2, widened where a few readings tell the scatter, so that it holds the truth
    as often (Student's t; ISO/IEC Guide 98-3, annex G, from memory). None where nothing tells it.

    >>> round(expanded(1.0, math.inf) or 0.0, 2), round(expanded(1.0, 6.0) or 0.0, 2)
    (2.0, 2.52)
    """
    from scipy import special

    if not math.isfinite(variance) or freedom < FEWEST_FREEDOM:
        return None
    holds = float(special.ndtr(2.0))
    return float(special.stdtrit(min(freedom, MUCH_FREEDOM), holds)) * math.sqrt(variance)


def _of_fine(one: FineShape) -> Piece:
    found = one.found
    u, covariance = expanded(found.se**2, found.freedom), np.eye(len(one.amplitudes)) * found.se**2
    if isinstance(found, EndFound):
        key, end = END_KEYS[one.kind, found.side]
        component = Component(key, one.flank, None, found.height, None, u, True, {}, end=end)  # type: ignore[arg-type]
        return Piece(component, one.effect, one.amplitudes, covariance)
    size = math.hypot(found.cos, found.sin)
    phase = math.degrees(math.atan2(found.sin, found.cos)) % 360 / found.order
    component = Component(
        key="ripple",
        flank=one.flank,
        order=found.order if found.named else None,
        amplitude_um=size,
        phase_deg=phase if found.named else None,
        u_um=u,
        significant=True,
        explains={},
        waves_per_trace=found.waves,
        orders_alike=() if found.named else found.alike,
    )
    return Piece(component, one.effect, one.amplitudes, covariance)

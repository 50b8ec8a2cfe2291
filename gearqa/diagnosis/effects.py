"""Candidates: physical errors that could have made the deviations, as unit deviations at flank points.

A candidate has one or more amplitudes; the deviation it makes is linear in them. What moves whole
flanks along the arc (wheel threads, a pitch ramp) makes the same deviation at every point of a flank. An
error of the table while flanks are generated does not: each point has it as it stood when the point was
made. Which of the two an order of pitch is, only the traces tell.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from gearqa.arrays import Array
from gearqa.core.flank_frame import rigid_deviation
from gearqa.core.flank_shapes import SHAPES, flank_shapes, ring_lobes
from gearqa.diagnosis.points import FlankPoints, ranges
from gearqa.symbols import Flank, TraceKind

Columns = Callable[[FlankPoints], Array]
"""Unit deviations at points: [um], shape (amplitudes, ...)."""


@dataclass(frozen=True, eq=False, slots=True)
class Effect:
    """One physical error with unknown amplitudes."""

    key: str
    columns: Columns
    flank: Flank | None = None
    order: int | None = None
    tooth: int | None = None


def eccentricity() -> Effect:
    """Shift of the toothing along the angles 0 and 90 degrees. [um]"""

    def columns(at: FlankPoints) -> Array:
        g = at.setup.geometry
        directions = ((1.0, 0.0), (0.0, 1.0))
        return np.stack(
            [rigid_deviation(g, at.f, at.theta_T, at.L, at.face, e=e, omega=(0.0, 0.0)) for e in directions]
        )

    return Effect("eccentricity", columns, order=1)


def tilt() -> Effect:
    """Shift of the far end against the datum end along the angles 0 and 90 degrees. [um]"""

    def columns(at: FlankPoints) -> Array:
        g = at.setup.geometry
        turns = ((0.0, 1 / g.b), (-1 / g.b, 0.0))
        return np.stack(
            [rigid_deviation(g, at.f, at.theta_T, at.L, at.face, e=(0.0, 0.0), omega=w) for w in turns]
        )

    return Effect("tilt", columns, order=1)


def lobes(n: int) -> Effect:
    """A ring clamped out of round: radial cosine and sine of order n, then the tangential ones. [um]

    The tangential part takes up where the neutral fibre lies, which nothing in the data tells.
    """

    def columns(at: FlankPoints) -> Array:
        g = at.setup.geometry
        angle = n * at.flank_angle
        radial = np.stack(ring_lobes(g, at.f, at.theta_T, at.section_angle, n, g.d / 2))
        return np.concatenate([radial, along_arc(at, np.stack([np.cos(angle), np.sin(angle)]))])

    return Effect("lobes", columns, order=n)


def radial_order(n: int) -> Effect:
    """Tooth spaces that lie nearer and farther, cosine and sine of order n, nothing else. [um]"""
    return _order("radial_order", n, whole_teeth=True)


def tangential_order(n: int) -> Effect:
    """Both flanks of every tooth moved along the arc alike: clockwise cosine and sine of order n at the
    reference circle in the middle of the face; the first by an error of the table. [um]"""
    return _order("tangential", 1) if n == 1 else _order("pitch_order", n, whole_teeth=True)


def _order(key: str, n: int, *, whole_teeth: bool = False) -> Effect:
    def columns(at: FlankPoints) -> Array:
        g, angle = at.setup.geometry, n * (at.flank_angle if whole_teeth else at.table_angle)
        waves = np.stack([np.cos(angle), np.sin(angle)])
        return g.s * math.sin(g.alpha_t) * waves if key == "radial_order" else along_arc(at, waves)

    return Effect(key, columns, order=n)


def generated(order: Effect) -> Effect:
    """The same order, had it moved points of flanks as they were generated."""
    return _order(order.key, order.order or 1)


def on_whole_teeth(order: Effect) -> Effect:
    """The same order, had it moved whole teeth instead of points of flanks as they were generated."""
    return _order(order.key, order.order or 1, whole_teeth=True)


def together(*effects: Effect) -> Effect:
    """Effects as one, of the key of the first."""
    return replace(effects[0], columns=lambda at: np.concatenate([one.columns(at) for one in effects]))


def first_order(flank: Flank) -> Effect:
    """Index of one flank, clockwise cosine and sine once per turn, whatever makes it. [um]"""

    def columns(at: FlankPoints) -> Array:
        on_it, angle = dict(at.is_flank)[flank], at.flank_angle
        return along_arc(at, on_it * np.stack([np.cos(angle), np.sin(angle)]))

    return Effect("pitch_order", columns, flank, order=1)


def pitch_ramp(step_before: int, z: int) -> Effect:
    """Index that rises evenly round the gear and falls back by one just before a tooth. [um]"""
    place = np.arange(z)
    rise = ((place - step_before + 1) % z) / z - 0.5
    return replace(_tooth_pattern("pitch_ramp", rise[None, :], order=None), tooth=step_before)


def wheel_threads(period: int, z: int) -> Effect:
    """A pattern over the teeth that comes again every `period` teeth; free, but of mean zero. [um]"""
    place = np.arange(z) % period
    unit = np.stack([np.where(place == k, 1.0, 0.0) - (place == period - 1) for k in range(period - 1)])
    return _tooth_pattern("wheel_thread", unit, order=z // period)


def one_tooth(tooth: int, flank: Flank, z: int) -> Effect:
    """One flank of one tooth that sits ahead along the arc. [um]"""
    unit = np.where(np.arange(z) == tooth - 1, 1.0, 0.0)

    def columns(at: FlankPoints) -> Array:
        on_it = dict(at.is_flank)[flank]
        return along_arc(at, (on_it * unit[np.asarray(at.tooth) - 1])[None])

    return Effect("one_tooth", columns, flank, tooth=tooth)


def _tooth_pattern(key: str, index: Array, order: int | None) -> Effect:
    def columns(at: FlankPoints) -> Array:
        return along_arc(at, index[:, np.asarray(at.tooth) - 1])

    return Effect(key, columns, order=order)


def along_arc(at: FlankPoints, index: Array) -> Array:
    """Deviation of flanks that sit off along the arc. index [um], shape (k, ...), clockwise plus -> [um]"""
    g = at.setup.geometry
    return np.asarray(g.s * at.f * math.cos(g.alpha_t) * index)


def shape(name: str, flanks: Sequence[tuple[Flank, float]], key: str, flank: Flank | None = None) -> Effect:
    """A shape of `SHAPES` on flanks with the given weights. [um]"""
    number = SHAPES.index(name)
    weight_of = dict(flanks)

    def columns(at: FlankPoints) -> Array:
        profile, helix = ranges(at.setup)
        weight = sum(weight_of.get(one, 0.0) * on_it for one, on_it in at.is_flank)
        return np.asarray(weight * flank_shapes(at.L, at.face, profile, helix)[number])[None]

    return Effect(key, columns, flank)


def mean_shapes(s: int, H: int) -> tuple[Effect, ...]:
    """Shapes that all teeth have in common, split into what both flanks share and what they differ by.

    Slopes and crownings: common part, and right flank less half the difference; helix slopes by hand
    (common part = lead, by the sign of the helix angle) and by side (taper); S-shapes and twist by flank.
    """
    both: list[tuple[Flank, float]] = [("left", 1.0), ("right", 1.0)]
    apart: list[tuple[Flank, float]] = [("left", -1.0), ("right", 1.0)]
    hand = s * (H or 1)
    lead: list[tuple[Flank, float]] = [("left", -hand), ("right", hand)]
    split = (
        shape("profile_slope", both, "pressure_angle"),
        shape("profile_slope", apart, "profile_asymmetry"),
        shape("helix_slope", lead, "lead"),
        shape("helix_slope", both, "taper"),
        shape("profile_crowning", both, "profile_crowning"),
        shape("profile_crowning", apart, "profile_crowning_asymmetry"),
        shape("helix_crowning", both, "helix_crowning"),
        shape("helix_crowning", apart, "helix_crowning_asymmetry"),
    )
    single = tuple(
        shape(name, [(flank, 1.0)], key, flank)
        for name, key in (
            ("profile_s_shape", "s_shape"),
            ("helix_s_shape", "helix_s_shape"),
            ("twist", "twist"),
        )
        for flank, _ in both
    )
    return split + single


def mean_shape(key: str, s: int, H: int) -> Effect:
    """One of the shapes that all teeth have in common, of both flanks."""
    return next(one for one in mean_shapes(s, H) if one.key == key)


HALVES: Final[dict[TraceKind, tuple[str, ...]]] = {
    "profile": ("pressure_angle", "profile_asymmetry", "profile_crowning", "profile_crowning_asymmetry"),
    "helix": ("lead", "taper", "helix_crowning", "helix_crowning_asymmetry"),
}
"""Keys of what both flanks share and what they differ by."""


def of_one_flank(kind: TraceKind, flank: Flank) -> tuple[Effect, Effect]:
    """Slope and crowning of the only flank that was traced."""
    only: list[tuple[Flank, float]] = [(flank, 1.0)]
    slope, crowning = f"{kind}_slope", f"{kind}_crowning"
    return shape(slope, only, slope, flank), shape(crowning, only, crowning, flank)

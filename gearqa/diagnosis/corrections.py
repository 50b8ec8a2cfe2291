"""What to change at the grinder so that a component goes away: geometry, not the gain of a machine.

The relations invert those between setting and deviation (derived; the correction itself has not been
tried on a machine). What a machine makes of a command must be learned: a first change is a trial step.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from typing import Final

import numpy as np

from gearqa.core.slopes import helix_angle_deviation, pressure_angle_deviation
from gearqa.diagnosis.components import Piece, expanded
from gearqa.diagnosis.points import graded_rise, ranges
from gearqa.evaluation.part_setup import PartSetup
from gearqa.model.diagnosis import Component, Correction
from gearqa.model.results import GearResult
from gearqa.symbols import FLANKS, TraceKind

FRACTION: Final = 0.7
"""Common practice, no source: 60 to 80 per cent of a computed change."""
TRIAL: Final = "trial step: the gain of this grinder is not known"
NEAR_MIDDLE: Final = 0.1
"""Of the tolerance of the size: nearer to its middle nobody corrects."""
FEWEST_GEARS: Final = 3
SLOPES: Final[dict[str, TraceKind]] = {
    "profile_slope": "profile", "pressure_angle": "profile", "helix_slope": "helix", "helix_angle": "helix",
    "twist_over_face_width": "helix", "infeed_far_end": "helix",
}  # fmt: skip
"""Quantity that changes a slope -> of which traces. What is told of the slope is told as it is graded."""
SLOPE_OF: Final = {
    "profile_slope": "profile_slope", "helix_slope": "helix_slope", "pressure_angle": "profile_slope",
    "profile_asymmetry": "profile_slope",
}  # fmt: skip
"""Component that is corrected by flank -> the slope."""
OF_A_VECTOR: Final = ("centre_0_deg", "centre_90_deg")
"""Parts of one shift: sure or not together."""
ONE_FLANK: Final = "; this flank only: the other was not measured, so no setting that acts on both follows"
ONE_GEAR: Final = "; from one gear only: confirm on three to five"


def corrections_of(
    pieces: Sequence[Piece], setup: PartSetup, graded: Sequence[GearResult]
) -> tuple[Correction, ...]:
    """Changes that null the components of a gear, or of the mean of a lot; none that is not beyond its own
    uncertainty."""
    basis = TRIAL + (ONE_GEAR if len(graded) < FEWEST_GEARS else "")
    return _sure_ones(
        (*_changes(_by_key(one.component for one in pieces), setup, basis), *_size(graded, setup, basis))
    )


def corrections_for(components: Iterable[Component], setup: PartSetup) -> tuple[Correction, ...]:
    """Changes that null components."""
    return _sure_ones(_changes(_by_key(components), setup, TRIAL))


def _by_key(components: Iterable[Component]) -> dict[str, Component]:
    """Components that a change at the grinder takes away."""
    return {
        one.key: one for one in components if one.order is None or one.key == "eccentricity" if _sure(one)
    }


def _sure_ones(changes: Iterable[Correction]) -> tuple[Correction, ...]:
    sure = [one for one in changes if one.quantity in OF_A_VECTOR or one.u is None or abs(one.change) > one.u]
    listed = {one.quantity for one in sure}
    return tuple(one if one.instead_of in listed else replace(one, instead_of=None) for one in sure)


def _sure(one: Component) -> bool:
    return one.u_um is None or abs(one.amplitude_um) > one.u_um


def _size(graded: Sequence[GearResult], setup: PartSetup, basis: str) -> Iterator[Correction]:
    """Infeed that brings the mean dimension over or between balls to the middle of its tolerance.

    Infeed dx moves both flanks of a space by dx sin(alpha_t) along the base tangent, and the ball by that
    over sin(alpha_K): outwards on an internal gear, inwards on an external one (derived).
    """
    g, wanted = setup.geometry, setup.part.tolerance.size
    if wanted is None or wanted.method != "balls" or wanted.pin_diameter_mm is None:
        return
    values = [
        float(np.mean(of_gear))
        for one in graded
        if (of_gear := [size.value_mm for size in one.size if size.lower_mm is not None])
    ]
    if not values:
        return
    mean, middle = float(np.mean(values)), (wanted.lower_mm + wanted.upper_mm) / 2
    radius = (middle - g.s * wanted.pin_diameter_mm) / 2
    if radius <= g.d_b / 2 or abs(middle - mean) < NEAR_MIDDLE * (wanted.upper_mm - wanted.lower_mm):
        return
    per_um = infeed_per_um(setup)
    assert per_um is not None
    n = len(values)
    u = expanded(float(np.var(values, ddof=1)) / n, n - 1) if n > 1 else None
    yield expecting(
        Correction(
            "infeed", None, per_um * (middle - mean), "mm", None if u is None else abs(per_um) * u, FRACTION,
            basis, "dimension less the middle of its tolerance", deviation_um=1000 * (mean - middle),
            deviation_u_um=None if u is None else 1000 * u,
        )
    )  # fmt: skip


def infeed_per_um(setup: PartSetup) -> float | None:
    """Infeed that makes the dimension over or between balls larger by as much; None: no such size is asked
    for, or its ball does not touch. [um/um]"""
    g, wanted = setup.geometry, setup.part.tolerance.size
    if wanted is None or wanted.method != "balls" or wanted.pin_diameter_mm is None:
        return None
    radius = ((wanted.lower_mm + wanted.upper_mm) / 2 - g.s * wanted.pin_diameter_mm) / 2
    if radius <= g.d_b / 2:
        return None
    return -g.s * math.sin(math.acos(g.d_b / 2 / radius)) / (2 * math.sin(g.alpha_t))


def changes_per_um(setup: PartSetup) -> dict[str, tuple[str, float, str]]:
    """Quantity of the grinder -> component that it takes away, change for one micrometre of it, unit."""
    profile, helix = ranges(setup)
    g = setup.geometry
    span_p, span_h = abs(profile.full_end - profile.full_start), abs(helix.full_end - helix.full_start)
    arcmin = math.degrees(pressure_angle_deviation(1.0, span_p, g.alpha_t)) * 60
    arcsec = math.degrees(helix_angle_deviation(1.0, span_h, g.beta, g.alpha_t)) * 3600
    twist = math.degrees(1 / (1000 * g.d_b / 2)) * 3600
    infeed = 1 / (1000 * math.sin(g.alpha_t))
    return {
        "pressure_angle": ("pressure_angle", -arcmin, "arcmin"),
        "helix_angle": ("lead", -arcsec, "arcsec"),
        "twist_over_face_width": ("lead", -twist, "arcsec"),
        "infeed_far_end": ("taper", infeed, "mm"),
        "infeed_ends": ("helix_crowning", -infeed, "mm"),
    }


def expecting(one: Correction) -> Correction:
    """A correction with what the next part should show once its fraction is applied: what is left of the
    deviation if the gain is the one known, else 1; the interval holds gain and scatter where known."""
    if one.deviation_um is None:
        return one
    gain = 1.0 if one.gain is None else one.gain
    u = None
    if one.deviation_u_um is not None:
        by_gain = one.fraction * one.deviation_um * (one.gain_u or 0.0)
        u = math.hypot(one.deviation_u_um, by_gain, 2 * (one.scatter_um or 0.0))
    return replace(one, expect_um=one.deviation_um * (1 - one.fraction * gain), expect_u_um=u)


def _changes(found: dict[str, Component], setup: PartSetup, basis: str) -> Iterator[Correction]:
    per_um = changes_per_um(setup)

    def change(quantity: str, expect: str, instead_of: str | None = None) -> Iterator[Correction]:
        key, each, unit = per_um[quantity]
        one = found.get(key)
        if one is None or one.flank is not None:
            return
        u = None if one.u_um is None else abs(each) * one.u_um
        graded = _as_graded(one, rise_of(quantity, setup))
        yield expecting(
            Correction(
                quantity, None, each * one.amplitude_um, unit, u, FRACTION, basis, expect,
                instead_of=instead_of, deviation_um=graded.amplitude_um, deviation_u_um=graded.u_um,
                scatter_um=graded.scatter_um,
            )
        )  # fmt: skip

    slopes = {
        key: _as_graded(one, rise_of(SLOPE_OF[key], setup)) for key, one in found.items() if key in SLOPE_OF
    }
    for quantity, symbol in (("profile_slope", "fHα"), ("helix_slope", "fHβ")):
        yield from _by_flank(slopes, quantity, "", quantity, basis, f"{symbol} of this flank")
    yield from _by_flank(
        slopes, "pressure_angle", "profile_asymmetry", "profile_slope", basis, "fHα of this flank"
    )
    yield from change("pressure_angle", "mean fHα of both flanks", "profile_slope")
    yield from change("helix_angle", "mean fHβ of both flanks by the helix angle")
    yield from change("twist_over_face_width", "mean fHβ of both flanks by the helix angle", "helix_angle")
    yield from change("infeed_far_end", "mean fHβ of both flanks, + away from the datum face")
    yield from _by_flank(
        found, "profile_crowning", "profile_crowning_asymmetry", "profile_crowning", basis,
        "Cα of this flank less its design",
    )  # fmt: skip
    yield from _by_flank(
        found, "helix_crowning", "helix_crowning_asymmetry", "helix_crowning", basis,
        "Cβ of this flank less its design",
    )  # fmt: skip
    yield from change("infeed_ends", "mean Cβ of both flanks less its design", "helix_crowning")
    if (one := found.get("eccentricity")) is not None and one.phase_deg is not None:
        turned = math.radians(one.phase_deg)
        for quantity, part in (("centre_0_deg", math.cos(turned)), ("centre_90_deg", math.sin(turned))):
            yield expecting(
                Correction(
                    quantity, None, -part * one.amplitude_um, "µm", one.u_um, FRACTION, basis,
                    "offset of the toothing this way", deviation_um=part * one.amplitude_um,
                    deviation_u_um=one.u_um, scatter_um=one.scatter_um,
                )
            )  # fmt: skip


def rise_of(quantity: str, setup: PartSetup) -> float:
    """Slope as it is graded that one micrometre of the component makes; 1 for all that is no slope."""
    return graded_rise(setup, SLOPES[quantity]) if quantity in SLOPES else 1.0


def _as_graded(one: Component, rise: float) -> Component:
    u, scatter = (None if value is None else rise * value for value in (one.u_um, one.scatter_um))
    return replace(one, amplitude_um=rise * one.amplitude_um, u_um=u, scatter_um=scatter)


def _by_flank(
    found: dict[str, Component], common: str, apart: str, quantity: str, basis: str, expect: str
) -> Iterator[Correction]:
    """Change of each flank from what both share and what they differ by, or of the only flank traced."""
    both, half = found.get(common), found.get(apart)
    if both is None and half is None:
        return
    only = None if both is None else both.flank
    if only is not None:
        basis += ONE_FLANK
    for flank, sign in zip(FLANKS, (-1, 1), strict=True):
        if only not in (None, flank):
            continue
        parts = [(both, 1), (half, sign)]
        total = sum(weight * one.amplitude_um for one, weight in parts if one is not None)
        known = [one.u_um for one, _ in parts if one is not None]
        u = None if any(value is None for value in known) else math.hypot(*(value or 0.0 for value in known))
        spread = [one.scatter_um for one, _ in parts if one is not None and one.scatter_um is not None]
        yield expecting(
            Correction(
                quantity, flank, -total, "µm", u, FRACTION, basis, expect, deviation_um=total,
                deviation_u_um=u, scatter_um=math.hypot(*spread) if spread else None,
            )
        )  # fmt: skip

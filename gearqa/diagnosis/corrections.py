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
from gearqa.diagnosis.components import Piece
from gearqa.diagnosis.points import ranges
from gearqa.evaluation.part_setup import PartSetup
from gearqa.model.diagnosis import Component, Correction
from gearqa.model.results import GearResult
from gearqa.symbols import FLANKS

FRACTION: Final = 0.7
"""Common practice, no source: 60 to 80 per cent of a computed change."""
TRIAL: Final = "trial step: the gain of this grinder is not known"
NEAR_MIDDLE: Final = 0.1
"""Of the tolerance of the size: nearer to its middle nobody corrects."""
FEWEST_GEARS: Final = 3
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
    per_mm = -g.s * math.sin(math.acos(g.d_b / 2 / radius)) / (2 * math.sin(g.alpha_t))
    u = 2 * float(np.std(values, ddof=1)) / math.sqrt(len(values)) if len(values) > 1 else None
    yield Correction(
        "infeed", None, per_mm * (middle - mean), "mm", None if u is None else abs(per_mm) * u, FRACTION,
        basis, "dimension in the middle of its tolerance",
    )  # fmt: skip


def _changes(found: dict[str, Component], setup: PartSetup, basis: str) -> Iterator[Correction]:
    profile, helix = ranges(setup)
    g = setup.geometry
    span_p, span_h = abs(profile.full_end - profile.full_start), abs(helix.full_end - helix.full_start)
    sin = math.sin(g.alpha_t)

    def change(
        quantity: str, per_um: float, one: Component, unit: str, expect: str, instead_of: str | None = None
    ) -> Correction:
        u = None if one.u_um is None else abs(per_um) * one.u_um
        return Correction(
            quantity, None, per_um * one.amplitude_um, unit, u, FRACTION, basis, expect, instead_of=instead_of
        )

    for quantity, symbol in (("profile_slope", "fHα"), ("helix_slope", "fHβ")):
        yield from _by_flank(found, quantity, "", quantity, basis, f"{symbol} about 0 on this flank")
    yield from _by_flank(
        found, "pressure_angle", "profile_asymmetry", "profile_slope", basis, "fHα about 0 on this flank"
    )
    if (one := found.get("pressure_angle")) is not None:
        arcmin = math.degrees(pressure_angle_deviation(1.0, span_p, g.alpha_t)) * 60
        expect = "mean fHα of both flanks about 0"
        yield change("pressure_angle", -arcmin, one, "arcmin", expect, "profile_slope")
    if (one := found.get("lead")) is not None:
        angle = math.degrees(helix_angle_deviation(1.0, span_h, g.beta, g.alpha_t)) * 3600
        expect = "fHβ of both flanks alike in sign about 0"
        yield change("helix_angle", -angle, one, "arcsec", expect)
        twist = math.degrees(1 / (1000 * g.d_b / 2)) * 3600
        yield change("twist_over_face_width", -twist, one, "arcsec", expect, "helix_angle")
    if (one := found.get("taper")) is not None:
        expect = "fHβ of left and right flank no longer opposite"
        yield change("infeed_far_end", 1 / (1000 * sin), one, "mm", expect)
    yield from _by_flank(
        found, "profile_crowning", "profile_crowning_asymmetry", "profile_crowning", basis, "Cα as designed"
    )
    yield from _by_flank(
        found, "helix_crowning", "helix_crowning_asymmetry", "helix_crowning", basis, "Cβ as designed"
    )
    if (one := found.get("helix_crowning")) is not None and one.flank is None:
        yield change("infeed_ends", -1 / (1000 * sin), one, "mm", "Cβ as designed", "helix_crowning")
    if (one := found.get("eccentricity")) is not None and one.phase_deg is not None:
        turned = math.radians(one.phase_deg)
        for quantity, part in (("centre_0_deg", math.cos(turned)), ("centre_90_deg", math.sin(turned))):
            u = one.u_um
            yield Correction(
                quantity,
                None,
                -part * one.amplitude_um,
                "µm",
                u,
                FRACTION,
                basis,
                "Fr and Fp without first order",
            )


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
        yield Correction(quantity, flank, -total, "µm", u, FRACTION, basis, expect)

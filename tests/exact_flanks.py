"""Gears built as surfaces with the error in them, and what an instrument reads on them: exact involute
helicoids, cut by the base tangents of the nominal gear. Nothing of it comes from the program but the
drawing's numbers; angles clockwise from tooth 1 seen onto the datum face, z away from the viewer.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

from gearqa.model.measurement import GearMeasurement, PitchReadings, Trace

FLANKS = (("left", -1), ("right", 1))


@dataclass
class Errors:
    """What is wrong with a gear; micrometres, degrees."""

    eccentricity: tuple[float, float] = (0.0, 0.0)
    """Amplitude, direction."""
    tilt: tuple[float, float] = (0.0, 0.0)
    """Shift of the far face against the datum face, direction."""
    lobes: tuple[int, float, float] | None = None
    """Number, radial amplitude, direction of a crest."""
    tangential: tuple[float, float] = (0.0, 0.0)
    base_radius_um: dict[str, float] = field(default_factory=dict)
    """By flank: a wrong base radius is a wrong pressure angle."""
    helix_angle_arcsec: float = 0.0
    """Added to the helix angle, of the hand of the gear."""
    taper_um: float = 0.0
    """Both flanks of every tooth gain so much from the datum face to the far one."""
    index: dict[str, np.ndarray] = field(default_factory=dict)
    """Clockwise, by flank, on top of all. [um]"""
    ripple: tuple[str, int, float, float] | None = None
    """Flank, order, amplitude, direction of a crest of material."""
    helix_crowning_um: float = 0.0


@dataclass
class Nominal:
    """Numbers of the drawing."""

    z: int
    s: int
    H: int
    r: float
    r_b: float
    alpha: float
    lead: float
    """Turn of the flank along the face. [rad/mm]"""
    beta: float
    b: float


def nominal(part) -> Nominal:
    gear = part.gear
    beta = math.radians(gear.helix_angle_deg)
    alpha = math.atan(math.tan(math.radians(gear.normal_pressure_angle_deg)) / math.cos(beta))
    r = gear.teeth * gear.normal_module_mm / math.cos(beta) / 2
    H = {None: 0, "right": 1, "left": -1}[gear.helix_hand] if beta else 0
    s = 1 if gear.kind == "external" else -1
    return Nominal(
        gear.teeth, s, H, r, r * math.cos(alpha), alpha, H * math.tan(beta) / r, beta, gear.face_width_mm
    )  # fmt: skip


def _inv(alpha):
    return np.tan(alpha) - alpha


class Surface:
    """One flank of a tooth with all its errors: zero of `off` where a point lies on it."""

    def __init__(self, g: Nominal, errors: Errors, flank: str, f: int, tooth: int) -> None:
        self.g, self.e, self.flank, self.f, self.tooth = g, errors, flank, f, tooth
        centre = 2 * math.pi * (tooth - 1) / g.z
        at_r = centre + g.s * f * math.pi / 2 / g.z
        T, psi = errors.tangential
        moved = T * math.cos(at_r - math.radians(psi)) / 1000
        if flank in errors.index:
            moved += errors.index[flank][tooth - 1] / 1000
        self.r_b = g.r_b + errors.base_radius_um.get(flank, 0.0) / 1000
        # the wrong base circle keeps the tooth where it is at the reference circle
        self.start = at_r + moved / g.r + f * _inv(math.acos(self.r_b / g.r))
        wrong = g.beta + math.radians(errors.helix_angle_arcsec / 3600)
        self.lead = g.lead if not g.H else g.H * math.tan(wrong) / g.r

    def off(self, x, y, z):
        """Angle by which points lie clockwise of the flank. [rad]"""
        g, e = self.g, self.e
        (size, angle), (lean, towards) = e.eccentricity, e.tilt
        shift = np.array([math.cos(math.radians(angle)), math.sin(math.radians(angle))]) * size / 1000
        far = np.array([math.cos(math.radians(towards)), math.sin(math.radians(towards))]) * lean / 1000
        share = (z - g.b / 2) / g.b
        # a rigid turn lifts the face where it leans back
        z = z + (far[0] * x + far[1] * y) / g.b
        x, y = x - shift[0] - share * far[0], y - shift[1] - share * far[1]
        if e.lobes:
            n, A, crest = e.lobes
            phi, rho = np.arctan2(y, x), np.hypot(x, y)
            turned = n * (phi - math.radians(crest))
            u_r = A / 1000 * np.cos(turned)
            u_t = -A / 1000 / n * np.sin(turned) + (rho - g.r) * A / 1000 * (n - 1 / n) * np.sin(turned) / g.r
            x, y = x - u_r * np.cos(phi) + u_t * np.sin(phi), y - u_r * np.sin(phi) - u_t * np.cos(phi)
        rho = np.hypot(x, y)
        polar = self.start - self.f * _inv(np.arccos(self.r_b / rho)) + self.lead * (z - g.b / 2)
        return np.angle(np.exp(1j * (np.arctan2(y, x) - polar)))


def measured(surface: Surface, L, z):
    """Deviation along the base tangent of the nominal gear. [um]"""
    g, f = surface.g, surface.f
    true = Surface(g, Errors(), surface.flank, f, surface.tooth)
    angle = true.start - f * L / g.r_b + g.lead * (z - g.b / 2)
    sin, cos = np.sin(angle), np.cos(angle)

    def off(extra):
        length = f * (L + extra)
        return surface.off(g.r_b * cos - length * sin, g.r_b * sin + length * cos, z)

    low, high = np.zeros_like(L), np.full_like(L, 1e-3)
    at_low, at_high = off(low), off(high)
    for _ in range(6):
        change = at_high - at_low
        slope = np.divide(high - low, change, out=np.zeros_like(change), where=np.abs(change) > 1e-18)
        low, at_low, high = high, at_high, high - at_high * slope
        at_high = off(high)
    made = g.s * high * 1000
    e = surface.e
    made = made + e.taper_um * (z - g.b / 2) / g.b - 4 * e.helix_crowning_um * ((z - g.b / 2) / g.b) ** 2
    if e.ripple and e.ripple[0] == surface.flank:
        _, order, size, crest = e.ripple
        made = made + size * np.cos(order * (angle - math.radians(crest)))
    return made


def gear(
    part, errors: Errors, *, teeth=4, points=201, noise=0.0, rng=None, serial="1", profiles_at=(None,)
) -> GearMeasurement:
    """Profiles, helices and pitch of a gear as an instrument reads them."""
    g = nominal(part)
    rng = rng or np.random.default_rng(1)
    limits = part.evaluation.profile
    roll = [
        math.sqrt((d / 2) ** 2 - g.r_b**2) for d in (limits.control_diameter_mm, limits.tip_form_diameter_mm)
    ]
    tip = math.sqrt((part.gear.tip_diameter_mm / 2) ** 2 - g.r_b**2)
    low, high = min(*roll, tip), max(*roll, tip)
    L, face = np.linspace(low, high, points), np.linspace(0.0, g.b, points)
    middle = (roll[0] + roll[1]) / 2
    chosen = [1 + round(i * g.z / teeth) for i in range(teeth)]
    traces, pitch = [], {}
    for flank, f in FLANKS:
        surfaces = [Surface(g, errors, flank, f, tooth) for tooth in range(1, g.z + 1)]
        for tooth in chosen:
            one = surfaces[tooth - 1]
            rough = rng.normal(0, 0.2 * noise, 2)
            for at in profiles_at:
                y = measured(one, L, np.full_like(L, g.b / 2 if at is None else at))
                y = y + rough[0] * (L - L.mean()) / np.ptp(L) + rng.normal(0, 0.15 * noise, points)
                traces.append(Trace("profile", flank, tooth, L, y, at))
            y = measured(one, np.full_like(face, middle), face)
            y = y + rough[1] * (face - g.b / 2) / g.b + rng.normal(0, 0.15 * noise, points)
            traces.append(Trace("helix", flank, tooth, face, y))
        at_r = np.array([np.sqrt(g.r**2 - g.r_b**2)])
        delta = np.array([measured(one, at_r, np.array([g.b / 2]))[0] for one in surfaces])
        index = g.s * f * delta / math.cos(g.alpha) + rng.normal(0, 0.4 * noise, g.z)
        pitch[flank] = PitchReadings(flank, index)
    return GearMeasurement(serial, tuple(traces), pitch)

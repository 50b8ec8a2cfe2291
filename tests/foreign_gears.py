"""Gears of another hand: first-order deviations written down from plain geometry, measured in many ways.

Nothing of it comes from the program. Angles clockwise from tooth 1 seen onto the datum face, z away from
the viewer; a point of a base tangent at the angle theta_T has the transverse normal t = (-sin, cos) times
s f, so that a displacement d makes the deviation s f t.d (derived, textbook kinematics).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from gearqa.model.measurement import GearMeasurement, PitchReadings, RunoutReadings, Trace
from gearqa.model.part import Part

FLANKS = (("left", -1), ("right", 1))


@dataclass
class World:
    """How somebody builds and measures a gear."""

    kind: str = "internal"
    z: int = 87
    beta: float = 18.0
    hand: str = "right"
    m: float = 1.75
    b: float = 32.0
    teeth: int = 4
    points: int = 240
    tables: tuple[str, ...] = ("profile", "helix", "pitch", "runout")
    flanks: tuple[str, ...] = ("left", "right")
    noise: float = 1.0
    ar: float = 0.0
    """Correlation of neighbouring samples of the form noise."""
    rounded_um: float = 0.0
    neutral: float = 1.0
    """Diameter of the neutral fibre of a ring over the reference diameter."""
    profiles_at: tuple[float | None, ...] = (None,)
    crowning: tuple[float, float] = (0.0, 0.0)
    """Crowning of profile and helix by design."""


@dataclass
class Faults:
    """What is wrong; um and degrees. Names are those of components."""

    eccentricity: tuple[float, float] | None = None
    tilt: tuple[float, float] | None = None
    lobes: tuple[int, float, float] | None = None
    tangential: tuple[float, float] | None = None
    table: tuple[int, float, float] | None = None
    """Of the work table while flanks are generated: order, arc at the reference circle, direction. Each
    point has it as it stood when the base tangent through the point lay in the line of action."""
    pitch_ramp: tuple[int, float] | None = None
    """Tooth before which the index steps back, and the step."""
    wheel_thread: tuple[float, ...] | None = None
    pressure_angle: float = 0.0
    profile_asymmetry: float = 0.0
    lead: float = 0.0
    taper: float = 0.0
    profile_crowning: float = 0.0
    helix_crowning: float = 0.0
    s_shape: float = 0.0
    """Of both flanks."""
    twist: float = 0.0
    """Of both flanks."""
    ripple: tuple[int, float, float] | None = None
    """Of the left flank: order, amplitude, direction of a crest."""
    more: dict[str, Any] = field(default_factory=dict)


class Maker:
    """Drawing and gears of a world."""

    def __init__(self, world: World) -> None:
        w = self.w = world
        self.s = 1 if w.kind == "external" else -1
        beta = math.radians(w.beta)
        self.H = 0 if not w.beta else (1 if w.hand == "right" else -1)
        self.alpha = math.atan(math.tan(math.radians(20)) / math.cos(beta))
        self.r = w.z * w.m / math.cos(beta) / 2
        self.r_b = self.r * math.cos(self.alpha)
        self.tan_b = math.tan(beta) * math.cos(self.alpha)
        s = self.s
        radii = [self.r - s * 1.05 * w.m, self.r + s * 0.9 * w.m, self.r + s * w.m]
        radii[0] = max(radii[0], self.r_b + 0.05 * w.m) if s > 0 else radii[0]
        radii[1:] = radii[1:] if s > 0 else [max(one, self.r_b + 0.05 * w.m) for one in radii[1:]]
        self.control, self.form, self.tip = (math.sqrt(one**2 - self.r_b**2) for one in radii)
        gear = {
            "kind": w.kind, "teeth": w.z, "normal_module_mm": w.m, "normal_pressure_angle_deg": 20.0,
            "helix_angle_deg": w.beta, "face_width_mm": w.b, "tip_diameter_mm": 2 * radii[2],
        }  # fmt: skip
        if w.beta:
            gear["helix_hand"] = w.hand
        limits = {"control_diameter_mm": 2 * radii[0], "tip_form_diameter_mm": 2 * radii[1]}
        self.part = Part.model_validate(
            {
                "schema": "gearqa.part/1",
                "part": {"number": "F-1"},
                "gear": gear,
                "evaluation": {"profile": limits},
                "design": {
                    "profile": {"crowning_um": w.crowning[0]},
                    "helix": {"crowning_um": w.crowning[1]},
                },
                "tolerance": {"standard": "ISO 1328-1:2013", "class": 6},
            }
        )
        self.end = self.control + 0.95 * (self.form - self.control)
        self.margin = min(0.05 * w.b, w.m)

    def deviation(self, faults: Faults, flank: str, f: int, tooth, L, z):
        """Deviation at points. [um]"""
        w, s = self.w, self.s
        theta = 2 * math.pi * (tooth - 1) / w.z + s * f * math.pi / 2 / w.z
        theta_T = theta - f * self.alpha + f * math.tan(self.alpha) - f * L / self.r_b
        theta_T = theta_T + self.H * (z - w.b / 2) * self.tan_b / self.r_b
        t = -np.sin(theta_T), np.cos(theta_T)
        x = self.r_b * np.cos(theta_T) - f * L * np.sin(theta_T)
        y = self.r_b * np.sin(theta_T) + f * L * np.cos(theta_T)
        off = np.zeros(np.broadcast(theta_T, L, z).shape)
        arc = np.zeros_like(off)
        if faults.eccentricity:
            e, phi = faults.eccentricity[0], math.radians(faults.eccentricity[1])
            off = off + s * f * e * (t[0] * math.cos(phi) + t[1] * math.sin(phi))
        if faults.tilt:
            lean, phi = faults.tilt[0], math.radians(faults.tilt[1])
            d = lean * math.cos(phi), lean * math.sin(phi)
            off = off + s * f * (t[0] * d[0] + t[1] * d[1]) * (z - w.b / 2) / w.b
            off = off + s * f * self.H * self.tan_b * (d[0] * x + d[1] * y) / w.b
        if faults.lobes:
            n, A, crest = faults.lobes
            phi, rho, R = np.arctan2(y, x), np.hypot(x, y), self.r * w.neutral
            turned = n * (phi - math.radians(crest))
            u_r, u_t = (
                A * np.cos(turned),
                -A / n * np.sin(turned) + (rho - R) * A * (n - 1 / n) / R * np.sin(turned),
            )
            ux, uy = u_r * np.cos(phi) - u_t * np.sin(phi), u_r * np.sin(phi) + u_t * np.cos(phi)
            off = off + s * f * (t[0] * ux + t[1] * uy)
        if faults.tangential:
            T, psi = faults.tangential
            arc = arc + T * np.cos(theta - math.radians(psi))
        if faults.table:
            n, T, psi = faults.table
            arc = arc + T * np.cos(n * (theta_T + f * self.alpha - math.radians(psi)))
        if faults.pitch_ramp:
            first, step = faults.pitch_ramp
            arc = arc + step * (((tooth - first) % w.z) / w.z)
        if faults.wheel_thread:
            pattern = np.array(faults.wheel_thread)
            arc = arc + pattern[(np.asarray(tooth) - 1) % len(pattern)]
        off = off + s * f * math.cos(self.alpha) * arc
        u = (L - (self.control + self.end) / 2) / (self.end - self.control)
        full_u = (L - (self.control + self.end) / 2) / (self.tip - self.control)
        v = (z - w.b / 2) / (w.b - 2 * self.margin)
        full_v = (z - w.b / 2) / w.b
        off = off + (faults.pressure_angle + f * faults.profile_asymmetry) * full_u
        off = off + (faults.taper + s * f * (self.H or 1) * faults.lead) * full_v
        off = off - 4 * (faults.profile_crowning + w.crowning[0]) * u**2
        off = off - 4 * (faults.helix_crowning + w.crowning[1]) * v**2
        off = off + faults.twist * u * v
        cubic = 20 * u**3 - 3 * u
        off = off + faults.s_shape * cubic / 2
        if faults.ripple and flank == "left":
            k, A, crest = faults.ripple
            off = off + A * np.cos(k * (theta_T - math.radians(crest)))
        return off

    def _noise(self, rng, n):
        white = rng.normal(0, 0.15 * self.w.noise, n + 200)
        if self.w.ar:
            from scipy.signal import lfilter

            white = lfilter([math.sqrt(1 - self.w.ar**2) * 1.5], [1, -self.w.ar], white)
        return white[200:]

    def gear(self, faults: Faults, rng, serial="1") -> GearMeasurement:
        """What the instrument reads."""
        w = self.w

        def told(y):
            return np.round(y / w.rounded_um) * w.rounded_um if w.rounded_um else y

        chosen = np.arange(1, w.z + 1) if w.teeth >= w.z else 1 + np.arange(w.teeth) * w.z // w.teeth
        traces, pitch, index = [], {}, {}
        low, high = sorted((self.control, self.form))
        L, z = np.linspace(low, high, w.points), np.linspace(0.0, w.b, w.points)
        middle = (self.control + self.end) / 2
        at_r = self.r_b * math.tan(self.alpha)
        scatter = 0.25 * w.noise
        for flank, f in FLANKS:
            every = np.arange(1, w.z + 1)
            arc = self.s * f * self.deviation(faults, flank, f, every, at_r, w.b / 2) / math.cos(self.alpha)
            index[flank] = arc + rng.normal(0, 0.5 * w.noise, w.z)
            if flank not in w.flanks:
                continue
            for tooth in map(int, chosen):
                own = rng.normal(0, scatter, 4)
                if "profile" in w.tables:
                    for at in w.profiles_at:
                        y = self.deviation(faults, flank, f, tooth, L, w.b / 2 if at is None else at)
                        y = y + own[0] * (L - middle) / (high - low) + own[1] * 0.4
                        traces.append(
                            Trace("profile", flank, tooth, L, told(y + self._noise(rng, len(L))), at)
                        )
                if "helix" in w.tables:
                    y = self.deviation(faults, flank, f, tooth, middle, z)
                    y = y + own[2] * (z - w.b / 2) / w.b + own[3] * 0.4
                    traces.append(Trace("helix", flank, tooth, z, told(y + self._noise(rng, len(z)))))
            if "pitch" in w.tables:
                pitch[flank] = PitchReadings(flank, told(index[flank] - index[flank][0]))
        runout = None
        if "runout" in w.tables:
            eta, s = math.pi / 2 / w.z, self.s
            left, right = index["left"], index["right"]
            wider = np.roll(left, -1) - right if s > 0 else np.roll(right, -1) - left
            radial = -s * wider * math.cos(self.alpha) / (2 * math.sin(self.alpha + s * eta))
            runout = RunoutReadings(told(radial + rng.normal(0, 0.3 * w.noise, w.z)))
        return GearMeasurement(serial, tuple(traces), pitch, runout)

"""Counts right, withheld and wrong explanations over seeded reports, and prints the table.

    python tests/benchmarks/incoming_proof.py [--reports 520] [--null 400] [--seed 1] [--show]

Gears, second measurements and the evaluation of the laboratory are made here, with nothing of gearqa but
the types of its inputs: surfaces as sums of crowning, slope, waves and roughness; a filter as a matrix of
local lines; the distortions written out once more. A report is right if exactly the distortions are named
that move its values by more than 0.055 um, wrong if any other is, else withheld. `--null`: reports without
distortion, in which every explanation is a false one.
"""

from __future__ import annotations

import argparse
import itertools
import math
import sys
from collections import Counter
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from gearqa.evaluation.evaluate import evaluate
from gearqa.incoming.compare import compare_report
from gearqa.incoming.sides import MeasuredGears
from gearqa.model.incoming import ReportedTable, ReportedValue
from gearqa.model.measurement import GearMeasurement, InputFile, PitchReadings, RunoutReadings, Trace
from gearqa.model.part import Part

POINTS = 241
TEETH = 4
FLANKS = ("left", "right")

#           kind, z, m_n, beta in deg, hand, b, tip, root form, tip form
PARTS: dict[str, tuple[Any, ...]] = {
    "internal helical": ("internal", 87, 1.75, 18.0, "right", 32.0, 156.7, 163.4, 157.0),
    "external helical": ("external", 31, 2.5, 22.0, "left", 28.0, 88.4, 79.8, 88.0),
    "external spur": ("external", 25, 2.0, 0.0, None, 18.0, 54.0, 47.6, 53.6),
    "internal spur": ("internal", 72, 2.0, 0.0, None, 25.0, 140.2, 147.2, 140.5),
}
DISTORTIONS: dict[str, dict[str, Any]] = {
    "span": {"span": "evaluation"},
    "share 92": {"share": 0.92},
    "share 100": {"share": 1.0},
    "zone": {"zone": False},
    "no filter": {"cutoff": None},
    "half cutoff": {"cutoff": 0.5},
    "twice cutoff": {"cutoff": 2.0},
    "diameter": {"diameter": True},
    "helix whole": {"helix_less": "none"},
    "helix 10 %": {"helix_less": "tenth"},
    "normal plane": {"plane": 1},
    "tables normal": {"plane": -1},
    "profile sign": {"profile_sign": -1},
    "helix sign": {"helix": "reversed"},
    "by angle": {"helix": "angle"},
    "swapped": {"swapped": True},
    "pitch runout": {"pitch_runout": True},
    "rounded 1": {"rounding": 1.0},
    "rounded 0.5": {"rounding": 0.5},
    "reversed": {"reversed": True},
    "shift": {"shift": True},
    "in order": {"in_order": True},
}
NUMBERING = {"reversed", "shift", "in order"}
SETTING = {
    "span": "slope_span", "share": "profile_range", "zone": "tip_zone", "cutoff": "filter",
    "diameter": "profile_axis", "helix_less": "helix_range", "plane": "plane",
    "profile_sign": "profile_sign", "helix": "helix_sign", "swapped": "flanks", "reversed": "tooth_direction",
    "shift": "tooth_start", "in_order": "tooth_numbers", "pitch_runout": "runout_from",
    "rounding": "rounding",
}  # fmt: skip
TO = {
    ("span", "evaluation"): "evaluation", ("share", 0.92): "92 %", ("share", 1.0): "100 %",
    ("zone", False): "not counted", ("cutoff", None): "off", ("cutoff", 0.5): "cutoff x 0.5",
    ("cutoff", 2.0): "cutoff x 2", ("helix_less", "none"): "whole face width",
    ("helix_less", "tenth"): "10 % less at each end", ("plane", 1): "normal",
    ("helix", "reversed"): "plus towards the datum face", ("helix", "angle"): "by helix angle",
}  # fmt: skip
PLAIN: dict[str, Any] = {
    "span": "full", "share": 0.95, "zone": True, "cutoff": 1.0, "diameter": False, "helix_less": "iso",
    "plane": 0, "profile_sign": 1, "helix": "raw", "swapped": False, "pitch_runout": False, "rounding": None,
    "reversed": False, "shift": False, "in_order": False,
}  # fmt: skip


# --- the drawing ---------------------------------------------------------------------------------------


@cache
def drawing(name: str) -> Part:
    kind, z, m_n, beta, hand, b, tip, root_form, tip_form = PARTS[name]
    gear = {
        "kind": kind, "teeth": z, "normal_module_mm": m_n, "normal_pressure_angle_deg": 20.0,
        "helix_angle_deg": beta, "face_width_mm": b, "tip_diameter_mm": tip,
    }  # fmt: skip
    if hand:
        gear["helix_hand"] = hand
    return Part.model_validate(
        {
            "schema": "gearqa.part/1",
            "part": {"number": "OT-9"},
            "gear": gear,
            "evaluation": {"profile": {"control_diameter_mm": root_form, "tip_form_diameter_mm": tip_form}},
            "tolerance": {"class": 7},
        }
    )


class Numbers:
    """Geometry by ISO 21771, written out once more."""

    def __init__(self, name: str) -> None:
        kind, self.z, self.m_n, beta_deg, hand, self.b, tip, root_form, tip_form = PARTS[name]
        beta, alpha_n = math.radians(beta_deg), math.radians(20.0)
        alpha_t = math.atan(math.tan(alpha_n) / math.cos(beta))
        self.alpha_t, self.s = alpha_t, 1 if kind == "external" else -1
        self.H = -1 if hand == "left" else 1
        self.d_b = self.z * self.m_n / math.cos(beta) * math.cos(alpha_t)
        self.cos_beta_b = math.sqrt(1 - (math.sin(beta) * math.cos(alpha_n)) ** 2)
        self.root, self.tip_form, self.tip = (self.roll(d) for d in (root_form, tip_form, tip))
        step = self.z // TEETH
        self.teeth = [1 + i * step for i in range(TEETH - 1)] + [1 + (TEETH - 1) * step - 1]
        over = 0.35 * self.m_n * (1 if self.tip > self.root else -1) / 4
        self.roll_points = np.linspace(self.root - over, self.tip, POINTS)
        if self.s < 0:
            self.roll_points = self.roll_points[::-1]
        self.face_points = np.linspace(0.0, self.b, POINTS)

    def roll(self, d: float) -> float:
        return math.sqrt(d * d - self.d_b**2) / 2


# --- gears ---------------------------------------------------------------------------------------------


def made(rng: np.random.Generator, name: str, count: int) -> list[dict[str, Any]]:
    """Gears: profile and helix surfaces by flank and tooth, index and ball readings."""
    g = Numbers(name)
    common = {(k, f): rng.normal(0, 2.5) for k in ("profile", "helix") for f in FLANKS}
    crown = {k: rng.uniform(0.3, 2.5) for k in ("profile", "helix")}
    gears = []
    for _ in range(count):
        own: dict[str, Any] = {"traces": {}}
        mean = {place: level + rng.normal(0, 0.7) for place, level in common.items()}
        for kind, x in (("profile", g.roll_points), ("helix", g.face_points)):
            ends = (g.root, g.tip) if kind == "profile" else (0.0, g.b)
            t = (x - ends[0]) / (ends[1] - ends[0]) - 0.5
            for flank in FLANKS:
                for tooth in g.teeth:
                    slope = mean[kind, flank] + rng.normal(0, 0.6)
                    y = slope * t - crown[kind] * 4 * t**2
                    for waves in (1.5, 3.0, 6.0, 14.0):
                        y = y + rng.normal(0, 0.9 / waves**0.7) * np.sin(
                            2 * np.pi * (waves * t + rng.random())
                        )
                    y = y + np.where(t > 0.42, rng.uniform(-2, 6) * (t - 0.42) / 0.08, 0.0)
                    own["traces"][kind, flank, tooth] = y + rng.normal(0, 0.12, len(x))
        phi, e = rng.uniform(0, 2 * np.pi), rng.uniform(1, 7)
        theta = 2 * np.pi * np.arange(g.z) / g.z
        jaws = rng.normal(0, 1.2) * np.cos(3 * theta + rng.uniform(0, 6))
        for flank, sign in (("right", 1), ("left", -1)):
            wobble = e * np.sin(phi - theta + sign * g.alpha_t) / math.cos(g.alpha_t)
            own[flank] = wobble + jaws + rng.normal(0, 1.0, g.z)
        own["radial"] = runout_of(own, g) + rng.normal(0, 0.8, g.z)
        gears.append(own)
    return gears


def runout_of(gear: dict[str, Any], g: Numbers) -> np.ndarray:
    left, right = gear["left"], gear["right"]
    wide = np.roll(left, -1) - right if g.s > 0 else np.roll(right, -1) - left
    eta = math.pi / 2 / g.z
    return np.asarray(-g.s * wide * math.cos(g.alpha_t) / (2 * math.sin(g.alpha_t + g.s * eta)))


def again(rng: np.random.Generator, gear: dict[str, Any], g: Numbers, noise: float) -> dict[str, Any]:
    """The same gear on another instrument: every trace with a slope, a bend and a wave of its own."""
    if not noise:
        return gear
    other: dict[str, Any] = {"traces": {}}
    for (kind, flank, tooth), y in gear["traces"].items():
        t = np.linspace(-0.5, 0.5, len(y))
        wrong = rng.normal(0, noise) * t + rng.normal(0, noise / 2) * np.cos(
            2 * np.pi * (2 * t + rng.random())
        )
        other["traces"][kind, flank, tooth] = y + wrong + rng.normal(0, noise / 2, len(y))
    for flank in FLANKS:
        other[flank] = gear[flank] + rng.normal(0, noise / 2, g.z)
    other["radial"] = gear["radial"] + rng.normal(0, noise / 2, g.z)
    return other


def measurement(serial: str, gear: dict[str, Any], g: Numbers) -> GearMeasurement:
    points = {"profile": g.roll_points, "helix": g.face_points}
    traces = tuple(Trace(k, f, t, points[k], y) for (k, f, t), y in gear["traces"].items())
    pitch = {f: PitchReadings(f, gear[f]) for f in FLANKS}
    return GearMeasurement(serial, traces, pitch, RunoutReadings(gear["radial"]))


# --- the laboratory ------------------------------------------------------------------------------------


@cache
def filter_matrix(points: tuple[float, ...], cutoff: float) -> np.ndarray:
    """Local straight lines, weighted by a Gaussian and by each point's share of length."""
    x = np.array(points)
    share = np.gradient(x)
    share[[0, -1]] = np.abs(np.diff(x))[[0, -1]] / 2
    a = math.sqrt(math.log(2) / math.pi)
    far = (x[None, :] - x[:, None]) / (a * cutoff)
    w = np.exp(-math.pi * far**2) * np.abs(share)
    u = x[None, :] - x[:, None]
    s0, s1, s2 = (np.sum(w * u**k, axis=1, keepdims=True) for k in range(3))
    return np.asarray(w * (s2 - s1 * u) / (s0 * s2 - s1**2))


def evaluated(
    x: np.ndarray, y: np.ndarray, ends: tuple[float, float], full: tuple[float, float], zone: float | None,
    cutoff: float | None,
) -> dict[str, float]:  # fmt: skip
    """Total, form, slope over the range and over the full span of one trace."""
    if cutoff is not None:
        y = filter_matrix(tuple(x.tolist()), cutoff) @ y

    def piece(low: float, high: float) -> tuple[np.ndarray, np.ndarray]:
        inside = x[(x > low + 1e-12) & (x < high - 1e-12)]
        at = np.concatenate([[low], inside, [high]])
        return at, np.interp(at, x, y)

    at, u = piece(min(ends), max(ends))
    weight = np.gradient(at)
    step = np.diff(at)
    weight = np.concatenate([[step[0]], step[:-1] + step[1:], [step[-1]]]) / 2
    centre = np.sum(weight * at) / weight.sum()
    level = np.sum(weight * u) / weight.sum()
    rise = np.sum(weight * (at - centre) * u) / np.sum(weight * (at - centre) ** 2)
    left = u - level - rise * (at - centre)
    top, top_form = u.max(), left.max()
    if zone is not None and abs(zone - ends[1]) > 1e-9:
        far, v = piece(min(ends[1], zone), max(ends[1], zone))
        top = max(top, v.max())
        top_form = max(top_form, (v - level - rise * (far - centre)).max())
    return {
        "total": float(top - u.min()), "form": float(top_form - left.min()),
        "slope": float(rise * (ends[1] - ends[0])), "full": float(rise * (full[1] - full[0])),
    }  # fmt: skip


def laboratory(gear: dict[str, Any], g: Numbers, lab: dict[str, Any], by_tooth: bool) -> dict[Any, float]:
    """(parameter, flank, tooth) -> what the laboratory reports of one gear."""
    values: dict[Any, float] = {}
    for kind in ("profile", "helix"):
        found = {}
        for (k, flank, tooth), y in gear["traces"].items():
            if k == kind:
                found[flank, tooth] = one_trace(kind, flank, y, g, lab)
        for what in ("total", "form", "slope"):
            for flank in FLANKS:
                named = other(flank) if lab["swapped"] else flank
                of = {tooth: v[what] for (f, tooth), v in found.items() if f == flank}
                key = f"{kind}_{what}"
                if by_tooth:
                    values.update({(key, named, number(t, g, lab)): v for t, v in of.items()})
                else:
                    values[key, named, None] = max(of.values(), key=abs)
    for flank in FLANKS:
        named = other(flank) if lab["swapped"] else flank
        index = gear[flank]
        values["single_pitch", named, None] = float(np.abs(index - np.roll(index, 1)).max())
        values["cumulative_pitch", named, None] = float(np.ptp(index))
    radial = runout_of(gear, g) if lab["pitch_runout"] else gear["radial"]
    values["runout", None, None] = float(np.ptp(radial))
    return values


def one_trace(kind: str, flank: str, y: np.ndarray, g: Numbers, lab: dict[str, Any]) -> dict[str, float]:
    def scaled(length: float) -> float | None:
        return None if lab["cutoff"] is None else lab["cutoff"] * max(abs(length) / 30, 0.05)

    if kind == "profile":
        end = g.root + lab["share"] * (g.tip_form - g.root)
        cutoff = scaled(end - g.root)

        def at(v: Any) -> Any:
            return np.sqrt(g.d_b**2 + 4 * np.square(v)) if lab["diameter"] else v

        if cutoff is not None:
            cutoff *= abs(at(end) - at(g.root)) / abs(end - g.root)
        zone = at(g.tip_form) if lab["zone"] else None
        ends = (at(g.root), at(end))
        found = evaluated(at(g.roll_points), y, ends, (at(g.root), at(g.tip)), zone, cutoff)
        sign = lab["profile_sign"]
    else:
        less = {"iso": min(0.05 * g.b, g.m_n), "none": 0.0, "tenth": 0.1 * g.b}[lab["helix_less"]]
        ends = (less, g.b - less)
        found = evaluated(g.face_points, y, ends, (0.0, g.b), None, scaled(ends[1] - ends[0]))
        sign = {
            "raw": 1, "reversed": -1, "angle": g.s * g.H * (1 if flank == "right" else -1),
        }[lab["helix"]]  # fmt: skip
    scale = g.cos_beta_b ** lab["plane"]
    slope = found["full" if lab["span"] == "full" else "slope"] * sign
    return {"total": found["total"] * scale, "form": found["form"] * scale, "slope": slope * scale}


def other(flank: str) -> str:
    return "left" if flank == "right" else "right"


def number(tooth: int, g: Numbers, lab: dict[str, Any]) -> int:
    """Their number of a tooth of ours."""
    if lab["in_order"]:
        return g.teeth.index(tooth) + 1
    if lab["shift"]:
        tooth = (tooth - g.teeth[1]) % g.z + 1
    return (1 - tooth) % g.z + 1 if lab["reversed"] else tooth


# --- reports -------------------------------------------------------------------------------------------


def labs() -> list[tuple[str, ...]]:
    pairs = [
        (a, b)
        for a, b in itertools.combinations(DISTORTIONS, 2)
        if set(DISTORTIONS[a]) != set(DISTORTIONS[b])
    ]
    pairs = [p for p in pairs if len(NUMBERING & set(p)) < 2]
    return [(), *((name,) for name in DISTORTIONS), *pairs]


def one_report(seed: int, names: tuple[str, ...], noise: float, bias: float) -> tuple[str, dict[str, Any]]:
    """The outcome of one report: right, withheld, wrong, or invisible; and what was seen."""
    rng = np.random.default_rng(seed)
    part_name = list(PARTS)[rng.integers(len(PARTS))]
    count = int(rng.choice([1, 2, 3, 5, 10]))
    by_tooth = bool(NUMBERING & set(names)) or rng.random() < 0.15
    decimals = int(rng.choice([1, 2]))
    g, part = Numbers(part_name), drawing(part_name)
    lab = PLAIN | {k: v for name in names for k, v in DISTORTIONS[name].items()}
    gears = made(rng, part_name, count)
    ours = [measurement(f"RG-{i + 1:04d}", gear, g) for i, gear in enumerate(gears)]
    second = [again(rng, gear, g, noise) for gear in gears]
    biases = {key: rng.normal(0, bias) if bias else 0.0 for key in
              ("profile_total", "profile_form", "profile_slope", "helix_total", "helix_form", "helix_slope",
               "single_pitch", "cumulative_pitch", "runout")}  # fmt: skip

    def written(settings: dict[str, Any]) -> dict[Any, float]:
        out = {}
        for place, gear in enumerate(second):
            for key, value in laboratory(gear, g, settings, by_tooth).items():
                one = value + biases[key[0]]
                if settings["rounding"]:
                    step = settings["rounding"]
                    one = math.copysign(math.floor(abs(one) / step + 0.5) * step, one)
                out[place, *key] = one if key[0].endswith("slope") else max(one, 0.0)
        return out

    values = written(lab)
    visible = {
        name for name in lab if lab[name] != PLAIN[name] and moves(values, written(lab | {name: PLAIN[name]}))
    }
    rows = tuple(
        ReportedValue(
            f"RG-{place + 1:04d}", key, round(v, decimals), flank, tooth, None, None, "", None, None, None,
            0 if lab["rounding"] == 1 else 1 if lab["rounding"] else decimals, line,
        )
        for line, ((place, key, flank, tooth), v) in enumerate(values.items(), 2)
    )  # fmt: skip
    results = tuple(evaluate(ours, part))
    table = ReportedTable(InputFile("report.csv", "0" * 64), rows, (), False)
    outcome = compare_report(table, part, ours=MeasuredGears(tuple(ours), results)).explained.result
    real = {name for name in lab if lab[name] != PLAIN[name]}
    told = {(c.setting, c.to) for c in outcome.shared}
    true = {(SETTING[n], TO.get((n, lab[n]))) for n in real}

    def is_true(one: tuple[str, str]) -> bool:
        return one in true or (one[0], None) in true

    seen = {
        "names": names,
        "part": part_name,
        "gears": count,
        "by_tooth": by_tooth,
        "noise": noise,
        "bias": bias,
        "told": told,
        "visible": visible,
        "reason": outcome.reason,
        "n": outcome.n,
        "before": outcome.rms_before_um,
    }
    if not all(is_true(one) for one in told):
        return "wrong", seen
    wanted = {SETTING[name] for name in visible}
    found = {one[0] for one in told}
    if wanted <= found:
        return ("right" if wanted else "nothing to see"), seen
    return ("part" if found else "withheld"), seen


def moves(one: dict[Any, float], two: dict[Any, float]) -> bool:
    """Whether a distortion is there to be seen; where teeth get other names it is."""
    if set(one) != set(two):
        return True
    return max(abs(one[key] - two[key]) for key in one) > 0.055


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--reports", type=int, default=520)
    parser.add_argument("--null", type=int, default=400)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--show", action="store_true", help="print every report that is wrong or withheld")
    given = parser.parse_args()
    rng = np.random.default_rng(given.seed)
    cases = labs()
    table: dict[str, Counter[str]] = {}
    worlds = [(0.0, 0.0), (0.15, 0.0), (0.0, 0.5), (0.15, 0.5)]
    for run in range(given.reports + given.null):
        names = () if run >= given.reports else cases[run % len(cases)]
        noise, bias = worlds[run % 4]
        result, seen = one_report(int(rng.integers(2**62)), names, noise, bias)
        kind = ("none", "alone", "pair")[len(names)]
        name = f"{kind}, noise {noise:g}, bias {bias:g}"
        table.setdefault(name, Counter())[result] += 1
        if len(names) == 1:
            table.setdefault(f"  {names[0]}", Counter())[result] += 1
        if result == "wrong" or (given.show and result in {"withheld", "part"}):
            print(result, run, seen, flush=True)
    heads = ("right", "part", "withheld", "wrong", "nothing to see")
    print(f"{'':34}" + "".join(f"{head:>15}" for head in heads))
    for name in sorted(table, key=lambda key: (key.startswith(" "), key)):
        print(f"{name:34}" + "".join(f"{table[name][head]:15}" for head in heads))
    total = sum((c for name, c in table.items() if not name.startswith(" ")), Counter())
    print(f"{'all':34}" + "".join(f"{total[head]:15}" for head in heads))


if __name__ == "__main__":
    main()

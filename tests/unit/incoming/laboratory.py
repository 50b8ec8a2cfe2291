"""A laboratory with settings of its own, evaluating traces in plain loops: what it would report.

Shares nothing with the engine that explains reports: profiles go through the plain evaluation of the core
tests, helices through the public evaluation with a changed part file, the rest is done by hand here.
"""

from __future__ import annotations

import math
import tempfile
from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path

from unit.core import plain_evaluation as plain

from gearqa.evaluation.evaluate import evaluate
from gearqa.model.incoming import ReportedTable, ReportedValue
from gearqa.model.measurement import GearMeasurement, InputFile
from gearqa.model.part import Part
from gearqa.reading.folder.passes import read_folder
from gearqa.simulate import write_folder

SAMPLES = Path(__file__).parents[3] / "sample_measurements"
FAMILIES = ("total", "form", "slope")


@dataclass(frozen=True)
class Lab:
    """Settings of a laboratory; defaults are those of the drawing."""

    span: str = "full"
    share: float = 0.95
    cutoff: float | None = 1.0
    zone: bool = True
    diameter: bool = False
    plane: float = 0.0
    """Power of cos(beta_b) that profile and helix deviations carry."""
    profile_sign: int = 1
    helix: str = "raw"
    swapped: bool = False
    reversed: bool = False
    shift: int = 0
    runout_from_pitch: bool = False
    rounding: float | None = None
    basis: str = "worst"


HELICAL_PINION = {
    "helix_angle_deg = 0.0": 'helix_angle_deg = 20.0\nhelix_hand = "left"',
    "\ntip_diameter_mm = 64.0": "\ntip_diameter_mm = 67.0",
    "root_diameter_mm = 52.75": "root_diameter_mm = 55.5",
    "control_diameter_mm = 55.6": "control_diameter_mm = 58.6",
    "tip_form_diameter_mm = 63.6": "tip_form_diameter_mm = 66.6",
    "tip_relief_um = 6.0": "tip_relief_um = 0.0",
}
"""What makes the spur pinion of the samples a helical one without tip relief."""


@cache
def folder_of(name: str) -> Path:
    """A sample folder, or the helical pinion, simulated anew."""
    if name != "helical_pinion":
        return SAMPLES / name
    place = Path(tempfile.mkdtemp())
    drawing = (SAMPLES / "scenarios/pinion_part.toml").read_text(encoding="utf-8")
    for old, new in HELICAL_PINION.items():
        assert old in drawing
        drawing = drawing.replace(old, new)
    before, master = drawing.partition("[tolerance.limits_um]")[0], drawing.partition("[master_quality]")[2]
    drawing = f"{before}[master_quality]{master}"
    (place / "pinion_part.toml").write_text(drawing, encoding="utf-8")
    scenario = (SAMPLES / "scenarios/pinion.toml").read_text(encoding="utf-8")
    scenario = scenario.replace("profile_slope_um = -1.8", "profile_slope_um = 2.4").replace(
        "parts = 4", "parts = 3"
    )
    (place / "pinion.toml").write_text(scenario, encoding="utf-8")
    write_folder(place / "lot", place / "pinion.toml")
    return place / "lot"


@cache
def sample(name: str, count: int) -> tuple[Part, tuple[GearMeasurement, ...]]:
    with read_folder(folder_of(name)) as inspection:
        return inspection.part, tuple(gear for _, gear in zip(range(count), inspection, strict=False))


def numbers(part: Part) -> dict[str, float]:
    """Diameters and angles by the formulas of ISO 21771, written out once more."""
    gear = part.gear
    beta = math.radians(gear.helix_angle_deg)
    alpha_t = math.atan(math.tan(math.radians(gear.normal_pressure_angle_deg)) / math.cos(beta))
    d = gear.teeth * gear.module_mm / math.cos(beta)
    beta_b = math.asin(math.sin(beta) * math.cos(math.radians(gear.normal_pressure_angle_deg)))
    return {"d_b": d * math.cos(alpha_t), "beta_b": beta_b}


def roll(diameter: float, d_b: float) -> float:
    return math.sqrt(diameter**2 - d_b**2) / 2


@cache
def profile_values(name: str, count: int, share: float, cutoff: float | None, zone: bool, diameter: bool):
    """(gear, flank, tooth) -> total, form, slope over the range, slope over the full span."""
    part, gears = sample(name, count)
    d_b = numbers(part)["d_b"]
    limits, design = part.evaluation.profile, part.design.profile
    start, form = roll(limits.control_diameter_mm, d_b), roll(limits.tip_form_diameter_mm, d_b)
    end = start + share * (form - start)
    tip = roll(part.gear.tip_diameter_mm, d_b)
    wavelength = None if cutoff is None else cutoff * max(abs(end - start) / 30, 0.05)

    def at(length: float) -> float:
        return math.sqrt(d_b**2 + 4 * length**2) if diameter else length

    if wavelength is not None and diameter:
        wavelength *= abs(at(end) - at(start)) / abs(end - start)
    reliefs = [
        (design.tip_relief_um, at(design.tip_relief_start_roll_length_mm), at(form)),
        (design.root_relief_um, at(design.root_relief_start_roll_length_mm), at(start)),
    ]
    case = plain.Case(
        at(start), at(end), at(start), at(tip), at(form) if zone else None, wavelength,
        design.crowning_um, design.slope_um, [r for r in reliefs if r[0]],
    )  # fmt: skip
    found = {}
    for gear in gears:
        for trace in gear.traces:
            if trace.kind == "profile":
                x = [at(v) for v in trace.position_mm.tolist()]
                values = plain.evaluate(case, x, trace.deviation_um.tolist())
                found[gear.serial, trace.flank, trace.tooth] = values
    return found


def helix_values(part: Part, gears: Iterable[GearMeasurement], cutoff: float | None):
    filtering = part.evaluation.filter.model_copy(update={"enabled": False})
    if cutoff is not None:
        b = part.gear.face_width_mm
        length = b - 2 * min(0.05 * b, part.gear.module_mm)
        filtering = part.evaluation.filter.model_copy(
            update={"helix_cutoff_mm": cutoff * max(length / 30, 0.05)}
        )
    changed = part.model_copy(update={"evaluation": part.evaluation.model_copy(update={"filter": filtering})})
    return {
        (result.serial, t.flank, t.tooth): {
            "total": t.total_um, "form": t.form_um,
            "slope": t.slope_evaluation_um, "slope_full": t.slope_full_um,
        }
        for result in evaluate(gears, changed) for t in result.traces if t.kind == "helix"
    }  # fmt: skip


def report(  # noqa: PLR0912
    name: str, lab: Lab, *, gears: int = 3, decimals: int = 2, by_tooth: bool = False, noise=None
) -> ReportedTable:
    """What a laboratory would report on the first gears of a sample folder."""
    part, measured = sample(name, gears)
    cos_beta_b = math.cos(numbers(part)["beta_b"])
    sign = 1 if part.gear.kind == "external" else -1
    hand = -1 if part.gear.helix_hand == "left" else 1
    kinds = {
        "profile": profile_values(name, gears, lab.share, lab.cutoff, lab.zone, lab.diameter),
        "helix": helix_values(part, measured, lab.cutoff),
    }
    rows: list[tuple[str, str, str | None, int | None, float]] = []
    for gear, result in zip(measured, evaluate(measured, part), strict=True):
        for kind, traces in kinds.items():
            for what in FAMILIES:
                column = "slope_full" if what == "slope" and lab.span == "full" else what
                flanks: dict[str, dict[int, float]] = {"left": {}, "right": {}}
                for (serial, flank, tooth), values in traces.items():
                    if serial != gear.serial:
                        continue
                    value = values[column] * cos_beta_b**lab.plane
                    if what == "slope":
                        if kind == "profile":
                            value *= lab.profile_sign
                        elif lab.helix == "reversed":
                            value *= -1
                        elif lab.helix == "angle":
                            value *= sign * (1 if flank == "right" else -1) * hand
                    named = {"left": "right", "right": "left"}[flank] if lab.swapped else flank
                    flanks[named][tooth] = value
                for flank, teeth in flanks.items():
                    if by_tooth:
                        z = part.gear.teeth
                        for tooth, value in teeth.items():
                            theirs = (tooth - lab.shift - 1) % z + 1
                            theirs = (2 - theirs - 1) % z + 1 if lab.reversed else theirs
                            rows.append((gear.serial, f"{kind}_{what}", flank, theirs, value))
                        continue
                    some = list(teeth.values())
                    value = max(some, key=abs) if lab.basis == "worst" else sum(some) / len(some)
                    rows.append((gear.serial, f"{kind}_{what}", flank, None, value))
        for key in ("single_pitch", "cumulative_pitch"):
            for flank in ("left", "right"):
                source = {"left": "right", "right": "left"}[flank] if lab.swapped else flank
                rows.append((gear.serial, key, flank, None, result.parameters[key].flanks[source].value_um))
        without = [replace(gear, runout=None)] if lab.runout_from_pitch else [gear]
        (again,) = evaluate(without, part)
        rows.append((gear.serial, "runout", None, None, again.parameters["runout"].value_um))
    values = []
    for line, (serial, key, flank, tooth, found) in enumerate(rows, 2):
        value = found
        if lab.rounding is not None:
            value = math.copysign(math.floor(abs(value) / lab.rounding + 0.5) * lab.rounding, value)
        if noise is not None:
            value += noise.standard_normal() * 0.1
        place = (serial, key, round(value, decimals), flank, tooth)
        values.append(ReportedValue(*place, None, None, "", None, None, None, decimals, line))
    return ReportedTable(InputFile("report.csv", "0" * 64), tuple(values), (), False)

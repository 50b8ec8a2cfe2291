"""The drawing in words: the gear, what is required of it, how it is evaluated."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from gearqa.model.curves import GearCurves
from gearqa.model.part import FlankTolerance, Part
from gearqa.report.grading import gear_figures
from gearqa.symbols import symbol_of
from gearqa.wording.numbers import allowed_text, count_text, number_text

NO_BREAK = "\u00a0"
"""A blank at which no line ends: between a symbol and its value."""


def gear_words(part: Part) -> str:
    """The gear's data in one line."""
    gear = part.gear
    angle = gear.helix_angle_deg
    helix = f"β {number_text(angle)}° {gear.helix_hand}" if angle else "spur"
    shift = gear.profile_shift_coefficient
    words = [
        gear.kind, f"z {gear.teeth}", f"mn {number_text(gear.module_mm)} mm",
        f"αn {number_text(gear.normal_pressure_angle_deg)}°", helix,
        f"b {number_text(gear.face_width_mm)} mm", f"x {number_text(shift, signed=True)}" if shift else "",
    ]  # fmt: skip
    return ", ".join(word.replace(" ", NO_BREAK) for word in words if word)


def evaluation_words(part: Part, curves: GearCurves | None) -> str:
    """How traces and pitch were evaluated: ranges, filter, slopes, plane, design."""
    settings = part.evaluation
    words = []
    traces = {one.kind: one for one in reversed(curves.traces)} if curves is not None else {}
    if "profile" in traces:
        words.append(f"profile {gear_figures.profile_range(traces['profile'], part)}")
    if "helix" in traces:
        words.append(f"helix {gear_figures.helix_range(traces['helix'])}")
    if settings.filter.enabled:
        cutoffs = (
            ("profile", settings.filter.profile_cutoff_mm), ("helix", settings.filter.helix_cutoff_mm),
        )  # fmt: skip
        given = [f"{kind} {number_text(value)} mm" for kind, value in cutoffs if value is not None]
        default = "1/30 of the evaluation length, at least 0.05 mm"
        cutoff = ", ".join(given) + (f", else {default}" if len(given) == 1 else "") if given else default
        words.append(f"Gaussian filter, cutoff {cutoff}")
    else:
        words.append("no filter")
    full = part.slope_span == "full"
    span = "control to tip diameter and whole face width" if full else "the evaluation length"
    words.append(f"slopes over {span}")
    words.append(f"deviations as given in the {settings.deviation_plane} plane")
    if settings.pitch.measuring_diameter_mm is not None:
        words.append(f"pitch measured at diameter {number_text(settings.pitch.measuring_diameter_mm)} mm")
    design = [
        *_design_words("profile", part.design.profile.model_dump()),
        *_design_words("helix", part.design.helix.model_dump()),
    ]
    words.append(f"design: {', '.join(design)}" if design else "design: unmodified flanks")
    return "; ".join(words)


def _design_words(kind: str, values: Mapping[str, Any]) -> list[str]:
    names = {
        "crowning_um": "crowning", "slope_um": "slope", "tip_relief_um": "tip relief",
        "root_relief_um": "root relief",
    }  # fmt: skip
    words = [f"{kind} {names[key]} {number_text(values[key])} µm" for key in names if values.get(key)]
    return [*words, f"{kind} by points"] if values.get("points") else words


def required_words(part: Part) -> str:
    """Class required, and what differs from it: by parameter, by flank, limits of the drawing."""
    tolerance = part.tolerance
    words = [*_required(tolerance)]
    for flank, own in (("left", tolerance.left), ("right", tolerance.right)):
        words += [f"{flank}: {text}" for text in _required(own)]
    kinds = [kind for kind in ("profile", "helix") if getattr(tolerance.curve, kind) is not None]
    if kinds:
        words.append(f"limit curves of {' and '.join(kinds)}")
    zones = part.tolerance.zone
    if counting := sum(zone.required for zone in zones):
        words.append(count_text(counting, "zone"))
    if told := len(zones) - counting:
        words.append(f"{count_text(told, 'zone')} for information")
    return "; ".join(words)


def _required(table: FlankTolerance) -> Iterator[str]:
    if table.class_ is not None:
        yield f"class {table.class_}"
    for key, class_ in table.classes.items():
        if key not in table.limits_um:
            yield f"{symbol_of(key)} class {class_}"
    for key, limits in table.limits_um.items():
        yield f"{symbol_of(key)} limits {allowed_text(key, None, limits)} µm"

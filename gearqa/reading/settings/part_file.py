"""Read `part.toml` and check it: each key by the schema, and the keys against each other.

What makes the file unusable is a Problem; what a reader of the results must know is a Notice.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from gearqa.core.geometry import GearGeometry, roll_length
from gearqa.errors import Notice, NoticeCode, PartFileError, Problem, Reason
from gearqa.evaluation.part_geometry import drawn_geometry
from gearqa.model.part import Design, Evaluation, FlankTolerance, Gear, Part, ProfileRange, Tolerance
from gearqa.reading.settings.toml_file import TomlFile, read_toml, table_as_far_as_known
from gearqa.symbols import FLANKS, PARAMETERS

_SAME_MM = 1e-9


def read_part(path: Path | str, *, name: str | None = None) -> Part:
    """Read a part file.

    Parameters
    ----------
    path : path
        The TOML file.
    name : str, optional
        How messages call it; its file name by default.

    Raises
    ------
    PartFileError
        With all problems, of single keys and between keys.
    """
    file = read_toml(path, Part, name=name)
    problems = [*file.problems, *_cross_checks(file)]
    if problems or file.model is None:
        raise PartFileError(sorted(problems, key=lambda p: (p.line is None, p.line or 0)))
    return file.model


def part_notices(part: Part) -> tuple[Notice, ...]:
    """What a valid part file leaves open or makes doubtful, for whoever reads the results."""
    gear = part.gear
    geometry = drawn_geometry(gear)
    return (
        *_hand_notices(gear),
        *_slope_span_notices(part),
        *_diameter_notices(gear, part.evaluation, geometry),
        *_cutoff_notices(part, geometry),
        *_limit_notices(part.tolerance),
        *_size_notices(part, geometry),
    )


def part_json_schema() -> dict[str, Any]:
    """JSON Schema of `part.toml`, with descriptions and units."""
    return with_units(
        Part.model_json_schema(by_alias=True),
        "gearqa part file",
        "The drawing of one part number (part.toml).",
    )


_UNITS = {"_mm": "mm", "_deg": "degree", "_um": "micrometre", "_pitch": "1/inch"}


def with_units(schema: dict[str, Any], title: str, description: str) -> dict[str, Any]:
    """Add dialect, title, and the unit that a key's suffix states, to a JSON Schema."""

    def add(node: Any) -> None:
        if isinstance(node, dict):
            for key, entry in node.get("properties", {}).items():
                unit = next((u for suffix, u in _UNITS.items() if key.endswith(suffix)), None)
                if unit and isinstance(entry, dict):
                    entry["unit"] = unit
            for value in node.values():
                add(value)
        elif isinstance(node, list):
            for value in node:
                add(value)

    head = {"$schema": "https://json-schema.org/draft/2020-12/schema"}
    result = {**head, **schema, "title": title, "description": description}
    add(result)
    return result


# --- between keys: problems ------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Sheet:
    """What of a part file is valid on its own: as much as can be checked against each other."""

    file: TomlFile[Part]
    gear: Gear
    geometry: GearGeometry
    evaluation: Evaluation | None
    design: Design | None

    @property
    def s(self) -> int:
        """+1 external, -1 internal: diameters times s grow towards the tip."""
        return self.geometry.s

    def problem(self, key: str, value: float, expected: str, **more: Any) -> Problem:
        more.setdefault("reason", Reason.VALUE_OUT_OF_RANGE)
        return self.file.problem(key, f"{value:.12g}", expected, **more)


def _cross_checks(file: TomlFile[Part]) -> Iterator[Problem]:
    document = file.document
    gear = file.model.gear if file.model else table_as_far_as_known(document.get("gear"), Gear)
    if gear is None:
        return
    sheet = _Sheet(
        file, gear, drawn_geometry(gear),
        table_as_far_as_known(document.get("evaluation", {}), Evaluation),
        table_as_far_as_known(document.get("design", {}), Design),
    )  # fmt: skip
    yield from _scope_problems(sheet)
    if gear.helix_angle_deg > 45:
        return
    yield from _diameter_problems(sheet)
    if sheet.evaluation is not None:
        yield from _range_problems(sheet, sheet.evaluation)
        if sheet.design is not None:
            yield from _relief_problems(sheet, sheet.evaluation.profile, sheet.design)


_SCOPE_KEYS = {
    "z": "teeth",
    "m_n": "normal_module_mm",
    "d": "teeth",
    "b": "face_width_mm",
    "beta": "helix_angle_deg",
}


def _scope_problems(sheet: _Sheet) -> Iterator[Problem]:
    from gearqa.standards.iso1328_1_2013.scope import violations

    gear, geometry = sheet.gear, sheet.geometry
    for error in violations(
        z=geometry.z, m_n=geometry.m_n, d=geometry.d, b=geometry.b, beta_deg=gear.helix_angle_deg
    ):
        key = _SCOPE_KEYS[error.symbol]
        if key == "normal_module_mm" and gear.normal_module_mm is None:
            key = "normal_diametral_pitch"
        yield sheet.file.problem(
            f"gear.{key}", f"{error.symbol} = {error.value:.12g}", f"{error.low:g} to {error.high:g}",
            reason=Reason.OUT_OF_SCOPE, hint=f"outside {error.clause}, which is not extrapolated",
        )  # fmt: skip


def _diameter_problems(sheet: _Sheet) -> Iterator[Problem]:
    gear, base, s = sheet.gear, sheet.geometry.d_b, sheet.s
    tip, root = gear.tip_diameter_mm, gear.root_diameter_mm
    side = "larger" if s > 0 else "smaller"
    if tip is not None and tip < base:
        yield sheet.problem(
            "gear.tip_diameter_mm",
            tip,
            f"at least the base diameter {base:.4f}",
            reason=Reason.BELOW_BASE_CIRCLE,
        )
    if tip is not None and root is not None and s * (tip - root) <= 0:
        yield sheet.problem(
            "gear.tip_diameter_mm", tip, f"{side} than root_diameter_mm = {root:g} on an {gear.kind} gear",
            reason=Reason.CONTRADICTION,
        )  # fmt: skip
    if sheet.evaluation is None:
        return
    limits = {
        "evaluation.profile.control_diameter_mm": sheet.evaluation.profile.control_diameter_mm,
        "evaluation.profile.tip_form_diameter_mm": sheet.evaluation.profile.tip_form_diameter_mm,
        "evaluation.pitch.measuring_diameter_mm": sheet.evaluation.pitch.measuring_diameter_mm,
    }
    for key, value in limits.items():
        if value is None:
            continue
        if value < base:
            yield sheet.problem(
                key, value, f"at least the base diameter {base:.4f}", reason=Reason.BELOW_BASE_CIRCLE
            )
        elif tip is not None and s * (value - tip) > _SAME_MM:
            yield sheet.problem(key, value, f"not beyond the tip, tip_diameter_mm = {tip:g}")
        elif root is not None and s * (root - value) > _SAME_MM:
            yield sheet.problem(key, value, f"not beyond the root, root_diameter_mm = {root:g}")
    control, form = list(limits.values())[:2]
    if control is not None and form is not None and s * (form - control) <= 0:
        yield sheet.problem(
            "evaluation.profile.tip_form_diameter_mm", form,
            f"{side} than control_diameter_mm = {control:g} on an {gear.kind} gear",
            reason=Reason.CONTRADICTION,
        )  # fmt: skip


def _range_problems(sheet: _Sheet, evaluation: Evaluation) -> Iterator[Problem]:
    start, end = evaluation.profile.start_roll_length_mm, evaluation.profile.end_roll_length_mm
    s, gear, base = sheet.s, sheet.gear, sheet.geometry.d_b
    if start is not None and end is not None:
        if s * (end - start) <= 0:
            word = "more" if s > 0 else "less"
            yield sheet.problem(
                "evaluation.profile.end_roll_length_mm", end,
                f"{word} than start_roll_length_mm = {start:g}: on an {gear.kind} gear roll length "
                f"{'grows' if s > 0 else 'falls'} towards the tip",
                reason=Reason.CONTRADICTION, hint="start is the root side, end the tip side",
            )  # fmt: skip
        else:
            for key, value in (("start", start), ("end", end)):
                for side, limit in (("tip", gear.tip_diameter_mm), ("root", gear.root_diameter_mm)):
                    sign = s if side == "tip" else -s
                    if limit is None or limit < base:
                        continue
                    roll = roll_length(limit, base)
                    if sign * (value - roll) > 1e-3:  # drawings round roll lengths
                        yield sheet.problem(
                            f"evaluation.profile.{key}_roll_length_mm", value,
                            f"not beyond the {side}, whose roll length is {roll:.4f}",
                        )  # fmt: skip
    width = gear.face_width_mm
    for key in ("start_face_position_mm", "end_face_position_mm"):
        value = getattr(evaluation.helix, key)
        if value is not None and not -_SAME_MM <= value <= width + _SAME_MM:
            yield sheet.problem(f"evaluation.helix.{key}", value, f"0 to face_width_mm = {width:g}")


def _relief_problems(sheet: _Sheet, limits: ProfileRange, design: Design) -> Iterator[Problem]:
    for end in ("tip", "root"):
        key = f"design.profile.{end}_relief_start_roll_length_mm"
        if getattr(design.profile, f"{end}_relief_um") <= 0:
            continue
        value = getattr(design.profile, f"{end}_relief_start_roll_length_mm")
        ends = relief_ends(limits, sheet.geometry)
        if ends is None:
            continue  # the reader asks for limits where there are profile traces, and says what was measured
        here, there = ends if end == "tip" else ends[::-1]
        if not math.isfinite(here + there):
            continue  # a limit below the base circle is told already
        if not min(ends) - 1e-6 <= value <= max(ends) + 1e-6 or abs(value - there) < 1e-6:
            yield sheet.problem(
                key, value,
                f"a roll length from {here:.4f} to short of {there:.4f}, where the {end} relief ends",
            )  # fmt: skip


def relief_ends(limits: ProfileRange, geometry: GearGeometry) -> tuple[float, float] | None:
    """Roll lengths at which root relief and tip relief end, None where not given. [mm]"""

    def end(diameter: float | None, roll: float | None) -> float | None:
        return roll if diameter is None else roll_length(diameter, geometry.d_b)

    root = end(limits.control_diameter_mm, limits.start_roll_length_mm)
    tip = end(limits.tip_form_diameter_mm, limits.end_roll_length_mm)
    return None if root is None or tip is None else (root, tip)


def profile_ends(limits: ProfileRange, geometry: GearGeometry) -> tuple[float, float] | None:
    """Roll lengths of the root-side and tip-side limit of the profile, None where not given. [mm]"""
    base = geometry.d_b
    if limits.start_roll_length_mm is not None and limits.end_roll_length_mm is not None:
        return limits.start_roll_length_mm, limits.end_roll_length_mm
    if limits.control_diameter_mm is None or limits.tip_form_diameter_mm is None:
        return None
    return roll_length(limits.control_diameter_mm, base), roll_length(limits.tip_form_diameter_mm, base)


# --- between keys: notices ---------------------------------------------------------------------------


def _hand_notices(gear: Gear) -> Iterator[Notice]:
    if gear.helix_angle_deg == 0 and gear.helix_hand is not None:
        yield Notice(NoticeCode.HELIX_HAND_OF_SPUR_GEAR, "gear.helix_hand is ignored: the helix angle is 0")


def _slope_span_notices(part: Part) -> Iterator[Notice]:
    limits = part.evaluation.profile
    given = limits.explicit or limits.control_diameter_mm is not None
    if part.gear.tip_diameter_mm is None and part.evaluation.slope_span == "full" and given:
        form = limits.tip_form_diameter_mm
        instead = f"the tip form diameter {form:g} mm" if form is not None else "the end of the range"
        yield Notice(
            NoticeCode.TIP_DIAMETER_MISSING,
            f"gear.tip_diameter_mm is not given: the profile slope over the full span is taken to {instead}",
        )


def _diameter_notices(gear: Gear, evaluation: Evaluation, geometry: GearGeometry) -> Iterator[Notice]:
    reach = 5 * geometry.m_n
    shifted = geometry.d + 2 * geometry.s * geometry.x * geometry.m_n
    for word, value in (("tip", gear.tip_diameter_mm), ("root", gear.root_diameter_mm)):
        if value is None:
            continue
        if abs(value - shifted) > reach:
            yield Notice(
                NoticeCode.DIAMETER_FAR_FROM_REFERENCE,
                f"gear.{word}_diameter_mm = {value:g} is far from the reference diameter "
                f"{geometry.d:.3f} mm: check teeth, module and helix angle",
            )
    measured = evaluation.pitch.measuring_diameter_mm
    if measured is not None and abs(measured - geometry.d) > reach:
        yield Notice(
            NoticeCode.DIAMETER_FAR_FROM_REFERENCE,
            f"evaluation.pitch.measuring_diameter_mm = {measured:g} is far from the reference diameter "
            f"{geometry.d:.3f} mm",
        )


def _cutoff_notices(part: Part, geometry: GearGeometry) -> Iterator[Notice]:
    ends = profile_ends(part.evaluation.profile, geometry)
    lengths: Mapping[str, float | None] = {
        "profile": abs(ends[1] - ends[0]) if ends else None,
        "helix": part.gear.face_width_mm,
    }
    for kind, length in lengths.items():
        cutoff = getattr(part.evaluation.filter, f"{kind}_cutoff_mm")
        if cutoff is not None and length is not None and cutoff > length / 3:
            yield Notice(
                NoticeCode.LONG_CUTOFF,
                f"evaluation.filter.{kind}_cutoff_mm = {cutoff:g} is more than a third of the range of "
                f"{length:.3g} mm: hardly any form deviation will be left",
            )


def _limit_notices(tolerance: Tolerance) -> Iterator[Notice]:
    tables = {"tolerance": tolerance, "tolerance.left": tolerance.left, "tolerance.right": tolerance.right}
    for flank in FLANKS:
        own = tolerance.for_flank(flank)
        if flank not in tolerance.flanks and own != FlankTolerance():
            yield Notice(
                NoticeCode.FLANK_TABLE_WITHOUT_EFFECT,
                f"tolerance.{flank} has no effect: the {flank} flank is not graded (tolerance.flanks)",
            )
    for where, table in tables.items():
        for key, (low, _) in table.limits_um.items():
            if low < 0 and not PARAMETERS[key].signed:
                yield Notice(
                    NoticeCode.LOWER_LIMIT_WITHOUT_EFFECT,
                    f"{where}.limits_um.{key}: the lower limit {low:g} has no effect, the value is never "
                    "negative",
                )


def _size_notices(part: Part, geometry: GearGeometry) -> Iterator[Notice]:
    size = part.tolerance.size
    if size is None:
        return
    m_n, d = geometry.m_n, geometry.d
    if size.upper_mm - size.lower_mm > m_n:
        yield Notice(
            NoticeCode.SIZE_LIMITS_WIDE,
            f"tolerance.size: the limits lie more than one module ({m_n:g} mm) apart",
        )
    middle = (size.lower_mm + size.upper_mm) / 2
    if size.method == "span":
        if size.teeth_spanned is not None:
            involute = math.tan(geometry.alpha_t) - geometry.alpha_t
            nominal = m_n * math.cos(geometry.alpha_n) * (
                (size.teeth_spanned - 0.5) * math.pi + geometry.z * involute
            ) + 2 * geometry.x * m_n * math.sin(geometry.alpha_n)  # fmt: skip
            if abs(middle - nominal) > m_n:
                yield Notice(
                    NoticeCode.SIZE_FAR_FROM_NOMINAL,
                    f"tolerance.size: {middle:g} mm over {size.teeth_spanned} teeth, but the geometry gives "
                    f"{nominal:.3f} mm",
                )
        return
    pin = size.pin_diameter_mm
    assert pin is not None
    if not 0.8 <= pin / m_n <= 3.5:
        yield Notice(
            NoticeCode.PIN_DIAMETER_UNUSUAL,
            f"tolerance.size.pin_diameter_mm = {pin:g} is {pin / m_n:.2g} modules; 1.4 to 2.2 are usual",
        )
    # a ball that touches near the reference circle lies within a few modules of it
    around = d + geometry.s * (pin + 2 * geometry.x * m_n)
    if abs(middle - around) > 4 * m_n + pin:
        yield Notice(
            NoticeCode.SIZE_FAR_FROM_NOMINAL,
            f"tolerance.size: {middle:g} mm is far from the {around:.1f} mm that a ball of {pin:g} mm "
            "gives about",
        )

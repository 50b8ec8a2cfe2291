"""Read `part.toml` and check it: each key by the schema, and the keys against each other."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from gearqa.core.geometry import GearGeometry, roll_length
from gearqa.errors import Problem, Reason
from gearqa.evaluation.criteria import rows_of, untold
from gearqa.evaluation.part_geometry import drawn_geometry
from gearqa.late_dataclass import dataclass
from gearqa.model.editions import EDITIONS, EditionRules
from gearqa.model.part import Design, Evaluation, Gear, MasterQuality, Part, ProfileRange, Tolerance
from gearqa.reading.settings.curve_points import point_problems
from gearqa.reading.settings.toml_faults import table_as_far_as_known
from gearqa.reading.settings.toml_file import M, TomlFile, read_toml
from gearqa.standards import DEFAULT_STANDARD, PACKAGES, standard
from gearqa.wording.numbers import fixed_text, short_text


def read_part(path: Path | str, *, name: str | None = None) -> Part:
    """Read a part file; `name` is how messages call it, its file name by default.

    Raises
    ------
    PartFileError
        With all problems, of single keys and between keys.
    """
    file = read_toml(path, Part, name=name)
    return file.checked(part_problems(file))


def part_json_schema() -> dict[str, Any]:
    """JSON Schema of `part.toml`, with descriptions and units."""
    from gearqa.reading.settings.input_schemas import with_units

    return with_units(
        Part.model_json_schema(by_alias=True),
        "gearqa part file",
        "The drawing of one part number (part.toml).",
    )


_SAME_MM = 1e-9


@dataclass(frozen=True, slots=True)
class _Sheet:
    """The tables of a part file that are valid, to be checked against each other."""

    file: TomlFile[Part]
    gear: Gear
    geometry: GearGeometry
    evaluation: Evaluation | None
    design: Design | None
    standard: str

    @property
    def s(self) -> int:
        """+1 external, -1 internal: diameters times s grow towards the tip."""
        return self.geometry.s

    def problem(self, key: str, value: float, expected: str, **more: Any) -> Problem:
        more.setdefault("reason", Reason.VALUE_OUT_OF_RANGE)
        return self.file.problem(key, short_text(value, 12), expected, **more)


def part_problems(file: TomlFile[Part]) -> Iterator[Problem]:
    """Faults between the keys of a part file, as far as its single keys are valid."""
    gear = _known(file, "gear", Gear)
    if gear is None:
        return
    sheet = _Sheet(
        file, gear, drawn_geometry(gear), _known(file, "evaluation", Evaluation),
        _known(file, "design", Design), _standard_of(file.document),
    )  # fmt: skip
    outside = [*_scope_problems(sheet), *_class_problems(file, EDITIONS[sheet.standard])]
    yield from outside
    if gear.helix_angle_deg > 45:
        return
    if file.model is not None and not outside:
        for asked in untold(file.model, rows_of(file.model)):
            yield file.problem(asked.key, asked.text, asked.hint, reason=Reason.OUT_OF_SCOPE)
    yield from _diameter_problems(sheet)
    if sheet.evaluation is not None:
        yield from _range_problems(sheet, sheet.evaluation)
        if sheet.design is not None:
            yield from _relief_problems(sheet, sheet.evaluation.profile, sheet.design)
    yield from point_problems(file, gear, sheet.geometry)


def _known(file: TomlFile[Part], key: str, model: type[M]) -> M | None:
    """A table of the file, as far as it is valid."""
    if file.model is not None:
        found: M = getattr(file.model, key)
        return found
    return table_as_far_as_known(file.document.get(key, {}), model)


def _class_problems(file: TomlFile[Part], rules: EditionRules) -> Iterator[Problem]:
    """Classes that the named system does not have, and what it asks to be said."""
    tolerance = _known(file, "tolerance", Tolerance)
    master = _known(file, "master_quality", MasterQuality)
    asked: list[tuple[str, int | None]] = []
    if master is not None:
        asked.append(("master_quality.class", master.class_))
    if tolerance is not None:
        for name, table in (("", tolerance), ("left.", tolerance.left), ("right.", tolerance.right)):
            asked.append((f"tolerance.{name}class", table.class_))
            asked += [(f"tolerance.{name}classes.{key}", grade) for key, grade in table.classes.items()]
    for key, grade in asked:
        if grade is not None and not rules.first_class <= grade <= rules.last_class:
            expected = f"{rules.first_class} to {rules.last_class}, a {rules.word} of {rules.title}"
            yield file.problem(key, str(grade), expected, reason=Reason.VALUE_OUT_OF_RANGE)
    if not rules.steps_by_root_2 and (master is None or "class_" not in master.model_fields_set):
        expected = f"the {rules.word} of {rules.title} that counts as master quality on this job"
        yield file.problem("master_quality.class", "none", expected, reason=Reason.MISSING_KEY)


def _standard_of(document: Mapping[str, Any]) -> str:
    """The standard that the file names, the usual one where that is no word of a file that can be read."""
    tolerance = document.get("tolerance")
    title = tolerance.get("standard") if isinstance(tolerance, dict) else None
    return title if isinstance(title, str) and title in PACKAGES else DEFAULT_STANDARD


_SCOPE_KEYS = {
    "z": "teeth",
    "m_n": "normal_module_mm",
    "d": "teeth",
    "b": "face_width_mm",
    "beta": "helix_angle_deg",
}


def _scope_problems(sheet: _Sheet) -> Iterator[Problem]:
    gear, geometry = sheet.gear, sheet.geometry
    title = sheet.standard
    for error in standard(title).violations(
        z=geometry.z, m_n=geometry.m_n, d=geometry.d, b=geometry.b, beta_deg=gear.helix_angle_deg
    ):
        key = _SCOPE_KEYS[error.symbol]
        if key == "normal_module_mm" and gear.normal_module_mm is None:
            key = "normal_diametral_pitch"
        yield sheet.file.problem(
            f"gear.{key}", f"{error.symbol} = {short_text(error.value, 12)}",
            f"{short_text(error.low)} to {short_text(error.high)}",
            reason=Reason.OUT_OF_SCOPE, hint=f"outside {error.clause}, which is not extrapolated",
        )  # fmt: skip


def _diameter_problems(sheet: _Sheet) -> Iterator[Problem]:
    gear, base, s = sheet.gear, sheet.geometry.d_b, sheet.s
    tip, root = gear.tip_diameter_mm, gear.root_diameter_mm
    side = "larger" if s > 0 else "smaller"

    def below_base(key: str, value: float) -> Problem:
        expected = f"at least the base diameter {fixed_text(base, 4)}"
        return sheet.problem(key, value, expected, reason=Reason.BELOW_BASE_CIRCLE)

    if tip is not None and tip < base:
        yield below_base("gear.tip_diameter_mm", tip)
    if tip is not None and root is not None and s * (tip - root) <= 0:
        yield sheet.problem(
            "gear.tip_diameter_mm", tip,
            f"{side} than root_diameter_mm = {short_text(root)} on an {gear.kind} gear",
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
            yield below_base(key, value)
        elif tip is not None and s * (value - tip) > _SAME_MM:
            yield sheet.problem(key, value, f"not beyond the tip, tip_diameter_mm = {short_text(tip)}")
        elif root is not None and s * (root - value) > _SAME_MM:
            yield sheet.problem(key, value, f"not beyond the root, root_diameter_mm = {short_text(root)}")
    control, form = list(limits.values())[:2]
    if control is not None and form is not None and s * (form - control) <= 0:
        yield sheet.problem(
            "evaluation.profile.tip_form_diameter_mm", form,
            f"{side} than control_diameter_mm = {short_text(control)} on an {gear.kind} gear",
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
                f"{word} than start_roll_length_mm = {short_text(start)}: on an {gear.kind} gear roll length "
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
                            f"not beyond the {side}, whose roll length is {fixed_text(roll, 4)}",
                        )  # fmt: skip
    width = gear.face_width_mm
    for key in ("start_face_position_mm", "end_face_position_mm"):
        value = getattr(evaluation.helix, key)
        if value is not None and not -_SAME_MM <= value <= width + _SAME_MM:
            yield sheet.problem(f"evaluation.helix.{key}", value, f"0 to face_width_mm = {short_text(width)}")


def _relief_problems(sheet: _Sheet, limits: ProfileRange, design: Design) -> Iterator[Problem]:
    for end in ("tip", "root"):
        key = f"design.profile.{end}_relief_start_roll_length_mm"
        if getattr(design.profile, f"{end}_relief_um") <= 0:
            continue
        value = getattr(design.profile, f"{end}_relief_start_roll_length_mm")
        ends = _relief_ends(limits, sheet.geometry)
        if ends is None:
            continue  # the reader asks for limits where there are profile traces, and says what was measured
        here, there = ends if end == "tip" else ends[::-1]
        if not math.isfinite(here + there):
            continue  # a limit below the base circle: reported already
        if not min(ends) - 1e-6 <= value <= max(ends) + 1e-6 or abs(value - there) < 1e-6:
            yield sheet.problem(
                key, value,
                f"a roll length from {fixed_text(here, 4)} to short of {fixed_text(there, 4)}, "
                f"where the {end} relief ends",
            )  # fmt: skip


def _relief_ends(limits: ProfileRange, geometry: GearGeometry) -> tuple[float, float] | None:
    """Roll lengths at which root relief and tip relief end, None where not given. [mm]"""

    def end(diameter: float | None, roll: float | None) -> float | None:
        return roll if diameter is None else roll_length(diameter, geometry.d_b)

    root = end(limits.control_diameter_mm, limits.start_roll_length_mm)
    tip = end(limits.tip_form_diameter_mm, limits.end_roll_length_mm)
    return None if root is None or tip is None else (root, tip)

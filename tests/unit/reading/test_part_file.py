"""part.toml: every key unknown, mistyped and out of range; keys against each other; notices; schema."""

from __future__ import annotations

import math
import tomllib
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from gearqa.errors import PartFileError, Problem, Reason
from gearqa.model.part import Part
from gearqa.reading.settings.allowed_values import allowed_types, model_keys
from gearqa.reading.settings.part_file import part_json_schema, read_part
from gearqa.reading.settings.part_notices import part_notices
from gearqa.symbols import DEFAULT_GRADED

RING = """\
schema = "gearqa.part/1"

[part]
number = "OT-4471"
name = "Planet carrier ring, orchard tractor final drive"
revision = "C"

[gear]
kind = "internal"
teeth = 87
normal_module_mm = 1.75
normal_pressure_angle_deg = 20.0
helix_angle_deg = 18.0
helix_hand = "right"
face_width_mm = 32.0
profile_shift_coefficient = 0.0
tip_diameter_mm = 156.7
root_diameter_mm = 164.9

[evaluation.profile]
control_diameter_mm = 163.4
tip_form_diameter_mm = 157.0
[evaluation]
deviation_plane = "transverse"
slope_span = "full"

[design.profile]
crowning_um = 2.0
tip_relief_um = 3.0
tip_relief_start_roll_length_mm = 26.0
[design.helix]
crowning_um = 1.0

[tolerance]
standard = "ISO 1328-1:2013"
class = 6
flanks = ["left", "right"]
[tolerance.classes]
cumulative_pitch = 5
sector_pitch = 7
[tolerance.limits_um]
profile_slope = [-6.0, 4.0]
helix_slope = 8
helix_form = 7.5
[tolerance.left]
class = 7

[tolerance.size]
method = "balls"
pin_diameter_mm = 3.0
lower_mm = 156.10
upper_mm = 156.16

[master_quality]
class = 4

[uncertainty_um]
profile_slope = 0.7
[uncertainty_um.CMM-2]
profile_slope = 0.9
"""

# external helical pinion with a gear of its own to check the other side of every rule
PINION = """\
schema = "gearqa.part/1"
[part]
number = "OT-12"
[gear]
kind = "external"
teeth = 24
normal_module_mm = 2.5
normal_pressure_angle_deg = 20.0
helix_angle_deg = 0
face_width_mm = 22.0
tip_diameter_mm = 65.0
root_diameter_mm = 53.8
[evaluation.profile]
control_diameter_mm = 57.0
tip_form_diameter_mm = 64.6
[tolerance]
class = 5
"""


CONTRADICTION, RANGE = Reason.CONTRADICTION, Reason.VALUE_OUT_OF_RANGE


def write(tmp_path: Path, text: str) -> Path:
    path = tmp_path / "part.toml"
    path.write_text(text, encoding="utf-8")
    return path


def read(tmp_path: Path, text: str) -> Part:
    return read_part(write(tmp_path, text))


def problems(tmp_path: Path, text: str) -> tuple[Problem, ...]:
    with pytest.raises(PartFileError) as caught:
        read(tmp_path, text)
    return caught.value.problems


def changed(text: str, *changes: tuple[str, str]) -> str:
    for old, new in changes:
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    return text


def set_key(text: str, key: str, value: str | None) -> str:
    """The text with one dotted key set to a TOML literal, or without it."""
    table, _, name = key.rpartition(".")
    lines, found, header = text.split("\n"), False, ""
    result = []
    for line in lines:
        if line.startswith("["):
            header = line.strip("[] ")
        if header == table and line.partition(" = ")[0] == name:
            found = True
            if value is not None:
                result.append(f"{name} = {value}")
            continue
        result.append(line)
    if not found and value is not None:
        if not table:
            return "\n".join([f"{name} = {value}", *result])
        if f"[{table}]" not in text:
            result += [f"[{table}]", f"{name} = {value}"]
        else:
            result.insert(result.index(f"[{table}]") + 1, f"{name} = {value}")
    return "\n".join(result)


def test_the_ring_reads_as_written(tmp_path: Path) -> None:
    part = read(tmp_path, RING)
    assert (part.gear.teeth, part.gear.kind, part.gear.module_mm) == (87, "internal", 1.75)
    assert part.tolerance.parameters == DEFAULT_GRADED
    assert part.tolerance.limits_for("helix_slope", "left") == (-8.0, 8.0)
    assert part.tolerance.limits_for("helix_form", "left") == (0.0, 7.5)
    assert part.tolerance.limits_for("profile_slope", None) == (-6.0, 4.0)
    assert part.tolerance.class_for("helix_total", "left") == 7
    assert part.tolerance.class_for("helix_total", "right") == 6
    assert part.tolerance.class_for("cumulative_pitch", "left") == 5
    assert "sector_pitch" in part.tolerance.required
    assert part.uncertainty("profile_slope") == 0.7
    assert part.uncertainty("profile_slope", "CMM-2") == 0.9
    assert part_notices(part) == ()


def test_a_short_part_file_has_the_defaults(tmp_path: Path) -> None:
    part = read(tmp_path, PINION)
    assert part.slope_span == "full"
    assert part.master_quality.class_ == 4
    assert part.tolerance.flanks == ("left", "right")
    assert part_notices(part) == ()


def test_diametral_pitch_stands_for_the_module(tmp_path: Path) -> None:
    part = read(tmp_path, changed(PINION, ("normal_module_mm = 2.5", "normal_diametral_pitch = 10.16")))
    assert part.gear.module_mm == 2.5


# --- every key -------------------------------------------------------------------------------------------


def schema_keys() -> list[tuple[str, Any]]:
    """Every scalar key that the schema knows, with its field."""
    found: list[tuple[str, Any]] = []
    waiting: list[tuple[str, Any]] = [("", Part)]
    for table, model in waiting:
        for key, info in model_keys(model).items():
            dotted = f"{table}.{key}" if table else key
            inner = [t for t in allowed_types(info) if isinstance(t, type) and hasattr(t, "model_fields")]
            if inner:
                waiting.append((dotted, inner[0]))
            elif not any(getattr(t, "__origin__", None) is dict for t in allowed_types(info)):
                found.append((dotted, info))
    return found


KEYS = schema_keys()


def test_the_schema_has_the_published_keys() -> None:
    """A list typed from the published description of the file, so that none gets lost."""
    assert {key for key, _ in KEYS} >= {
        "schema", "columns", "ignore", "part.number", "part.name", "part.revision", "gear.kind", "gear.teeth",
        "gear.normal_module_mm", "gear.normal_diametral_pitch", "gear.normal_pressure_angle_deg",
        "gear.helix_angle_deg", "gear.helix_hand", "gear.face_width_mm", "gear.profile_shift_coefficient",
        "gear.tip_diameter_mm", "gear.root_diameter_mm", "evaluation.profile.control_diameter_mm",
        "evaluation.profile.tip_form_diameter_mm", "evaluation.profile.start_roll_length_mm",
        "evaluation.profile.end_roll_length_mm", "evaluation.helix.start_face_position_mm",
        "evaluation.helix.end_face_position_mm", "evaluation.pitch.measuring_diameter_mm",
        "evaluation.filter.enabled", "evaluation.filter.profile_cutoff_mm",
        "evaluation.filter.helix_cutoff_mm", "evaluation.deviation_plane", "evaluation.slope_span",
        "design.profile.crowning_um", "design.profile.slope_um", "design.profile.tip_relief_um",
        "design.profile.tip_relief_start_roll_length_mm", "design.profile.root_relief_um",
        "design.profile.root_relief_start_roll_length_mm", "design.helix.crowning_um",
        "design.helix.slope_um", "tolerance.standard", "tolerance.class", "tolerance.flanks",
        "tolerance.parameters", "tolerance.left.class", "tolerance.right.class", "tolerance.size.method",
        "tolerance.size.pin_diameter_mm", "tolerance.size.lower_mm", "tolerance.size.upper_mm",
        "master_quality.class", "master_quality.parameters",
    }  # fmt: skip


@pytest.mark.parametrize("key", [key for key, _ in KEYS])
def test_a_key_of_the_wrong_type(tmp_path: Path, key: str) -> None:
    for value in ("{ a = 1 }", "1979-05-27"):
        found = [p for p in problems(tmp_path, set_key(RING, key, value)) if p.key == key]
        assert [p.reason for p in found] == [Reason.WRONG_TYPE]
        lines = set_key(RING, key, value).split("\n")
        assert found[0].line is not None
        assert lines[found[0].line - 1] == f"{key.rpartition('.')[2]} = {value}"


@pytest.mark.parametrize("key", [key for key, _ in KEYS])
def test_a_misspelt_key_names_the_nearest(tmp_path: Path, key: str) -> None:
    wrong = f"{key[:-1]}{'x' if key[-1] != 'x' else 'y'}"
    name = key.rpartition(".")[2]
    told = [p for p in problems(tmp_path, set_key(RING, wrong, "1")) if p.key == wrong]
    assert [p.reason for p in told] == [Reason.UNKNOWN_KEY]
    assert told[0].expected == f"'{name}'"


@pytest.mark.parametrize(
    ("wrong", "right"),
    [
        ("modul", "normal_module_mm"), ("module", "normal_module_mm"), ("width", "face_width_mm"),
        ("pressure_angle", "normal_pressure_angle_deg"), ("number_of_teeth", "teeth"),
        ("Tip-Dia", "tip_diameter_mm"), ("hand", "helix_hand"),
    ],
)  # fmt: skip
def test_a_key_that_shares_words_with_a_known_one_names_it(tmp_path: Path, wrong: str, right: str) -> None:
    told = [p for p in problems(tmp_path, set_key(RING, f"gear.{wrong}", "1")) if p.key == f"gear.{wrong}"]
    assert [p.reason for p in told] == [Reason.UNKNOWN_KEY]
    assert told[0].expected == f"'{right}'"


@pytest.mark.parametrize("wrong", ["colour", "mm", "x"])
def test_a_key_that_is_like_none_lists_them_all(tmp_path: Path, wrong: str) -> None:
    told = [p for p in problems(tmp_path, set_key(RING, f"gear.{wrong}", "1")) if p.key == f"gear.{wrong}"]
    assert told[0].expected.startswith("one of kind, teeth, normal_module_mm")


NUMBERS = [
    (key, info) for key, info in KEYS if {int, float} & set(allowed_types(info)) and key != "schema"
]  # fmt: skip


@pytest.mark.parametrize("key", [key for key, _ in NUMBERS])
@pytest.mark.parametrize("value", ["nan", "inf", "-inf"])
def test_no_number_is_nan_or_infinite(tmp_path: Path, key: str, value: str) -> None:
    told = [p for p in problems(tmp_path, set_key(RING, key, value)) if p.key == key]
    assert len(told) == 1
    assert told[0].reason in {Reason.NOT_FINITE, Reason.WRONG_TYPE}  # whole numbers: no such number
    assert value.lstrip("-") in told[0].found


OUT_OF_RANGE = [
    ("gear.teeth", "0"), ("gear.teeth", "-87"), ("gear.normal_module_mm", "0"),
    ("gear.normal_module_mm", "-1.75"), ("gear.normal_pressure_angle_deg", "0.0"),
    ("gear.normal_pressure_angle_deg", "45"), ("gear.helix_angle_deg", "-18.0"),
    ("gear.helix_angle_deg", "90"), ("gear.face_width_mm", "0"), ("gear.profile_shift_coefficient", "5.1"),
    ("gear.tip_diameter_mm", "-1"), ("gear.root_diameter_mm", "0"),
    ("evaluation.profile.control_diameter_mm", "-163.4"), ("evaluation.profile.tip_form_diameter_mm", "0"),
    ("evaluation.profile.start_roll_length_mm", "-1"), ("evaluation.pitch.measuring_diameter_mm", "0"),
    ("evaluation.filter.profile_cutoff_mm", "0"), ("evaluation.filter.helix_cutoff_mm", "-0.8"),
    ("design.profile.tip_relief_um", "-3"), ("design.profile.root_relief_um", "-3"),
    ("design.profile.tip_relief_start_roll_length_mm", "-26"), ("tolerance.class", "0"),
    ("tolerance.class", "12"), ("tolerance.classes.cumulative_pitch", "12"), ("tolerance.left.class", "0"),
    ("tolerance.flanks", "[]"), ("tolerance.size.pin_diameter_mm", "0"),
    ("tolerance.size.lower_mm", "-1"), ("master_quality.class", "12"), ("uncertainty_um.profile_slope", "0"),
    ("uncertainty_um.CMM-2.profile_slope", "-1"), ("tolerance.limits_um.helix_slope", "-8"),
    ("part.number", '""'), ("columns", '""'),
]  # fmt: skip


@pytest.mark.parametrize(("key", "value"), OUT_OF_RANGE)
def test_a_value_out_of_range_names_key_value_and_range(tmp_path: Path, key: str, value: str) -> None:
    told = [p for p in problems(tmp_path, set_key(RING, key, value)) if p.key == key]
    assert [p.reason for p in told] == [RANGE]
    if value not in {'""', "[]"}:
        assert f"{float(told[0].found):g}" == f"{float(value):g}"
    assert told[0].line is not None


UNKNOWN_WORDS = [
    ("schema", '"gearqa.part/2"'), ("gear.kind", '"inner"'), ("gear.helix_hand", '"rigth"'),
    ("evaluation.deviation_plane", '"normale"'), ("evaluation.slope_span", '"whole"'),
    ("tolerance.standard", '"ISO 1328-1:1975"'), ("tolerance.size.method", '"pins"'),
    ("tolerance.flanks[2]", '["left", "both"]'), ("tolerance.flanks[1]", '["links"]'),
    ("tolerance.parameters[1]", '["profile_slop"]'),
    ("tolerance.parameters[1]", '["helix_crowning"]'), ("master_quality.parameters[2]", '["runout", "fp"]'),
]  # fmt: skip


@pytest.mark.parametrize(("key", "value"), UNKNOWN_WORDS)
def test_an_unknown_word(tmp_path: Path, key: str, value: str) -> None:
    bare = key.partition("[")[0]
    told = problems(tmp_path, set_key(RING, bare, value))
    assert [(p.reason, p.key) for p in told] == [(Reason.UNKNOWN_WORD, key)]


@pytest.mark.parametrize(
    ("key", "hint"),
    [
        ("tolerance.classes.profile_slop", "'profile_slope'"),
        ("tolerance.limits_um.fHa", ""),
        ("tolerance.left.classes.helix_crowning", ""),
        ("uncertainty_um.profil_slope", "'profile_slope'"),
        ("uncertainty_um.CMM-2.profil_slope", "'profile_slope'"),
    ],
)
def test_an_unknown_parameter_as_key(tmp_path: Path, key: str, hint: str) -> None:
    told = problems(tmp_path, set_key(RING, key, "5"))
    assert [(p.reason, p.key) for p in told] == [(Reason.UNKNOWN_KEY, key)]
    assert hint in told[0].hint


REQUIRED = [
    "schema", "part.number", "gear.kind", "gear.teeth", "gear.normal_module_mm",
    "gear.normal_pressure_angle_deg", "gear.helix_angle_deg", "gear.helix_hand", "gear.face_width_mm",
    "tolerance.class", "tolerance.size.method", "tolerance.size.lower_mm", "tolerance.size.pin_diameter_mm",
    "design.profile.tip_relief_start_roll_length_mm",
]  # fmt: skip


@pytest.mark.parametrize("key", REQUIRED)
def test_a_missing_key(tmp_path: Path, key: str) -> None:
    told = problems(tmp_path, set_key(RING, key, None))
    assert [(p.reason, p.key) for p in told] == [(Reason.MISSING_KEY, key)]


def test_whole_tables_missing(tmp_path: Path) -> None:
    told = problems(tmp_path, 'schema = "gearqa.part/1"\n')
    assert [(p.reason, p.key) for p in told] == [
        (Reason.MISSING_KEY, "part"), (Reason.MISSING_KEY, "gear"), (Reason.MISSING_KEY, "tolerance"),
    ]  # fmt: skip


# --- keys against each other ---------------------------------------------------------------------------

TIP = "gear.tip_diameter_mm"
FORM, CONTROL = "evaluation.profile.tip_form_diameter_mm", "evaluation.profile.control_diameter_mm"
START, END = "evaluation.profile.start_roll_length_mm", "evaluation.profile.end_roll_length_mm"
RELIEF = "design.profile.tip_relief_start_roll_length_mm"

# base diameters, computed by hand from ISO 21771: d_b = d cos(alpha_t), 149.5104 (ring), 56.3816 (pinion)
CROSS: list[tuple[str, dict[str, str], list[tuple[Reason, str]]]] = [
    ("both modules", {"R gear.normal_diametral_pitch": "10"}, [(CONTRADICTION, "gear.normal_module_mm")]),
    ("tip beyond root, internal", {"R gear.tip_diameter_mm": "165.5"}, [
        (CONTRADICTION, TIP), (RANGE, CONTROL), (RANGE, FORM)]),
    ("tip below root, external", {"P gear.root_diameter_mm": "66"}, [
        (CONTRADICTION, TIP), (RANGE, CONTROL), (RANGE, FORM)]),
    ("tip below base", {"R gear.tip_diameter_mm": "149.5"}, [(Reason.BELOW_BASE_CIRCLE, TIP)]),
    ("form below base", {"R " + FORM: "149.51", "R gear.tip_diameter_mm": "149.6"}, [
        (Reason.BELOW_BASE_CIRCLE, FORM)]),
    ("control below base", {"P " + CONTROL: "56.3"}, [(Reason.BELOW_BASE_CIRCLE, CONTROL)]),
    ("form beyond tip, internal", {"R " + FORM: "156.6"}, [(RANGE, FORM)]),
    ("form beyond tip, external", {"P " + FORM: "65.1"}, [(RANGE, FORM)]),
    ("control beyond root, internal", {"R " + CONTROL: "165"}, [(RANGE, CONTROL)]),
    ("control beyond tip, external", {"P " + CONTROL: "65.2"}, [
        (RANGE, CONTROL), (CONTRADICTION, FORM)]),
    ("limits swapped, internal", {"R " + FORM: "163.4", "R " + CONTROL: "157.0", "R " + RELIEF: "25.0"}, [
        (CONTRADICTION, FORM)]),
    ("limits equal, external", {"P " + FORM: "57.0"}, [(CONTRADICTION, FORM)]),
    ("pitch circle below base", {"R evaluation.pitch.measuring_diameter_mm": "149"}, [
        (Reason.BELOW_BASE_CIRCLE, "evaluation.pitch.measuring_diameter_mm")]),
    ("pitch circle beyond the tip", {"P evaluation.pitch.measuring_diameter_mm": "66"}, [
        (RANGE, "evaluation.pitch.measuring_diameter_mm")]),
    ("roll lengths in the external order on a ring", {"R " + START: "24.5", "R " + END: "32.0"}, [
        (CONTRADICTION, END)]),
    ("roll lengths in the internal order on a pinion", {"P " + START: "15.0", "P " + END: "5.0"}, [
        (CONTRADICTION, END)]),
    ("only one roll length", {"P " + START: "5.0"}, [(Reason.MISSING_KEY, END)]),
    ("only the other roll length", {"P " + END: "15.0"}, [(Reason.MISSING_KEY, START)]),
    ("roll length beyond the tip", {"P " + START: "5.0", "P " + END: "16.5"}, [(RANGE, END)]),
    ("roll length beyond the root", {"R " + START: "35.0", "R " + END: "25.0"}, [
        (RANGE, START)]),
    ("relief outside the profile", {"R " + RELIEF: "23.0"}, [(RANGE, RELIEF)]),
    ("relief that starts beyond the root end", {"R " + RELIEF: "33.0"}, [(RANGE, RELIEF)]),
    ("relief that starts where it ends", {"P " + START: "5.0", "P " + END: "15.0", "P " + FORM: "",
        "P " + CONTROL: "", "P design.profile.tip_relief_um": "3.0", "P " + RELIEF: "15.0"}, [
        (RANGE, RELIEF)]),
    ("helix limits swapped", {
        "R evaluation.helix.start_face_position_mm": "30", "R evaluation.helix.end_face_position_mm": "2"}, [
        (CONTRADICTION, "evaluation.helix.end_face_position_mm")]),
    ("helix limits off the gear", {
        "R evaluation.helix.start_face_position_mm": "-0.1",
        "R evaluation.helix.end_face_position_mm": "32.1"}, [
        (RANGE, "evaluation.helix.end_face_position_mm"),
        (RANGE, "evaluation.helix.start_face_position_mm")]),
    ("size limits swapped", {"R tolerance.size.lower_mm": "156.2"}, [
        (CONTRADICTION, "tolerance.size.lower_mm")]),
    ("limits swapped", {"R tolerance.limits_um.profile_slope": "[4.0, -6.0]"}, [
        (CONTRADICTION, "tolerance.limits_um.profile_slope")]),
    ("a class for runout on one flank", {"R tolerance.left.classes.runout": "3"}, [
        (CONTRADICTION, "tolerance.left.classes.runout")]),
    ("a limit for runout on one flank", {"R tolerance.right.limits_um.runout": "9.0"}, [
        (CONTRADICTION, "tolerance.right.limits_um.runout")]),
    ("a parameter twice", {"R tolerance.parameters": '["runout", "runout"]'}, [
        (CONTRADICTION, "tolerance.parameters[2]")]),
    ("teeth out of scope", {"P gear.teeth": "4", "P gear.normal_module_mm": "15"}, [
        (Reason.OUT_OF_SCOPE, "gear.teeth")]),
    ("module out of scope", {"P gear.normal_module_mm": "0.49", "P gear.teeth": "122"}, [
        (Reason.OUT_OF_SCOPE, "gear.normal_module_mm")]),
    ("face width out of scope", {"P gear.face_width_mm": "3.9"}, [
        (Reason.OUT_OF_SCOPE, "gear.face_width_mm")]),
    ("helix angle out of scope", {"P gear.helix_angle_deg": "45.1", "P gear.helix_hand": '"left"'}, [
        (Reason.OUT_OF_SCOPE, "gear.helix_angle_deg")]),
    ("diameter out of scope", {"P gear.normal_module_mm": "70", "P gear.teeth": "215", "P " + TIP: "",
                               "P gear.root_diameter_mm": "", "P " + FORM: "", "P " + CONTROL: ""}, [
        (Reason.OUT_OF_SCOPE, "gear.teeth")]),
]  # fmt: skip


@pytest.mark.parametrize(("changes", "expected"), [c[1:] for c in CROSS], ids=[c[0] for c in CROSS])
def test_keys_that_contradict_each_other(
    tmp_path: Path, changes: dict[str, str], expected: list[tuple[Reason, str]]
) -> None:
    text = RING if next(iter(changes)).startswith("R") else PINION
    for key, value in changes.items():
        text = set_key(text, key[2:], value or None)
    told = problems(tmp_path, text)
    assert sorted((p.reason, p.key) for p in told) == sorted(expected)
    assert all(p.line is not None for p in told)


def test_the_message_gives_the_base_diameter(tmp_path: Path) -> None:
    (problem,) = problems(tmp_path, set_key(RING, TIP, "149.5"))
    d_b = (
        87
        * 1.75
        / math.cos(math.radians(18))
        * math.cos(math.atan(math.tan(math.radians(20)) / math.cos(math.radians(18))))
    )
    assert f"{d_b:.4f}" in problem.expected
    assert problem.found == "149.5"


@pytest.mark.parametrize(("start", "end"), [("31.5", "25.0"), ("32.0", "24.5"), ("33.0", "23.5")])
def test_explicit_roll_lengths_on_a_ring_fall_towards_the_tip(tmp_path: Path, start: str, end: str) -> None:
    part = read(tmp_path, set_key(set_key(RING, START, start), END, end))
    assert part.evaluation.profile.explicit


def test_faults_of_keys_and_between_keys_come_together(tmp_path: Path) -> None:
    text = set_key(set_key(set_key(RING, TIP, "149.5"), "tolerance.class", "12"), "gear.teth", "3")
    assert {(p.reason, p.key) for p in problems(tmp_path, text)} == {
        (Reason.BELOW_BASE_CIRCLE, TIP),
        (RANGE, "tolerance.class"),
        (Reason.UNKNOWN_KEY, "gear.teth"),
    }


# --- notices ---------------------------------------------------------------------------------------------

NOTICES = [
    ("R", {TIP: None}, "tip_diameter_missing"),
    ("P", {"gear.helix_hand": '"left"'}, "helix_hand_of_spur_gear"),
    ("P", {"gear.teeth": "20", FORM: None, CONTROL: None}, "diameter_far_from_reference"),
    ("R", {"evaluation.filter.profile_cutoff_mm": "4.0"}, "long_cutoff"),
    ("R", {"evaluation.filter.helix_cutoff_mm": "12.0"}, "long_cutoff"),
    ("R", {"tolerance.limits_um.runout": "[-20.0, 20.0]"}, "lower_limit_without_effect"),
    ("R", {"tolerance.flanks": '["right"]'}, "flank_table_without_effect"),
    ("R", {"tolerance.size.upper_mm": "158.5"}, "size_limits_wide"),
    ("R", {"tolerance.size.pin_diameter_mm": "1.0"}, "pin_diameter_unusual"),
    ("R", {"tolerance.size.lower_mm": "176.1", "tolerance.size.upper_mm": "176.2"}, "size_far_from_nominal"),
]


@pytest.mark.parametrize(("which", "changes", "code"), NOTICES)
def test_notices(tmp_path: Path, which: str, changes: dict[str, str | None], code: str) -> None:
    text = RING if which == "R" else PINION
    for key, value in changes.items():
        text = set_key(text, key, value)
    assert code in {notice.code for notice in part_notices(read(tmp_path, text))}


def test_tip_diameter_is_not_missed_where_the_slope_does_not_need_it(tmp_path: Path) -> None:
    text = set_key(set_key(RING, TIP, None), "evaluation.slope_span", '"evaluation"')
    assert part_notices(read(tmp_path, text)) == ()


@pytest.mark.independent
@pytest.mark.parametrize(("lower", "far"), [("19.00", False), ("24.00", True)])
def test_span_is_compared_with_the_base_tangent_length(tmp_path: Path, lower: str, far: bool) -> None:
    """Machinery's Handbook form of the span formula: W = m cos(a) (pi (k - 1/2) + z inv a); from memory.

    For m 2.5, z 24, k 3, 20 degrees: 2.5 * 0.9396926 * (7.8539816 + 24 * 0.0149044) = 19.291.
    """
    size = f'\n[tolerance.size]\nmethod = "span"\nteeth_spanned = 3\nlower_mm = {lower}\nupper_mm = 24.05\n'
    size = size.replace("24.05", f"{float(lower) + 0.05}")
    codes = {n.code for n in part_notices(read(tmp_path, PINION + size))}
    assert ("size_far_from_nominal" in codes) == far


# --- JSON Schema -----------------------------------------------------------------------------------------


def test_the_schema_is_one_and_accepts_what_the_reader_accepts() -> None:
    schema = part_json_schema()
    jsonschema.Draft202012Validator.check_schema(schema)
    assert schema["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    for text in (RING, PINION):
        jsonschema.validate(tomllib.loads(text), schema)


OF_ANY_SYSTEM = [(key, "13" if "class" in key else value) for key, value in OUT_OF_RANGE]
"""Which classes there are depends on the tolerance system; none has so many."""


@pytest.mark.parametrize(("key", "value"), OF_ANY_SYSTEM + UNKNOWN_WORDS[:7])
def test_the_schema_refuses_what_the_reader_refuses(key: str, value: str) -> None:
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(tomllib.loads(set_key(RING, key, value)), part_json_schema())


def test_the_schema_refuses_unknown_keys() -> None:
    with pytest.raises(jsonschema.ValidationError, match="Additional properties"):
        jsonschema.validate(tomllib.loads(set_key(RING, "gear.tooth", "3")), part_json_schema())


def test_every_number_in_the_schema_has_its_unit_and_every_key_its_sentence() -> None:
    schema = part_json_schema()
    tables = [schema, *schema["$defs"].values()]
    for table in tables:
        for key, entry in table["properties"].items():
            if key.endswith(("_mm", "_um", "_deg")) and key not in {"limits_um", "uncertainty_um"}:
                assert entry["unit"] in {"mm", "micrometre", "degree"}, key
            if "$ref" not in entry and table.get("title") != "gearqa part file":
                assert "description" in entry or key in {"profile", "helix", "pitch", "filter"}, key


def test_a_system_without_the_tolerances_asked_for_is_one_problem_a_key(tmp_path):
    text = PINION.replace("[tolerance]", '[tolerance]\nstandard = "JIS B 1702:1976"')
    (problem,) = problems(tmp_path, f"{text}\n[master_quality]\nclass = 1\n")
    assert (problem.key, problem.reason) == ("tolerance.parameters", Reason.OUT_OF_SCOPE)
    for key in ("runout", "profile_total", "helix_slope"):
        assert problem.found.count(key) == 2
    assert "single_pitch" not in problem.found

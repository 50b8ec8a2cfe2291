"""Commented part files and plan files, made from their schemas: every key with what it means."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final, Literal, get_args, get_origin

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from gearqa.model.part import Part
from gearqa.reading.settings.allowed_values import allowed_types, model_keys
from gearqa.reading.settings.toml_text import toml_value

# asked or taken as options, in this order; the rest of the file is filled in by hand where needed
_ASKED: Final = (
    "part.number", "part.name", "part.revision", "gear.kind", "gear.teeth", "gear.normal_module_mm",
    "gear.normal_pressure_angle_deg", "gear.helix_angle_deg", "gear.helix_hand", "gear.face_width_mm",
    "gear.profile_shift_coefficient", "gear.tip_diameter_mm", "gear.root_diameter_mm",
    "evaluation.profile.control_diameter_mm", "evaluation.profile.tip_form_diameter_mm", "tolerance.class",
    "master_quality.class",
)  # fmt: skip
_USUAL: Final = {"gear.normal_pressure_angle_deg": 20.0, "gear.helix_angle_deg": 0.0}
_NOT_EXPLAINED_AGAIN: Final = ("tolerance.left", "tolerance.right")
_NEEDED: Final = ("gear.normal_module_mm", "tolerance.class")
"""Asked for although the schema allows another key instead."""

_EXAMPLES: Final[Mapping[str, Sequence[str]]] = {
    "grinder": ("GR-1 = { parts_per_dress = 30 }",),
    "tolerance.classes": ("cumulative_pitch = 5",),
    "tolerance.limits_um": ("profile_slope = [-6.0, 4.0]", "helix_slope = 8.0"),
    "tolerance.left.classes": ("profile_slope = 7",),
    "tolerance.left.limits_um": ("profile_slope = [-6.0, 4.0]",),
    "tolerance.right.classes": ("profile_slope = 7",),
    "tolerance.right.limits_um": ("profile_slope = [-6.0, 4.0]",),
    "uncertainty_source": ('profile_slope = { source = "calibration certificate", date = "2025-01-10" }',),
    "uncertainty_um": ("profile_slope = 0.7", "helix_slope = 0.8"),
}
_UNITS: Final = {"_mm": "mm", "_deg": "degrees", "_um": "micrometres"}
_KEY_WIDTH: Final = 36
_LINE_WIDTH: Final = 110


@dataclass(frozen=True, slots=True)
class Question:
    """One key of a new part file that is worth asking for."""

    key: str
    """Dotted key, as in the answers of `part_file_text`."""
    text: str
    type: type
    """str, int or float."""
    choices: tuple[str, ...] = ()
    default: str | int | float | None = None
    required: bool = False
    """Without an answer and a default there is no part file; helix_hand only unless spur."""


def questions() -> tuple[Question, ...]:
    """What to ask before a part file is written, in this order."""
    return tuple(_question(key) for key in _ASKED)


def plan_file_text() -> str:
    """Text of a plan file that changes nothing: all keys as comments, with their defaults."""
    from gearqa.model.plan import Plan

    head = [
        "# How a lot is decided: sampling plan, decision rule, confidence, coverage.",
        "# A line that starts with # is a comment; delete the # to use the key behind it.",
        "# How a lot is decided with these keys: gearqa explain lot",
        "",
    ]
    given = {"schema": Plan.model_fields["schema_"].default}
    lines = [*head, *_table_lines("", Plan, given, optional=False)]
    short = (textwrap.wrap(line, _LINE_WIDTH, subsequent_indent="#   ") or [""] for line in lines)
    return "\n".join(piece for pieces in short for piece in pieces).rstrip() + "\n"


def part_file_text(answers: Mapping[str, Any]) -> str:
    """Text of a part file: the answers, and every other key commented with what it means."""
    given = {key: value for key, value in answers.items() if value is not None}
    given = {**_USUAL, **given, "schema": "gearqa.part/1"}
    head = [
        "# The drawing of one part number: geometry, evaluation, tolerance classes.",
        "# A line that starts with # is a comment; delete the # to use the key behind it.",
        "# Which flank is left and which is right: gearqa explain flanks",
        "",
    ]
    return "\n".join([*head, *_table_lines("", Part, given, optional=False)]).rstrip() + "\n"


def _table_lines(path: str, model: type[Any], given: Mapping[str, Any], *, optional: bool) -> Iterator[str]:
    """Lines of a table; one that is optional as a whole is commented out unless it has answers."""
    inside = f"{path}." if path else ""
    absent = optional and not any(key.startswith(inside) for key in given)
    mark = "# " if absent else ""
    tables: list[tuple[str, FieldInfo]] = []
    for key, info in model_keys(model).items():
        if _table_model(info) is not None or _is_dict(info):
            tables.append((key, info))
        else:
            yield from _key_lines(inside + key, key, info, given, commented=absent)
    for key, info in tables:
        yield ""
        if info.description and path not in _NOT_EXPLAINED_AGAIN:
            yield f"# {info.description[:1].upper()}{info.description[1:]}."
        inner = _table_model(info)
        if inner is None:
            yield f"{mark}[{inside}{key}]"
            yield from _dict_lines(inside + key, given)
        else:
            missing = info.default is None and not info.is_required()
            commented = absent or (missing and not any(k.startswith(f"{inside}{key}.") for k in given))
            yield f"{'# ' if commented else ''}[{inside}{key}]"
            yield from _table_lines(inside + key, inner, given, optional=absent or missing)


def _dict_lines(path: str, given: Mapping[str, Any]) -> Iterator[str]:
    answered = {k.removeprefix(f"{path}."): v for k, v in given.items() if k.startswith(f"{path}.")}
    for key, value in answered.items():
        yield f"{key} = {toml_value(value)}"
    for example in _EXAMPLES[path]:
        if example.partition(" = ")[0] not in answered:
            yield f"# {example}"
    if path == "uncertainty_um":
        yield "# [uncertainty_um.NAME]  # for one instrument, as the production column names it"


def _key_lines(
    path: str, key: str, info: FieldInfo, given: Mapping[str, Any], *, commented: bool
) -> Iterator[str]:
    choices = _choices(info)
    note = _explained(key, info)
    if len(choices) > 1:
        note = f"{' | '.join(choices)}; {note}"
    if path in given:
        statement = f"{key} = {toml_value(given[path])}"
    elif info.is_required() or info.default is None:
        statement = f"# {key} ="
    else:
        statement = f"# {key} = {toml_value(info.default)}"
    if commented and not statement.startswith("#"):
        statement = f"# {statement}"
    line = f"{statement:<{_KEY_WIDTH}}  # {note}"
    if len(line) <= _LINE_WIDTH:
        yield line
    else:
        yield f"# {key}: {note}"
        yield statement


def _explained(key: str, info: FieldInfo) -> str:
    unit = next((unit for suffix, unit in _UNITS.items() if key.endswith(suffix)), "")
    text = info.description or key
    return f"{text} [{unit}]" if unit else text


def _table_model(info: FieldInfo) -> type[BaseModel] | None:
    return next((t for t in allowed_types(info) if isinstance(t, type) and issubclass(t, BaseModel)), None)


def _is_dict(info: FieldInfo) -> bool:
    return any(get_origin(t) is dict for t in allowed_types(info))


def _choices(info: FieldInfo) -> tuple[str, ...]:
    return tuple(str(w) for t in allowed_types(info) if get_origin(t) is Literal for w in get_args(t))


def _question(key: str) -> Question:
    model: type[Any] = Part
    *tables, last = key.split(".")
    for table in tables:
        inner = _table_model(model_keys(model)[table])
        assert inner is not None
        model = inner
    info = model_keys(model)[last]
    types = [t for t in allowed_types(info) if t in {str, int, float}]
    default = _USUAL.get(key)
    if default is None and not info.is_required() and info.default not in {"", None}:
        default = info.default
    required = key in _NEEDED or (info.is_required() and default is None)
    return Question(
        key, _explained(last, info), types[0] if types else str, _choices(info), default, required
    )

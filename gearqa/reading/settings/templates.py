"""What `gearqa new` writes: a commented part file, and empty tables with the right headers.

The part file is made from the schema, so every key stands in it with the sentence that explains it.
Nothing that exists is ever overwritten.
"""

from __future__ import annotations

import json
import re
import tempfile
import textwrap
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final, Literal, get_args, get_origin

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from gearqa.errors import PartFileError, Problem, Reason, ReportError
from gearqa.model.part import Part
from gearqa.reading.folder.table_kinds import TABLES
from gearqa.reading.settings.part_file import read_part
from gearqa.reading.settings.toml_file import allowed_types, model_keys
from gearqa.symbols import PARAMETERS

PART_FILE: Final = "part.toml"
PLAN_FILE: Final = "plan.toml"
TEMPLATES: Final = "templates"
SCHEMA: Final = "gearqa.part/1"

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
_NEEDED: Final = ("gear.normal_module_mm",)
"""Wanted although the schema lets another key stand instead."""

_EXAMPLES: Final[Mapping[str, Sequence[str]]] = {
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
    """Dotted key, as in `write_new_folder`'s answers."""
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


def write_new_folder(folder: Path | str, answers: Mapping[str, Any]) -> list[Path]:
    """Write `part.toml`, and templates of all tables where the folder has no table yet.

    Parameters
    ----------
    folder : path
        Made where it does not exist.
    answers : mapping
        Dotted key of part.toml -> value, such as `{"gear.teeth": 87}`; None counts as not given.

    Returns
    -------
    list of Path
        The files written.

    Raises
    ------
    PartFileError
        With all faults of the answers; nothing is written then.
    ReportError
        If there is a part file already, or nothing can be written there.
    """
    folder = Path(folder)
    target = folder / PART_FILE
    if target.exists():
        raise ReportError(f"{target} is there already and is never overwritten", hint="take another folder")
    text = part_file_text(answers)
    _check(text, answers)
    tables = {f"{kind}.csv": table_template(kind) for kind in TABLES}
    try:
        folder.mkdir(parents=True, exist_ok=True)
        has_tables = any(path.suffix.lower() == ".csv" for path in folder.iterdir())
        written = [_write_new(target, text)]
        if not has_tables:
            (folder / TEMPLATES).mkdir(exist_ok=True)
            places = {folder / TEMPLATES / name: content for name, content in tables.items()}
            written += [_write_new(path, content) for path, content in places.items() if not path.exists()]
    except OSError as error:
        raise ReportError(f"cannot write {error.filename or folder}: {error.strerror}") from error
    return written


def write_new_plan(folder: Path | str) -> Path:
    """Write `plan.toml` with every key explained and commented out; never overwrites."""
    target = Path(folder) / PLAN_FILE
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        return _write_new(target, plan_file_text())
    except FileExistsError:
        raise ReportError(f"{target} is there already and is never overwritten") from None
    except OSError as error:
        raise ReportError(f"cannot write {target}: {error.strerror}") from error


def plan_file_text() -> str:
    """Text of a plan file that changes nothing: all keys as comments, with their defaults."""
    from gearqa.model.plan import Plan

    head = [
        "# How a lot is decided: sampling plan, decision rule, confidence, coverage.",
        "# A line that starts with # is a comment; take the # away to use the key behind it.",
        "# How a lot is decided with these keys: gearqa explain lot",
        "",
    ]
    given = {"schema": Plan.model_fields["schema_"].default}
    lines = [*head, *_table_lines("", Plan, given, optional=False)]
    short = (textwrap.wrap(line, _LINE_WIDTH, subsequent_indent="#   ") or [""] for line in lines)
    return "\n".join(piece for pieces in short for piece in pieces).rstrip() + "\n"


def write_reported_sheet(path: Path | str, part: Part) -> Path:
    """Write an empty sheet for values that somebody else reports on a part; never overwrites."""
    try:
        return _write_new(Path(path), reported_sheet(part))
    except FileExistsError:
        raise ReportError(f"{path} is there already and is never overwritten") from None
    except OSError as error:
        raise ReportError(f"cannot write {path}: {error.strerror}") from error


def reported_sheet(part: Part) -> str:
    """An empty sheet of reported values: the header, and the parameters of the part as comments."""
    lines = [
        ",".join(REPORTED_COLUMNS),
        f"# reported values of part {part.part.number}; one row per value, value_um in micrometres",
        "# flank left or right; basis worst or mean; columns that are not needed may go",
        "# parameter is one of:",
        *(f"#   {key}  ({PARAMETERS[key].name})" for key in part.tolerance.required),
    ]
    return "\n".join(lines) + "\n"


REPORTED_COLUMNS: Final = (
    "serial", "parameter", "value_um", "flank", "tooth", "basis", "class", "standard", "uncertainty_um",
    "our_serial",
)  # fmt: skip

_TABLE_NOTES: Final[Mapping[str, tuple[str, ...]]] = {
    "profile": (
        "one row per point; flank left or right, as seen from the datum face with the tooth tip up",
        "roll_length_mm from the base circle; instead of it roll_angle_deg or diameter_mm may stand",
        "deviation_um: plus = more material than the design, in the transverse plane, along the base tangent",
        "face_position_mm, where the trace was taken, may be left out",
    ),
    "helix": (
        "one row per point; face_position_mm from the datum face, growing away from it",
        "deviation_um: plus = more material than the design, in the transverse plane, along the base tangent",
        "diameter_mm, where the trace was taken, may be left out",
    ),
    "pitch": (
        "one row per tooth and flank, all teeth; numbered clockwise, looking onto the datum face",
        "index_um: place of the tooth against its theoretical place, plus = clockwise",
        "instead of it pitch_um may stand: single pitch deviation between tooth-1 and tooth",
    ),
    "runout": (
        "one row per tooth space, all spaces; space i lies clockwise of tooth i",
        "radial_um: reading of a ball or pin, plus = away from the gear axis",
    ),
    "size": (
        "method balls (needs pin_diameter_mm) or span (needs teeth_spanned)",
        "position is a free label",
    ),
    "production": (
        "one row per serial; every column but serial may be left out, further ones are kept as labels",
        "times as 2025-03-14T06:30; parts_since_dress is 1 for the first part after dressing",
    ),
    "events": (
        "one row for each thing that was done to a grinder: dress, wheel change, correction",
        "times as 2025-03-14T06:30",
    ),
}


def table_template(kind: Any) -> str:
    """Header of a neutral table, and what its columns mean as comments.

    >>> print(table_template("runout"))
    serial,space,radial_um
    # one row per tooth space, all spaces; space i lies clockwise of tooth i
    # radial_um: reading of a ball or pin, plus = away from the gear axis
    # copy this file into the folder above to use it; lines that start with # are not read
    """
    table = TABLES[kind]
    columns = [*(names[0] for names in table.required), *table.optional]
    notes = [*_TABLE_NOTES[kind], f"copy this file into the folder above to use it; {_COMMENTS_SKIPPED}"]
    return "\n".join([",".join(columns), *(f"# {note}" for note in notes)]) + "\n"


_COMMENTS_SKIPPED: Final = "lines that start with # are not read"


# --- the part file -------------------------------------------------------------------------------------


def part_file_text(answers: Mapping[str, Any]) -> str:
    """Text of a part file: the answers, and every other key commented with what it means."""
    given = {key: value for key, value in answers.items() if value is not None}
    given = {**_USUAL, **given, "schema": SCHEMA}
    head = [
        "# The drawing of one part number: geometry, evaluation, tolerance classes.",
        "# A line that starts with # is a comment; take the # away to use the key behind it.",
        "# Which flank is left and which is right: gearqa explain flanks",
        "",
    ]
    return "\n".join([*head, *_table_lines("", Part, given, optional=False)]).rstrip() + "\n"


def _table_lines(
    path: str, model: type[BaseModel], given: Mapping[str, Any], *, optional: bool
) -> Iterator[str]:
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


def toml_value(value: Any) -> str:
    r"""A value as TOML writes it.

    >>> toml_value('say "a\\b"'), toml_value((1, 2.5)), toml_value(True), toml_value(20.0)
    ('"say \\"a\\\\b\\""', '[1, 2.5]', 'true', '20.0')
    """
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int | float):
        return repr(value)
    if isinstance(value, list | tuple):
        return f"[{', '.join(map(toml_value, value))}]"
    # JSON and TOML basic strings share their escapes, but for the delete character
    return json.dumps(str(value), ensure_ascii=False).replace("\x7f", "\\u007f")


# --- answers -------------------------------------------------------------------------------------------


def _question(key: str) -> Question:
    model: type[BaseModel] = Part
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


def _check(text: str, answers: Mapping[str, Any]) -> None:
    unknown = sorted(key for key, value in answers.items() if value is not None and not _stands_in(key, text))
    problems = [
        Problem(Reason.UNKNOWN_KEY, PART_FILE, f"the unknown key '{key}'", "a key of part.toml", key=key)
        for key in unknown
    ]
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder, PART_FILE)
        path.write_text(text, encoding="utf-8")
        try:
            read_part(path)
        except PartFileError as error:
            # lines of a file that is not written yet help nobody
            problems += [
                Problem(p.reason, p.file, p.found, p.expected, None, p.column, p.hint, p.key)
                for p in error.problems
            ]
    if problems:
        raise PartFileError(problems, hint="nothing was written")


def _stands_in(key: str, text: str) -> bool:
    table, _, last = key.rpartition(".")
    header = rf"^\[{re.escape(table)}\]\n" if table else r"\A"
    return re.search(rf"{header}(?:(?!\[).*\n)*{re.escape(last)} = ", text, re.MULTILINE) is not None


def _write_new(path: Path, text: str) -> Path:
    with path.open("x", encoding="utf-8", newline="\n") as file:
        file.write(text)
    return path

"""Read a TOML file into a pydantic model, or say everything that is wrong with it at once.

Serves part files, column maps, plans and scenarios. A fault is told by file, line and dotted key, with
what was found, what is allowed, and the nearest known key where one is unknown.
"""

from __future__ import annotations

import datetime as dt
import difflib
import re
import tomllib
import types
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any, Generic, Literal, TypeVar, Union, get_args, get_origin

from pydantic import BaseModel, ValidationError
from pydantic.fields import FieldInfo

from gearqa.errors import PartFileError, Problem, Reason
from gearqa.reading.settings import toml_lines
from gearqa.reading.settings.toml_lines import TomlLines, scan_toml

M = TypeVar("M", bound=BaseModel)

_MAX_SYNTAX_FAULTS = 25
_RANGE_ERRORS = {
    "greater_than", "greater_than_equal", "less_than", "less_than_equal", "string_too_short",
    "string_too_long", "too_short", "too_long", "multiple_of", "string_pattern_mismatch",
}  # fmt: skip
_DECIMAL_COMMA = re.compile(r"=\s*[+-]?\d+,\d+\s*(#.*)?$")
_BARE_WORD = re.compile(r"=\s*[A-Za-z_][^\"'=\[\]{}]*$")


@dataclass(frozen=True, slots=True)
class TomlFile(Generic[M]):
    """What came of reading a TOML file: the model where it is valid, and every problem found."""

    name: str
    model: M | None
    document: Mapping[str, Any]
    lines: TomlLines
    problems: tuple[Problem, ...]

    def problem(
        self, key: str, found: str, expected: str, *, reason: Reason = Reason.CONTRADICTION, hint: str = ""
    ) -> Problem:
        """A further problem of this file, at the line of a dotted key."""
        steps = tuple(int(step) if step.isdigit() else step for step in key.split("."))
        line = self.lines.line_of(steps)
        return Problem(reason, self.name, found, expected, line, key=dotted(steps), hint=hint)


def load_toml(path: Path | str, model: type[M], *, name: str | None = None) -> M:
    """Read a TOML file into `model`.

    Raises
    ------
    PartFileError
        With all problems of the file.
    """
    result = read_toml(path, model, name=name)
    if result.problems or result.model is None:
        raise PartFileError(result.problems)
    return result.model


def read_toml(path: Path | str, model: type[M], *, name: str | None = None) -> TomlFile[M]:
    """Read a TOML file as far as it goes: for callers that add checks of their own."""
    path = Path(path)
    shown = name or path.name
    text = _text(path, shown)
    lines = scan_toml(text)
    document, lost, problems = _parse(text, shown, lines)
    if document is None:
        return TomlFile(shown, None, {}, lines, tuple(problems))
    instance, found = _validate(document, model, shown, lines, lost)
    problems += found
    problems.sort(key=lambda p: (p.line is None, p.line or 0))
    return TomlFile(shown, None if problems else instance, document, lines, tuple(problems))


def table_as_far_as_known(raw: Any, model: type[M]) -> M | None:
    """A table of a document as a model without its unknown keys, or None where it is not valid even so.

    For checks between keys: what is wrong with single keys is told elsewhere.
    """
    if not isinstance(raw, dict):
        return None
    errors, instance = _errors(raw, model)
    unknown = [e["loc"] for e in errors if e["type"] == "extra_forbidden"]
    return _errors(_without(raw, unknown), model)[1] if unknown else instance


# --- text and syntax -----------------------------------------------------------------------------


def _text(path: Path, shown: str) -> str:
    try:
        data = path.read_bytes()
    except (FileNotFoundError, NotADirectoryError):
        problem = Problem(Reason.FILE_NOT_FOUND, shown, "no such file", "a TOML file", hint=_neighbours(path))
        raise PartFileError([problem]) from None
    except IsADirectoryError:
        named = path.name if shown == "." else shown
        problem = Problem(Reason.FILE_NOT_FOUND, named, "a folder", "a TOML file")
        raise PartFileError([problem]) from None
    except OSError as error:
        problem = Problem(Reason.FILE_NOT_FOUND, shown, error.strerror or "unreadable", "a readable file")
        raise PartFileError([problem]) from None
    try:
        return data.decode("utf-8-sig").replace("\r\n", "\n")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        found = f"byte 0x{data[error.start]:02X}, which is no UTF-8"
        hint = "save the file as UTF-8 in the text editor"
        raise PartFileError([Problem(Reason.NOT_TEXT, shown, found, "UTF-8 text", line, hint=hint)]) from None


def _neighbours(path: Path) -> str:
    folder = path.parent
    if not folder.is_dir():
        return f"there is no folder {folder.name or folder}"
    names = sorted(p.name for p in folder.iterdir() if p.suffix.lower() == ".toml")
    near = difflib.get_close_matches(path.name, names, n=1, cutoff=0.6)
    if near:
        return f"did you mean {near[0]}?"
    if names:
        return f"the folder holds {', '.join(names[:5])}"
    return "`gearqa new` writes one" if path.name == "part.toml" else ""


def _parse(
    text: str, shown: str, lines: TomlLines
) -> tuple[dict[str, Any] | None, set[toml_lines.Path], list[Problem]]:
    """Parse; a statement at fault is reported, blanked and the rest parsed again."""
    rows = text.split("\n")
    problems: list[Problem] = []
    lost: set[toml_lines.Path] = set()
    for _ in range(_MAX_SYNTAX_FAULTS):
        try:
            return tomllib.loads("\n".join(rows)), lost, problems
        except RecursionError:
            found, expected = "tables or lists within each other without end", "a few levels at most"
            return None, lost, [*problems, Problem(Reason.TOML_SYNTAX, shown, found, expected)]
        except tomllib.TOMLDecodeError as error:
            statement, problem = _syntax_problem(str(error), rows, shown, lines)
            problems.append(problem)
            if statement is None or statement.header:
                break
            if not problem.found.startswith("the key"):  # of a duplicate, the first stays
                lost.add(statement.path)
            for row in range(statement.line - 1, statement.end_line):
                rows[row] = ""
    return None, lost, problems


def _syntax_problem(
    message: str, rows: Sequence[str], shown: str, lines: TomlLines
) -> tuple[toml_lines.Statement | None, Problem]:
    at = re.search(r"\(at line (\d+), column (\d+)\)", message)
    line = int(at.group(1)) if at else _last_line(rows)
    what = re.sub(r"\s*\(at .*\)$", "", message)
    statement = lines.statement_at(line)
    key = _key(statement)
    if statement is not None and statement.end_line > statement.line:
        # an open string or list swallows what follows: its first line is where to look
        line = statement.line
        statement = statement if _alone_at_fault(rows, statement) else None
    row = rows[line - 1].strip() if line <= len(rows) else ""
    if re.match(r"Cannot overwrite|Cannot declare|Duplicate inline|Cannot mutate|Cannot define", what):
        return statement, _duplicate_problem(what, statement, line, row, shown, lines)
    found, hint = f"{_short(row)!r} ({what[:1].lower()}{what[1:]})", _syntax_hint(row, what)
    return statement, Problem(Reason.TOML_SYNTAX, shown, found, "valid TOML", line, hint=hint, key=key)


def _last_line(rows: Sequence[str]) -> int:
    filled = [number for number, row in enumerate(rows, 1) if row.strip()]
    return filled[-1] if filled else 1


def _alone_at_fault(rows: Sequence[str], statement: toml_lines.Statement) -> bool:
    """Whether the fault stays inside the statement, so that the rest can still be checked."""
    return statement.end_line < len(rows) and statement.text[-1:] in {"]", "}", '"', "'"}


def _duplicate_problem(  # noqa: PLR0917
    what: str, statement: toml_lines.Statement | None, line: int, row: str, shown: str, lines: TomlLines
) -> Problem:
    if what.startswith("Duplicate inline"):
        found = f"a key twice in {_short(row)!r}"
        return Problem(Reason.TOML_SYNTAX, shown, found, "each key once", line, key=_key(statement))
    key = _key(statement) or row
    path = statement.path if statement else ()
    first = next((s.line for s in lines.statements if s.path == path and s.line < line), None)
    first = first or lines.line_of(path)
    before = f", first in line {first}" if first and first != line else ""
    word = "table" if statement and statement.header else "key"
    hint = "delete one of the two"
    return Problem(
        Reason.TOML_SYNTAX, shown, f"the {word} '{key}' again{before}", f"each {word} once", line,
        key=key, hint=hint,
    )  # fmt: skip


def _syntax_hint(row: str, what: str) -> str:
    if _DECIMAL_COMMA.search(row):
        return "TOML wants a decimal point, such as 18.5"
    if "Unescaped '\\'" in what or ("\\" in row and '"' in row):
        return "put a text with backslashes in single quotes"
    if re.search(r"=\s*(True|False|TRUE|FALSE|yes|no)\b", row):
        return "write true or false"
    if _BARE_WORD.search(row):
        return "put text in quotes"
    if "=" not in row and not row.startswith("["):
        return "every line is `key = value`, a [table] or a # comment"
    return ""


# --- the model -----------------------------------------------------------------------------------


def _validate(
    document: dict[str, Any], model: type[M], shown: str, lines: TomlLines, lost: set[toml_lines.Path]
) -> tuple[M | None, list[Problem]]:
    errors, instance = _errors(document, model)
    unknown = [e["loc"] for e in errors if e["type"] == "extra_forbidden"]
    if unknown:
        # what a table's own checks have to say is only heard once its unknown keys are gone
        more, _ = _errors(_without(document, unknown), model)
        seen = {(e["type"], e["loc"]) for e in errors}
        errors += [e for e in more if (e["type"], e["loc"]) not in seen]
    faults = [_Fault.of(error, document, model) for error in errors]
    meant = {(*fault.path[:-1], fault.nearest) for fault in faults if fault.nearest}
    problems = [f.problem(shown, lines) for f in _merged(faults) if not f.is_shadow(lost, meant)]
    return instance, problems


def _errors(document: Mapping[str, Any], model: type[M]) -> tuple[list[Any], M | None]:
    try:
        return [], model.model_validate(document, by_alias=True, by_name=False)
    except ValidationError as error:
        return list(error.errors(include_url=False)), None


def _without(document: Mapping[str, Any], paths: Sequence[tuple[str | int, ...]]) -> dict[str, Any]:
    def pruned(value: Any, here: tuple[str | int, ...]) -> Any:
        if isinstance(value, dict):
            return {k: pruned(v, (*here, k)) for k, v in value.items() if (*here, k) not in gone}
        if isinstance(value, list):
            return [pruned(v, (*here, i)) for i, v in enumerate(value)]
        return value

    gone = {_in_document(document, path) for path in paths}
    result = pruned(document, ())
    assert isinstance(result, dict)
    return result


def _in_document(document: Any, loc: Sequence[str | int]) -> tuple[str | int, ...]:
    """The part of an error's place that exists in the document: no union or validator tags, and no
    index where a single table stands for a list of one."""
    path: list[str | int] = []
    value = document
    for step in loc:
        if isinstance(value, dict):
            if step in value:
                path.append(step)
                value = value[step]
        elif isinstance(value, list) and isinstance(step, int) and 0 <= step < len(value):
            path.append(step)
            value = value[step]
    return tuple(path)


@dataclass(frozen=True, slots=True)
class _Fault:
    reason: Reason
    path: tuple[str | int, ...]
    found: str
    expected: str
    hint: str = ""
    nearest: str = ""
    concerns: tuple[tuple[str | int, ...], ...] = ()
    """Other keys that a table's check speaks of."""
    branch: bool = False
    """Whether this says nothing new beside a fault further inside: one branch of a union, a count."""

    @classmethod
    def of(cls, error: Mapping[str, Any], document: Mapping[str, Any], model: type[BaseModel]) -> _Fault:
        kind, loc, value = error["type"], error["loc"], error["input"]
        path = _in_document(document, loc)
        if kind in {"extra_forbidden", "missing"} and (not path or path[-1] != loc[-1]):
            path = (*path, loc[-1])
        slot = _slot(model, loc)
        if kind == "extra_forbidden":
            return cls._unknown(path, _slot(model, loc[:-1]), model)
        if kind == "missing":
            return cls(Reason.MISSING_KEY, path, "nothing", slot.text)
        if kind == "gearqa_fault":
            ctx = error["ctx"]
            steps = ctx["key"].split(".") if ctx["key"] else []
            inside = tuple(int(step) if step.isdigit() else step for step in steps)
            return cls(
                Reason(ctx["reason"]), (*path, *inside), ctx["found"], ctx["expected"], ctx["hint"],
                concerns=tuple((*path, key) for key in ctx["concerns"]),
            )  # fmt: skip
        branch = len(loc) > len(path)
        expected = str(error["ctx"]["error"]) if kind == "value_error" else slot.text
        return cls._bad_value(kind, path, value, expected, slot, branch)

    @classmethod
    def _bad_value(  # noqa: PLR0917
        cls, kind: str, path: tuple[str | int, ...], value: Any, expected: str, slot: _Slot, branch: bool
    ) -> _Fault:
        found = shown_value(value)
        if kind == "value_error":
            return cls(Reason.CONTRADICTION, path, found, expected)
        if kind == "finite_number":
            return cls(Reason.NOT_FINITE, path, found, expected)
        if kind in {"literal_error", "enum"} and isinstance(value, str):
            near = difflib.get_close_matches(value.lower(), slot.words, n=1, cutoff=0.6)
            hint = f"did you mean '{near[0]}'?" if near else ""
            return cls(Reason.UNKNOWN_WORD, path, found, expected, hint)
        if kind in _RANGE_ERRORS:
            # entries at fault are left out of the count: a list is only too short where all are good
            counted = kind == "too_short" and bool(value)
            return cls(Reason.VALUE_OUT_OF_RANGE, path, found, expected, branch=counted)
        return cls(Reason.WRONG_TYPE, path, found, expected, _type_hint(value, slot), branch=branch)

    @classmethod
    def _unknown(cls, path: tuple[str | int, ...], table: _Slot, model: type[BaseModel]) -> _Fault:
        key = str(path[-1])
        known = table.keys
        nearest = nearest_key(key, known)
        expected = f"'{nearest}'" if nearest else "one of " + ", ".join(known)
        hint = "did you mean that key?" if nearest else _elsewhere(model, key)
        return cls(Reason.UNKNOWN_KEY, path, f"the unknown key '{key}'", expected, hint, nearest)

    def is_shadow(self, lost: set[tuple[str | int, ...]], meant: set[tuple[str | int, ...]]) -> bool:
        """Whether this only follows from a fault that is told already: a statement that could not be
        parsed (`lost`), or an unknown key that stands for a known one (`meant`)."""
        missing = self.reason is Reason.MISSING_KEY and self.path in meant
        return missing or self.path in lost or any(path in lost | meant for path in self.concerns)

    def problem(self, shown: str, lines: TomlLines) -> Problem:
        return Problem(
            self.reason, shown, self.found, self.expected, lines.line_of(self.path), hint=self.hint,
            key=dotted(self.path),
        )  # fmt: skip


def _merged(faults: Sequence[_Fault]) -> Iterator[_Fault]:
    """One fault per key: the branches of a union all complain about the same value."""
    seen: set[tuple[str | int, ...]] = set()
    order = sorted(faults, key=lambda f: f.reason is Reason.WRONG_TYPE)
    for fault in order:
        inside = fault.branch and any(f.path[: len(fault.path)] == fault.path != f.path for f in faults)
        if fault.path in seen or inside:
            continue
        seen.add(fault.path)
        yield fault


def dotted(path: Sequence[str | int]) -> str:
    """`("profile", 0, "columns")` as people write it: `profile[1].columns`."""
    text = ""
    for step in path:
        if isinstance(step, int):
            text += f"[{step + 1}]"
        else:
            word = step if re.fullmatch(r"[A-Za-z0-9_-]+", step) else f'"{step}"'
            text += f".{word}" if text else word
    return text


def _key(statement: toml_lines.Statement | None) -> str | None:
    return dotted(statement.path) if statement and statement.path else None


def _short(text: str, length: int = 60) -> str:
    return text if len(text) <= length else text[: length - 3] + "..."


def shown_value(value: Any) -> str:
    """A TOML value as a message shows it."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return f'"{_short(value)}"' if value else "an empty text"
    if isinstance(value, Mapping):
        return "a table"
    if isinstance(value, list | tuple):
        inside = ", ".join(map(shown_value, value))
        return f"the list {_short(f'[{inside}]')}" if value else "an empty list"
    if isinstance(value, dt.datetime | dt.date | dt.time):
        return f"the date or time {value.isoformat()}"
    return repr(value)


def _type_hint(value: Any, slot: _Slot) -> str:
    wanted = slot.plain
    if str in wanted and not isinstance(value, str | list | Mapping):
        return "put it in quotes"
    if isinstance(value, str) and wanted & {int, float}:
        try:
            float(value.replace(",", "."))
        except ValueError:
            return ""
        return f"write {value.replace(',', '.')} without quotes"
    if isinstance(value, float) and int in wanted and value.is_integer():
        return f"write {int(value)}"
    if bool in wanted:
        return "write true or false without quotes"
    return ""


# --- what a place of the model allows --------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Slot:
    """What the model allows at one place."""

    annotations: tuple[Any, ...]
    metadata: tuple[Any, ...] = ()

    @property
    def plain(self) -> set[Any]:
        return {a for a in self.annotations if isinstance(a, type)}

    @property
    def words(self) -> list[str]:
        return [str(w) for a in self.annotations if get_origin(a) is Literal for w in get_args(a)]

    @property
    def keys(self) -> list[str]:
        return [key for a in self.annotations if _is_model(a) for key in model_keys(a)]

    @property
    def text(self) -> str:
        parts: list[str] = []
        for annotation in self.annotations:
            text = _described(annotation, self.metadata)
            if text not in parts:
                parts.append(text)
        return " or ".join(parts) or "a value"


def _is_model(annotation: Any) -> bool:
    return isinstance(annotation, type) and issubclass(annotation, BaseModel)


def model_keys(model: type[BaseModel]) -> dict[str, FieldInfo]:
    """Keys of a table as they stand in TOML, with their fields."""
    return {info.alias or name: info for name, info in model.model_fields.items()}


def nearest_key(key: str, known: Sequence[str]) -> str:
    """The known key that an unknown one most likely stands for; empty where none is near.

    >>> known = ["teeth", "normal_module_mm", "face_width_mm", "helix_angle_deg", "tip_diameter_mm"]
    >>> [nearest_key(key, known) for key in ("face_with_mm", "modul", "Tip-Dia", "number_of_teeth", "colour")]
    ['face_width_mm', 'normal_module_mm', 'tip_diameter_mm', 'teeth', '']
    """
    folded = {k.lower().replace("-", "_"): k for k in known}
    meant = key.lower().replace("-", "_")
    near = difflib.get_close_matches(meant, list(folded), n=1, cutoff=0.55)
    if near:
        return folded[near[0]]
    shares = {name: _shared_words(meant, name) for name in folded}
    best = max(shares, key=lambda name: shares[name], default="")
    return folded[best] if best and max(shares[best]) >= _SHARED else ""


_SHARED = 0.6
"""Share of the words of a key that must be found in the other one."""
_ALIKE = 0.75
"""Similarity from which two words count as the same."""
_SHORTEST_WORD = 3


def _shared_words(one: str, other: str) -> tuple[float, float]:
    """Shares of the words of each key that the other one has too, the larger first; no units."""
    mine, theirs = (
        [word for word in name.split("_") if len(word) >= _SHORTEST_WORD and word not in _UNIT_WORDS]
        for name in (one, other)
    )
    if not mine or not theirs:
        return 0.0, 0.0
    shares = (
        sum(any(_same_word(word, its) for its in words) for word in own) / len(own)
        for own, words in ((mine, theirs), (theirs, mine))
    )
    large, small = sorted(shares, reverse=True)
    return large, small


_UNIT_WORDS = {"deg", "mm", "um"}


def _same_word(one: str, other: str) -> bool:
    return (
        one.startswith(other)
        or other.startswith(one)
        or difflib.SequenceMatcher(None, one, other).ratio() >= _ALIKE
    )


def _elsewhere(model: type[BaseModel], key: str) -> str:
    """A hint for a key that is known in another table."""
    waiting: list[tuple[str, type[BaseModel]]] = [("", model)]
    for where, table in waiting:
        for name, info in model_keys(table).items():
            if name == key:
                return f"'{key}' belongs " + (f"under [{where}]" if where else "at the top of the file")
            inner = f"{where}.{name}" if where else name
            waiting += [(inner, a) for a in _flat(info.annotation)[0] if _is_model(a) and len(waiting) < 200]
    return ""


def allowed_types(info: FieldInfo) -> list[Any]:
    """Types that a field may have, without None and without their limits."""
    return _flat(info.annotation)[0]


def _flat(annotation: Any, metadata: tuple[Any, ...] = ()) -> tuple[list[Any], tuple[Any, ...]]:
    origin = get_origin(annotation)
    if origin is Annotated:
        inner, *extra = get_args(annotation)
        found: list[Any] = []
        for item in extra:
            found += item.metadata if isinstance(item, FieldInfo) else [item]
        return _flat(inner, (*metadata, *found))
    if origin in {Union, types.UnionType}:
        branches: list[Any] = []
        for branch in get_args(annotation):
            if branch is not type(None):
                flat, metadata = _flat(branch, metadata)
                branches += flat
        return branches, metadata
    return [annotation], metadata


def _slot(model: type[BaseModel], loc: Sequence[str | int]) -> _Slot:
    slot = _Slot((model,))
    for step in loc:
        inside: list[Any] = []
        metadata: tuple[Any, ...] = ()
        for annotation in slot.annotations:
            origin = get_origin(annotation)
            if _is_model(annotation):
                info = model_keys(annotation).get(str(step))
                if info is not None:
                    flat, more = _flat(info.annotation, tuple(info.metadata))
                    inside, metadata = inside + flat, metadata + more
            elif origin is dict and isinstance(step, str):
                flat, more = _flat(get_args(annotation)[1])
                inside, metadata = inside + flat, metadata + more
            elif origin in {list, tuple} and isinstance(step, int):
                flat, more = _flat(get_args(annotation)[0])
                inside, metadata = inside + flat, metadata + more
        if inside:  # else a tag of a union or validator: stay where we are
            slot = _Slot(tuple(inside), metadata)
    return slot


def _described(annotation: Any, metadata: Sequence[Any]) -> str:
    origin = get_origin(annotation)
    if origin is Literal:
        words = [f"'{w}'" if isinstance(w, str) else str(w) for w in get_args(annotation)]
        return words[0] if len(words) == 1 else ", ".join(words[:-1]) + " or " + words[-1]
    if origin in {list, tuple}:
        args = [a for a in get_args(annotation) if a is not Ellipsis]
        inner = " or ".join(_described(a, ()) for a in _flat(args[0])[0]) if args else "values"
        pair = origin is tuple and len(args) == 2 and Ellipsis not in get_args(annotation)
        return f"a list of two: {inner}, {inner}" if pair else f"a list with entries: {inner}"
    if _is_model(annotation) or origin is dict or annotation is dict:
        return "a table"
    names = {int: "a whole number", float: "a number", str: "a text in quotes", bool: "true or false"}
    name = names.get(annotation, getattr(annotation, "__name__", str(annotation)))
    if annotation in {int, float}:
        return name + _range(metadata)
    if annotation is str and any(getattr(m, "max_length", None) == 1 for m in metadata):
        name = "a single character in quotes"
    elif annotation is str and any(getattr(m, "min_length", 0) for m in metadata):
        name += " that is not empty"
    return name


def _range(metadata: Sequence[Any]) -> str:
    def bound(name: str) -> Any:
        return next((getattr(m, name) for m in metadata if getattr(m, name, None) is not None), None)

    ge, gt, le, lt = bound("ge"), bound("gt"), bound("le"), bound("lt")
    if ge is not None and le is not None:
        return f" from {ge:g} to {le:g}"
    low = f" of at least {ge:g}" if ge is not None else f" above {gt:g}" if gt is not None else ""
    high = f" of at most {le:g}" if le is not None else f" below {lt:g}" if lt is not None else ""
    return f"{low} and{high}" if low and high else low + high

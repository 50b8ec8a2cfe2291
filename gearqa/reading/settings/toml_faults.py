"""Validate a TOML document against its model, and say in trade English what is wrong with it."""

from __future__ import annotations

import difflib
from collections.abc import Iterator, Mapping, Sequence
from typing import Any, Final, TypeVar

from gearqa.errors import Problem, Reason
from gearqa.late_dataclass import dataclass
from gearqa.model.table import TomlTable
from gearqa.reading.settings.allowed_values import Slot, elsewhere, slot_at
from gearqa.reading.settings.toml_lines import KeyPath, TomlLines
from gearqa.reading.settings.toml_text import dotted, shown_value
from gearqa.wording.nearest import did_you_mean, nearest

M = TypeVar("M", bound=TomlTable)

_RANGE_ERRORS = {
    "greater_than", "greater_than_equal", "less_than", "less_than_equal", "string_too_short",
    "string_too_long", "too_short", "too_long", "multiple_of", "string_pattern_mismatch",
}  # fmt: skip


MOST_FAULTS: Final = 200
"""Faults of one file that are told."""


def validated(
    document: dict[str, Any], model: type[M], shown: str, lines: TomlLines, lost: set[KeyPath]
) -> tuple[M | None, list[Problem]]:
    """The document as a model where it is valid, and its problems; `lost` are statements without a value."""
    errors, instance = _errors(document, model)
    del errors[MOST_FAULTS:]
    unknown = [e["loc"] for e in errors if e["type"] == "extra_forbidden"]
    if unknown:
        # what a table's own checks have to say comes only once its unknown keys are gone
        more, _ = _errors(_without(document, unknown), model)
        seen = {(e["type"], e["loc"]) for e in errors}
        errors += [e for e in more[:MOST_FAULTS] if (e["type"], e["loc"]) not in seen]
    faults = [_Fault.of(error, document, model) for error in errors]
    meant = {(*fault.path[:-1], fault.nearest) for fault in faults if fault.nearest}
    problems = [f.problem(shown, lines) for f in _merged(faults) if not f.is_shadow(lost, meant)]
    return instance, problems


def table_as_far_as_known(raw: Any, model: type[M]) -> M | None:
    """A table of a document as a model without its unknown keys, or None where it is not valid even so.

    For checks between keys: faults of single keys are reported elsewhere.
    """
    if not isinstance(raw, dict):
        return None
    errors, instance = _errors(raw, model)
    unknown = [e["loc"] for e in errors if e["type"] == "extra_forbidden"]
    return _errors(_without(raw, unknown), model)[1] if unknown else instance


def _errors(document: Mapping[str, Any], model: type[M]) -> tuple[list[Any], M | None]:
    try:
        return [], model.model_validate(document, by_alias=True, by_name=False)
    except ValueError as error:
        from pydantic import ValidationError

        if not isinstance(error, ValidationError):
            raise
        return list(error.errors(include_url=False)), None


def _without(document: Mapping[str, Any], paths: Sequence[KeyPath]) -> dict[str, Any]:
    def pruned(value: Any, here: KeyPath) -> Any:
        if isinstance(value, dict):
            return {k: pruned(v, (*here, k)) for k, v in value.items() if (*here, k) not in gone}
        if isinstance(value, list):
            return [pruned(v, (*here, i)) for i, v in enumerate(value)]
        return value

    gone = {_in_document(document, path) for path in paths}
    result = pruned(document, ())
    assert isinstance(result, dict)
    return result


def _in_document(document: Any, loc: Sequence[str | int]) -> KeyPath:
    """The part of an error's place that exists in the document: no union or validator tags, and no
    index where a single table is given for a list of one."""
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
    path: KeyPath
    found: str
    expected: str
    hint: str = ""
    nearest: str = ""
    concerns: tuple[KeyPath, ...] = ()
    """Other keys that a table's check looks at."""
    branch: bool = False
    """Whether a fault further inside says the same: one branch of a union, a count."""

    @classmethod
    def of(cls, error: Mapping[str, Any], document: Mapping[str, Any], model: type[TomlTable]) -> _Fault:
        kind, loc, value = error["type"], error["loc"], error["input"]
        path = _in_document(document, loc)
        if kind in {"extra_forbidden", "missing"} and (not path or path[-1] != loc[-1]):
            path = (*path, loc[-1])
        slot = slot_at(model, loc)
        if kind == "extra_forbidden":
            return cls._unknown(path, slot_at(model, loc[:-1]), model)
        if kind == "missing":
            return cls(Reason.MISSING_KEY, path, "nothing", slot.text)
        if kind == "gearqa_fault":
            ctx = error["ctx"]
            steps = ctx["key"].split(".") if ctx["key"] else []
            inside = tuple(int(step) if step.isdecimal() else step for step in steps)
            return cls(
                Reason(ctx["reason"]), (*path, *inside), ctx["found"], ctx["expected"], ctx["hint"],
                concerns=tuple((*path, key) for key in ctx["concerns"]),
            )  # fmt: skip
        branch = len(loc) > len(path)
        expected = str(error["ctx"]["error"]) if kind == "value_error" else slot.text
        return cls._bad_value(kind, path, value, expected, slot, branch=branch)

    @classmethod
    def _bad_value(
        cls, kind: str, path: KeyPath, value: Any, expected: str, slot: Slot, *, branch: bool
    ) -> _Fault:
        found = shown_value(value)
        if kind == "value_error":
            return cls(Reason.CONTRADICTION, path, found, expected)
        if kind == "finite_number":
            return cls(Reason.NOT_FINITE, path, found, expected)
        if kind in {"literal_error", "enum"} and isinstance(value, str):
            hint = did_you_mean(value.lower(), slot.words)
            return cls(Reason.UNKNOWN_WORD, path, found, expected, hint)
        if kind in _RANGE_ERRORS:
            # entries at fault are left out of the count: a list is only too short where all are good
            counted = kind == "too_short" and bool(value)
            return cls(Reason.VALUE_OUT_OF_RANGE, path, found, expected, branch=counted)
        return cls(Reason.WRONG_TYPE, path, found, expected, _type_hint(value, slot), branch=branch)

    @classmethod
    def _unknown(cls, path: KeyPath, table: Slot, model: type[Any]) -> _Fault:
        key = str(path[-1])
        known = table.keys
        nearest = nearest_key(key, known)
        expected = f"'{nearest}'" if nearest else "one of " + ", ".join(known)
        hint = "did you mean that key?" if nearest else elsewhere(model, key)
        return cls(Reason.UNKNOWN_KEY, path, f"the unknown key '{key}'", expected, hint, nearest)

    def is_shadow(self, lost: set[KeyPath], meant: set[KeyPath]) -> bool:
        """Whether this only follows from a fault already reported: a statement that could not be
        parsed (`lost`), or an unknown key meant for a known one (`meant`)."""
        missing = self.reason is Reason.MISSING_KEY and self.path in meant
        return missing or self.path in lost or any(path in lost | meant for path in self.concerns)

    def problem(self, shown: str, lines: TomlLines) -> Problem:
        """The fault as a problem of a file."""
        return Problem(
            self.reason, shown, self.found, self.expected, lines.line_of(self.path), hint=self.hint,
            key=dotted(self.path),
        )  # fmt: skip


def _merged(faults: Sequence[_Fault]) -> Iterator[_Fault]:
    """One fault per key: the branches of a union all complain about the same value."""
    seen: set[KeyPath] = set()
    order = sorted(faults, key=lambda f: f.reason is Reason.WRONG_TYPE)
    for fault in order:
        inside = fault.branch and any(f.path[: len(fault.path)] == fault.path != f.path for f in faults)
        if fault.path in seen or inside:
            continue
        seen.add(fault.path)
        yield fault


def _type_hint(value: Any, slot: Slot) -> str:
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


_SHARED: Final = 0.6
"""Share of the words of a key that must be found in the other one."""
_ALIKE: Final = 0.75
"""Similarity from which two words count as the same."""
_SHORTEST_WORD: Final = 3
_UNIT_WORDS: Final = frozenset({"deg", "mm", "um"})


def nearest_key(key: str, known: Sequence[str]) -> str:
    """The known key that an unknown one most likely means; empty where none is near.

    >>> known = ["teeth", "normal_module_mm", "face_width_mm", "helix_angle_deg", "tip_diameter_mm"]
    >>> [nearest_key(key, known) for key in ("face_with_mm", "modul", "Tip-Dia", "number_of_teeth", "colour")]
    ['face_width_mm', 'normal_module_mm', 'tip_diameter_mm', 'teeth', '']
    """
    folded = {k.lower().replace("-", "_"): k for k in known}
    meant = key.lower().replace("-", "_")
    alike = nearest(meant, folded, 0.55)
    if alike:
        return folded[alike]
    shares = {name: _shared_words(meant, name) for name in folded}
    best = max(shares, key=lambda name: shares[name], default="")
    return folded[best] if best and max(shares[best]) >= _SHARED else ""


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


def _same_word(one: str, other: str) -> bool:
    return (
        one.startswith(other)
        or other.startswith(one)
        or difflib.SequenceMatcher(None, one, other).ratio() >= _ALIKE
    )

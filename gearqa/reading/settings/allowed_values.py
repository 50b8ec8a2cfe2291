"""What a pydantic model allows at one of its places: types, words, keys, ranges."""

from __future__ import annotations

import types
from collections.abc import Sequence
from typing import TYPE_CHECKING, Annotated, Any, Literal, Union, get_args, get_origin

from gearqa.late_dataclass import dataclass
from gearqa.model.ranges import plausible_range
from gearqa.wording.numbers import short_text

if TYPE_CHECKING:
    from pydantic.fields import FieldInfo


@dataclass(frozen=True, slots=True)
class Slot:
    """What the model allows at one place."""

    annotations: tuple[Any, ...]
    metadata: tuple[Any, ...] = ()
    key: str = ""
    """The key that a number stands under, whose unit tells how large it may be."""

    @property
    def plain(self) -> set[Any]:
        """Types without parameters."""
        return {a for a in self.annotations if isinstance(a, type)}

    @property
    def words(self) -> list[str]:
        """Words of closed choices."""
        return [str(w) for a in self.annotations if get_origin(a) is Literal for w in get_args(a)]

    @property
    def keys(self) -> list[str]:
        """Keys of tables."""
        return [key for a in self.annotations if is_model(a) for key in model_keys(a)]

    @property
    def text(self) -> str:
        """All of it in words."""
        parts = dict.fromkeys(
            _described(annotation, self.metadata, self.key) for annotation in self.annotations
        )
        return " or ".join(parts) or "a value"


def is_model(annotation: Any) -> bool:
    """Whether a type is a table."""
    return isinstance(annotation, type) and hasattr(annotation, "model_fields")


def model_keys(model: type[Any]) -> dict[str, FieldInfo]:
    """Keys of a table as TOML writes them, with their fields."""
    return {info.alias or name: info for name, info in model.model_fields.items()}


def elsewhere(model: type[Any], key: str) -> str:
    """A hint for a key that is known in another table."""
    waiting: list[tuple[str, type[Any]]] = [("", model)]
    for where, table in waiting:
        for name, info in model_keys(table).items():
            if name == key:
                return f"'{key}' belongs " + (f"under [{where}]" if where else "at the top of the file")
            inner = f"{where}.{name}" if where else name
            waiting += [(inner, a) for a in _flat(info.annotation)[0] if is_model(a) and len(waiting) < 200]
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
            found += getattr(item, "metadata", [item])  # limits given as a field of pydantic
        return _flat(inner, (*metadata, *found))
    if origin in {Union, types.UnionType}:
        branches: list[Any] = []
        for branch in get_args(annotation):
            if branch is not type(None):
                flat, metadata = _flat(branch, metadata)
                branches += flat
        return branches, metadata
    return [annotation], metadata


def slot_at(model: type[Any], loc: Sequence[str | int]) -> Slot:
    """What a model allows at a place, as pydantic names places."""
    slot = Slot((model,))
    for step in loc:
        inside: list[Any] = []
        metadata: tuple[Any, ...] = ()
        is_key = any(map(is_model, slot.annotations))
        for annotation in slot.annotations:
            flat, more = _inside(annotation, step)
            inside, metadata = inside + flat, metadata + more
        if inside:  # else a tag of a union or validator: stay where we are
            slot = Slot(tuple(inside), metadata, str(step) if is_key else slot.key)
    return slot


def _inside(annotation: Any, step: str | int) -> tuple[list[Any], tuple[Any, ...]]:
    """Types and limits at one step into a table or list; nothing where it does not lead inside."""
    origin = get_origin(annotation)
    if is_model(annotation) and (info := model_keys(annotation).get(str(step))) is not None:
        return _flat(info.annotation, tuple(info.metadata))
    if origin is dict and isinstance(step, str):
        return _flat(get_args(annotation)[1])
    if origin in {list, tuple} and isinstance(step, int):
        return _flat(get_args(annotation)[0])
    return [], ()


def _described(annotation: Any, metadata: Sequence[Any], key: str = "") -> str:
    origin = get_origin(annotation)
    if origin is Literal:
        words = [f"'{w}'" if isinstance(w, str) else str(w) for w in get_args(annotation)]
        return words[0] if len(words) == 1 else ", ".join(words[:-1]) + " or " + words[-1]
    if origin in {list, tuple}:
        args = [a for a in get_args(annotation) if a is not Ellipsis]
        inner = " or ".join(_described(a, ()) for a in _flat(args[0])[0]) if args else "values"
        pair = origin is tuple and len(args) == 2 and Ellipsis not in get_args(annotation)
        return f"a list of two: {inner}, {inner}" if pair else f"a list with entries: {inner}"
    if is_model(annotation) or origin is dict or annotation is dict:
        return "a table"
    names = {int: "a whole number", float: "a number", str: "a text in quotes", bool: "true or false"}
    name = names.get(annotation, getattr(annotation, "__name__", str(annotation)))
    if annotation in {int, float}:
        return name + _range(metadata, key, annotation.__name__)
    if annotation is str and any(getattr(m, "max_length", None) == 1 for m in metadata):
        name = "a single character in quotes"
    elif annotation is str and any(getattr(m, "min_length", 0) for m in metadata):
        name += " that is not empty"
    return name


def _range(metadata: Sequence[Any], key: str, kind: str) -> str:
    def bound(name: str) -> Any:
        return next((getattr(m, name) for m in metadata if getattr(m, name, None) is not None), None)

    bounds = {name: bound(name) for name in ("ge", "gt", "le", "lt")}
    bounds |= plausible_range(key, kind, bounds)
    ge, gt, le, lt = bounds.values()
    if ge is not None and le is not None:
        return f" from {short_text(ge)} to {short_text(le)}"
    low = _bounded(" of at least", ge) or _bounded(" above", gt)
    high = _bounded(" of at most", le) or _bounded(" below", lt)
    return f"{low} and{high}" if low and high else low + high


def _bounded(word: str, value: float | None) -> str:
    return "" if value is None else f"{word} {short_text(value)}"

"""Writers and readers of tables, compiled from the declarations on first use: one line a field.

A writer makes the table of one object; objects inside it are written when orjson reaches them.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import MISSING, Field, fields, is_dataclass
from datetime import datetime
from functools import cache
from types import NoneType, UnionType
from typing import Annotated, Any, TypeVar, Union, cast, get_args, get_origin

from gearqa.model.declared import FINITE, KNOWN, Key, Only, Within
from gearqa.results.entries import Entry, entries_of, kind_of

Table = dict[str, Any]
Model = TypeVar("Model")


# --- writing -------------------------------------------------------------------------------------


@cache
def writer(model: type, names: tuple[str, ...] | None = None) -> Callable[[Any], Table]:
    """The function that turns an object of a dataclass into its table; `names` as in `entries_of`."""
    space: dict[str, Any] = {"isfinite": math.isfinite, "fault": _fault}
    kind = kind_of(model)
    lines = ["def write(x):", "t = {}", *([f"kind = x.{kind}"] if kind else [])]
    lines += [_write_line(one, space) for one in entries_of(model, names)]
    exec("\n ".join([*lines, "return t"]), space)
    return space["write"]  # type: ignore[no-any-return]


def _write_line(entry: Entry, space: dict[str, Any]) -> str:
    key, value, conditions = repr(entry.key), f"x.{entry.path}", []
    if only := entry.mark(Only):
        conditions.append(f"kind in {_named(only.kinds, space)}")
    if FINITE in entry.marks:
        conditions.append(f"(isfinite({value}) or fault(x, {entry.path!r}))")
    if KNOWN in entry.marks:
        empty = "" if get_origin(entry.hint) in (tuple, Mapping) else " is not None"
        conditions.append(f"(v := {value}){empty}")
        value = "v"
    if by_kind := entry.mark(Key):
        key = f"{_named(by_kind.of, space)}[kind]"
    if within := entry.mark(Within):
        key, value = repr(within.field), f"(*t[{within.field!r}], *{value})"
    return (f"if {' and '.join(conditions)}: " if conditions else "") + f"t[{key}] = {value}"


def _fault(thing: Any, key: str) -> None:
    raise ArithmeticError(f"{key} of {getattr(thing, thing.KIND)} is {getattr(thing, key)}")


# --- reading -------------------------------------------------------------------------------------


def read(model: type[Model], table: Mapping[str, Any]) -> Model:
    """The object that a table was written from; a missing key takes its default, or None."""
    return cast(Model, reader(model)(table))  # type: ignore[arg-type]


@cache
def reader(model: Any) -> Callable[[Mapping[str, Any]], Any]:
    """The function that makes an object of a dataclass from its table."""
    space: dict[str, Any] = {"model": model, "time": datetime.fromisoformat}
    entries = entries_of(model)
    shared = {within.field for one in entries if (within := one.mark(Within))}
    lines = ["def read(t):", "return model("]
    for one, field in zip(entries, fields(model), strict=True):
        within = one.mark(Within)
        value = _found(repr(within.field if within else one.key), one, field, space)
        if within or one.key in shared:
            kinds = get_args(entries_of(get_args(one.hint)[0], ("kind",))[0].hint)
            value = f"[one for one in {value} if one['kind'] in {kinds}]"
        lines.append(f"{one.path}={_made(one.hint, value, space)},")
    exec("\n ".join([*lines, ")"]), space)
    return space["read"]  # type: ignore[no-any-return]


def _found(key: str, entry: Entry, field: Field[Any], space: dict[str, Any]) -> str:
    """Expression for the value in the table `t`."""
    if by_kind := entry.mark(Key):
        key = _named(by_kind.of, space) + f"[t[{kind_of(entry.owner)!r}]]"
    default = field.default if field.default_factory is MISSING else field.default_factory()
    if default is not MISSING:
        return f"t.get({key}, {_named(default, space)})"
    return f"t.get({key})" if NoneType in get_args(entry.hint) else f"t[{key}]"


def _made(hint: Any, value: str, space: dict[str, Any], depth: int = 0) -> str:
    """Expression that makes an object of the type from a value of the table."""
    origin, arguments, name = get_origin(hint), get_args(hint), f"v{depth}"
    if origin is Annotated:
        return _made(arguments[0], value, space, depth)
    if origin in (Union, UnionType):
        inner = [_made(one, name, space, depth + 1) for one in arguments if one is not NoneType]
        return value if inner == [name] else f"(None if ({name} := {value}) is None else {inner[0]})"
    if hint is datetime:
        return f"time({value})"
    if is_dataclass(hint):
        return f"{_named(reader(hint), space)}({value})"  # type: ignore[arg-type]
    if origin is tuple:
        rows = _made(arguments[0], name, space, depth + 1)
        return f"tuple({value})" if rows == name else f"tuple([{rows} for {name} in {value}])"
    if origin is Mapping:
        one = _made(arguments[1], name, space, depth + 1)
        return f"dict({value})" if one == name else f"{{k: {one} for k, {name} in {value}.items()}}"
    return value


def _named(thing: Any, space: dict[str, Any]) -> str:
    """A name for a thing in the space that the code is run in."""
    name = f"_{len(space)}"
    space[name] = thing
    return name

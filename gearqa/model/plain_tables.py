"""Tables whose values are right without a doubt, read and given back by their declarations.

What this module takes, pydantic takes too, with the same values (a test compares); what it cannot tell it
leaves to pydantic.
"""

from __future__ import annotations

import types
from collections.abc import Callable, Container, Mapping
from functools import cache
from math import isfinite
from typing import (
    Annotated,
    Any,
    Final,
    Literal,
    NamedTuple,
    TypeVar,
    Union,
    get_args,
    get_origin,
    get_type_hints,
)

from gearqa.model.ranges import plausible_range
from gearqa.model.table import BeforeValidator, Check, Field, TomlTable, WithJsonSchema

T = TypeVar("T", bound=TomlTable)
Reader = Callable[[Any], Any]
_NONE: Final = object()
_OF_FIELDS: Final = {"description", "default", "alias", "validate_default", "strict"}
_BOUNDS: Final = ("ge", "gt", "le", "lt")


class UnsureError(Exception):
    """A value that is not right without a doubt."""


class _Key(NamedTuple):
    name: str
    key: str
    read: Reader
    default: Any
    before: tuple[Any, ...]
    after: tuple[Any, ...]


class _Declared(NamedTuple):
    keys: dict[str, _Key]
    checks: tuple[Any, ...]


def plain_table(table: type[T], document: Any) -> T | None:
    """The table of a document, None where there is a doubt."""
    try:
        found: T = _read(table, document)
        return found
    except Exception:  # whatever it is, pydantic comes to it again and says it
        return None


def plain_json(table: type[T], text: str) -> T | None:
    """The table of a document in JSON, None where there is a doubt."""
    import json

    try:
        document = json.loads(text)
    except (ValueError, RecursionError):
        return None
    return plain_table(table, document)


def plain_dump(
    table: TomlTable,
    *,
    mode: str = "python",
    by_alias: bool = False,
    exclude_unset: bool = False,
    exclude: Container[str] = (),
) -> dict[str, Any] | None:
    """A table as a dict, None where there is a doubt."""

    def dumped(value: Any, left_out: Container[str] = ()) -> Any:
        if isinstance(value, TomlTable):
            given = value.model_fields_set
            return {
                one.key if by_alias else one.name: dumped(getattr(value, one.name))
                for one in _declared(type(value)).keys.values()
                if one.name not in left_out and (one.name in given or not exclude_unset)
            }
        if type(value) is dict:
            return {key: dumped(one) for key, one in value.items()}
        if type(value) is tuple:
            inside = map(dumped, value)
            return tuple(inside) if mode == "python" else list(inside)
        if value is None or type(value) in (bool, int, str) or (type(value) is float and isfinite(value)):
            return value
        raise UnsureError

    try:
        found: dict[str, Any] = dumped(table, exclude)
        return found
    except Exception:  # as above
        return None


def plain_text(table: TomlTable, **how: Any) -> str | None:
    """A table as JSON, None where there is a doubt."""
    import orjson  # writes numbers as pydantic does

    document = plain_dump(table, mode="json", **how)
    try:
        return None if document is None else orjson.dumps(document).decode()
    except TypeError:  # a number beyond 64 bits
        return None


def _read(table: type[TomlTable], document: Any) -> Any:
    if type(document) is not dict:
        raise UnsureError
    keys, checks = _declared(table)
    if not document.keys() <= keys.keys():
        raise UnsureError
    values, given = {}, set()
    for name, key, read, default, before, after in keys.values():
        if key in document:
            value = document[key]
            given.add(name)
        elif default is _NONE:
            raise UnsureError
        elif default != {}:
            values[name] = default
            continue
        else:
            value = {}
        for check in before:
            value = check(table, value)
        value = read(value)
        for check in after:
            value = check(table, value)
        values[name] = value
    made = table.made(values, given)
    for check in checks:
        check(made)
    return made


@cache
def _declared(table: type[TomlTable]) -> _Declared:
    """Keys and checks of a table and of those that it extends."""
    members: dict[str, Any] = {}
    for one in reversed(table.__mro__[: table.__mro__.index(TomlTable)]):
        members |= {name: value for name, value in vars(one).items() if isinstance(value, Check | Field)}
    checks = [value for value in members.values() if isinstance(value, Check)]
    if any(check.mode == "before" and not check.keys for check in checks):
        raise UnsureError
    hints = get_type_hints(table, include_extras=True)
    del hints["model_fields_set"]
    keys = {}
    for name, annotation in hints.items():
        settings = members[name].settings
        key = settings.get("alias", name)
        before, after = (
            tuple(c.function.__func__ for c in checks if name in c.keys and c.mode == mode)
            for mode in ("before", "after")
        )
        read = _reader(annotation, settings, name)
        keys[key] = _Key(name, key, read, settings.get("default", _NONE), before, after)
    return _Declared(keys, tuple(check.function for check in checks if not check.keys))


def _reader(annotation: Any, settings: Mapping[str, Any], name: str) -> Reader:
    """What reads a value of a type; it raises where there is a doubt."""
    origin, arguments = get_origin(annotation), get_args(annotation)
    if origin is Annotated:
        return _annotated(arguments[0], arguments[1:], settings, name)
    if origin in (Union, types.UnionType):
        return _union([_reader_by_type(one, settings, name) for one in arguments])
    return _reader_by_type(annotation, settings, name)[1]


def _annotated(inner: Any, marks: tuple[Any, ...], settings: Mapping[str, Any], name: str) -> Reader:
    changes = []
    for mark in marks:
        if isinstance(mark, Field):
            settings = {**settings, **mark.settings}
        elif isinstance(mark, BeforeValidator):
            changes.append(mark.change)
        elif not isinstance(mark, WithJsonSchema):
            raise UnsureError
    read = _reader(inner, settings, name)
    if not changes:
        return read
    (change,) = changes
    return lambda value: read(change(value))


def _union(branches: list[tuple[tuple[type, ...], Reader]]) -> Reader:
    by_type = {kind: read for kinds, read in branches for kind in kinds}
    if len(by_type) != sum(len(kinds) for kinds, _ in branches):
        raise UnsureError

    def read(value: Any) -> Any:
        return by_type[type(value)](value)

    return read


def _reader_by_type(
    annotation: Any, settings: Mapping[str, Any], name: str
) -> tuple[tuple[type, ...], Reader]:
    """Python types of values, and what reads them."""
    origin, arguments = get_origin(annotation), get_args(annotation)
    limits = {key: value for key, value in settings.items() if key not in _OF_FIELDS}
    if origin is Annotated:
        kinds, _ = _reader_by_type(arguments[0], {}, name)
        kinds += (list,) * (tuple in kinds)  # taken if the marks make a tuple of it
        return kinds, _annotated(arguments[0], arguments[1:], settings, name)
    if annotation is type(None):
        return (type(None),), lambda value: value
    if annotation is float or annotation is int:
        return _number(annotation, limits, name)
    if annotation is str:
        return _text(limits)
    if origin is tuple:
        return _tuple(arguments, limits, name, lists=settings.get("strict") is False)
    if limits:
        raise UnsureError
    if annotation is bool:
        return (bool,), _exactly(bool)
    if origin is Literal and all(type(one) is str for one in arguments):
        return (str,), _one_of(arguments)
    if origin is dict and arguments[0] is str:
        key_of, inner = _exactly(str), _reader(arguments[1], {}, name)
        return (dict,), lambda value: {key_of(key): inner(one) for key, one in value.items()}
    if isinstance(annotation, type) and issubclass(annotation, TomlTable):
        return (dict,), lambda value: _read(annotation, value)
    raise UnsureError


def _exactly(kind: type) -> Reader:
    def read(value: Any) -> Any:
        if type(value) is not kind:
            raise UnsureError
        return value

    return read


def _one_of(words: tuple[str, ...]) -> Reader:
    def read(value: Any) -> Any:
        if type(value) is not str or value not in words:
            raise UnsureError
        return value

    return read


def _number(kind: type, limits: Mapping[str, Any], name: str) -> tuple[tuple[type, ...], Reader]:
    if {*limits} - {*_BOUNDS}:
        raise UnsureError
    bounds = {**limits, **plausible_range(name, kind.__name__, limits)}
    ge, gt, le, lt = (bounds.get(bound) for bound in _BOUNDS)
    kinds = (int, float) if kind is float else (int,)

    def read(value: Any) -> Any:
        if (
            type(value) in kinds
            and (ge is None or value >= ge)
            and (gt is None or value > gt)
            and (le is None or value <= le)
            and (lt is None or value < lt)
        ):
            return kind(value)
        raise UnsureError

    return kinds, read


def _text(limits: Mapping[str, Any]) -> tuple[tuple[type, ...], Reader]:
    if {*limits} - {"min_length"}:
        raise UnsureError
    least = limits.get("min_length", 0)

    def read(value: Any) -> Any:
        if type(value) is not str or len(value) < least:
            raise UnsureError
        return value

    return (str,), read


def _tuple(
    arguments: tuple[Any, ...], limits: Mapping[str, Any], name: str, *, lists: bool
) -> tuple[tuple[type, ...], Reader]:
    if {*limits} - {"min_length"}:
        raise UnsureError
    least = limits.get("min_length", 0)
    kinds: tuple[type, ...] = (list, tuple) if lists else (tuple,)
    same = len(arguments) == 2 and arguments[1] is Ellipsis
    readers = [_reader(one, {}, name) for one in (arguments[:1] if same else arguments)]

    def read(value: Any) -> Any:
        if type(value) not in kinds or len(value) < least:
            raise UnsureError
        if same:
            return tuple(map(readers[0], value))
        return tuple(inner(one) for inner, one in zip(readers, value, strict=True))

    return kinds, read

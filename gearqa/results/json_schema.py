"""JSON Schemas of results, made from the same declarations as their writers."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, is_dataclass
from datetime import datetime
from types import NoneType, UnionType
from typing import Annotated, Any, Literal, Union, get_args, get_origin

from gearqa.model.declared import KNOWN, NEVER_NULL, Key, Only, Within
from gearqa.results.entries import Entry, entries_of, kind_of

Schema = dict[str, Any]

DIALECT = "https://json-schema.org/draft/2020-12/schema"
UNITS = {
    "_mm": "mm", "_deg": "degree", "_um": "micrometre", "_arcmin": "minute of arc", "_degC": "degree Celsius",
}  # fmt: skip
SIMPLE: dict[Any, Schema] = {
    Any: {},
    str: {"type": "string"},
    int: {"type": "integer"},
    float: {"type": "number"},
    bool: {"type": "boolean"},
    NoneType: {"type": "null"},
    datetime: {"type": "string", "format": "date-time"},
}


def table(properties: Schema, *, required: Iterable[str] | None = None) -> Schema:
    """Schema of a table without other keys."""
    names = list(properties if required is None else required)
    return {"type": "object", "properties": properties, "required": names, "additionalProperties": False}


def some_of(properties: Schema) -> Schema:
    """Schema of a table that has some of these keys."""
    return {"type": "object", "properties": properties, "additionalProperties": False}


def array(items: Schema) -> Schema:
    """Schema of a list."""
    return {"type": "array", "items": items}


def reference(name: str) -> Schema:
    """Reference to a definition of the same document."""
    return {"$ref": f"#/$defs/{name}"}


@dataclass(frozen=True, slots=True)
class Schemas:
    """Makes schemas of one document."""

    views: Mapping[type, tuple[str, ...]] = field(default_factory=dict)
    """Model -> what is written of it, if not just its fields."""
    definitions: Mapping[type, str] = field(default_factory=dict)
    """Model -> name of its definition; other models are described in place."""

    def of(self, model: type, kind: str | None = None, **replaced: Schema) -> Schema:
        """Schema of the table of a model, of one kind or of any; `replaced` gives properties by key."""
        properties: Schema = {}
        required = []
        for entry in entries_of(model, self.views.get(model)):
            only, by_kind = entry.mark(Only), entry.mark(Key)
            if entry.mark(Within) or (kind and only and kind not in only.kinds):
                continue
            for key in [entry.key] if by_kind is None else by_kind.of.values():
                properties[key] = self._described(key, entry, replaced.get(key))
            if KNOWN not in entry.marks and (kind or not only):
                required.append(entry.key)
        if kind:
            properties[str(kind_of(model))] = {"const": kind}
        return table(properties, required=required)

    def named(self) -> Schema:
        """The definitions."""
        return {name: self.of(model) for model, name in self.definitions.items()}

    def _described(self, key: str, entry: Entry, given: Schema | None) -> Schema:
        hint = entry.hint
        if KNOWN in entry.marks or NEVER_NULL in entry.marks:
            hint = _without_none(hint)
        schema = {**(given or self.of_type(hint)), **(entry.mark(dict) or {})}
        if "$ref" in schema:
            return schema
        unit = next((unit for suffix, unit in UNITS.items() if key.endswith(suffix)), None)
        meaning = entry.meaning()
        return schema | ({"unit": unit} if unit else {}) | ({"description": meaning} if meaning else {})

    def of_type(self, hint: Any) -> Schema:
        """Schema of a type."""
        origin, arguments = get_origin(hint), get_args(hint)
        if origin is Annotated:
            extra = next((one for one in arguments[1:] if isinstance(one, dict)), {})
            return {**self.of_type(arguments[0]), **extra}
        if origin is None and hint in SIMPLE:
            return dict(SIMPLE[hint])
        if origin is None and is_dataclass(hint):
            return reference(self.definitions[hint]) if hint in self.definitions else self.of(hint)  # type: ignore
        if origin in (Union, UnionType):
            return _either([self.of_type(one) for one in arguments])
        if origin is Literal:
            return {"enum": list(arguments)} if len(arguments) > 1 else {"const": arguments[0]}
        if origin is Iterable or (origin is tuple and arguments[1:] == (Ellipsis,)):
            return array(self.of_type(arguments[0]))
        if origin is tuple:
            items = [self.of_type(one) for one in arguments]
            return {"type": "array", "prefixItems": items, "items": False, "minItems": len(items)}
        if origin is Mapping:
            values = self.of_type(arguments[1])
            return {"type": "object", **({"additionalProperties": values} if values else {})}
        raise TypeError(f"no schema for {hint!r}")


def _without_none(hint: Any) -> Any:
    if get_origin(hint) not in (Union, UnionType):
        return hint
    (one,) = (one for one in get_args(hint) if one is not NoneType)
    return one


def _either(options: list[Schema]) -> Schema:
    if all(set(option) == {"type"} for option in options):
        return {"type": [option["type"] for option in options]}
    return {"anyOf": options}


def described(schema_id: str, title: str, body: Schema, definitions: Schema | None = None) -> Schema:
    """A whole schema: dialect and title, then the table of a document."""
    whole = {"$schema": DIALECT, "title": title, **with_head(schema_id, body)}
    return {**whole, "$defs": definitions} if definitions else whole


def with_head(schema_id: str, body: Schema) -> Schema:
    """Schema of the table of a result, with `schema` and `software` before it."""
    head = {"schema": {"const": schema_id}, "software": table({"name": SIMPLE[str], "version": SIMPLE[str]})}
    return table({**head, **body["properties"]}, required=[*head, *body["required"]])

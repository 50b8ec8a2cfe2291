"""Pydantic models of tables, made from their declarations, and tables as models and back."""

from __future__ import annotations

from functools import cache
from typing import Annotated, Any, TypeVar, Union, get_args, get_origin, get_type_hints

import pydantic
from pydantic import BaseModel, ConfigDict, GetCoreSchemaHandler
from pydantic_core import CoreSchema

from gearqa.model.ranges import plausible_range
from gearqa.model.table import BeforeValidator, Check, Field, TomlTable, WithJsonSchema

T = TypeVar("T", bound=TomlTable)
_OF_TABLES_ALONE = {"__dict__", "__weakref__", "__annotations__", "__slots__", "__parameters__"}


def _fields(schema: Any) -> dict[str, Any]:
    """Fields of a table, wherever its own validators have put them."""
    while schema["type"] != "model-fields":
        if "schema" not in schema:  # a reference to a table that is known already
            return {}
        schema = schema["schema"]
    fields: dict[str, Any] = schema["fields"]
    return fields


def _bound(key: str, node: Any) -> None:
    """Give all numbers below a field their plausible range; tables inside have done so themselves."""
    if isinstance(node, list):
        for one in node:
            _bound(key, one)
    elif isinstance(node, dict) and node.get("type") != "model":
        if node.get("type") in ("float", "int"):
            node.update(plausible_range(key, node["type"], node))
        for one in node.values():
            _bound(key, one)


class TableModel(BaseModel):
    """What the models of all tables have in common."""

    model_config = ConfigDict(
        extra="forbid",
        strict=True,
        frozen=True,
        allow_inf_nan=False,
        populate_by_name=True,
        defer_build=True,
    )

    @classmethod
    def __get_pydantic_core_schema__(cls, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        schema = handler(source)
        for key, field in _fields(schema).items():
            _bound(key, field)
        return schema


_TABLES: dict[type[BaseModel], type[TomlTable]] = {}


@cache
def model_of(table: type[TomlTable]) -> type[BaseModel]:
    """The model of a table, with its name, words, checks, properties and methods."""
    (base,) = table.__bases__
    hints = get_type_hints(table, include_extras=True)
    own = vars(table)
    members: dict[str, Any] = {
        name: _member(value) for name, value in own.items() if name not in _OF_TABLES_ALONE
    }
    members["__annotations__"] = {name: _annotation(hints[name]) for name in own.get("__annotations__", {})}
    parent = TableModel if base is TomlTable else model_of(base)
    metaclass: Any = type(parent)
    model: type[BaseModel] = metaclass(table.__name__, (parent,), members)
    _TABLES[model] = table
    return model


def _member(value: Any) -> Any:
    decorators: Any = pydantic
    if isinstance(value, Field):
        return pydantic.Field(**{name: _heavy(one) for name, one in value.settings.items()})
    if isinstance(value, Check):
        if value.keys:
            return decorators.field_validator(*value.keys, mode=value.mode)(value.function)
        return decorators.model_validator(mode=value.mode)(value.function)
    return _heavy(value)


def _annotation(annotation: Any) -> Any:
    """A type with models in the places of tables."""
    origin, arguments = get_origin(annotation), get_args(annotation)
    if isinstance(annotation, type) and issubclass(annotation, TomlTable):
        return model_of(annotation)
    if origin is Annotated:
        inner, *marks = arguments
        return Annotated[(_annotation(inner), *map(_mark, marks))]
    if not any(isinstance(one, type) or get_origin(one) for one in arguments):
        return annotation
    inside = tuple(map(_annotation, arguments))
    if origin in (tuple, list, dict):
        return origin[inside]
    return Union[inside] if inside != arguments else annotation  # noqa: UP007  # types known at run time only


def _mark(mark: Any) -> Any:
    if isinstance(mark, Field):
        return pydantic.Field(**mark.settings)
    if isinstance(mark, BeforeValidator):
        return pydantic.BeforeValidator(mark.change)
    if isinstance(mark, WithJsonSchema):
        return pydantic.WithJsonSchema(mark.schema)
    return mark


def as_table(table: type[T], model: Any) -> T:
    """A valid model as the table that it was made of."""
    return table.made({name: _light(value) for name, value in vars(model).items()}, model.model_fields_set)


def _light(value: Any) -> Any:
    if isinstance(value, BaseModel):
        return as_table(_TABLES[type(value)], value)
    return _inside(value, _light)


def as_model(table: TomlTable) -> BaseModel:
    """A table as pydantic's model."""
    values = {name: _heavy(value) for name, value in vars(table).items()}
    return model_of(type(table)).model_construct(table.model_fields_set, **values)


def _heavy(value: Any) -> Any:
    return as_model(value) if isinstance(value, TomlTable) else _inside(value, _heavy)


def _inside(value: Any, change: Any) -> Any:
    if isinstance(value, dict):
        return {key: change(one) for key, one in value.items()}
    return tuple(map(change, value)) if type(value) is tuple else value

"""What every TOML table of gearqa has in common, and how its own checks name the key at fault.

A table is declared once, as a class with its keys, their limits and checks. `plain_tables` reads by that
declaration what is right without a doubt, and writes it as JSON. For all else (to say everything that is
wrong, to describe the keys) `table_models` makes a pydantic model of the same declaration: it takes as long
to load as the grading of a gear, and a good file does not need it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any, NamedTuple, Self, TypeVar, dataclass_transform

from gearqa.errors import Reason

if TYPE_CHECKING:
    from pydantic import BaseModel
    from pydantic.fields import FieldInfo
    from pydantic_core import PydanticCustomError

Function = TypeVar("Function", bound=Callable[..., Any])


class Field:
    """A key of a table, or limits of its values inside `Annotated`: the keywords of pydantic's `Field`."""

    def __init__(self, **settings: Any) -> None:
        self.settings = settings


class BeforeValidator(NamedTuple):
    """Inside `Annotated`: what a value goes through before it is looked at."""

    change: Callable[[Any], Any]


class WithJsonSchema(NamedTuple):
    """Inside `Annotated`: how the JSON Schema describes the value."""

    schema: dict[str, Any]


class Check(NamedTuple):
    """A check of a table: of the keys named, before or after they are read, or of the whole."""

    function: Any
    mode: str
    keys: tuple[str, ...] = ()


def field_validator(*keys: str, mode: str) -> Callable[[Any], Any]:
    """Declare a class method that takes the value of a key and returns it, or raises a `fault`."""
    return lambda function: Check(function, mode, keys)


def model_validator(*, mode: str) -> Callable[[Function], Function]:
    """Declare a method that returns the table, or raises a `fault`."""
    return lambda function: Check(function, mode)  # type: ignore[return-value]


class _TableType(type):
    """Tables as classes: what pydantic says of their keys."""

    @property
    def model_fields(cls) -> dict[str, FieldInfo]:
        """Fields by name."""
        return cls.model().model_fields  # type: ignore[attr-defined, no-any-return]


@dataclass_transform(kw_only_default=True, frozen_default=True)
class TomlTable(metaclass=_TableType):
    """A TOML table: every key known, strict types, immutable; no number beyond what it can mean."""

    __slots__ = ("__dict__", "model_fields_set")
    model_fields_set: set[str]

    def __init__(self, **values: Any) -> None:
        read = type(self).model_validate(values)
        self._hold(vars(read), read.model_fields_set)

    def _hold(self, values: Mapping[str, Any], given: set[str]) -> None:
        vars(self).update(values)
        object.__setattr__(self, "model_fields_set", given)

    @classmethod
    def made(cls, values: Mapping[str, Any], given: set[str]) -> Self:
        """A table of values that are valid; `given` are the fields that do not stand at their defaults."""
        table = object.__new__(cls)
        table._hold(values, given)
        return table

    @classmethod
    def model(cls) -> type[BaseModel]:
        """The pydantic model of this table."""
        from gearqa.model.table_models import model_of

        return model_of(cls)

    def _as_model(self) -> BaseModel:
        from gearqa.model.table_models import as_model

        return as_model(self)

    @classmethod
    def model_validate(cls, document: Any, **how: Any) -> Self:
        """Read a document, or raise pydantic's ValidationError with all its faults."""
        from gearqa.model.plain_tables import plain_table

        if not {*how} - {"by_alias", "by_name"} and (table := plain_table(cls, document)) is not None:
            return table
        from gearqa.model.table_models import as_table

        return as_table(cls, cls.model().model_validate(document, **how))

    @classmethod
    def model_validate_json(cls, text: str) -> Self:
        """Read a document as JSON, or raise pydantic's ValidationError with all its faults."""
        from gearqa.model.plain_tables import plain_json

        if (table := plain_json(cls, text)) is not None:
            return table
        from gearqa.model.table_models import as_table

        return as_table(cls, cls.model().model_validate_json(text))

    @classmethod
    def model_json_schema(cls, **how: Any) -> dict[str, Any]:
        """JSON Schema of the table."""
        return cls.model().model_json_schema(**how)

    def model_dump(self, **how: Any) -> dict[str, Any]:
        """The table as a dict."""
        from gearqa.model.plain_tables import plain_dump

        if not {*how} - {"mode", "by_alias"} and (plain := plain_dump(self, **how)) is not None:
            return plain
        return self._as_model().model_dump(**how)

    def model_dump_json(self, **how: Any) -> str:
        """The table as JSON."""
        from gearqa.model.plain_tables import plain_text

        text = plain_text(self, **how)
        return self._as_model().model_dump_json(**how) if text is None else text

    def model_copy(self, *, update: Mapping[str, Any]) -> Self:
        """The table with other values, which are not checked."""
        return self.made({**vars(self), **update}, self.model_fields_set | {*update})

    def __setattr__(self, name: str, value: object) -> None:
        raise AttributeError(f"{type(self).__name__} is frozen: {name}")

    def __delattr__(self, name: str) -> None:
        raise AttributeError(f"{type(self).__name__} is frozen: {name}")

    def __getstate__(self) -> Any:
        return dict(vars(self)), self.model_fields_set

    def __setstate__(self, state: Any) -> None:
        self._hold(*state)

    def __eq__(self, other: object) -> bool:
        return type(self) is type(other) and vars(self) == vars(other)

    def __hash__(self) -> int:
        return hash((type(self), *vars(self).values()))

    def __repr__(self) -> str:
        return f"{type(self).__name__}({', '.join(f'{key}={value!r}' for key, value in vars(self).items())})"


def about(text: str, **settings: Any) -> Any:
    """A field with the sentence that explains it to users: in the JSON Schema and in new part files."""
    return Field(description=text, **settings)


def optional(text: str, **settings: Any) -> Any:
    """A field that may be left out."""
    return about(text, default=None, **settings)


def section(text: str | None = None) -> Any:
    """A table that may be left out: then it holds its defaults."""
    return Field(description=text, default={}, validate_default=True)


def fault(
    key: str,
    found: str,
    expected: str,
    *,
    reason: Reason = Reason.CONTRADICTION,
    hint: str = "",
    concerns: tuple[str, ...] = (),
) -> PydanticCustomError:
    """An error for a table's validator to raise: `key` is dotted and relative to the table.

    `concerns` names other keys that the check uses: if one of them is faulty itself, that is reported
    instead.
    """
    from pydantic_core import PydanticCustomError

    context = {
        "key": key, "found": found, "expected": expected, "reason": str(reason), "hint": hint,
        "concerns": list(concerns),
    }  # fmt: skip
    return PydanticCustomError("gearqa_fault", "{key}: found {found}, expected {expected}", context)

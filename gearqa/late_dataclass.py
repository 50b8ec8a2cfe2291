"""`dataclass` of the standard library whose methods are made when they are first called.

Making them takes ten times as long as the class itself, and a short command uses a few of the hundred
classes that it imports.
"""

from __future__ import annotations

import dataclasses
from typing import TYPE_CHECKING, Any

__all__ = ["dataclass"]

if TYPE_CHECKING:
    from dataclasses import dataclass
else:

    def dataclass(cls=None, /, *, frozen=False, eq=True, slots=False, kw_only=False):
        """As `dataclasses.dataclass`; a class below one of these is made with this one too."""

        def made(cls):
            own = {*vars(cls)}
            cls.__doc__ = cls.__doc__ or cls.__name__  # else a signature is put there
            ready = dataclasses.dataclass(init=False, repr=False, eq=False, slots=slots, kw_only=kw_only)(cls)
            _late(ready, "__init__", frozen=frozen)
            if "__repr__" not in own:
                _late(ready, "__repr__")
            if eq and "__eq__" not in own:
                _late(ready, "__eq__")
            if eq and "__hash__" not in own:
                if frozen:
                    _late(ready, "__hash__", frozen=True)
                else:
                    ready.__hash__ = None
            if frozen:
                ready.__setattr__, ready.__delattr__ = _no_setting, _no_deleting
                if slots:
                    ready.__getstate__, ready.__setstate__ = _state, _set_state
            return ready

        return made if cls is None else made(cls)


def _late(cls: type[Any], name: str, *, frozen: bool = False) -> None:
    """Give `cls` a method that the standard library makes when it is first called."""

    def method(self: Any, *args: Any, **settings: Any) -> Any:
        setattr(cls, name, real := _real(cls, name, frozen=frozen))
        return real(self, *args, **settings)

    method.__qualname__ = f"{cls.__qualname__}.{name}"
    setattr(cls, name, method)


def _real(cls: type[Any], name: str, *, frozen: bool) -> Any:
    """The method as the standard library makes it, on a class of the same fields."""
    fields = {field.name: field for field in dataclasses.fields(cls)}
    members = {"__annotations__": {key: field.type for key, field in fields.items()}, "__doc__": "", **fields}
    if hasattr(cls, "__post_init__"):
        members["__post_init__"] = None
    twin: Any = dataclasses.dataclass(
        init=name == "__init__", repr=name == "__repr__", eq=name in {"__eq__", "__hash__"}, frozen=frozen
    )(type(cls.__name__, (), members))
    made = vars(twin)[name]
    made.__qualname__ = f"{cls.__qualname__}.{name}"
    return made


def _no_setting(self: Any, name: str, value: object) -> None:
    raise dataclasses.FrozenInstanceError(f"cannot assign to field {name!r}")


def _no_deleting(self: Any, name: str) -> None:
    raise dataclasses.FrozenInstanceError(f"cannot delete field {name!r}")


def _state(self: Any) -> list[Any]:
    return [getattr(self, field.name) for field in dataclasses.fields(self)]


def _set_state(self: Any, state: list[Any]) -> None:
    for field, value in zip(dataclasses.fields(self), state, strict=True):
        object.__setattr__(self, field.name, value)

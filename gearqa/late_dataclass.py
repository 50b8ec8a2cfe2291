"""`dataclass` of the standard library whose methods are made when they are first called.

Making them takes ten times as long as the class itself, and a short command uses a few of the hundred
classes that it imports.
"""

from __future__ import annotations

import dataclasses
from types import MemberDescriptorType
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
    """Give `cls` a method that is made when it is first called."""

    def method(self: Any, *args: Any, **settings: Any) -> Any:
        real = _init(cls, frozen=frozen) if name == "__init__" else _real(cls, name, frozen=frozen)
        real.__qualname__ = f"{cls.__qualname__}.{name}"
        setattr(cls, name, real)
        return real(self, *args, **settings)

    method.__qualname__ = f"{cls.__qualname__}.{name}"
    setattr(cls, name, method)


def _init(cls: type[Any], *, frozen: bool) -> Any:
    """`__init__` as the standard library writes it, in a third of the time; slots are set directly."""
    known: dict[str, Any] = {"_set": object.__setattr__, "_none": object()}
    plain, keyword = ["self"], list[str]()
    lines: list[str] = []
    for field in dataclasses.fields(cls):
        name, value = field.name, field.name
        in_slot = isinstance(vars(cls).get(name), MemberDescriptorType)
        if field.default is not dataclasses.MISSING:
            known[f"_default_{name}"], parameter = field.default, f"{name}=_default_{name}"
            value = name if field.init else f"_default_{name}" if in_slot else ""
        elif field.default_factory is not dataclasses.MISSING:
            known[f"_make_{name}"], parameter = field.default_factory, f"{name}=_none"
            value = f"_make_{name}()" + f" if {name} is _none else {name}" * field.init
        else:
            parameter, value = name, name * field.init
        if field.init:
            (keyword if field.kw_only else plain).append(parameter)
        if not value:
            continue
        if not frozen:
            lines.append(f"self.{name} = {value}")
        elif in_slot:
            known[f"_set_{name}"] = getattr(cls, name).__set__
            lines.append(f"_set_{name}(self, {value})")
        else:
            lines.append(f"_set(self, {name!r}, {value})")
    if hasattr(cls, "__post_init__"):
        lines.append("self.__post_init__()")
    parameters = ", ".join((*plain, *(["*"] if keyword else []), *keyword))
    exec(f"def __init__({parameters}):\n    " + "\n    ".join(lines or ["pass"]), known)
    return known["__init__"]


def _real(cls: type[Any], name: str, *, frozen: bool) -> Any:
    """The method as the standard library makes it, on a class of the same fields."""
    fields = {field.name: field for field in dataclasses.fields(cls)}
    members = {
        "__annotations__": {key: field.type for key, field in fields.items()},
        "__doc__": name,
        **fields,
    }
    twin: Any = dataclasses.dataclass(
        init=False, repr=name == "__repr__", eq=name in {"__eq__", "__hash__"}, frozen=frozen
    )(type(cls.__name__, (), members))
    return vars(twin)[name]


def _no_setting(self: Any, name: str, value: object) -> None:
    raise dataclasses.FrozenInstanceError(f"cannot assign to field {name!r}")


def _no_deleting(self: Any, name: str) -> None:
    raise dataclasses.FrozenInstanceError(f"cannot delete field {name!r}")


def _state(self: Any) -> list[Any]:
    return [getattr(self, field.name) for field in dataclasses.fields(self)]


def _set_state(self: Any, state: list[Any]) -> None:
    for field, value in zip(dataclasses.fields(self), state, strict=True):
        object.__setattr__(self, field.name, value)

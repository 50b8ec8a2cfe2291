"""What is declared of a result: the keys of its table, each with type, marks and meaning."""

from __future__ import annotations

import ast
import inspect
import re
import sys
from collections.abc import Iterable
from dataclasses import dataclass, fields
from functools import cache
from itertools import pairwise
from typing import Annotated, Any, TypeVar, get_args, get_origin, get_type_hints

Mark = TypeVar("Mark")


@dataclass(frozen=True, slots=True)
class Entry:
    """One key of a table, and the attribute that it is written from."""

    key: str
    path: str
    """Attribute, or a chain of them."""
    hint: Any
    marks: tuple[Any, ...]
    owner: type
    """Class of the last attribute of the path."""

    def mark(self, kind: type[Mark]) -> Mark | None:
        """The mark of a type, if there is one."""
        return next((one for one in self.marks if isinstance(one, kind)), None)

    def meaning(self) -> str:
        """Docstring of the attribute, else what is said of its type."""
        return _docstrings(self.owner).get(self.path.rpartition(".")[2]) or self.mark(str) or ""


def key_of(name: str) -> str:
    """JSON key of a field: the name without the underscore that avoids a Python keyword."""
    return name.removesuffix("_")


def kind_of(model: type) -> str | None:
    """Field with the kind of a result, where some keys apply to some kinds only."""
    return getattr(model, "KIND", None)


def names_of(model: type, *without: str) -> tuple[str, ...]:
    """Names of the fields of a dataclass, but for some."""
    return tuple(one.name for one in fields(model) if one.name not in without)


def entries_of(model: type, names: Iterable[str] | None = None) -> tuple[Entry, ...]:
    """Entries of a dataclass: its fields, or those named, as `field`, `property` or `key=path.to.it`."""
    return tuple(_entry(model, name) for name in names or names_of(model))


def _entry(model: type, name: str) -> Entry:
    key, _, path = name.partition("=")
    owner: Any = model
    *steps, last = (path or key).split(".")
    for step in steps:
        owner = _hints(owner)[step]
    declared = _hints(owner)[last]
    hint, *marks = get_args(declared) if get_origin(declared) is Annotated else (declared,)
    return Entry(key_of(key), path or key, hint, tuple(marks), owner)


@cache
def _hints(model: type) -> dict[str, Any]:
    """Types of fields and properties."""
    getters = {name: one.fget for name, one in vars(model).items() if isinstance(one, property)}
    returned = {name: get_type_hints(one, include_extras=True)["return"] for name, one in getters.items()}
    return get_type_hints(model, include_extras=True) | returned


@cache
def _docstrings(model: type) -> dict[str, str]:
    """Docstrings of fields and properties, which only the source holds."""
    module = ast.parse(inspect.getsource(sys.modules[model.__module__]))
    body = {one.name: one.body for one in module.body if isinstance(one, ast.ClassDef)}[model.__name__]
    found = {one.name: ast.get_docstring(one) or "" for one in body if isinstance(one, ast.FunctionDef)}
    for one, after in pairwise(body):
        if isinstance(one, ast.AnnAssign) and isinstance(after, ast.Expr):
            found[ast.unparse(one.target)] = str(ast.literal_eval(after.value))
    return {name: " ".join(re.sub(r"\bNone\b", "null", text).split()) for name, text in found.items()}

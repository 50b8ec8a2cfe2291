"""What a field of a result declares beyond name, type and docstring, by `typing.Annotated`.

The name without a trailing underscore is the key in JSON, its suffix the unit, the docstring the meaning.
A text in `Annotated` is the meaning of a type that several fields share; a dict is added to its schema.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Final

from gearqa.late_dataclass import dataclass
from gearqa.symbols import PARAMETERS


@dataclass(frozen=True, slots=True)
class Only:
    """Applies to results of these kinds alone, and is left out of all others.

    The kind of a result is the value of the field that its class names in `KIND`.
    """

    kinds: frozenset[str]


def only(*parameters: str) -> Only:
    """A field of these parameters; the kind of such a result is the parameter's symbol."""
    return Only(frozenset(PARAMETERS[key].symbol for key in parameters))


@dataclass(frozen=True, slots=True)
class Key:
    """The key depends on the kind of the result."""

    of: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class Within:
    """Has no key of its own: its rows follow those of another field; their `kind` tells which is which."""

    field: str


@dataclass(frozen=True, slots=True)
class Word:
    """A mark without content."""

    name: str


KNOWN: Final = Word("known")
"""Left out where it is None or empty."""
NEVER_NULL: Final = Word("never null")
"""Not None in results of the kinds that it applies to."""
FINITE: Final = Word("finite")
"""A value that is no number is a fault of the program."""

IS_SHA256: Final = {"pattern": "^[0-9a-f]{64}$"}
Simulated = Annotated[bool, "Whether any input is simulated or made up."]
Count = Annotated[int, {"minimum": 0}]
Identity = Annotated[Mapping[str, str], {"required": ["number"]}]
"""Number, name and revision of a part."""

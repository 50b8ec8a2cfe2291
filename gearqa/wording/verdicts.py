"""The words of verdicts, the same on every screen."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

CONFORMITY: Final[Mapping[bool | None, str]] = {
    True: "conforms",
    False: "does not conform",
    None: "not assessed",
}
MASTER_QUALITY: Final[Mapping[bool | None, str]] = {
    True: "reached",
    False: "not reached",
    None: "not decidable",
}
STATE_OF_MASTER_QUALITY: Final[Mapping[str, str]] = {
    "conforms": "reached",
    "does not conform": "not reached",
    "not proven": "not proven",
    "not assessed": "not decidable",
}
"""State of a gear against the master quality criterion, under measurement uncertainty -> its word."""
YES_NO: Final[Mapping[bool | None, str]] = {True: "yes", False: "no", None: "not decidable"}


def conform_text(count: int) -> str:
    """The verb to a count of gears.

    >>> conform_text(1), conform_text(3)
    ('conforms', 'conform')
    """
    return "conforms" if count == 1 else "conform"


def not_conform_text(count: int) -> str:
    """The verb to a count of gears that fail.

    >>> not_conform_text(1), not_conform_text(0)
    ('does not conform', 'do not conform')
    """
    return "does not conform" if count == 1 else "do not conform"

"""The words of verdicts, the same on every screen."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

CONFORMITY: Final[Mapping[bool | None, str]] = {
    True: "conforms",
    False: "does not conform",
    None: "not assessed",
}
NOT_PROVEN: Final = "not proven"


def conformity_text(conforms: bool | None, state: str | None) -> str:
    """The word for a verdict; an open one by its state, where the uncertainty leaves it open.

    >>> conformity_text(None, "not proven"), conformity_text(True, "not proven"), conformity_text(None, None)
    ('not proven', 'conforms', 'not assessed')
    """
    return NOT_PROVEN if conforms is None and state == NOT_PROVEN else CONFORMITY[conforms]


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
RULES: Final[Mapping[str, str]] = {
    "guarded acceptance": "what is not proven does not count as conforming",
    "simple acceptance": "what is not proven counts by its value",
    "guarded rejection": "what is not proven counts as conforming",
}
"""Decision rule -> how it counts a value whose conformity is not proven."""
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


def master_words(*, proven: bool) -> tuple[str, str]:
    """What is said of gears that are master quality, and that are not: nothing is proven without U."""
    return ("proven", "proven not to be") if proven else ("at master quality", "not at master quality")

"""Texts in CSV files that a spreadsheet would take for formulas and run."""

from __future__ import annotations

import re

_RUNS = re.compile(r"'*[=+\-@\t\r]")
_GUARDED = re.compile(r"''*[=+\-@\t\r]")


def without_formula(text: str) -> str:
    """The text with an apostrophe before it where a spreadsheet would run it, or where one stands already.

    >>> [without_formula(text) for text in ("=1+1", "OT-7", "'-7", "'a")]
    ["'=1+1", 'OT-7', "''-7", "'a"]
    """
    return f"'{text}" if _RUNS.match(text) else text


def with_formula(text: str) -> str:
    """The text before `without_formula` changed it.

    >>> [with_formula(text) for text in ("'=1+1", "OT-7", "''-7", "'a")]
    ['=1+1', 'OT-7', "'-7", "'a"]
    """
    return text[1:] if _GUARDED.match(text) else text

"""How sentences begin, end and name things."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence

from gearqa.symbols import PARAMETERS, symbol_of

_SYMBOL = re.compile(rf"({'|'.join(re.escape(p.symbol) for p in PARAMETERS.values())})\b")


def sentence(text: str) -> str:
    """The text with a capital first letter and a full stop; a symbol is no word and keeps its case.

    >>> sentence("left profile slope loses 0.05 µm per part"), sentence("fHα over the full span: 4.2 µm.")
    ('Left profile slope loses 0.05 µm per part.', 'fHα over the full span: 4.2 µm.')
    >>> sentence("fully measured"), sentence("is the unit right?")
    ('Fully measured.', 'Is the unit right?')
    """
    text = text.rstrip(".")
    head = text[:1] if _SYMBOL.match(text) else text[:1].upper()
    return f"{head}{text[1:]}" + ("" if text.endswith("?") else ".")


def listed(words: Iterable[str]) -> str:
    """Words in a row, the last joined by `and`.

    >>> listed(["a"]), listed(["a", "b", "c"])
    ('a', 'a, b and c')
    """
    *first, last = words
    return f"{', '.join(first)} and {last}" if first else last


def some_of(words: Sequence[str], most: int) -> str:
    """Words in a row; of many the first ones, and how many more there are.

    >>> some_of(["a", "b"], 2), some_of(["a", "b", "c", "d"], 2)
    ('a, b', 'a, b and 2 more')
    """
    more = f" and {len(words) - most} more" if len(words) > most else ""
    return ", ".join(words[:most]) + more


def place_text(key: str, flank: str | None = None, *more: str | None) -> str:
    """A parameter by its symbol, with flank and whatever else is known of the place.

    >>> place_text("helix_slope", "left"), place_text("runout", None), place_text("fHα", "right", "tooth 4")
    ('fHβ left', 'Fr', 'fHα right tooth 4')
    """
    return " ".join(filter(None, (symbol_of(key), flank, *more)))


def symbols_text(keys: Iterable[str]) -> str:
    """Printed symbols of parameters in a row.

    >>> symbols_text(["single_pitch", "runout"])
    'fp, Fr'
    """
    return ", ".join(map(symbol_of, keys))


def first_lines(lines: Sequence[str], most: int) -> list[str]:
    """The first lines, and how many more there are.

    >>> first_lines(["A", "B", "C"], 1)
    ['A', 'and 2 more']
    """
    return [*lines[:most], *([f"and {len(lines) - most} more"] if len(lines) > most else [])]

"""Keys and values of TOML as they are written, and as messages show them."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Mapping, Sequence
from typing import Any, Final

LONGEST_INTEGER_BITS: Final = 333
_BARE_KEY: Final = re.compile(r"[A-Za-z0-9_-]+")


def dotted(path: Sequence[str | int]) -> str:
    """`("profile", 0, "columns")` as people write it: `profile[1].columns`."""
    text = ""
    for step in path:
        if isinstance(step, int):
            text += f"[{step + 1}]"
        else:
            word = step if _BARE_KEY.fullmatch(step) else f'"{step}"'
            text += f".{word}" if text else word
    return text


def shortened(text: str) -> str:
    """A text cut to 60 characters, with three points where something is missing."""
    return text if len(text) <= 60 else text[:57] + "..."


def shown_value(value: Any) -> str:
    """A value as a message shows it."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return f'"{shortened(value)}"' if value else "an empty text"
    if isinstance(value, Mapping):
        return "a table"
    if isinstance(value, list | tuple):
        inside = ", ".join(map(shown_value, value))
        return f"the list {shortened(f'[{inside}]')}" if value else "an empty list"
    if isinstance(value, dt.datetime | dt.date | dt.time):
        return f"the date or time {value.isoformat()}"
    if isinstance(value, int) and value.bit_length() > LONGEST_INTEGER_BITS:
        return "a number of more than 100 digits"
    return repr(value)


def toml_value(value: Any) -> str:
    r"""A value as TOML writes it.

    >>> toml_value('say "a\\b"'), toml_value((1, 2.5)), toml_value(True), toml_value(20.0)
    ('"say \\"a\\\\b\\""', '[1, 2.5]', 'true', '20.0')
    """
    import json

    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int | float):
        return repr(value)
    if isinstance(value, list | tuple):
        return f"[{', '.join(map(toml_value, value))}]"
    # JSON and TOML basic strings share their escapes; nothing invisible goes to a terminal or into a file
    text = json.dumps(str(value), ensure_ascii=False)
    return "".join(c if c.isprintable() else _escaped(c) for c in text)


def _escaped(character: str) -> str:
    """A character by its number, as TOML writes it; half a pair has none."""
    code = ord(character)
    if 0xD800 <= code <= 0xDFFF:
        return "\\uFFFD"
    return f"\\u{code:04X}" if code <= 0xFFFF else f"\\U{code:08X}"


def toml_key(word: str) -> str:
    """A key as TOML writes it."""
    return word if _BARE_KEY.fullmatch(word) else toml_value(word)

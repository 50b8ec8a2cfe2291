"""Making any text harmless to print: invisible characters shown, endless ones cut."""

from __future__ import annotations

import re
import unicodedata
from typing import Final

LONGEST = 160
"""Characters of one name or serial that a report prints; the result file holds the rest."""
LONGEST_IN_SENTENCE = 24
"""Characters of a serial or a name inside a sentence or a table."""

_ENDLESS: Final = re.compile(rf"\S{{{LONGEST + 1},}}")


def code_point(character: str) -> str:
    """A character that cannot be shown, by its number.

    >>> code_point("日")
    '⟨U+65E5⟩'
    """
    return f"⟨U+{ord(character):04X}⟩"


def visible(text: str) -> str:
    """The text with line ends as blanks and control, direction and unassigned characters by number.

    >>> visible("A" + chr(0x202E) + "7" + chr(10) + "b")
    'A⟨U+202E⟩7 b'
    """
    if text.isprintable():
        return text
    return "".join(_visible(character) for character in text)


def _visible(character: str) -> str:
    if character.isprintable() or unicodedata.category(character) == "Zs" or character in "\u200c\u200d":
        return character
    return " " if character in "\t\n\r" else code_point(character)


def safe_lines(text: str) -> str:
    """The text made visible line by line: for whatever goes to a terminal.

    >>> safe_lines("A" + chr(27) + "[2J" + chr(10) + "b")
    'A⟨U+001B⟩[2J\\nb'
    """
    return "\n".join(map(visible, text.split("\n")))


def clip(text: str, longest: int = LONGEST) -> str:
    """The visible text, or its beginning and its length if it is longer than `longest`.

    >>> clip("x" * 10_000, 5)
    'xxxxx… (10 000 characters)'
    """
    text = visible(text)
    if len(text) <= longest:
        return text
    return f"{text[:longest]}… ({len(text):,} characters)".replace(",", " ")


def clip_words(text: str) -> str:
    """The text with each word clipped that is longer than a report prints one.

    >>> clip_words("the serial " + "9" * 5000)[150:]
    '999999999999999999999… (5 000 characters)'
    """
    return _ENDLESS.sub(lambda word: clip(word[0]), text)


def right_to_left(text: str) -> bool:
    """Whether the text holds letters that run from right to left."""
    return not text.isascii() and any(unicodedata.bidirectional(c) in ("R", "AL", "AN") for c in text)


def breakable(text: str, longest_word: int) -> str:
    """The text with places to break inside words that are too long for a line."""
    if len(text) <= longest_word:
        return text
    words = (
        "\u200b".join(word[i : i + longest_word] for i in range(0, len(word), longest_word))
        if len(word) > longest_word
        else word
        for word in text.split(" ")
    )
    return " ".join(words)

"""Wide tables: headers that differ in a tooth number (and a flank word), one trace each."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from gearqa.reading.maps.table_look import TableLook
from gearqa.reading.maps.trade_words import flank_of, read_header, unit_of


@dataclass(frozen=True, slots=True)
class WideHeaders:
    """Headers that differ in a number (and a flank word): one trace each."""

    pattern: str
    headers: tuple[str, ...]
    words: dict[str, str]
    unit: str | None
    from_zero: bool
    has_flank: bool


def wide_headers(look: TableLook) -> WideHeaders | None:
    """The largest family of headers of a table that differ in a number, or None where there is none."""
    families: dict[str, list[tuple[str, str, str]]] = {}
    for header in look.header:
        if not header or not look.numbers(header):
            continue
        split = _split_wide(header)
        if split is not None:
            shape, number, word = split
            families.setdefault(shape, []).append((header, number, word))
    best = max(families.items(), key=lambda item: len(item[1]), default=None)
    if best is None or len(best[1]) < 2:
        return None
    shape, members = best
    words = {word: flank_of(word) or "" for _, _, word in members if word}
    first = members[0][0]
    below = look.units[look.header.index(first)] if look.units else ""
    unit = read_header(first).unit or (unit_of(below) if below else None)
    return WideHeaders(
        _wide_pattern(shape, list(words)), tuple(m[0] for m in members),
        {word: flank for word, flank in words.items() if word not in {"left", "right"}},
        unit, any(int(m[1]) == 0 for m in members), bool(words),
    )  # fmt: skip


def _split_wide(header: str) -> tuple[str, str, str] | None:
    """Shape of a header with its number and flank word taken out, the number, and the word."""
    bare = re.sub(r"\s*[\[(][^\])]*[\])]\s*$", "", header)
    numbers = re.findall(r"\d+", bare)
    if len(numbers) != 1:
        return None
    word = ""
    shape = bare.replace(numbers[0], "\0", 1)
    for token in re.findall(r"[^\W\d_]+", bare):
        if flank_of(token):
            word = token
            shape = re.sub(rf"(?<![^\W\d_]){re.escape(token)}(?![^\W\d_])", "\1", shape, count=1)
            break
    return shape, numbers[0], word


def _wide_pattern(shape: str, words: Sequence[str]) -> str:
    either = "|".join(re.escape(word) for word in sorted(words, key=len, reverse=True))
    pattern = re.escape(shape).replace("\0", r"(?P<number>\d+)").replace("\1", f"(?P<flank>{either})")
    return f"^{pattern}".replace("\\ ", " ") + ("$" if shape in {"\0", "\1"} else r"(?:\W|$)")

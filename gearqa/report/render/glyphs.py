"""Which characters the bundled font can show: the font's own character map (OpenType `cmap`)."""

from __future__ import annotations

import re
import struct
from functools import cache
from importlib.resources import files

from gearqa.wording.visible import code_point

_REGULAR = "DejaVuSansCondensed.ttf"
_BOLD = "DejaVuSansCondensed-Bold.ttf"
_NOT_ASCII = re.compile(r"[^\x00-\x7f]")
_SIMPLE = ((0x00A0, 0x052F), (0x1E00, 0x1FFF), (0x2000, 0x22FF), (0x2500, 0x27BF), (0x27E8, 0x27E9))
"""Scripts and signs whose characters are shown one by one, without shaping."""


def font_folder() -> str:
    """Path of the folder with the bundled fonts."""
    return str(files("gearqa.report.render") / "fonts")


def _format_4(table: bytes) -> set[int]:
    """Characters of a format 4 subtable (the basic plane) that have a glyph."""
    (segments,) = struct.unpack_from(">H", table, 6)
    count = segments // 2
    ends = struct.unpack_from(f">{count}H", table, 14)
    starts = struct.unpack_from(f">{count}H", table, 16 + 2 * count)
    deltas = struct.unpack_from(f">{count}H", table, 16 + 4 * count)
    offsets_at = 16 + 6 * count
    offsets = struct.unpack_from(f">{count}H", table, offsets_at)
    found = set()
    for i, (start, end, delta, offset) in enumerate(zip(starts, ends, deltas, offsets, strict=True)):
        for code in range(start, min(end, 0xFFFE) + 1):
            glyph = code
            if offset:
                (glyph,) = struct.unpack_from(">H", table, offsets_at + 2 * i + offset + 2 * (code - start))
                if glyph == 0:
                    continue
            if (glyph + delta) & 0xFFFF:
                found.add(code)
    return found


def _characters(font: bytes) -> set[int]:
    """Characters of the basic plane that a TrueType font has a glyph for."""
    (tables,) = struct.unpack_from(">H", font, 4)
    for i in range(tables):
        tag, _, offset, _ = struct.unpack_from(">4sIII", font, 12 + 16 * i)
        if tag != b"cmap":
            continue
        (subtables,) = struct.unpack_from(">H", font, offset + 2)
        for k in range(subtables):
            platform, encoding, at = struct.unpack_from(">HHI", font, offset + 4 + 8 * k)
            if (platform, encoding) == (3, 1) and struct.unpack_from(">H", font, offset + at) == (4,):
                return _format_4(font[offset + at :])
    raise ValueError("the font has no character map of the basic plane")


@cache
def printable() -> frozenset[int]:
    """Characters that both bundled fonts, regular and bold, have a glyph for."""
    folder = files("gearqa.report.render") / "fonts"
    regular, bold = (_characters((folder / name).read_bytes()) for name in (_REGULAR, _BOLD))
    return frozenset(regular & bold)


@cache
def _shown(character: str, careful: bool) -> str:
    code = ord(character)
    if code == 0x200B:
        return character
    if code not in printable() or (careful and not any(a <= code <= b for a, b in _SIMPLE)):
        return code_point(character)
    return character


def font_safe(text: str, *, careful: bool = False) -> str:
    """The text with every character that the bundled font lacks shown by its number.

    With `careful` characters of scripts that need shaping are shown by number too, so that no
    composed form can be missing.

    >>> font_safe("Fα 日")
    'Fα ⟨U+65E5⟩'
    """
    if text.isascii():
        return text
    return _NOT_ASCII.sub(lambda match: _shown(match.group(), careful), text)

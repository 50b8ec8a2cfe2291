"""Encodings of text files: which one a file is in, and what is no text at all."""

from __future__ import annotations

import codecs
from pathlib import Path
from typing import Final

HEAD_BYTES: Final = 1 << 16
"""How much of a file is looked at first."""

UTF8: Final = "utf-8-sig"
"""UTF-8 with or without byte order mark; a file that turns out otherwise is read as Windows-1252."""
CP1252: Final = "cp1252"
UTF16: Final = "utf-16"


class NotTextError(Exception):
    """The bytes are no text in any encoding that tables may have."""

    def __init__(self, found: str, line: int | None = None) -> None:
        super().__init__(found)
        self.found, self.line = found, line


def read_head(path: Path, size: int = HEAD_BYTES) -> bytes:
    """The first bytes of a file."""
    with path.open("rb") as file:
        return file.read(size)


def guess_encoding(head: bytes, *, whole: bool = False) -> str:
    """Encoding by byte order mark, else UTF-8 where the bytes are, else Windows-1252.

    `whole` says that the head is the whole file, so that a character cut at its end is a fault.

    >>> guess_encoding("µ".encode()), guess_encoding("µ".encode("cp1252")), guess_encoding(b"\\xff\\xfea\\0")
    ('utf-8-sig', 'cp1252', 'utf-16')
    """
    if head.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return UTF16
    return UTF8 if is_utf8(head, whole=whole) else CP1252


def is_utf8(data: bytes, *, whole: bool = True) -> bool:
    """Whether bytes are UTF-8 (`whole` false: the last character may be cut)."""
    try:
        codecs.getincrementaldecoder("utf-8")().decode(data, final=whole)
    except UnicodeDecodeError:
        return False
    return True


def is_utf8_file(path: Path) -> bool:
    """Whether a whole file is UTF-8; an unreadable one passes, its reader will say so."""
    decoder = codecs.getincrementaldecoder("utf-8")()
    try:
        with path.open("rb") as file:
            while block := file.read(1 << 20):
                decoder.decode(block)
            decoder.decode(b"", final=True)
    except UnicodeDecodeError:
        return False
    except OSError:
        return True
    return True


def decode_head(head: bytes, encoding: str, *, whole: bool = False) -> str:
    """The head as text, up to the last complete character.

    Raises
    ------
    NotTextError
        If the bytes are no text in this encoding, or hold NUL characters.
    """
    try:
        text = codecs.getincrementaldecoder(encoding)().decode(head, final=whole)
    except UnicodeError as error:
        start = getattr(error, "start", 0)
        shown = f"byte 0x{head[start]:02X}" if start < len(head) else "a cut character"
        raise NotTextError(f"{shown} that is no text in {encoding}", head[:start].count(b"\n") + 1) from None
    if "\0" in text:
        # every other byte of Latin text in UTF-16
        if max(head[0::2].count(0), head[1::2].count(0)) > len(head) // 4:
            raise NotTextError("UTF-16 without a byte order mark")
        line = text[: text.index("\0")].count("\n") + 1
        raise NotTextError("a NUL character", line)
    return text

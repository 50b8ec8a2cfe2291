"""What kind of file something is that lies where an output shall go, or among measurements: by its content.

An output takes the place of an earlier output of its kind only, so that a wrong name on the command line
never costs a table, a drawing, a store, a record or a key.
"""

from __future__ import annotations

import mmap
import os
import re
from pathlib import Path
from typing import Final, Literal

from gearqa.wording.safety import MAIL_TITLE, PAGE_MARK, PDF_MARK, RESULT_MARK, SIMULATED_BANNER

FileKind = Literal[
    "JSON result", "CSV result", "Parquet result", "page", "PDF", "mail text", "record", "column map", "store"
]
"""What gearqa writes; a column map and a store are never replaced."""

_HEAD: Final = 8192
_BOM: Final = b"\xef\xbb\xbf"
_DOCUMENT: Final = rb'\s*\{\s*"schema"\s*:\s*"gearqa\.([a-z_]+)/'
_RECORD: Final = rb'"schema"\s*:\s*"gearqa\.record/'
_PARQUET: Final = b"PAR1"
_STORE: Final = b"SQLite format 3\0"
_EARLIER_PDF: Final = (
    rb"<dc:title><rdf:Alt><rdf:li xml:lang=\"[^\"]*\">"
    rb"(?:Inspection report, part |Lot certificate, part |Incoming check of |Gauge study )[^<]*</rdf:li>"
    rb"</rdf:Alt></dc:title><pdf:Keywords>[^<]*</pdf:Keywords><xmp:CreatorTool>Typst "
)
"""PDFs of 0.1 and 0.2 have no mark, but titles of their own and the library that made them."""
_NOTHING: Final = (b"", b"{}", b"[]", b"null")
_TEMPORARY: Final = re.compile(r"\..{0,40}\.[0-9a-f]{16}\.part")
_BESIDE_A_STORE: Final = ("-journal", "-wal", "-shm")


def kind_of(path: Path) -> FileKind | None:
    """The kind of output that a file is; None for any other file, and for one that cannot be read."""
    try:
        with path.open("rb") as file:
            head = file.read(_HEAD)
            if head.startswith((b"%PDF-", b"{")) and not re.match(_DOCUMENT, head):
                # the mark of a PDF and the schema of a record, whose keys are sorted, come late
                with mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ) as whole:
                    if head.startswith(b"{"):
                        return "record" if re.search(_RECORD, whole) else None
                    own = whole.rfind(PDF_MARK.encode()) >= 0 or re.search(_EARLIER_PDF, whole)
                    return "PDF" if own else None
    except OSError:
        return None
    if head.startswith(_PARQUET):
        return "Parquet result" if RESULT_MARK.encode() in _parquet_footer(path) else None
    text = head.removeprefix(_BOM)
    if text.startswith(RESULT_MARK.encode()):
        return "CSV result"
    if re.match(_DOCUMENT, text):
        return "record" if re.search(_RECORD, text) else "JSON result"
    if PAGE_MARK.encode() in head:
        return "page"
    if text.startswith((MAIL_TITLE.encode(), f"{SIMULATED_BANNER}.\n\n{MAIL_TITLE}".encode())):
        return "mail text"
    return "store" if head.startswith(_STORE) else None


def _parquet_footer(path: Path) -> bytes:
    """Schema and marks of a Parquet file, which stand at its end before their length and its mark."""
    with path.open("rb") as file:
        size = file.seek(0, os.SEEK_END)
        file.seek(max(0, size - 8))
        length = int.from_bytes(file.read(4), "little")
        file.seek(max(0, size - 8 - length))
        return file.read(length)


def holds_nothing(path: Path) -> bool:
    """Whether a file has no content that could be lost: empty, blanks only, or an empty JSON value."""
    with path.open("rb") as file:
        head = file.read(_HEAD)
    return len(head) < _HEAD and head.removeprefix(_BOM).strip() in _NOTHING


def is_temporary(path: Path) -> bool:
    """Whether a file is an output that is being written, or was when a run was killed.

    >>> is_temporary(Path(".result.json.0123456789abcdef.part")), is_temporary(Path(".result.json"))
    (True, False)
    """
    return _TEMPORARY.fullmatch(path.name) is not None


def made_by_gearqa(path: Path) -> bool:
    """Whether a file is a result of gearqa, a store, or what the database library puts beside one."""
    beside = next((path.name.removesuffix(end) for end in _BESIDE_A_STORE if path.name.endswith(end)), None)
    if beside is not None and kind_of(path.with_name(beside)) == "store":
        return True
    return path.is_file() and kind_of(path) is not None

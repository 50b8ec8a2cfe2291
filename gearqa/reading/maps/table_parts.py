"""Files that hold more than one table: one below the other, or rows of several kinds."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

from gearqa.reading.folder.dialect import physical_lines, split_line
from gearqa.reading.maps.table_look import TableLook, is_number
from gearqa.reading.maps.trade_words import flank_of, kind_of_words
from gearqa.reading.rows.csv_rows import is_skipped
from gearqa.reading.rows.decoding import HEAD_BYTES


def blocks_of(look: TableLook) -> list[TableLook]:
    """The tables of a small file whose header comes again, each as a look of its own; else none."""
    if look.path.stat().st_size > HEAD_BYTES:
        return []
    dialect = look.dialect
    with look.path.open(encoding=dialect.encoding, errors="replace", newline="") as text:
        lines = [line.rstrip("\r\n") for line in physical_lines(text.read())]
    cells = [tuple(split_line(line, dialect.separator)) for line in lines]
    starts = [at for at, row in enumerate(cells) if row == look.header]
    blocks = []
    for start, past in pairwise([*starts, len(lines)]):
        rows = [at for at in range(start + 1, past) if _is_row(cells[at], look)]
        if not rows:
            return []
        below = sum(not is_skipped(line, dialect.comment) for line in lines[rows[-1] + 1 :])
        place = replace(dialect, skip_rows=start, skip_last_rows=below)
        head = tuple(lines[:start])
        blocks.append(replace(look, dialect=place, head=head, header_line=start + 1))
    return blocks


def _is_row(cells: Sequence[str], look: TableLook) -> bool:
    return len(cells) == len(look.header) and any(map(is_number, cells))


def flank_above(block: TableLook) -> str | None:
    """The flank that the nearest line of words above a table speaks of."""
    for line in reversed(block.head):
        words = line.replace(":", " ").replace(block.dialect.separator, " ").split()
        if words and not any(map(is_number, words)):
            said = {flank_of(word) for word in words} - {None}
            return said.pop() if len(said) == 1 else None
    return None


def kind_column(look: TableLook) -> str | None:
    """The column whose words say of each row which kind of trace it belongs to."""
    for header in look.header:
        words = look.words(header) if header else ()
        kinds = [kind_of_words(word) for word in words]
        if len(words) > 1 and None not in kinds and len({*kinds}) == len(words):
            return header
    return None

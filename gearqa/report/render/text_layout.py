"""Text wrapped and set in columns of characters, with the widths that a terminal gives them."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from itertools import pairwise
from typing import Final, Literal, NamedTuple

Align = Literal["left", "right", "center"]
ONE_CELL: Final = frozenset((*map(chr, range(0x20, 0x7F)), *"°±²³µ·×Δαβ–—…′≤≥"))
"""Characters of most of our texts, each one cell wide; for others the library that knows all is loaded."""
_WORD = re.compile(r"\s*\S+\s*")


class Styled(NamedTuple):
    """A text that a terminal shows in a style from some character on."""

    text: str
    style: str = ""
    """Parameters of the escape sequence `ESC [ ... m`; empty: as it is."""
    start: int = 0

    def shown(self) -> str:
        """The text with its escape sequences."""
        plain, rest = self.text[: self.start], self.text[self.start :]
        return f"{plain}\x1b[{self.style}m{rest}\x1b[0m" if self.style and rest else self.text

    def widest(self) -> int:
        """Width of the widest line."""
        return max(map(cell_len, self.text.split("\n")))


class TextColumn(NamedTuple):
    """How a column of a table is set."""

    align: Align = "left"
    folds: bool = True
    """Whether lines are broken where there is no room; else they are cut."""
    gap: int = 0
    """Blanks to its right."""


def cell_len(text: str) -> int:
    """Cells of a terminal that a text without line ends takes."""
    if ONE_CELL.issuperset(text):
        return len(text)
    from rich import cells  # the rest of rich takes ten times as long to load

    return cells.cell_len(text)


def _set_cell_size(text: str, width: int) -> str:
    """A text cut or filled with blanks to a width."""
    if ONE_CELL.issuperset(text):
        return text[:width].ljust(width)
    from rich import cells

    return cells.set_cell_size(text, width)


def wrapped(words: Styled, width: int) -> Iterator[Styled]:
    """Lines of a text, broken between words and, where a word is longer than a line, inside it."""
    done = 0
    for line in words.text.split("\n"):
        places = [0, *_breaks(line, width), len(line)]
        for start, end in pairwise(places):
            yield Styled(_shortened(line[start:end], width), words.style, max(0, words.start - done - start))
        done += len(line) + 1


def _breaks(line: str, width: int) -> Iterator[int]:
    """Places inside a line at which the next one begins."""
    used = 0
    for match in _WORD.finditer(line):
        start, word = match.start(), match[0]
        length = cell_len(word.rstrip())
        if length <= width - used:
            used += cell_len(word)
        elif length > width:
            from rich.cells import chop_cells

            *pieces, last = chop_cells(word, width)
            for piece in pieces:
                if start:
                    yield start
                start += len(piece)
            if start:
                yield start
            used = cell_len(last)
        elif used and start:
            yield start
            used = cell_len(word)


def _shortened(line: str, width: int) -> str:
    """A line without the blanks that lie beyond its width."""
    excess = len(line) - width
    if excess > 0:
        line = line[: len(line) - min(excess, len(line) - len(line.rstrip()))]
    return line if cell_len(line) <= width else _set_cell_size(line, width)


def _aligned(line: Styled, width: int, align: Align) -> Styled:
    text = line.text
    if align != "left":
        text = text.rstrip()
    spare = width - cell_len(text)
    before = {"left": 0, "center": spare // 2, "right": spare}[align]
    return line._replace(text=" " * before + text + " " * (spare - before))


def _cell_lines(cell: Styled, column: TextColumn, width: int) -> list[Styled]:
    inner = width - column.gap
    if inner < 1:
        return []
    if column.folds:
        lines = list(wrapped(cell, inner))
    elif cell_len(cell.text) > inner:
        lines = [cell._replace(text=_set_cell_size(cell.text, inner - 1) + "…")]
    else:
        lines = [cell]
    return [_aligned(line, inner, column.align) for line in lines]


def column_lines(
    columns: Sequence[TextColumn],
    rows: Sequence[Sequence[Styled]],
    room: int,
    *,
    between: int,
    rule: str = "",
) -> Iterator[str]:
    """Lines of a table; with a `rule`, the first row is its head and stands over a line of that sign."""
    room = max(0, room - between * (len(columns) - 1))
    wanted = [
        min(room, max(row[place].widest() for row in rows) + column.gap)
        for place, column in enumerate(columns)
    ]
    widths = _widths(wanted, [column.folds for column in columns], room)
    for number, row in enumerate(rows):
        cells = [_cell_lines(*one) for one in zip(row, columns, widths, strict=True)]
        height = max(1, *map(len, cells))
        is_head = bool(rule) and number == 0
        for at in range(height):
            parts = []
            for lines, column, width in zip(cells, columns, widths, strict=True):
                place = at - (height - len(lines)) * is_head  # heads stand on the line below them
                line = lines[place].shown() + " " * column.gap if 0 <= place < len(lines) else " " * width
                parts.append(line)
            yield (" " * between).join(parts)
        if is_head:
            yield rule * (sum(widths) + between * (len(columns) - 1))


def _widths(wanted: list[int], may_fold: list[bool], room: int) -> list[int]:
    """Widths of columns: as wanted where there is room, else the widest of those that fold give way first."""
    widths = [width or 1 for width in wanted]
    if sum(widths) <= room:
        return widths
    while any(may_fold) and (excess := sum(widths) - room) > 0:
        widest = max(width for width, fold in zip(widths, may_fold, strict=True) if fold)
        next_one = max(
            width if fold and width != widest else 0 for width, fold in zip(widths, may_fold, strict=True)
        )
        if widest in (next_one, 0):
            break
        giving = [fold and width == widest for width, fold in zip(widths, may_fold, strict=True)]
        widths = _reduced(widths, giving, excess, min(excess, widest - next_one))
    if (excess := sum(widths) - room) > 0:  # no other way: all of them
        widths = _reduced(widths, [width > 0 for width in widths], excess, None)
    return [min(width, most) for width, most in zip(wanted, widths, strict=True)]


def _reduced(widths: list[int], giving: list[bool], excess: int, most: int | None) -> list[int]:
    """Widths of which those that give way share `excess` among them, none more than `most` or its width."""
    sharing, found = sum(giving), []
    for width, gives in zip(widths, giving, strict=True):
        share = min(width if most is None else most, round(excess / sharing)) if gives else 0
        found.append(width - share)
        excess, sharing = excess - share, sharing - gives
    return found

"""Blocks of a report laid out on a terminal: no decisions, no arithmetic on results.

Every answer is a word, so nothing is lost without colour. On a console that lacks Greek letters
or signs the symbols are written out.
"""

from __future__ import annotations

import os
from collections.abc import Iterable, Iterator
from typing import IO

from gearqa.report.blocks import document as doc
from gearqa.report.render.text_layout import Styled, TextColumn, column_lines, wrapped
from gearqa.symbols import PARAMETERS
from gearqa.wording.visible import visible

BOLD, DIM = "1", "2"
STYLES: dict[doc.Status, str] = {"good": "32", "bad": "1;31", "open": "33", "none": BOLD}
"""Parameters of escape sequences: green, bold red, yellow, bold."""

USUAL_WIDTH = 80
NARROWEST = 20
"""Columns that a layout needs; a console of fewer breaks the lines itself."""
WIDE = 110
"""Columns of a console from which tables show everything."""
WRITTEN_OUT: dict[str, str] = {
    **{p.symbol: p.ascii_symbol for p in sorted(PARAMETERS.values(), key=lambda p: -len(p.symbol))},
    "α": "alpha", "β": "beta", "µ": "u", "±": "+/-", "–": "-", "°": " deg", "…": "...", "⟨": "<", "⟩": ">",
    "✓": "+", "✗": "x", "×": "x", "≤": "<=", "≥": ">=", "─": "-", "′": "'", "√": "root ",
}  # fmt: skip
"""What is printed for a sign that the console lacks."""


def writable(text: str, encoding: str) -> str:
    """The text as a console of this encoding can show it.

    >>> writable("fHα ±4.2 µm", "utf-8"), writable("fHα ±4.2 µm", "cp1252"), writable("fHα ±4.2 µm", "ascii")
    ('fHα ±4.2 µm', 'fH-alpha ±4.2 µm', 'fH-alpha +/-4.2 um')
    """
    try:
        text.encode(encoding)
        return text
    except UnicodeEncodeError:
        pass
    for sign, spelled in WRITTEN_OUT.items():
        if sign in text and not _encodable(sign, encoding):
            text = text.replace(sign, spelled)
    return text.encode(encoding, "backslashreplace").decode(encoding)


def _encodable(text: str, encoding: str) -> bool:
    try:
        text.encode(encoding)
    except UnicodeEncodeError:
        return False
    return True


def console_width() -> int:
    """Columns of the terminal: as COLUMNS says, else of the first standard stream that is one."""
    return max(_columns() or USUAL_WIDTH, NARROWEST)


def _columns() -> int:
    columns = os.environ.get("COLUMNS", "")
    if columns.isdecimal():
        return int(columns)
    for stream in (0, 1, 2):
        try:
            return os.get_terminal_size(stream).columns
        except OSError:
            pass
    return 0


class Terminal:
    """Lays out blocks on one stream."""

    def __init__(self, stream: IO[str], *, colour: bool = False, width: int | None = None) -> None:
        self._stream, self._colour = stream, colour
        self.width = console_width() if width is None else width
        self._encoding = getattr(stream, "encoding", None) or "utf-8"
        self._rule = "─" if _encodable("─", self._encoding) else "-"

    @property
    def wide(self) -> bool:
        """Whether there is room for all columns of a table."""
        return self.width >= WIDE

    def blocks(self, blocks: Iterable[doc.Block]) -> None:
        """Print blocks, an empty line between them."""
        self._stream.write(self.laid_out(blocks))

    def laid_out(self, blocks: Iterable[doc.Block]) -> str:
        """Blocks as text that the stream can take, an empty line between them."""
        lines: list[str] = []
        for number, block in enumerate(blocks):
            lines += [""] * bool(number)
            lines += self._block(block)
        return "".join(f"{line.rstrip()}\n" for line in lines)

    def _block(self, block: doc.Block) -> Iterator[str]:
        match block:
            case doc.Paragraph(text, style):
                yield from self._paragraph(text, BOLD if style == "lead" else "")
            case doc.Bullets(items):
                columns = (TextColumn(folds=False), TextColumn())
                for item in items:
                    yield from column_lines(
                        columns, [(Styled("- "), self._text(item))], self.width, between=0
                    )
            case doc.Facts(items):
                rows = [(self._text(name, DIM), self._text(value)) for name, value in items]
                columns = (TextColumn(folds=False, gap=2), TextColumn())
                yield from column_lines(columns, rows, self.width, between=0)
            case doc.Verdict(answers):
                for answer in answers:
                    yield from self._answer(answer)
            case doc.Table():
                yield from self._table(block)
            case doc.Cautions(items):
                for item in items:
                    yield from self._paragraph(item, DIM)
            case doc.Figure():
                yield from self._paragraph(block.description)
            case doc.Signature():
                pass  # for paper

    def _text(self, text: doc.Text, style: str = "") -> Styled:
        shown = writable(visible(doc.plain(text)), self._encoding)
        return Styled(shown, style if self._colour else "")

    def _paragraph(self, text: doc.Text, style: str = "", indent: int = 0) -> Iterator[str]:
        for line in wrapped(self._text(text, style), self.width - indent):
            yield " " * indent + line.shown()

    def _answer(self, answer: doc.Answer) -> Iterator[str]:
        question, word = self._text(answer.question), self._text(answer.answer, STYLES[answer.status])
        line = Styled(f"{question.text}: {word.text}", word.style, len(question.text) + 2)
        yield from (one.shown() for one in wrapped(line, self.width))
        if answer.detail:
            yield from self._paragraph(answer.detail, indent=4)

    def _table(self, table: doc.Table) -> Iterator[str]:
        if table.caption:
            yield from self._paragraph(table.caption, BOLD)
        rows = [tuple(map(self._cell, row)) for row in table.rows]
        titles = []
        for place, column in enumerate(table.columns):
            title = self._text(column.title)
            if title.widest() > max((row[place].widest() for row in rows), default=0):
                title = Styled(title.text.replace(" ", "\n").removesuffix("\n"))
            titles.append(title)
        most = max(title.text.count("\n") for title in titles)
        titles = [Styled("\n" * (most - title.text.count("\n")) + title.text) for title in titles]
        last = len(table.columns) - 1
        columns = [
            TextColumn(column.align, gap=int(place < last)) for place, column in enumerate(table.columns)
        ]
        yield from column_lines(columns, [titles, *rows], self.width, between=1, rule=self._rule)
        for note in table.notes:
            yield from self._paragraph(note, DIM)

    def _cell(self, cell: doc.Cell | doc.Text) -> Styled:
        if isinstance(cell, doc.Cell):
            return self._text(cell.text, STYLES[cell.status] if cell.status else "")
        return self._text(cell)

"""Blocks of a report laid out on a terminal: no decisions, no arithmetic on results.

Every answer is a word, so nothing is lost without colour. On a console that lacks Greek letters
or signs the symbols are written out.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import IO

from rich.box import Box
from rich.console import Console
from rich.padding import Padding
from rich.table import Table as RichTable
from rich.text import Text as RichText

from gearqa.report.blocks import document as doc
from gearqa.symbols import PARAMETERS
from gearqa.wording.visible import visible

STYLES: dict[doc.Status, str] = {"good": "green", "bad": "bold red", "open": "yellow", "none": "bold"}

_LINE = "    \n    \n -- \n    \n    \n    \n    \n    \n"
LINE_BELOW_HEAD = Box(_LINE.replace("-", "─"))
ASCII_LINE_BELOW_HEAD = Box(_LINE, ascii=True)

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


class Terminal:
    """Lays out blocks on one stream."""

    def __init__(self, stream: IO[str], *, colour: bool = False, width: int | None = None) -> None:
        self._console = Console(
            file=stream, width=width, force_terminal=colour, no_color=not colour, highlight=False,
            markup=False, emoji=False, color_system="auto" if colour else None, safe_box=False,
        )  # fmt: skip
        self._encoding = getattr(stream, "encoding", None) or "utf-8"
        self._unicode = _encodable("─", self._encoding)

    @property
    def wide(self) -> bool:
        """Whether there is room for all columns of a table."""
        return self.width >= WIDE

    @property
    def width(self) -> int:
        """Columns of the console."""
        return self._console.width

    def blocks(self, blocks: Iterable[doc.Block]) -> None:
        """Print blocks, an empty line between them."""
        self._console.file.write(self.laid_out(blocks))

    def laid_out(self, blocks: Iterable[doc.Block]) -> str:
        """Blocks as text that the stream can take, an empty line between them."""
        with self._console.capture() as laid_out:
            for number, block in enumerate(blocks):
                if number:
                    self._console.print()
                self._block(block)
        return "".join(f"{line.rstrip()}\n" for line in laid_out.get().split("\n")[:-1])

    def _block(self, block: doc.Block) -> None:
        match block:
            case doc.Paragraph(text, style):
                self._console.print(self._text(text, "bold" if style == "lead" else ""))
            case doc.Bullets(items):
                for item in items:
                    self._hanging("- ", item)
            case doc.Facts(items):
                self._facts(items)
            case doc.Verdict(answers):
                for answer in answers:
                    self._answer(answer)
            case doc.Table():
                self._table(block)
            case doc.Cautions(items):
                for item in items:
                    self._console.print(self._text(item, "dim"))
            case doc.Figure():
                self._console.print(self._text(block.description))
            case doc.Signature():
                pass  # for paper

    def _text(self, text: doc.Text, style: str = "") -> RichText:
        return RichText(writable(visible(doc.plain(text)), self._encoding), style)

    def _hanging(self, mark: str, text: doc.Text) -> None:
        grid = RichTable.grid()
        grid.add_column(no_wrap=True)
        grid.add_column(overflow="fold")
        grid.add_row(mark, self._text(text))
        self._console.print(grid)

    def _facts(self, items: Iterable[tuple[doc.Text, doc.Text]]) -> None:
        grid = RichTable.grid(padding=(0, 2))
        grid.add_column(no_wrap=True, style="dim")
        grid.add_column(overflow="fold")
        for name, value in items:
            grid.add_row(self._text(name), self._text(value))
        self._console.print(grid)

    def _answer(self, answer: doc.Answer) -> None:
        line = self._text(answer.question)
        line.append(": ")
        line.append_text(self._text(answer.answer, STYLES[answer.status]))
        self._console.print(line)
        if answer.detail:
            self._console.print(Padding(self._text(answer.detail), (0, 0, 0, 4)))

    def _table(self, table: doc.Table) -> None:
        if table.caption:
            self._console.print(self._text(table.caption, "bold"))
        shown = RichTable(
            box=LINE_BELOW_HEAD if self._unicode else ASCII_LINE_BELOW_HEAD,
            show_edge=False, pad_edge=False, padding=(0, 1, 0, 0), header_style="",
        )  # fmt: skip
        rows = [tuple(map(self._cell, row)) for row in table.rows]
        titles = []
        for place, column in enumerate(table.columns):
            title = self._text(column.title)
            if title.cell_len > max((row[place].cell_len for row in rows), default=0):
                title = RichText("\n").join(title.split(" "))
            titles.append(title)
        lines = max(title.plain.count("\n") for title in titles)
        for column, title in zip(table.columns, titles, strict=True):
            head = RichText("\n" * (lines - title.plain.count("\n"))).append_text(title)
            shown.add_column(head, justify=column.align, overflow="fold")
        for row in rows:
            shown.add_row(*row)
        self._console.print(shown)
        for note in table.notes:
            self._console.print(self._text(note, "dim"))

    def _cell(self, cell: doc.Cell | doc.Text) -> RichText:
        if isinstance(cell, doc.Cell):
            return self._text(cell.text, STYLES[cell.status] if cell.status else "")
        return self._text(cell)

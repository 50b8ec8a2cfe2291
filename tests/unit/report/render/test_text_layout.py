"""Paragraphs, lists and tables on a terminal, against rich, a general library for them."""

from __future__ import annotations

import io

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from rich.box import Box
from rich.cells import cell_len
from rich.console import Console
from rich.padding import Padding
from rich.table import Table as RichTable
from rich.text import Text

from gearqa.report.blocks import document as doc
from gearqa.report.render.terminal import Terminal, console_width
from gearqa.report.render.text_layout import ONE_CELL

pytestmark = pytest.mark.independent

BOX = Box("    \n    \n -- \n    \n    \n    \n    \n    \n".replace("-", "─"))
WORDS = st.text("abcFα±µ–…0123.,:-/日✓\u00a0", max_size=24)
SHORT = st.text("aα0123.+-", max_size=5)
TEXTS = st.lists(WORDS, max_size=12).map(" ".join)


def test_characters_that_are_not_looked_up_take_one_cell():
    assert {cell_len(character) for character in ONE_CELL} == {1}


@st.composite
def tables(draw):
    count = draw(st.integers(1, 7))
    cells = draw(st.sampled_from([SHORT, WORDS, TEXTS]))
    aligns = st.sampled_from(["left", "right", "center"])
    columns = tuple(doc.Column(draw(cells), draw(aligns)) for _ in range(count))
    rows = tuple(tuple(draw(cells) for _ in range(count)) for _ in range(draw(st.integers(0, 4))))
    return doc.Table(draw(SHORT), columns, rows, (draw(TEXTS),))


BLOCKS = st.one_of(
    tables(),
    st.builds(doc.Paragraph, TEXTS),
    st.builds(lambda items: doc.Bullets(tuple(items)), st.lists(TEXTS, max_size=3)),
    st.builds(
        lambda items: doc.Facts(tuple(items)), st.lists(st.tuples(WORDS, TEXTS), min_size=1, max_size=4)
    ),
    st.builds(
        lambda *words: doc.Verdict((doc.Answer(words[0], words[1], "good", words[2]),)), TEXTS, TEXTS, TEXTS
    ),
)


def by_rich(block: doc.Block, width: int) -> str:
    """The block laid out by rich."""
    stream = io.StringIO()
    console = Console(
        file=stream, width=width, color_system=None, highlight=False, markup=False, emoji=False,
        safe_box=False, legacy_windows=False,
    )  # fmt: skip
    match block:
        case doc.Paragraph(text):
            console.print(Text(text))
        case doc.Bullets(items):
            for item in items:
                grid = RichTable.grid()
                grid.add_column(no_wrap=True)
                grid.add_column(overflow="fold")
                grid.add_row("- ", Text(item))
                console.print(grid)
        case doc.Facts(items):
            grid = RichTable.grid(padding=(0, 2))
            grid.add_column(no_wrap=True)
            grid.add_column(overflow="fold")
            for name, value in items:
                grid.add_row(Text(name), Text(value))
            console.print(grid)
        case doc.Verdict(answers):
            for answer in answers:
                console.print(Text(f"{answer.question}: {answer.answer}"))
                if answer.detail:
                    console.print(Padding(Text(answer.detail), (0, 0, 0, 4)))
        case doc.Table():
            if block.caption:
                console.print(Text(block.caption))
            console.print(rich_table(block))
            for note in block.notes:
                console.print(Text(note))
    return "".join(f"{line.rstrip()}\n" for line in stream.getvalue().split("\n")[:-1])


def rich_table(table: doc.Table) -> RichTable:
    """Heads that are wider than what is below them have a line a word."""
    shown = RichTable(box=BOX, show_edge=False, pad_edge=False, padding=(0, 1, 0, 0), header_style="")
    rows = [tuple(map(Text, row)) for row in table.rows]
    titles = []
    for place, column in enumerate(table.columns):
        title = Text(column.title)
        if title.cell_len > max((row[place].cell_len for row in rows), default=0):
            title = Text("\n").join(title.split(" "))
        titles.append(title)
    lines = max(title.plain.count("\n") for title in titles)
    for column, title in zip(table.columns, titles, strict=True):
        head = Text("\n" * (lines - title.plain.count("\n"))).append_text(title)
        shown.add_column(head, justify=column.align, overflow="fold")
    for row in rows:
        shown.add_row(*row)
    return shown


@given(BLOCKS, st.integers(40, 200))
@settings(deadline=None, max_examples=300)
def test_blocks_are_laid_out_as_rich_does_it(block, width):
    stream = io.TextIOWrapper(io.BytesIO(), encoding="utf-8")
    assert Terminal(stream, width=width).laid_out([block]) == by_rich(block, width)


def test_a_style_is_an_escape_sequence_around_its_words():
    """SGR parameters of ECMA-48: 1 bold, 2 faint, 31 red, 32 green (from memory)."""
    stream = io.TextIOWrapper(io.BytesIO(), encoding="utf-8")
    verdict = doc.Verdict((doc.Answer("Conforms", "no", "bad", "helix"), doc.Answer("Class", "4", "good")))
    blocks = [doc.Paragraph("Gear", "lead"), verdict, doc.Cautions(("Geometry only.",))]
    assert Terminal(stream, width=40, colour=True).laid_out(blocks).splitlines() == [
        "\x1b[1mGear\x1b[0m", "",
        "Conforms: \x1b[1;31mno\x1b[0m", "    helix", "Class: \x1b[32m4\x1b[0m", "",
        "\x1b[2mGeometry only.\x1b[0m",
    ]  # fmt: skip


@pytest.mark.parametrize(("columns", "width"), [("132", 132), ("40", 40)])
def test_the_width_is_what_columns_says(columns, width, monkeypatch):
    monkeypatch.setenv("COLUMNS", columns)
    assert console_width() == Console(file=io.StringIO()).width == width

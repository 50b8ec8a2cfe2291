"""What a printed or shown report is made of: blocks of text, tables and figures, nothing else.

Every report (inspection sheet, certificate, drift report, ...) is built as one `Document` and laid
out by `html.write_html` and `pdf.write_pdf`; both print the same strings in the same order. Words,
digits and order are decided by whoever builds the document, never by a renderer.

Text is given as plain `str` or, where a subscript or emphasis is wanted, as a tuple of `Span`.
Nothing is markup: renderers escape everything and make control characters visible.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from itertools import groupby
from typing import Literal, TypeVar

from gearqa.late_dataclass import dataclass
from gearqa.symbols import PARAMETERS, symbol_of
from gearqa.wording.safety import SIMULATED_BANNER

Row = TypeVar("Row")
Status = Literal["good", "bad", "open", "none"]
"""Kind of a verdict: shown by word and mark, colour only supports it."""

CAUTIONS_TITLE = "Cautions"
DATE = "Date"

STATUS_MARKS: dict[Status, str] = {"good": "✓", "bad": "✗", "open": "?", "none": "–"}


@dataclass(frozen=True, slots=True)
class Span:
    """A run of characters in one style."""

    text: str
    style: Literal["", "strong", "sub", "muted"] = ""
    target: str = ""
    """Id of the block or sheet that a click leads to."""


Text = str | tuple[Span, ...]


def spans(text: Text) -> tuple[Span, ...]:
    """The text as spans."""
    return (Span(text),) if isinstance(text, str) else text


def plain(text: Text) -> str:
    """The text without styles.

    >>> plain(symbol("profile_slope"))
    'fHα'
    """
    return text if isinstance(text, str) else "".join(span.text for span in text)


def join(*parts: Text) -> tuple[Span, ...]:
    """Texts one after the other."""
    return tuple(span for part in parts for span in spans(part))


def symbol(key: str) -> tuple[Span, ...]:
    """Printed symbol of a parameter, with its subscript."""
    if key not in PARAMETERS:
        return (Span(symbol_of(key)),)
    parameter = PARAMETERS[key]
    return (Span(parameter.letter), Span(parameter.subscript, "sub"))


@dataclass(frozen=True, slots=True)
class Paragraph:
    """A paragraph; `lead` is set larger, `note` smaller."""

    text: Text
    style: Literal["normal", "lead", "note"] = "normal"


@dataclass(frozen=True, slots=True)
class Bullets:
    """A list of points."""

    items: tuple[Text, ...]
    style: Literal["normal", "note"] = "normal"


@dataclass(frozen=True, slots=True)
class Facts:
    """Names and their values, such as the head of a sheet."""

    items: tuple[tuple[Text, Text], ...]
    dense: bool = False
    """On paper name and value on one line."""


LONG_FACT = 60
LONG_FACT_WORD = 24
"""Characters from which a fact, or a word of it, needs a line of its own."""


def is_long(value: Text) -> bool:
    """Whether a fact needs a line of its own."""
    text = plain(value)
    return len(text) > LONG_FACT or any(len(word) > LONG_FACT_WORD for word in text.split())


@dataclass(frozen=True, slots=True)
class Answer:
    """One answer of a verdict: the question, the word, what decides."""

    question: Text
    answer: Text
    status: Status
    detail: Text = ""


@dataclass(frozen=True, slots=True)
class Verdict:
    """The answers that a reader looks for first."""

    answers: tuple[Answer, ...]


@dataclass(frozen=True, slots=True)
class Column:
    """Head of a table column."""

    title: Text
    align: Literal["left", "right", "center"] = "right"
    group: str = ""
    """Neighbouring columns of one group share a head above theirs."""
    weight: float = 0.0
    """Share of the spare width on paper; 0 keeps the column as wide as its text."""


@dataclass(frozen=True, slots=True)
class Cell:
    """One cell; `status` puts a mark after the text (`bad`: set bold as well)."""

    text: Text
    status: Status | None = None
    span: int = 1
    """Columns that the cell takes."""


Columns = list[tuple[Column, Callable[[Row], Cell | Text]]]
"""Columns that each know what they show of a row."""


@dataclass(frozen=True, slots=True)
class Table:
    """A table. The first cell of each row is its head."""

    caption: Text
    columns: tuple[Column, ...]
    rows: tuple[tuple[Cell | Text, ...], ...]
    notes: tuple[Text, ...] = ()
    dense: bool = False
    """Smaller type, for tables with many columns."""

    @classmethod
    def by_column(
        cls,
        caption: Text,
        columns: Columns[Row],
        rows: Iterable[Row],
        notes: Iterable[Text] = (),
        *,
        dense: bool = False,
    ) -> Table:
        """A table of some rows."""
        lines = tuple(tuple(show(row) for _, show in columns) for row in rows)
        return cls(caption, tuple(column for column, _ in columns), lines, tuple(notes), dense)


@dataclass(frozen=True, slots=True)
class Figure:
    """A chart: SVG text made by `svg.Canvas`, with what it shows in words."""

    svg: str
    title: Text
    description: str
    """For readers who cannot see the chart; also inside the SVG."""
    caption: Text = ""
    half: bool = False
    """Drawn for half the width: two of them stand side by side where there is room."""
    newest: bool = False
    """Over time: a screen that is too narrow begins at the right end."""


@dataclass(frozen=True, slots=True)
class Cautions:
    """What a reader must not conclude, and who decides."""

    items: tuple[Text, ...]
    dense: bool = False
    """On paper one paragraph."""


@dataclass(frozen=True, slots=True)
class Signature:
    """Lines to be signed by hand, each with a date."""

    roles: tuple[str, ...]


Block = Paragraph | Bullets | Facts | Verdict | Table | Figure | Cautions | Signature


@dataclass(frozen=True, slots=True)
class Section:
    """Blocks under one heading (none if the title is empty)."""

    title: Text
    blocks: tuple[Block, ...]
    id: str = ""
    new_page: bool = False
    """Starts a page on paper."""


@dataclass(frozen=True, slots=True)
class Sheet:
    """A part of a document that starts on a new page and carries its own name in the page head."""

    title: Text
    sections: Sequence[Section]
    id: str = ""
    head: str = ""
    """Text of the page head: the serial, say."""
    summary: Text = ""
    """After the title, where the sheet is folded."""
    status: Status | None = None
    folded: bool = False
    """On screen shown folded: many sheets in one file."""
    worst: bool = False
    """One of the sheets that a reader should open first."""


@dataclass(frozen=True, slots=True)
class Document:
    """A whole report."""

    title: str
    head: str
    """Text of every page head: part number and revision, say."""
    foot: str
    """Text of every page foot: program and version."""
    sheets: tuple[Sheet, ...]
    simulated: bool = False
    keywords: tuple[str, ...] = ()


def banner(simulated: bool) -> list[Block]:
    """What comes first on a terminal where anything is simulated."""
    return [Paragraph(SIMULATED_BANNER, "lead")] if simulated else []


def side_by_side(blocks: Iterable[Block]) -> Iterator[Block | tuple[Figure, ...]]:
    """The blocks, neighbouring figures of half the width together."""
    for half, some in groupby(blocks, lambda block: isinstance(block, Figure) and block.half):
        if half:
            yield tuple(block for block in some if isinstance(block, Figure))
        else:
            yield from some


def cells_of(row: Iterable[Cell | Text]) -> Iterator[tuple[int, Cell | Text]]:
    """Cells of a row with the number of the column where each begins."""
    at = 0
    for cell in row:
        yield at, cell
        at += cell.span if isinstance(cell, Cell) else 1


def grouped(columns: tuple[Column, ...]) -> list[tuple[str, int]]:
    """Neighbouring columns of one group, as name and number of columns.

    >>> grouped((Column("a"), Column("b", group="left"), Column("c", group="left")))
    [('', 1), ('left', 2)]
    """
    out: list[tuple[str, int]] = []
    for column in columns:
        if out and out[-1][0] == column.group:
            out[-1] = (column.group, out[-1][1] + 1)
        else:
            out.append((column.group, 1))
    return out

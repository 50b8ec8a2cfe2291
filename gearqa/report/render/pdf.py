"""A document as PDF, typeset by the typst library with the bundled font and nothing from outside.

Only lays out: every string comes from the document and reaches the template as JSON, so text never
becomes markup. The result is tagged for screen readers (the library checks PDF/UA-1) and has the
same bytes for the same document.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from functools import cache
from importlib.resources import files
from threading import Thread
from typing import Any, BinaryIO, Literal

from gearqa.errors import ReportError
from gearqa.report.blocks import document as doc
from gearqa.report.draw.palette import INKS
from gearqa.report.render.glyphs import font_folder, font_safe
from gearqa.report.render.html import Progress
from gearqa.wording.safety import PDF_KEYWORD, SIMULATED_BANNER
from gearqa.wording.visible import breakable, visible

Paper = Literal["a4", "letter"]
PAPERS: dict[Paper, str] = {"a4": "a4", "letter": "us-letter"}
WIDTHS_MM: dict[Paper, float] = {"a4": 210.0, "letter": 215.9}

FACT_COLUMNS = 4
LONGEST_ON_A_LINE = 32
"""Characters of name and value of a fact that stand on one line of a column."""
LONGEST_WORD = 66
"""Characters of a word that fit a line; a digest of 64 is not broken, so that it can be copied."""
LONGEST_NAME = 24
"""The same for the names of table rows."""
FILE_CHARTS = 10_000_000
"""Characters of charts typeset as one file: about 100 gears with four teeth measured, and 1 GB of memory."""
RUNS_REMEMBERED = 11
"""Runs of the typesetting library until it gives back the memory of an earlier one."""


Spreading = Callable[[Callable[[Any], Any], Sequence[Any]], Iterable[tuple[Any, Any]]]


def in_turn(function: Callable[[Any], Any], items: Sequence[Any]) -> Iterable[tuple[Any, Any]]:
    """One thing after the other."""
    return ((item, function(item)) for item in items)


def write_pdf(stream: BinaryIO, document: doc.Document, *, paper: Paper = "a4") -> None:
    """Write the document as one PDF, typeset whole.

    Parameters
    ----------
    stream : BinaryIO
        Open binary stream; the caller sees to it that it appears whole or not at all.
    document : Document
        What to print.
    paper : {"a4", "letter"}
        Size of the page.

    Raises
    ------
    ReportError
        If the typesetting library refuses the document.
    """
    stream.write(pdf_bytes(document, paper))


def write_pdf_files(
    open_file: Callable[[int], BinaryIO],
    document: doc.Document,
    *,
    paper: Paper = "a4",
    progress: Progress | None = None,
    spreading: Spreading = in_turn,
) -> int:
    """Write the document as one PDF or, where its charts are too many for that, as several.

    Parameters
    ----------
    open_file : callable
        Gives an open binary stream for the number of a file, from 1 on.
    document : Document
        What to print.
    paper : {"a4", "letter"}
        Size of the page.
    progress : callable, optional
        Called after each file with the number of sheets done and their total.
    spreading : callable, optional
        Has several files set at once; gives each with what the function made of it, in their order.

    Returns
    -------
    int
        Number of files.

    Raises
    ------
    ReportError
        If the typesetting library refuses the document.
    """
    parts, done = split(document), 0
    if len(parts) == 1:
        write_pdf(open_file(1), document, paper=paper)
    else:
        for number, ((part, _), data) in enumerate(spreading(file_bytes, [(one, paper) for one in parts]), 1):
            open_file(number).write(data)
            done += len(part.sheets)
            if progress is not None:
                progress(done, len(document.sheets))
    return len(parts)


def file_bytes(part: tuple[doc.Document, Paper]) -> bytes:
    """One file of several, in whichever process; its memory is given back."""
    data = pdf_bytes(*part)
    _forget()
    return data


def split(document: doc.Document) -> list[doc.Document]:
    """The document as parts that each can be typeset in bounded memory, cut between sheets."""
    parts: list[list[doc.Sheet]] = [[]]
    charts = 0
    for sheet in document.sheets:
        size = sum(
            len(block.svg)
            for section in sheet.sections for block in section.blocks if isinstance(block, doc.Figure)
        )  # fmt: skip
        if parts[-1] and charts + size > FILE_CHARTS:
            parts.append([])
            charts = 0
        parts[-1].append(sheet)
        charts += size
    if len(parts) == 1:
        return [document]
    return [
        replace(document, title=f"{document.title}, file {number} of {len(parts)}", sheets=tuple(sheets))
        for number, sheets in enumerate(parts, 1)
    ]


def pdf_bytes(document: doc.Document, paper: Paper = "a4") -> bytes:
    """The document as the bytes of a PDF file."""
    import typst

    problem = None
    for careful in (False, True):
        # Scripts whose letters join can need forms that the font lacks: then letters by number.
        try:
            data = json.dumps(_document(document, paper), ensure_ascii=False)
            return _compile(font_safe(data, careful=careful))
        except typst.TypstError as error:
            problem = error
    raise ReportError(f"the PDF could not be typeset: {problem}") from problem


@cache
def _fonts() -> Any:
    import typst

    return typst.Fonts(include_system_fonts=False, include_embedded_fonts=False, font_paths=[font_folder()])


def _compile(data: str) -> bytes:
    """Typeset in a thread that may be left alone, so that Ctrl-C need not wait for the library."""
    from concurrent.futures import Future

    result: Future[bytes] = Future()

    def run() -> None:
        try:
            result.set_result(_compile_here(data))
        except BaseException as error:
            result.set_exception(error)

    Thread(target=run, daemon=True).start()
    return result.result()


def _compile_here(data: str) -> bytes:
    import typst

    template = (files("gearqa.report.render") / "templates" / "report.typ").read_bytes()
    return typst.compile(
        template, format="pdf", font_paths=_fonts(), ignore_system_fonts=True,
        sys_inputs={"data": data}, pdf_standards=["ua-1"], timestamp=0,
    )  # fmt: skip


def _forget() -> None:
    """Let the typesetting library give back the memory of the last file before the next is set."""
    import typst

    for _ in range(RUNS_REMEMBERED):
        typst.compile(b"", format="svg", font_paths=_fonts(), ignore_system_fonts=True)


def _document(document: doc.Document, paper: Paper) -> dict[str, Any]:
    ids = {sheet.id for sheet in document.sheets if sheet.id}
    return {
        "title": visible(document.title),
        "head": _text(document.head),
        "foot": _text(document.foot),
        "language": "en",
        "keywords": [PDF_KEYWORD, *map(visible, document.keywords)],
        "simulated": document.simulated,
        "paper": PAPERS[paper],
        "paper-width": WIDTHS_MM[paper],
        "look": {ink.key: ink.light for ink in INKS},
        "marks": {status: mark for status, mark in doc.STATUS_MARKS.items() if status != "none"},
        "words": {
            "cautions": doc.CAUTIONS_TITLE, "date": doc.DATE, "simulated": SIMULATED_BANNER,
        },
        "sheets": [
            {
                "id": sheet.id or f"sheet-{number}",
                "title": _inline(sheet.title, ids),
                "head": _text(sheet.head),
                "sections": [
                    {
                        "title": _inline(section.title, ids),
                        "new_page": section.new_page,
                        "blocks": [_placed(one, ids) for one in doc.side_by_side(section.blocks)],
                    }
                    for section in sheet.sections
                ],
            }
            for number, sheet in enumerate(document.sheets, 1)
        ],
    }  # fmt: skip


def _text(text: str, longest_word: int = LONGEST_WORD) -> str:
    return breakable(visible(text), longest_word)


def _inline(text: doc.Text, ids: set[str], longest_word: int = LONGEST_WORD) -> Any:
    if isinstance(text, str):
        return "\n".join(_text(line, longest_word) for line in text.split("\n"))
    return [
        [_text(s.text, longest_word), s.style, s.target]
        if s.target and s.target in ids
        else [_text(s.text, longest_word), s.style]
        for s in text
    ]


def _placed(block: doc.Block | tuple[doc.Figure, ...], ids: set[str]) -> dict[str, Any]:
    """A block, or figures side by side."""
    if isinstance(block, tuple):
        return {"kind": "pair", "figures": [_block(one, ids) for one in block]}
    return _block(block, ids)


def _block(block: doc.Block, ids: set[str]) -> dict[str, Any]:
    match block:
        case doc.Paragraph():
            return {"kind": "paragraph", "style": block.style, "text": _inline(block.text, ids)}
        case doc.Bullets():
            return {"kind": "bullets", "style": block.style, "items": _many(block.items, ids)}
        case doc.Facts():
            shown = {"columns": FACT_COLUMNS, "dense": block.dense, "items": _facts(block, ids)}
            return {"kind": "facts", **shown}
        case doc.Verdict():
            answers = [
                {
                    "question": _inline(answer.question, ids), "answer": _inline(answer.answer, ids),
                    "status": answer.status, "detail": _inline(answer.detail, ids),
                }
                for answer in block.answers
            ]  # fmt: skip
            return {"kind": "verdict", "answers": answers}
        case doc.Table():
            return _table(block, ids)
        case doc.Figure():
            return {
                "kind": "figure", "svg": block.svg, "alt": visible(block.description),
                "title": _inline(block.title, ids), "caption": _inline(block.caption, ids),
                "half": block.half,
            }  # fmt: skip
        case doc.Cautions():
            return {"kind": "cautions", "dense": block.dense, "items": _many(block.items, ids)}
        case doc.Signature():
            return {"kind": "signature", "roles": [_text(role) for role in block.roles]}


def _facts(block: doc.Facts, ids: set[str]) -> list[list[Any]]:
    """Names, values and widths of the head's fields; a long one starts a row of its own."""
    items: list[list[Any]] = []
    filled = 0
    for name, value in block.items:
        width = FACT_COLUMNS if doc.is_long(value) else 1
        if block.dense and width == 1 and len(doc.plain(name)) + len(doc.plain(value)) > LONGEST_ON_A_LINE:
            width = 2
        if filled + width > FACT_COLUMNS:
            items += [["", "", 1]] * (FACT_COLUMNS - filled)
            filled = 0
        items.append([_inline(name, ids), _inline(value, ids), width])
        filled = (filled + width) % FACT_COLUMNS
    return items


def _many(items: Sequence[doc.Text], ids: set[str]) -> list[Any]:
    return [_inline(item, ids) for item in items]


def _cell(cell: doc.Cell | doc.Text, ids: set[str], *, first: bool) -> Any:
    """A cell as plain text where it is no more than that, which is set fastest."""
    longest = LONGEST_NAME if first else LONGEST_WORD
    if isinstance(cell, doc.Cell) and cell.span > 1:
        return [_inline(cell.text, ids, longest), cell.status or "", cell.span]
    if isinstance(cell, doc.Cell):
        return [_inline(cell.text, ids, longest), cell.status or ""]
    return _text(cell, longest) if isinstance(cell, str) else [_inline(cell, ids, longest), ""]


def _table(table: doc.Table, ids: set[str]) -> dict[str, Any]:
    groups = doc.grouped(table.columns) if any(column.group for column in table.columns) else []
    return {
        "kind": "table",
        "caption": _inline(table.caption, ids),
        "dense": table.dense,
        "heads": 2 if groups else 1,
        "groups": [[_text(name), size] for name, size in groups],
        "columns": [
            {"title": _inline(column.title, ids), "align": column.align, "weight": column.weight}
            for column in table.columns
        ],
        "rows": [[_cell(cell, ids, first=k == 0) for k, cell in enumerate(row)] for row in table.rows],
        "notes": _many(table.notes, ids),
    }

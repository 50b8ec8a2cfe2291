"""A document as one HTML file that needs nothing else: no network, no script, no font.

Only lays out: every string comes from the document. Style and script are part of the page and
admitted by their digests; everything else is forbidden by the page's own policy.
"""

from __future__ import annotations

import base64
import hashlib
import re
from collections.abc import Callable, Iterator
from html import escape
from importlib.resources import files
from typing import BinaryIO

from gearqa.report.blocks import document as doc
from gearqa.report.draw.palette import css_classes, css_variables
from gearqa.wording.safety import PAGE_MARK, SIMULATED_BANNER
from gearqa.wording.visible import right_to_left, visible

ALIGN = {"left": "l", "center": "c", "right": ""}

DATE = re.compile(r"\b\d{4}-\d\d-\d\d\b")
"""No line ends at the hyphen of a date."""
LONG_NAME = 24
"""Characters from which the name of a row may be broken."""
LAZY_FROM = 100
"""Folded sheets from which the page's script builds one only when it is opened; without script the
browser reads them all."""

Progress = Callable[[int, int], None]
"""Called with the number of sheets done and their total."""


def write_html(stream: BinaryIO, document: doc.Document, *, progress: Progress | None = None) -> None:
    """Write the document as one page, sheet by sheet.

    Parameters
    ----------
    stream : BinaryIO
        Open binary stream; the caller sees to it that it appears whole or not at all.
    document : Document
        What to show.
    progress : callable, optional
        Called after each sheet with the number done and the total.
    """
    for text in _page(document, progress):
        stream.write(text.encode("utf-8", "replace"))


def _template(name: str) -> str:
    return (files("gearqa.report.render") / "templates" / name).read_text(encoding="utf-8")


def style_sheet() -> str:
    """The style of every report, light and dark."""
    return (
        f":root{{color-scheme:light dark;{css_variables('light')}}}"
        f"@media screen and (prefers-color-scheme:dark){{:root{{{css_variables('dark')}}}}}"
        f"{css_classes()}{_template('report.css')}"
    )


def _digest(text: str) -> str:
    return f"'sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()}'"


def _page(document: doc.Document, progress: Progress | None) -> Iterator[str]:
    style, script = style_sheet(), _template("report.js")
    policy = (
        f"default-src 'none'; style-src {_digest(style)}; script-src {_digest(script)}; "
        "base-uri 'none'; form-action 'none'"
    )
    title = _escaped(document.title)
    yield (
        f'<!doctype html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        f'<meta http-equiv="Content-Security-Policy" content="{policy}">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"{PAGE_MARK}\n"
        f"<title>{title}</title>\n<style>{style}</style>\n</head>\n<body>\n"
    )
    if document.simulated:
        yield '<div class="wm" aria-hidden="true">SIMULATED</div>\n'
    yield _bar(document)
    yield f"<main>\n<h1>{title}</h1>\n"
    total = len(document.sheets)
    lazy = sum(sheet.folded for sheet in document.sheets) >= LAZY_FROM
    for number, sheet in enumerate(document.sheets, 1):
        yield from _sheet(document, sheet, lazy=lazy)
        if progress is not None:
            progress(number, total)
    yield f"<footer>{_escaped(document.foot)}</footer>\n</main>\n"
    yield f"<script>{script}</script>\n</body>\n</html>\n"


def _bar(document: doc.Document) -> str:
    """The line at the top of the page: what it is about, and ways into a long one."""
    out = [f'<div class="bar"><b>{_escaped(document.head)}</b><span class="grow"></span>']
    if document.simulated:
        out.append("<b>SIMULATED</b>")
    folded = [sheet for sheet in document.sheets if sheet.folded]
    first = document.sheets[0] if document.sheets else None
    if folded and first is not None and first.id:
        out.append(f'<a href="#{escape(first.id)}">{_inline(first.title)}</a>')
        worst = next((sheet for sheet in document.sheets if sheet.worst), None)
        if worst is not None:
            out.append(f'<a href="#{escape(worst.id)}">Worst: {_escaped(worst.head)}</a>')
        out.append(
            '<span class="tools"><label>Find <input id="find" type="search" size="12"></label>'
            '<button id="fold" type="button">Fold all</button></span>'
        )
    return "".join([*out, "</div>\n"])


def _sheet(document: doc.Document, sheet: doc.Sheet, *, lazy: bool) -> Iterator[str]:
    mark = f'<div class="sim">{_escaped(SIMULATED_BANNER)}</div>' if document.simulated else ""
    anchor = f' id="{escape(sheet.id)}"' if sheet.id else ""
    if sheet.folded:
        status = f"{_mark(sheet.status)} " if sheet.status else ""
        yield (
            f'<details class="sheet"><summary><b>{_inline(sheet.title)}</b>'
            f"<span>{status}{_inline(sheet.summary)}</span></summary><div{anchor}>"
            + ("<noscript>" if lazy else "") + mark
        )  # fmt: skip
        level = 2
    else:
        same = doc.plain(sheet.title) == document.title
        yield f'<section class="sheet"{anchor}>' + ("" if same else f"<h2>{_inline(sheet.title)}</h2>") + mark
        level = 3
    for section in sheet.sections:
        if section.title:
            anchor = f' id="{escape(section.id)}"' if section.id else ""
            yield f"<h{level}{anchor}>{_inline(section.title)}</h{level}>\n"
        for block in doc.side_by_side(section.blocks):
            if isinstance(block, tuple):
                yield f'<div class="pair">{"".join(map(_block, block))}</div>\n'
            else:
                yield f"{_block(block)}\n"
    if sheet.folded:
        yield "</noscript></div></details>\n" if lazy else "</div></details>\n"
    else:
        yield "</section>\n"


def _block(block: doc.Block) -> str:
    match block:
        case doc.Paragraph():
            style = "" if block.style == "normal" else f' class="{block.style}"'
            return f"<p{style}>{_inline(block.text)}</p>"
        case doc.Bullets():
            style = "" if block.style == "normal" else ' class="note"'
            return f"<ul{style}>" + "".join(f"<li>{_inline(item)}</li>" for item in block.items) + "</ul>"
        case doc.Facts():
            return '<dl class="facts">' + "".join(map(_fact, block.items)) + "</dl>"
        case doc.Verdict():
            return '<div class="verdict">' + "".join(map(_answer, block.answers)) + "</div>"
        case doc.Table():
            return _table(block)
        case doc.Figure():
            caption = f"<figcaption>{_inline(block.caption)}</figcaption>" if block.caption else ""
            kind = " class=half" if block.half else " class=newest" if block.newest else ""
            return (
                f'<figure{kind}><span class="ft">{_inline(block.title)}</span>'
                f'<div class="scroll">{block.svg}</div>{caption}</figure>'
            )
        case doc.Cautions():
            items = "".join(f"<li>{_inline(item)}</li>" for item in block.items)
            title = f"<b>{_escaped(doc.CAUTIONS_TITLE)}</b>"
            return f'<div class="cautions" role="note">{title}<ul>{items}</ul></div>'
        case doc.Signature():
            lines = (
                f"<div><span>{_escaped(role)}</span><span>{_escaped(doc.DATE)}</span></div>"
                for role in block.roles
            )
            return f'<div class="sign">{"".join(lines)}</div>'


def _fact(item: tuple[doc.Text, doc.Text]) -> str:
    wide = ' class="wide"' if doc.is_long(item[1]) else ""
    value = DATE.sub(r'<span class="nb">\g<0></span>', _inline(item[1]))
    return f"<div{wide}><dt>{_inline(item[0])}</dt><dd>{value}</dd></div>"


def _answer(answer: doc.Answer) -> str:
    mark = "" if answer.status == "none" else f"{_mark(answer.status)} "
    detail = f'<div class="d">{_inline(answer.detail)}</div>' if answer.detail else ""
    return (
        f'<div class="{answer.status}"><div class="q">{_inline(answer.question)}</div>'
        f'<div class="a">{mark}{_inline(answer.answer)}</div>{detail}</div>'
    )


def _mark(status: doc.Status | None) -> str:
    return "" if status is None else f'<span class="mk" aria-hidden="true">{doc.STATUS_MARKS[status]}</span>'


def _table(table: doc.Table) -> str:
    out = ['<div class="scroll" tabindex="0">', '<table class="dense">' if table.dense else "<table>"]
    if table.caption:
        out.append(f"<caption>{_inline(table.caption)}</caption>")
    classes = [f' class="{ALIGN[column.align]}"' if ALIGN[column.align] else "" for column in table.columns]
    out.append("<thead>")
    if any(column.group for column in table.columns):
        out.append('<tr class="groups">')
        for group, size in doc.grouped(table.columns):
            if group:
                out.append(f'<th colspan="{size}" scope="colgroup">{_escaped(group)}</th>')
            else:
                out.append(f'<td colspan="{size}"></td>')
        out.append("</tr>")
    heads = (
        f'<th scope="col"{style}>{_inline(column.title)}</th>'
        for column, style in zip(table.columns, classes, strict=True)
    )
    out += ["<tr>", *heads, "</tr></thead><tbody>"]
    for row in table.rows:
        out.append("<tr>")
        for k, cell in doc.cells_of(row):
            column, content = table.columns[k], cell if isinstance(cell, doc.Cell) else doc.Cell(cell)
            text = _inline(content.text)
            if content.status is not None and content.status != "none":
                text = f"{text}&nbsp;{_mark(content.status)}"
            if k == 0:
                tag, bad, wide = 'th scope="row"', False, len(doc.plain(content.text)) > LONG_NAME
            else:
                tag, bad = "td", content.status == "bad"
                wide = bool(column.weight) and content.status is None
            align = "c" if content.span > 1 else ALIGN[column.align]
            kind = " ".join(filter(None, (align, "bad" if bad else "", "w" if wide else "")))
            style = f' class="{kind}"' if kind else ""
            style += f' colspan="{content.span}"' if content.span > 1 else ""
            out.append(f"<{tag}{style}>{text}</{tag[:2]}>")
        out.append("</tr>")
    out.append("</tbody></table></div>")
    if table.notes:
        notes = "".join(f"<p>{_inline(note)}</p>" for note in table.notes)
        out.append(f'<div class="notes">{notes}</div>')
    return "".join(out)


def _inline(text: doc.Text) -> str:
    if isinstance(text, str):
        return _escaped(text)
    return "".join(map(_span, text))


def _span(span: doc.Span) -> str:
    text = _escaped(span.text)
    match span.style:
        case "strong":
            text = f"<b>{text}</b>"
        case "sub":
            text = f"<sub>{text}</sub>"
        case "muted":
            text = f'<span class="muted">{text}</span>'
    return f'<a href="#{escape(span.target)}">{text}</a>' if span.target else text


def _escaped(text: str) -> str:
    shown = escape(visible(text))
    return f"<bdi>{shown}</bdi>" if right_to_left(text) else shown

"""The HTML page: self-contained, strict policy, everything escaped, the document's strings in order."""

from __future__ import annotations

import base64
import hashlib
import re
from html.parser import HTMLParser
from io import BytesIO

import pytest
from sheet_factory import document_of, html_of, made, measured, part_of

from gearqa.report.blocks.document import (
    Answer,
    Bullets,
    Cautions,
    Cell,
    Column,
    Document,
    Facts,
    Paragraph,
    Section,
    Sheet,
    Signature,
    Span,
    Table,
    Verdict,
)
from gearqa.report.render.html import write_html

VOID = {"meta", "input", "br", "img", "link"}


class Page(HTMLParser):
    """Tags, attributes and text of a page; fails on tags that do not close in order."""

    def __init__(self, text: str) -> None:
        super().__init__(convert_charrefs=True)
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.text: list[str] = []
        self.raw: dict[str, str] = {}
        self._open: list[str] = []
        self.feed(text)
        assert self._open == []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        if tag not in VOID:
            self._open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))

    def handle_endtag(self, tag: str) -> None:
        assert self._open.pop() == tag

    def handle_data(self, data: str) -> None:
        if self._open and self._open[-1] in ("style", "script"):
            self.raw[self._open[-1]] = self.raw.get(self._open[-1], "") + data
        else:
            self.text.append(data)

    def attributes(self, name: str) -> list[str]:
        return [attrs[name] or "" for _, attrs in self.tags if name in attrs]


HOSTILE = (
    "<script>alert(1)</script>\"'><img src=x onerror=alert(2)>\u202e../../etc/passwd\x00 &amp; 日本 עברית"
)


@pytest.fixture(scope="module")
def hostile() -> str:
    part = part_of(number=HOSTILE, name="x" * 10_000)
    production = made(grinder=HOSTILE, remark=HOSTILE, labels={HOSTILE: HOSTILE})
    return html_of(document_of([measured(HOSTILE + "y" * 10_000, production=production)], part))


def test_hostile_names_are_only_text(hostile: str) -> None:
    page = Page(hostile)
    assert [tag for tag, _ in page.tags].count("script") == 1
    assert "img" not in {tag for tag, _ in page.tags}
    assert not [name for _, attrs in page.tags for name in attrs if name.startswith("on")]
    shown = "".join(page.text)
    assert "<script>alert(1)</script>" in shown
    assert "⟨U+202E⟩../../etc" in shown
    assert "\u202e" not in hostile
    assert "\x00" not in hostile
    assert "y" * 1000 not in hostile
    assert "x" * 1000 not in hostile
    assert "characters)" in shown


def test_right_to_left_letters_cannot_reorder_what_stands_beside_them(hostile: str) -> None:
    assert re.search(r"<bdi>[^<]*עברית", hostile)


def test_policy_admits_only_the_style_and_script_of_the_page() -> None:
    page = Page(html_of(document_of()))
    policy = next(a["content"] for t, a in page.tags if a.get("http-equiv") == "Content-Security-Policy")
    assert policy is not None
    digests = {
        kind: "'sha256-" + base64.b64encode(hashlib.sha256(page.raw[kind].encode()).digest()).decode() + "'"
        for kind in ("style", "script")
    }
    assert policy.split("; ") == [
        "default-src 'none'",
        f"style-src {digests['style']}",
        f"script-src {digests['script']}",
        "base-uri 'none'",
        "form-action 'none'",
    ]


def test_nothing_is_fetched_and_no_style_attribute_needs_leave() -> None:
    text = html_of(document_of())
    page = Page(text)
    assert not page.attributes("src")
    assert not page.attributes("style")
    assert all(target.startswith("#") for target in page.attributes("href"))
    assert "url(" not in text
    assert "@import" not in text
    assert set(re.findall(r"https?://[^\"'\s<]+", text)) == {"http://www.w3.org/2000/svg"}


def test_every_figure_has_a_name_and_a_description() -> None:
    text = html_of(document_of())
    drawings = re.findall(r"<svg.*?</svg>", text, re.DOTALL)
    assert len(drawings) == 5
    for drawing in drawings:
        assert re.match(r"<svg[^>]* role=\"img\"[^>]*><title>[^<]+</title><desc>[^<]+</desc>", drawing)


def test_tables_have_heads_for_columns_and_rows() -> None:
    page = Page(html_of(document_of()))
    scopes = page.attributes("scope")
    assert scopes.count("row") >= 11
    assert scopes.count("col") >= 11


def test_no_line_ends_within_a_date_of_the_head() -> None:
    text = html_of(document_of())
    assert '<dd><span class="nb">2025-03-04</span> 06:05' in text
    assert ".nb{white-space:nowrap}" in text


def test_same_bytes_twice() -> None:
    assert html_of(document_of()) == html_of(document_of())


def test_simulated_is_said_in_words_and_across_the_page() -> None:
    text = html_of(document_of(simulated=True))
    assert '<div class="wm" aria-hidden="true">SIMULATED</div>' in text
    assert "SIMULATED DATA: simulated or made up, not measured on a gear" in text
    assert "SIMULATED" not in html_of(document_of())


def test_a_lot_links_to_every_sheet_and_folds_them() -> None:
    page = Page(html_of(document_of([measured(f"S-{k}", size=1 + k) for k in range(4)])))
    ids = set(page.attributes("id"))
    assert {"lot", "gear-1", "gear-2", "gear-3", "gear-4"} <= ids
    targets = {target[1:] for target in page.attributes("href")}
    assert targets <= ids
    assert {"gear-1", "gear-2", "gear-3", "gear-4"} <= targets
    assert [tag for tag, _ in page.tags].count("details") == 4


def test_a_large_lot_keeps_sheets_for_readers_without_script() -> None:
    one = Sheet("G", (Section("", (Paragraph("words"),)),), folded=True)
    text = html_of(Document("t", "h", "f", (Sheet("first", (), id="lot"), *(one,) * 120)))
    assert text.count("<noscript>") == text.count("</noscript>") == 120
    small = html_of(Document("t", "h", "f", (Sheet("first", (), id="lot"), *(one,) * 20)))
    assert "<noscript>" not in small


def test_every_block_shows_its_strings_in_order() -> None:
    blocks = (
        Paragraph("p1", "lead"), Bullets(("b1", "b2")), Facts((("name", "value"),)),
        Verdict((Answer("question", "answer", "open", "detail"),)),
        Table(
            "caption", (Column("c1", "left"), Column("c2", group="G")), (("r1", Cell("bad one", "bad")),),
            notes=("n1",),
        ),
        Cautions(("careful",)), Signature(("Inspected by",)),
        Paragraph((Span("strong", "strong"), Span("sub", "sub"), Span("go", target="x"))),
    )  # fmt: skip
    document = Document("Title", "Head", "Foot", (Sheet("Sheet", (Section("Part", blocks),), id="x"),))
    shown = " ".join(" ".join(Page(html_of(document)).text).split())
    position = 0
    for word in ("Title", "Head", "Sheet", "Part", "p1", "b1", "b2", "name", "value", "question", "?",
                 "answer",
                 "detail", "caption", "G", "c1", "c2", "r1", "bad one", "✗", "n1", "Cautions", "careful",
                 "Inspected by", "Date", "strong", "sub", "go", "Foot"):  # fmt: skip
        position = shown.index(word, position)


def test_progress_is_told() -> None:
    seen: list[tuple[int, int]] = []
    document = document_of([measured(f"S-{k}") for k in range(3)])
    write_html(BytesIO(), document, progress=lambda done, total: seen.append((done, total)))
    assert seen == [(1, 4), (2, 4), (3, 4), (4, 4)]

"""The PDF: text, fonts, tags, papers, names in any script; read back by poppler's tools."""

from __future__ import annotations

import re
import subprocess
from io import BytesIO
from pathlib import Path

import pytest
from outside import needs_poppler
from sheet_factory import document_of, html_of, made, measured, part_of

from gearqa.errors import ReportError
from gearqa.report.blocks.document import Document, Paragraph, Section, Sheet, Span, plain
from gearqa.report.render import pdf, pdf_join
from gearqa.report.render.glyphs import font_safe, printable
from gearqa.report.render.pdf import pdf_bytes, write_pdf

pytestmark = needs_poppler


def tool(name: str, data: bytes, folder: Path, *options: str) -> str:
    path = folder / "out.pdf"
    path.write_bytes(data)
    after = ["-"] if name == "pdftotext" else []
    done = subprocess.run([name, *options, str(path), *after], capture_output=True, check=True)
    return done.stdout.decode()


def small(text: str = "x", sheets: int = 1) -> Document:
    return Document(
        "Title", "Head", "Foot",
        tuple(
            Sheet(f"Sheet {k}", (Section("Part", (Paragraph(text),)),), id=f"s-{k}", head=f"Serial {k}")
            for k in range(1, sheets + 1)
        ),
    )  # fmt: skip


@pytest.fixture(scope="module")
def sheet() -> bytes:
    return pdf_bytes(document_of(simulated=True))


def test_page_heads_feet_and_signatures(sheet: bytes, tmp_path: Path) -> None:
    pages = tool("pdftotext", sheet, tmp_path, "-layout").split("\f")[:-1]
    for number, page in enumerate(pages, 1):
        assert "Part OT-9, revision B" in page
        assert "Serial S-1" in page
        assert "SIMULATED" in page
        assert f"Page {number} of {len(pages)}" in page
    text = "".join(pages)
    for needed in ("Inspected by", "Approved by", "Date", "Geometry only", "qualified setter", "ab" * 32):
        assert needed in text


def test_fonts_are_embedded_and_only_the_bundled_ones(sheet: bytes, tmp_path: Path) -> None:
    lines = tool("pdffonts", sheet, tmp_path).splitlines()[2:]
    assert lines
    for line in lines:
        assert re.match(r"[A-Z]{6}\+DejaVuSansCondensed(-Bold)? ", line)
        assert re.search(r" yes yes yes +\d+ +0$", line)


def test_tagged_with_title_and_alternative_texts(sheet: bytes, tmp_path: Path) -> None:
    info = tool("pdfinfo", sheet, tmp_path)
    assert re.search(r"Tagged: +yes", info)
    assert re.search(r"Title: +Inspection sheet, gear S-1", info)
    assert b"pdfuaid:part>1<" in sheet
    structure = tool("pdfinfo", sheet, tmp_path, "-struct")
    assert structure.count("Figure") == 6
    assert len(re.findall(rb"/S/Figure/P \d+ 0 R/Alt[(<]", sheet)) == 6


@pytest.mark.parametrize(("paper", "size"), [("a4", "595.276 x 841.89"), ("letter", "612 x 792")])
def test_papers(paper: pdf.Paper, size: str, tmp_path: Path) -> None:
    data = pdf_bytes(document_of(), paper)
    info = tool("pdfinfo", data, tmp_path)
    assert size in info
    assert re.search(r"Pages: +[34]\n", info)


def test_same_bytes_for_the_same_document(sheet: bytes) -> None:
    assert pdf_bytes(document_of(simulated=True)) == sheet


def strings(document: Document) -> set[str]:
    """Printed strings of the tables of a document."""
    return {
        plain(cell if isinstance(cell, str | tuple) else cell.text)
        for one in document.sheets
        for section in one.sections
        for block in section.blocks
        for row in getattr(block, "rows", ())
        for cell in row
    }


def test_pdf_and_page_show_the_same_strings(tmp_path: Path) -> None:
    document = document_of()
    text = " ".join(tool("pdftotext", pdf_bytes(document), tmp_path, "-layout").split())
    page = re.sub(r"<[^>]+>", "", html_of(document))
    wanted = strings(document)
    assert len(wanted) > 60
    for string in wanted:
        assert string in text, string
        assert string in page, string


def test_text_of_charts_can_be_searched(sheet: bytes, tmp_path: Path) -> None:
    text = tool("pdftotext", sheet, tmp_path)
    for needed in ("evaluation range", "left flank", "tooth 17", "first harmonic", "flank tolerance class"):
        assert needed in text


HOSTILE = '#import "x" $a^2$ *b* _c_ @d <e> [f] \\ // ⟨ \u202e日本語 עברית العربية \U0001f389 ../..'


def test_hostile_names_are_shown_harmlessly(tmp_path: Path) -> None:
    gear = measured(HOSTILE + "W" * 10_000, production=made(remark=HOSTILE, labels={"<x>": "l" * 3000}))
    data = pdf_bytes(document_of([gear], part_of(number=HOSTILE, name="n" * 10_000)))
    text = tool("pdftotext", data, tmp_path, "-layout")
    assert '#import "x" $a^2$ *b* _c_ @d <e> [f] \\ //' in text
    assert "⟨U+202E⟩⟨U+65E5⟩⟨U+672C⟩⟨U+8A9E⟩" in text
    assert "⟨U+1F389⟩" in text
    assert "characters)" in text


def test_scripts_that_need_shaping_never_stop_the_pdf(tmp_path: Path) -> None:
    # Letters of many scripts, each beside others of its own block.
    everything = "".join(chr(code) for code in range(0x600, 0x1800) if chr(code).isprintable())
    for start in range(0, len(everything), 600):
        assert pdf_bytes(small(everything[start : start + 600])).startswith(b"%PDF")
    text = tool("pdftotext", pdf_bytes(small("हिन्दी ไทย עברית العربية")), tmp_path)
    assert "⟨U+0939⟩" in text


def test_a_missing_glyph_is_never_an_empty_box() -> None:
    assert ord("日") not in printable()
    assert {ord(c) for c in "αβµ⟨⟩✓✗▸◂°±√–…⌀"} <= printable()
    assert font_safe("a日b") == "a⟨U+65E5⟩b"
    assert font_safe("שלום", careful=True) == "⟨U+05E9⟩⟨U+05DC⟩⟨U+05D5⟩⟨U+05DD⟩"


def test_portions_are_joined_into_one_tagged_document(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    links = Sheet(
        "First",
        (Section("", (Paragraph((Span("to five", target="s-5"), Span(" nowhere", target="gone"))),)),),
        id="s-0",
    )
    many = small("words (in) \\ brackets 1 0 R", sheets=8)
    document = Document("Title", "Head", "Foot", (links, *many.sheets))
    whole = pdf_bytes(document)
    monkeypatch.setattr(pdf, "PORTION", 2)
    seen: list[tuple[int, int]] = []
    stream = BytesIO()
    write_pdf(stream, document, progress=lambda done, total: seen.append((done, total)))
    joined = stream.getvalue()
    assert seen == [(2, 9), (4, 9), (6, 9), (8, 9), (9, 9)]
    assert tool("pdftotext", joined, tmp_path, "-layout") == tool("pdftotext", whole, tmp_path, "-layout")
    assert tool("pdfinfo", joined, tmp_path, "-struct-text").count("H1") == 9
    assert re.search(r"Pages: +9\n", tool("pdfinfo", joined, tmp_path))
    dests = tool("pdfinfo", joined, tmp_path, "-dests")
    assert re.search(r"   6 \[.*\] \"s-5\"", dests)
    assert joined.count(b"/Dest(s-5)") == 1
    assert b"gone" not in joined
    assert b"<xmpTPg:NPages>9</xmpTPg:NPages>" in joined


def test_bookmarks_lead_through_all_portions(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(pdf, "PORTION", 2)
    data = pdf_bytes(small(sheets=5))
    bodies = dict(re.findall(rb"\n(\d+) 0 obj\n(.*?)\nendobj", data, re.DOTALL))
    root = next(body for body in bodies.values() if body.startswith(b"<</Type/Outlines"))
    titles, number = [], re.search(rb"/First (\d+)", root).group(1)  # type: ignore[union-attr]
    while number is not None:
        body = bodies[number]
        titles.append(re.search(rb"/Title\((.*?)\)", body).group(1))  # type: ignore[union-attr]
        following = re.search(rb"/Next (\d+)", body)
        if following:
            back = re.search(rb"/Prev (\d+)", bodies[following.group(1)])
            assert back is not None
            assert back.group(1) == number
        number = following.group(1) if following else None
    assert titles == [b"Sheet %d" % k for k in range(1, 6)]


def test_cross_reference_table_points_at_every_object(monkeypatch: pytest.MonkeyPatch) -> None:
    # ISO 32000-1:2008, 7.5.4: entries of exactly 20 bytes, offsets of `N 0 obj`.
    monkeypatch.setattr(pdf, "PORTION", 1)
    data = pdf_bytes(small(sheets=3))
    start = int(re.search(rb"startxref\n(\d+)", data).group(1))  # type: ignore[union-attr]
    size = int(re.match(rb"xref\n0 (\d+)\n", data[start:]).group(1))  # type: ignore[union-attr]
    table = data[start:].split(b"\n", 2)[2]
    live = 0
    for number in range(1, size):
        entry = table[20 * number : 20 * number + 20]
        assert re.fullmatch(rb"\d{10} \d{5} [nf]\r\n", entry)
        if entry[17:18] == b"n":
            offset = int(entry[:10])
            assert data[offset:].startswith(b"%d 0 obj\n" % number)
            live += 1
    assert live > 60


def test_what_cannot_be_joined_is_refused() -> None:
    with pytest.raises(ReportError, match="cannot be joined"):
        pdf_join.PdfJoiner(BytesIO()).add(b"%PDF-1.4\nsomething else")


def test_simulated_runs_across_every_page_of_long_tables(tmp_path: Path) -> None:
    document = document_of([measured(f"S-{k}") for k in range(70)], simulated=True, sheets="none")
    pages = tool("pdftotext", pdf_bytes(document), tmp_path, "-layout").split("\f")[:-1]
    assert len(pages) >= 3
    assert all("SIMULATED" in page for page in pages)


def test_one_file_a_document(tmp_path: Path) -> None:
    seen: list[int] = []
    files = {}

    def open_file(name: str) -> BytesIO:
        return files.setdefault(name, BytesIO())

    pdf.write_sheet_folder(
        open_file, [("a", small("one")), ("b", small("two"))], paper="letter", progress=seen.append
    )
    assert seen == [1, 2]
    assert list(files) == ["a.pdf", "b.pdf"]
    assert "two" in tool("pdftotext", files["b.pdf"].getvalue(), tmp_path)
    assert "612 x 792" in tool("pdfinfo", files["b.pdf"].getvalue(), tmp_path)

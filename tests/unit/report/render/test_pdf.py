"""The PDF: text, fonts, tags, papers, names in any script; read back by poppler's tools."""

from __future__ import annotations

import re
import signal
import subprocess
import sys
import threading
from dataclasses import replace
from datetime import UTC, datetime
from hashlib import pbkdf2_hmac
from io import BytesIO
from pathlib import Path
from typing import BinaryIO

import pytest
from outside import needs_poppler
from sheet_factory import document_of, html_of, made, measured, part_of

from gearqa.report.blocks.document import Bullets, Document, Figure, Paragraph, Section, Sheet, Span, plain
from gearqa.report.render import pdf
from gearqa.report.render.glyphs import font_safe, printable
from gearqa.report.render.html import Progress
from gearqa.report.render.pdf import pdf_bytes, write_pdf, write_pdf_files
from gearqa.symbols import DEFAULT_GRADED

pytestmark = needs_poppler


def tool(name: str, data: bytes, folder: Path, *options: str) -> str:
    path = folder / "out.pdf"
    path.write_bytes(data)
    after = ["-"] if name == "pdftotext" else []
    done = subprocess.run([name, *options, str(path), *after], capture_output=True, check=True)
    return done.stdout.decode()


def small(text: str) -> Document:
    return Document("Title", "Head", "Foot", (Sheet("Sheet", (Section("Part", (Paragraph(text),)),)),))


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
    meta = tool("pdfinfo", sheet, tmp_path, "-meta")
    assert "<pdfuaid:part>1<" in meta
    assert "<dc:language><rdf:Bag><rdf:li>en<" in meta
    structure = tool("pdfinfo", sheet, tmp_path, "-struct")
    assert structure.startswith("Document\n")
    assert structure.count("Figure") == 5
    assert len(re.findall(r"/Scope /Column", structure)) >= 10
    assert len(re.findall(rb"/Alt\s*[(<]", sheet)) == 5


@pytest.mark.parametrize(("paper", "size"), [("a4", "595.276 x 841.89"), ("letter", "612 x 792")])
def test_papers(paper: pdf.Paper, size: str, tmp_path: Path) -> None:
    data = pdf_bytes(document_of(), paper)
    info = tool("pdfinfo", data, tmp_path)
    assert size in info
    assert re.search(r"Pages: +2\n", info)


U_UM = dict.fromkeys(DEFAULT_GRADED, 0.5)
FULL = made(
    finished_at=datetime(2025, 3, 4, 6, 5, tzinfo=UTC), fixture="F-12", temperature_degC=20.1,
    calibration_ref="CAL-0417", calibration_due=datetime(2026, 1, 31), remark="after cleaning",
    labels={"shift": "early", "second operator": "B"},
)  # fmt: skip


@pytest.mark.parametrize("paper", ["a4", "letter"])
@pytest.mark.parametrize("how", ["good", "failing", "with gaps"])
@pytest.mark.parametrize("teeth", [1, 2, 3, 4, 8])
@pytest.mark.parametrize("kind", ["internal", "external"])
def test_a_gear_is_one_page_with_its_details_on_a_second(
    kind: str, teeth: int, how: str, paper: pdf.Paper, tmp_path: Path
) -> None:
    """Up to four traced teeth a flank; with more the traces have a page of their own."""
    part = part_of(kind=kind, uncertainty_um=U_UM, name="Planetary ring, orchard tractor final drive")
    gear = measured(size=4.0 if how == "failing" else 1.0, part=part, production=FULL)
    numbered = {tooth: place for place, tooth in enumerate(dict.fromkeys(t.tooth for t in gear.traces))}
    traces = [trace for trace in gear.traces if numbered[trace.tooth] < teeth]
    if teeth > len(numbered):
        traces += [replace(trace, tooth=trace.tooth + 3) for trace in traces]
    if how == "with gaps":
        traces = [trace for trace in traces if (trace.kind, trace.flank) != ("helix", "right")]
        gear = replace(gear, runout=None, pitch={"left": gear.pitch["left"]})
    data = pdf_bytes(document_of([replace(gear, traces=tuple(traces))], part, simulated=True), paper)
    pages = tool("pdftotext", data, tmp_path).split("\f")[:-1]
    assert len(pages) == (2 if teeth <= 4 else 3)
    for needed in ("Inspected by", "Approved by", "Cautions", "Teeth traced", "Single pitch deviation"):
        assert needed in pages[0]
    assert ("Profile traces" in pages[0]) == (teeth <= 4)
    assert "Details" in pages[-1]


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
    assert len(wanted) > 50
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


SQUARE = '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 9 9"><path d="M1 1h7v7z"/></svg>'


def linked(sheets: int = 8) -> Document:
    """A first sheet with links to all others, each with one chart."""
    ids = [f"s-{k}" for k in range(1, sheets + 1)]
    links = Bullets(tuple((Span(f"to {one}", target=one),) for one in (*ids, "nowhere")))
    chart = Figure(SQUARE, "Chart", "A square")
    others = (
        Sheet(f"Sheet {one}", (Section("Part", (Paragraph(f"words of {one}"), chart)),), id=one, head=one)
        for one in ids
    )
    first = Sheet("First", (Section("", (links,)),), id="first")
    return Document("Title", "Head", "Foot", (first, *others))


def links_and_bookmarks(data: bytes, folder: Path) -> tuple[list[tuple[str, int]], list[tuple[str, int]]]:
    """Text and page of every link, title and page of every bookmark of the first level."""
    path = folder / "linked.pdf"
    path.write_bytes(data)
    done = subprocess.run(["pdftohtml", "-xml", "-i", "-stdout", str(path)], capture_output=True, check=True)
    xml = done.stdout.decode()
    links = re.findall(r'<a href="[^"#]*#(\d+)">(.*?)</a>', xml)
    marks = re.findall(r'^<item page="(\d+)">(.*?)</item>', xml, re.MULTILINE)
    return [(t.strip(), int(k)) for k, t in links], [(t, int(k)) for k, t in marks]


def test_links_and_bookmarks_lead_to_their_sheets(tmp_path: Path) -> None:
    links, marks = links_and_bookmarks(pdf_bytes(linked()), tmp_path)
    assert links == [(f"to s-{k}", k + 1) for k in range(1, 9)]
    assert [mark for mark in marks if mark[0] != "Part"] == [
        ("First", 1), *((f"Sheet s-{k}", k + 1) for k in range(1, 9)),
    ]  # fmt: skip


def test_one_file_has_every_page_and_the_fonts_once(tmp_path: Path) -> None:
    data = pdf_bytes(linked())
    assert re.search(r"Pages: +9\n", tool("pdfinfo", data, tmp_path))
    assert "<xmpTPg:NPages>9<" in tool("pdfinfo", data, tmp_path, "-meta")
    assert len(tool("pdffonts", data, tmp_path).splitlines()) == 2 + 2
    assert tool("pdfinfo", data, tmp_path, "-struct-text").count("H1") == 9


def test_what_the_library_wrote_is_passed_on_untouched(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("typst.compile", lambda *_, **__: b"%PDF-9.9 < any >bytes")
    stream = BytesIO()
    write_pdf(stream, linked())
    assert stream.getvalue() == b"%PDF-9.9 < any >bytes"


@pytest.mark.skipif(not hasattr(signal, "setitimer"), reason="no timer signals here")
def test_a_signal_is_heard_while_the_library_works(monkeypatch: pytest.MonkeyPatch) -> None:
    def stop(number: int, frame: object) -> None:
        raise KeyboardInterrupt

    # Seconds of work in C that no signal interrupts, as in the library.
    monkeypatch.setattr("typst.compile", lambda *_, **__: pbkdf2_hmac("sha256", b"a", b"b", 4_000_000))
    others = set(threading.enumerate())
    before = signal.signal(signal.SIGALRM, stop)
    try:
        signal.setitimer(signal.ITIMER_REAL, 0.3)
        with pytest.raises(KeyboardInterrupt):
            pdf_bytes(small("x"))
    finally:
        signal.signal(signal.SIGALRM, before)
    working = set(threading.enumerate()) - others
    assert working
    for thread in working:
        thread.join()


def split_files(document: Document, progress: Progress | None = None) -> list[bytes]:
    """All files of a document, which must come numbered from 1 on."""
    streams: list[BytesIO] = []

    def open_file(number: int) -> BinaryIO:
        streams.append(BytesIO())
        assert number == len(streams)
        return streams[-1]

    assert write_pdf_files(open_file, document, progress=progress) == len(streams)
    return [stream.getvalue() for stream in streams]


def test_more_charts_than_one_file_takes_go_to_several(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    document = linked()
    whole = pdf_bytes(document)
    assert split_files(document) == [whole]
    monkeypatch.setattr(pdf, "FILE_CHARTS", 3 * len(SQUARE))
    seen: list[tuple[int, int]] = []
    files = split_files(document, lambda done, total: seen.append((done, total)))
    assert seen == [(4, 9), (7, 9), (9, 9)]
    assert split_files(document) == files
    for number, (data, pages) in enumerate(zip(files, (4, 3, 2), strict=True), 1):
        info = tool("pdfinfo", data, tmp_path)
        assert re.search(rf"Title: +Title, file {number} of 3\n", info)
        assert re.search(rf"Pages: +{pages}\n", info)
        assert re.search(r"Tagged: +yes", info)
    texts = [tool("pdftotext", data, tmp_path, "-layout") for data in files]
    assert "".join(texts) == tool("pdftotext", whole, tmp_path, "-layout")
    # A link to a sheet of another file would lead nowhere: it stays as text.
    assert links_and_bookmarks(files[0], tmp_path)[0] == [(f"to s-{k}", k + 1) for k in (1, 2, 3)]


def test_a_sheet_with_more_charts_than_a_file_takes_has_a_file_of_its_own(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(pdf, "FILE_CHARTS", 1)
    assert [[sheet.id for sheet in part.sheets] for part in pdf.split(linked(3))] == [
        ["first"], ["s-1"], ["s-2"], ["s-3"],
    ]  # fmt: skip


@pytest.mark.skipif(not Path("/proc/self/status").exists(), reason="no /proc to read the peak memory from")
def test_memory_of_a_file_is_given_back_before_the_next() -> None:
    # Without it every file adds what the first one took; the library remembers its last runs.
    code = """if True:
    from pathlib import Path
    from gearqa.report.blocks.document import Column, Document, Section, Sheet, Table
    from gearqa.report.render import pdf
    def used():
        return int(Path("/proc/self/status").read_text().split("VmHWM:")[1].split()[0])
    def set_one(k):
        rows = tuple(tuple(f"{k} {row} {n}" for n in range(9)) for row in range(150))
        table = Table('', tuple(Column(str(n)) for n in range(9)), rows)
        pdf.pdf_bytes(Document(f"{k}", "", "", (Sheet("One", (Section("", (table,)),)),)))
        pdf._forget()
    pdf.pdf_bytes(Document("Warm", "", "", (Sheet("One", ()),)))
    start = used()
    set_one(0)
    one = used() - start
    for k in range(1, 5):
        set_one(k)
    print(one, used() - start)
    """
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    one, five = map(int, done.stdout.split())
    assert five < 2 * one


def test_simulated_runs_across_every_page_of_long_tables(tmp_path: Path) -> None:
    document = document_of([measured(f"S-{k}") for k in range(150)], simulated=True, sheets="none")
    pages = tool("pdftotext", pdf_bytes(document), tmp_path, "-layout").split("\f")[:-1]
    assert len(pages) >= 3
    assert all("SIMULATED" in page for page in pages)

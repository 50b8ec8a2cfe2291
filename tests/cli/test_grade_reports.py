"""`gearqa grade` with reports: page, PDF, a PDF for each gear; words equal to JSON and terminal."""

from __future__ import annotations

import json
import re
import shutil
import subprocess
import sys
from html import unescape
from pathlib import Path

import pytest
from made_folders import pitch_folder
from old_outputs import OLD
from outside import needs_poppler, pdf_text

from gearqa.cli import app
from gearqa.errors import ReportError
from gearqa.report.render import pdf
from gearqa.wording.safety import SIMULATED_BANNER
from gearqa.wording.verdicts import CONFORMITY, MASTER_QUALITY

SAMPLES = Path(__file__).parents[2] / "sample_measurements"
HOSTILE = [
    "<script>alert(1)</script>",
    "../../etc/passwd",
    "a/b",
    "A_B",
    "a:b",
    "'&\"",
    "\u202egnol",
    "日本",
    "CON",
]


def grade(*words):
    return app.run(["grade", *map(str, words)])


def pages(path):
    return pdf_text(path, "-layout").split("\f")[:-1]


def answers(page):
    """The words of every verdict of a page, in their order: conformity, class, master quality."""
    found = re.findall(r'<div class="a">(.*?)</div>', page)
    words = [unescape(re.sub(r"<span.*?</span>|<[^>]+>", "", one)).strip() for one in found]
    return [words[k : k + 3] for k in range(0, len(words), 3)]


def sheets_of(path):
    return re.findall(r'<details class="sheet"><summary><b>Gear (.*?)</b>', path.read_text(encoding="utf-8"))


def test_page_and_pdf_appear_beside_the_other_outputs(capsys, tmp_path):
    folder = pitch_folder(tmp_path / "lot", ["A", "B"])
    names = {kind: tmp_path / f"r.{kind}" for kind in ("json", "csv", "html", "pdf")}
    assert grade(folder, *(word for kind, path in names.items() for word in (f"--{kind}", path))) == 0
    assert names["html"].read_text(encoding="utf-8").startswith("<!doctype html>")
    assert names["pdf"].read_bytes().startswith(b"%PDF-1.7")
    assert json.loads(names["json"].read_text())["lot"]["gears"] == 2
    assert "Conformity to the drawing: conforms" in capsys.readouterr().out
    assert sorted(path.name for path in tmp_path.iterdir()) == ["lot", "r.csv", "r.html", "r.json", "r.pdf"]


@pytest.mark.parametrize(("kind", "start"), [("html", b"<!doctype html>"), ("pdf", b"%PDF-1.7")])
def test_to_standard_output_alone(capfdbinary, tmp_path, kind, start):
    folder = pitch_folder(tmp_path / "lot")
    assert grade(folder, f"--{kind}", "-") == 0
    piped = capfdbinary.readouterr().out
    assert grade(folder, f"--{kind}", tmp_path / "out", "--quiet") == 0
    assert piped.startswith(start)
    assert piped == (tmp_path / "out").read_bytes()


def test_only_one_output_goes_to_standard_output(capsys, tmp_path):
    assert grade(pitch_folder(tmp_path / "lot"), "--html", "-", "--pdf", "-") == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert "two outputs to standard output" in err


@needs_poppler
def test_page_pdf_json_and_terminal_say_the_same(capsys, tmp_path):
    names = {kind: tmp_path / f"r.{kind}" for kind in ("json", "html", "pdf")}
    folder = SAMPLES / "ring_faults"
    assert grade(folder, *(word for kind, path in names.items() for word in (f"--{kind}", path))) == 1
    terminal = capsys.readouterr().out
    result = json.loads(names["json"].read_text())
    lot, *gears = answers(names["html"].read_text(encoding="utf-8"))
    assert lot[0] == CONFORMITY[result["lot"]["conforms"]] == "does not conform"
    assert lot[2] == MASTER_QUALITY[result["lot"]["reached_master_quality"]]
    assert f"Conformity to the drawing: {lot[0]}" in terminal
    assert f"Master quality of the job: {lot[2]}" in terminal
    assert len(gears) == len(result["gears"]) == 8
    text = pages(names["pdf"])
    for words, gear in zip(gears, result["gears"], strict=True):
        conformity, grade_, master = words
        assert conformity == CONFORMITY[gear["conforms"]]
        assert master == MASTER_QUALITY[gear["master_quality"]]
        assert grade_.startswith("beyond" if gear["beyond"] else str(gear["class"]))
        assert ("incomplete" in grade_) is not gear["class_complete"]
        (first,) = (
            page for page in text if page.lstrip().startswith("Part") and f"Gear {gear['serial']}" in page
        )
        for word in words:
            assert word in first


@needs_poppler
@pytest.mark.parametrize(("paper", "size"), [("a4", "595.276 x 841.89"), ("letter", "612 x 792")])
def test_papers_and_simulated_on_every_page(tmp_path, paper, size):
    out, folder = tmp_path / "r.pdf", tmp_path / "sheets"
    words = ["--serial", "P-011", "--serial", "P-012", "--paper", paper, "--quiet"]
    assert grade(SAMPLES / "pinion", "--pdf", out, "--sheet-folder", folder, *words) == 0
    assert sorted(path.name for path in folder.iterdir()) == ["P-011.pdf", "P-012.pdf"]
    for path in (out, *folder.iterdir()):
        info = subprocess.run(["pdfinfo", str(path)], capture_output=True, check=True)
        assert size in info.stdout.decode()
        # A fault of the tool: /Suspects is a boolean, as ISO 32000-1:2008, table 321 asks.
        assert info.stderr in (b"", b"Syntax Error: Suspects object is wrong type (boolean)\n")
        text = pages(path)
        assert all("SIMULATED" in page for page in text)
        assert SIMULATED_BANNER in text[0]


@pytest.mark.parametrize(
    ("choice", "gears", "shown"),
    [
        ("all", 12, 12),
        ("worst", 12, 10),
        ("none", 12, 0),
        ("auto", 12, 12),
        ("auto", 101, 10),
        ("worst", 3, 3),
    ],
)
def test_which_gears_get_their_charts(tmp_path, choice, gears, shown):
    factors = {f"G-{k:03d}": 0.5 + k / 100 for k in range(gears)}
    out = tmp_path / "r.html"
    grade(pitch_folder(tmp_path / "lot", factors), "--html", out, "--sheets", choice, "--quiet")
    assert sheets_of(out) == list(factors)[gears - shown :]
    text = out.read_text(encoding="utf-8")
    assert all(serial in text for serial in factors)


def test_one_gear_gets_its_sheet_unless_none_is_wanted(tmp_path):
    folder = pitch_folder(tmp_path / "lot", ["A", "B"])
    for choice, title in (("worst", "Inspection sheet, gear B"), ("none", "Inspection report, part T-8")):
        out = tmp_path / f"{choice}.html"
        assert grade(folder, "--serial", "B", "--html", out, "--sheets", choice, "--quiet") == 0
        assert f"<title>{title}</title>" in out.read_text(encoding="utf-8")


@pytest.mark.parametrize("words", [("--sheets", "all"), ("--paper", "letter")])
def test_options_without_anything_to_act_on_are_a_usage_error(capsys, tmp_path, words):
    assert grade(pitch_folder(tmp_path / "lot"), *words) == 2
    assert words[0] in capsys.readouterr().err


def test_hostile_serials_in_page_and_file_names(tmp_path):
    folder = pitch_folder(tmp_path / "lot", [*HOSTILE, "s" * 10_000])
    page, sheets = tmp_path / "r.html", tmp_path / "sheets"
    assert (
        grade(folder, "--html", page, "--pdf", tmp_path / "r.pdf", "--sheet-folder", sheets, "--quiet") == 0
    )
    text = page.read_text(encoding="utf-8")
    assert "<script>alert" not in text
    assert "&lt;script&gt;alert(1)&lt;/script&gt;" in text
    assert "\u202e" not in text
    assert len(sheets_of(page)) == 10
    names = sorted(path.name for path in sheets.iterdir())
    assert len({name.lower() for name in names}) == 10
    assert all(re.fullmatch(r"[A-Za-z0-9][\w.-]*\.pdf", name, re.ASCII) and len(name) < 80 for name in names)
    assert "CON.pdf" not in names
    assert sorted(path.name for path in tmp_path.iterdir()) == ["lot", "r.html", "r.pdf", "sheets"]


def test_bad_input_leaves_old_reports_and_makes_no_folder(capsys, tmp_path):
    folder = pitch_folder(tmp_path / "lot")
    table = folder / "pitch.csv"
    table.write_text(table.read_text().replace("left,5,0.0", "left,5,n/a"))
    old = tmp_path / "r.html"
    old.write_text(OLD[".html"])
    before = sorted(tmp_path.rglob("*"))
    assert grade(folder, "--html", old, "--pdf", tmp_path / "r.pdf", "--sheet-folder", tmp_path / "new") == 2
    assert old.read_text() == OLD[".html"]
    assert sorted(tmp_path.rglob("*")) == before
    assert "n/a" in capsys.readouterr().err


def test_a_pdf_that_fails_leaves_every_old_file(capsys, monkeypatch, tmp_path):
    folder = pitch_folder(tmp_path / "lot", ["A", "B"])
    sheets = tmp_path / "sheets"
    sheets.mkdir()
    names = [tmp_path / "r.json", tmp_path / "r.html", tmp_path / "r.pdf", sheets / "A.pdf", sheets / "other"]
    for path in names:
        path.write_text(OLD.get(path.suffix, "other"))
    whole = pdf.pdf_bytes

    def fails_at_the_report(document, paper):
        if "Inspection report" in document.title:
            raise ReportError("the PDF could not be typeset")
        return whole(document, paper)

    monkeypatch.setattr(pdf, "pdf_bytes", fails_at_the_report)
    words = ["--json", names[0], "--html", names[1], "--pdf", names[2], "--sheet-folder", sheets]
    assert grade(folder, *words) == 2
    assert "could not be typeset" in capsys.readouterr().err
    assert all(path.read_text() == OLD.get(path.suffix, "other") for path in names)
    assert sorted(path.name for path in sheets.iterdir()) == ["A.pdf", "other"]
    monkeypatch.undo()
    assert grade(folder, *words, "--quiet") == 0
    assert sorted(path.name for path in sheets.iterdir()) == ["A.pdf", "B.pdf", "other"]
    assert (sheets / "A.pdf").read_bytes().startswith(b"%PDF")
    assert (sheets / "other").read_text() == "other"


@needs_poppler
@pytest.mark.parametrize("case", [(35_000, 2, "r.pdf and r-2.pdf"), (1, 4, "r.pdf and r-2.pdf to r-4.pdf")])
def test_a_pdf_of_many_charts_is_several_files(capsys, monkeypatch, tmp_path, case):
    room, count, told = case
    folder = pitch_folder(tmp_path / "lot", ["A", "B", "C"])
    assert grade(folder, "--pdf", tmp_path / "whole.pdf", "--quiet") == 0
    assert capsys.readouterr().err == ""
    monkeypatch.setattr(pdf, "FILE_CHARTS", room)
    monkeypatch.chdir(tmp_path)
    assert grade(folder, "--pdf", "r.pdf", "--quiet") == 0
    assert capsys.readouterr().err == f"the PDF takes {count} files: {told}\n"
    names = ["r.pdf", *(f"r-{k}.pdf" for k in range(2, count + 1))]
    assert sorted(path.name for path in tmp_path.iterdir()) == sorted(["lot", "whole.pdf", *names])
    assert [page for name in names for page in pages(tmp_path / name)] == pages(tmp_path / "whole.pdf")


def test_files_of_a_pdf_do_not_depend_on_how_many_are_set_at_once(monkeypatch, tmp_path):
    folder = pitch_folder(tmp_path / "lot", ["A", "B"])
    monkeypatch.setattr(pdf, "FILE_CHARTS", 1)
    for workers in (1, 2):
        (tmp_path / str(workers)).mkdir()
        assert grade(folder, "--pdf", tmp_path / str(workers) / "r.pdf", "--workers", workers, "--quiet") == 0
    one, two = ({f.name: f.read_bytes() for f in (tmp_path / w).iterdir()} for w in "12")
    assert len(one) == 3
    assert one == two


def test_a_scheduler_without_work_to_share_out(capsys, tmp_path):
    words = ["--scheduler", "tcp://127.0.0.1:9", "--pdf", "r.pdf"]
    assert grade(pitch_folder(tmp_path / "lot", ["A"]), *words) == 2
    assert "--sheet-folder DIR" in capsys.readouterr().err


def test_several_files_of_a_pdf_appear_together_or_not_at_all(capsys, monkeypatch, tmp_path):
    folder = pitch_folder(tmp_path / "lot", ["A", "B"])
    monkeypatch.setattr(pdf, "FILE_CHARTS", 1)
    (tmp_path / "r.pdf").write_text(OLD[".pdf"])
    (tmp_path / "r-2.pdf").mkdir()
    assert grade(folder, "--pdf", tmp_path / "r.pdf") == 2
    assert "r-2.pdf: is a folder" in capsys.readouterr().err
    assert (tmp_path / "r.pdf").read_text() == OLD[".pdf"]
    assert sorted(path.name for path in tmp_path.iterdir()) == ["lot", "r-2.pdf", "r.pdf"]


def test_several_files_cannot_go_to_standard_output(capfdbinary, monkeypatch, tmp_path):
    folder = pitch_folder(tmp_path / "lot", ["A", "B"])
    monkeypatch.setattr(pdf, "FILE_CHARTS", 1)
    assert grade(folder, "--pdf", "-") == 2
    out, err = capfdbinary.readouterr()
    assert out == b""
    assert b"takes several files" in err
    assert b"--sheets worst" in err


def test_a_report_never_takes_the_place_of_an_input(capsys, tmp_path):
    folder = pitch_folder(tmp_path / "lot")
    before = (folder / "part.toml").read_text()
    assert grade(folder, "--html", folder / "part.toml") == 2
    assert "is not overwritten" in capsys.readouterr().err
    assert (folder / "part.toml").read_text() == before


def test_the_same_input_gives_the_same_bytes(tmp_path):
    folder = pitch_folder(tmp_path / "lot", ["A", "B"])
    for name in ("a", "b"):
        grade(folder, "--html", tmp_path / f"{name}.html", "--pdf", tmp_path / f"{name}.pdf", "--quiet")
    for kind in ("html", "pdf"):
        assert (tmp_path / f"a.{kind}").read_bytes() == (tmp_path / f"b.{kind}").read_bytes()


def test_libraries_of_reports_are_loaded_only_for_them(tmp_path):
    folder = pitch_folder(tmp_path / "lot")
    code = (
        "import sys\nfrom gearqa.cli import app\n"
        "app.run(sys.argv[1:])\n"
        "print([m for m in ('typst', 'gearqa.report.draw.trace_chart', 'gearqa.report.render.html',"
        " 'gearqa.report.render.pdf') if m in sys.modules], file=sys.stderr)"
    )
    for words, loaded in (
        ((), "[]"),
        (("--html", tmp_path / "r.html"), "['gearqa.report.draw.trace_chart', 'gearqa.report.render.html']"),
    ):
        done = subprocess.run(
            [sys.executable, "-c", code, "grade", str(folder), "--quiet", *map(str, words)],
            capture_output=True, text=True, check=True,
        )  # fmt: skip
        assert done.stderr.strip() == loaded


def test_a_gear_without_its_size_is_named_everywhere(tmp_path, capsys):
    folder = tmp_path / "lot"
    shutil.copytree(Path(__file__).parents[2] / "sample_measurements" / "pinion", folder)
    rows = (folder / "size.csv").read_text(encoding="utf-8").splitlines()
    left = [row for row in rows if not row.startswith("P-013,")]
    (folder / "size.csv").write_text("\n".join(left) + "\n", encoding="utf-8")
    assert grade(folder, "--html", tmp_path / "p.html", "--pdf", tmp_path / "p.pdf") == 1
    assert "missing: size (1 gear)" in capsys.readouterr().out
    page = unescape((tmp_path / "p.html").read_text(encoding="utf-8"))
    assert "size: the drawing limits the size by span over 3 teeth, and there is none" in page
    assert grade(folder, "--serial", "P-013") == 1
    assert "size: the drawing limits the size" in capsys.readouterr().out


def test_the_sheet_of_a_failing_gear_says_what_keeps_it_from_conforming(tmp_path):
    page = tmp_path / "page.html"
    assert grade(SAMPLES / "ring_faults", "--html", page, "--serial", "OT-0308", "--quiet") == 1
    text = unescape(page.read_text(encoding="utf-8"))
    assert "What keeps this gear from conforming" in text
    assert re.search("<li>Ripple of unknown order, right flank", text)
    assert "Without ripple it would conform: class 5." in text
    assert "gearqa diagnose FOLDER --serial OT-0308" in text
    assert grade(SAMPLES / "ring_conforming", "--html", page, "--quiet") == 0
    assert "What keeps this gear" not in page.read_text(encoding="utf-8")


@needs_poppler
@pytest.mark.parametrize("workers", ["1", "2"])
def test_sheets_in_a_folder_say_it_too(tmp_path, workers):
    chosen = ("--serial", "OT-0301", "--serial", "OT-0308")
    words = ["--sheet-folder", tmp_path / "sheets", "--workers", workers, *chosen, "--quiet"]
    assert grade(SAMPLES / "ring_faults", *words) == 1
    text = " ".join(pdf_text(tmp_path / "sheets" / "OT-0308.pdf").split())
    assert "What keeps this gear from conforming" in text
    assert "Without ripple it would conform: class 5." in text

"""No output takes the place of an input, a store, a record, a key or a file of another kind."""

from __future__ import annotations

import importlib
import os
import shutil
from pathlib import Path

import pytest
from lot_samples import SAMPLES

from gearqa.cli import app
from gearqa.results.file_kinds import kind_of

KEPT = ["part.toml", "pitch.csv", "st.db", "a.rec", "b.rec", "k.key", "k.pub", "map.toml", "plan.toml"]
KEPT += ["reported.csv", "letter.txt", "empty.db", "drawing.pdf", "site.html", "package.json"]
"""Files that must be there with the same bytes after whatever command."""
COMMANDS = {
    "grade": ["grade", "."],
    "lot": ["lot", "."],
    "drift": ["drift", "--store", "st.db"],
    "drift of a folder": ["drift", "."],
    "incoming": ["incoming", "reported.csv", "."],
    "gauge": ["gauge", "study.csv"],
    "history export": ["history", "export", "--store", "st.db"],
    "history check": ["history", "check", "--store", "st.db"],
    "history regrade": ["history", "regrade", "--store", "st.db", "--class", "9"],
    "tolerances": ["tolerances", "--part", "part.toml"],
    "verify": ["verify", "b.rec", "--previous", "a.rec", "--key", "k.pub"],
    "watch": ["watch", ".", "--once", "--store", "st.db"],
    "explain": ["explain", "flanks"],
}
OPTIONS = {
    "--json": [command for command in COMMANDS if command not in ("watch", "explain")],
    "--csv": ["grade", "lot", "drift", "incoming", "history export"],
    "--html": ["grade", "lot", "drift", "incoming", "gauge", "watch", "explain"],
    "--pdf": ["grade", "lot", "incoming", "gauge"],
    "--text": ["incoming"],
    "--record": ["lot"],
}
CASES = [(command, option) for option, commands in OPTIONS.items() for command in commands]


@pytest.fixture(scope="module")
def shop(tmp_path_factory):
    """A folder that holds one of everything."""
    folder = tmp_path_factory.mktemp("shop") / "shop"
    shutil.copytree(SAMPLES / "pinion", folder)
    shutil.copy(SAMPLES / "gauge_study" / "crossed.csv", folder / "study.csv")
    (folder / "reported.csv").write_text("serial,parameter,value_um\nP-011,runout,5\n")
    (folder / "map.toml").write_text("# a column map\n")
    (folder / "plan.toml").write_text("# a plan\n")
    (folder / "letter.txt").write_text("Dear supplier\n")
    (folder / "drawing.pdf").write_bytes(b"%PDF-1.4\nof somebody else\n")
    (folder / "site.html").write_text("<!doctype html><title>of somebody else</title>\n")
    (folder / "package.json").write_text('{"name": "of somebody else"}\n')
    here = os.getcwd()
    os.chdir(folder)
    try:
        assert app.run(["keys", "k"]) == 0
        assert app.run(["history", "add", ".", "--store", "st.db", "-q"]) == 0
        assert app.run(["lot", ".", "--lot-id", "1", "--record", "a.rec", "-q"]) in (0, 1)
        more = ["--previous", "a.rec", "--sign", "k.key", "--record", "b.rec"]
        assert app.run(["lot", ".", "--lot-id", "2", *more, "-q"]) in (0, 1)
    finally:
        os.chdir(here)
    return folder


@pytest.mark.parametrize(("command", "option"), CASES)
def test_no_output_replaces_a_file_of_another_kind(shop, tmp_path, monkeypatch, capsys, command, option):
    folder = tmp_path / "shop"
    shutil.copytree(shop, folder)
    monkeypatch.chdir(folder)
    Path("linked").symlink_to("part.toml")
    os.link("profile.csv", "hard")
    os.link("st.db", "hard.db")
    before = {path: path.read_bytes() for path in folder.iterdir() if path.is_file()}
    more = ["--lot-id", "3", "--replace"] if option == "--record" else []
    names = [name for name in (*KEPT, "linked", "hard", "hard.db") if Path(name).exists()]
    if option == "--record":
        names = [name for name in names if not name.endswith(".rec")]
    for name in names:
        status = app.run([*COMMANDS[command], *more, option, name])
        assert (status, "is not overwritten" in capsys.readouterr().err) == (2, True), name
    assert {path: path.read_bytes() for path in before} == before
    assert {path for path in folder.iterdir() if path.is_file()} == set(before)


def test_a_store_that_is_made_in_the_same_run_is_kept(shop, tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    shutil.copytree(SAMPLES / "pinion", "pinion")
    assert app.run(["watch", "pinion", "--once", "--store", "new.db", "--html", "new.db"]) == 2
    assert "is an input" in capsys.readouterr().err
    assert not Path("new.db").exists() or kind_of(Path("new.db")) == "store"


def test_a_record_needs_replace(shop, tmp_path, monkeypatch, capsys):
    folder = tmp_path / "shop"
    shutil.copytree(shop, folder)
    monkeypatch.chdir(folder)
    before = Path("a.rec").read_bytes()
    assert app.run(["lot", ".", "--lot-id", "3", "--record", "a.rec", "-q"]) == 2
    assert "--replace" in capsys.readouterr().err
    assert Path("a.rec").read_bytes() == before
    assert app.run(["lot", ".", "--lot-id", "3", "--record", "a.rec", "--replace", "-q"]) in (0, 1)
    assert Path("a.rec").read_bytes() != before


def test_earlier_outputs_are_replaced_and_names_that_differ_in_case_are_two_outputs_to_one_place(
    tmp_path, monkeypatch, capsys
):
    monkeypatch.chdir(tmp_path)
    pinion = str(SAMPLES / "pinion")
    names = {"--json": "r.json", "--csv": "r.csv", "--html": "r.html", "--pdf": "r.pdf"}
    words = [word for pair in names.items() for word in pair]
    for _ in range(2):
        assert app.run(["grade", pinion, "-q", *words]) == 0
    assert app.run(["grade", pinion, "-q", "--json", "x", "--csv", "X"]) == 2
    assert "two outputs" in capsys.readouterr().err
    assert sorted(path.name for path in tmp_path.iterdir()) == sorted(names.values())


EARLIER_TITLES = ["Inspection report, part OT-2318", "Lot certificate, part OT-4471, lot 1"]
EARLIER_TITLES += ["Incoming check of OT-4471 C", "Gauge study with items and operators"]
EARLIER_PDF = (
    '%PDF-1.7\nold\n<dc:title><rdf:Alt><rdf:li xml:lang="x-default">{title}</rdf:li></rdf:Alt></dc:title>'
    "<pdf:Keywords>OT-4471</pdf:Keywords><xmp:CreatorTool>{tool} 0.15.1</xmp:CreatorTool>\n%%EOF\n"
)
"""What gearqa 0.1 and 0.2 wrote into their PDFs."""


@pytest.mark.parametrize("title", EARLIER_TITLES)
def test_a_pdf_of_an_earlier_version_is_replaced(tmp_path, monkeypatch, title):
    monkeypatch.chdir(tmp_path)
    place, words = Path("r.pdf"), ["grade", str(SAMPLES / "pinion"), "-q", "--pdf", "r.pdf"]
    for other in ({"title": "Report, part 1", "tool": "Typst"}, {"title": title, "tool": "Another"}):
        place.write_text(EARLIER_PDF.format(**other))
        assert app.run(words) == 2
    place.write_text(EARLIER_PDF.format(title=title, tool="Typst"))
    assert app.run(words) == 0
    assert b"/Type/Pages" in place.read_bytes()


@pytest.mark.parametrize("nothing", ["", "\n", " \r\n\t", "\ufeff", "{}\n", "[ ]"])
def test_a_file_without_content_is_replaced(tmp_path, monkeypatch, nothing):
    monkeypatch.chdir(tmp_path)
    place, words = Path("r.json"), ["grade", str(SAMPLES / "pinion"), "-q", "--json", "r.json"]
    place.write_text(nothing, encoding="utf-8")
    assert app.run(words) == (2 if nothing == "[ ]" else 0)
    place.write_text(nothing + " 1", encoding="utf-8")
    assert app.run(words) == 2


SCREENS = {
    "grade": ("gearqa.report.grading.lot_words.lot_blocks", ["grade", "."]),
    "lot": ("gearqa.report.lot.screen.lot_blocks", ["lot", "."]),
    "drift": ("gearqa.report.drift.screen.drift_blocks", ["drift", "."]),
    "incoming": ("gearqa.report.incoming.screen.incoming_blocks", ["incoming", "reported.csv", "."]),
    "gauge": ("gearqa.report.gauge.screen.gauge_blocks", ["gauge", "study.csv"]),
    "tolerances": ("gearqa.report.tolerances.tolerance_blocks", ["tolerances", "--part", "part.toml"]),
    "check": ("gearqa.report.history.screen.check_blocks", ["history", "check", "--store", "st.db"]),
    "verify": ("gearqa.report.lot.screen.verification_lines", ["verify", "a.rec"]),
}


@pytest.mark.parametrize("command", SCREENS)
def test_nothing_is_in_place_before_the_screen_is_made(shop, tmp_path, monkeypatch, capsys, command):
    folder = tmp_path / "shop"
    shutil.copytree(shop, folder)
    monkeypatch.chdir(folder)
    place, words = SCREENS[command]
    module, _, name = place.rpartition(".")

    def fails(*_, **__):
        raise KeyError("a fault while the screen is made")

    monkeypatch.setattr(importlib.import_module(module), name, fails)
    before = sorted(path.name for path in folder.iterdir())
    assert app.run([*words, "--json", "new.json"]) == 70
    assert "nothing was written" in capsys.readouterr().err
    assert sorted(path.name for path in folder.iterdir()) == before


def test_a_gear_without_the_size_that_the_drawing_limits_is_not_assessed(tmp_path, capsys):
    folder = tmp_path / "ring"
    shutil.copytree(SAMPLES / "ring_conforming", folder)
    table = folder / "size.csv"
    rows = table.read_text().splitlines(keepends=True)
    table.write_text("".join(row for row in rows if not row.startswith("OT-0203")))
    outputs = [
        word for kind in ("json", "csv", "html", "pdf") for word in (f"--{kind}", tmp_path / f"r.{kind}")
    ]
    for chosen in ([], ["--serial", "OT-0203"]):
        assert app.run(list(map(str, ["grade", folder, *chosen, *outputs]))) == 1
        assert "Conformity to the drawing: not assessed" in capsys.readouterr().out

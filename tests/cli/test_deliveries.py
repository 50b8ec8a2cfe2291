"""Deliveries of suppliers on the command line: kept, reviewed, removed."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from gearqa.cli import app

SAMPLES = Path("sample_measurements")
REPORT = SAMPLES / "supplier_report" / "report.csv"


@pytest.fixture
def kept(tmp_path, capsys):
    store = tmp_path / "s.sqlite"
    words = [
        "incoming", str(REPORT), str(SAMPLES / "ring_conforming"), "--lot-size", "12",
        "--supplier", "Orchard Gears", "--delivered", "2025-04-01", "--store", str(store), "--quiet",
    ]  # fmt: skip
    status = app.run(words)
    assert status in (0, 1)
    assert app.run(words) == status  # the same report again changes nothing
    capsys.readouterr()
    return store


def reviewed(store, capsys):
    app.run(["history", "suppliers", "--store", str(store), "--json", "-"])
    return json.loads(capsys.readouterr().out)


def test_a_delivery_is_kept_once_and_reviewed(kept, capsys, tmp_path):
    text = json.dumps(reviewed(kept, capsys))
    assert text.count("Orchard Gears") >= 1
    page, paper = tmp_path / "s.html", tmp_path / "s.pdf"
    app.run(
        [
            "history",
            "suppliers",
            "Orchard Gears",
            "--store",
            str(kept),
            "--html",
            str(page),
            "--pdf",
            str(paper),
        ]
    )
    out = capsys.readouterr().out
    assert "Orchard Gears" in out
    assert "Orchard Gears" in page.read_text(encoding="utf-8")
    assert paper.read_bytes().startswith(b"%PDF")


def test_a_delivery_that_is_removed_counts_no_more(kept, capsys):
    assert app.run(["history", "remove", "--delivery", "1", "--store", str(kept), "--remark", "twice"]) == 0
    capsys.readouterr()
    assert "Orchard Gears" not in json.dumps(reviewed(kept, capsys))
    assert app.run(["history", "check", "--store", str(kept)]) == 0

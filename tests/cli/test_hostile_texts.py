"""Control and direction characters of data, file names and arguments reach no terminal."""

from __future__ import annotations

import re
import shutil

import pytest
from made_folders import pitch_folder

from gearqa.cli import app

ESC, CSI, RLO, BELL = "\x1b", "\x9b", "\u202e", "\x07"
EVIL = f"a{ESC}[2Jb{CSI}31m{RLO}c{BELL}"
FORBIDDEN = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\u200e\u200f\u202a-\u202e\u2066-\u2069]")


@pytest.fixture
def shop(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    folder = pitch_folder(tmp_path / EVIL, [EVIL, "B"])
    part = folder / "part.toml"
    toml = (
        part.read_text().replace('number = "T-8"', f'number = "T{RLO}8"').replace("Test", f"Te\\u009bst{RLO}")
    )
    part.write_text(toml, encoding="utf-8")
    stamp = f"{EVIL},2025-03-03T06:30:00Z,g{EVIL},w{EVIL}\nB,2025-03-03T07:30:00Z,g{EVIL},w{EVIL}\n"
    (folder / "production.csv").write_text(f"serial,measured_at,grinder,wheel\n{stamp}", encoding="utf-8")
    head = f"at,grinder,event,remark\n2025-03-03T06:00:00Z,g{EVIL},dress,r{EVIL}\n"
    (folder / "events.csv").write_text(head, encoding="utf-8")
    (folder / f"x{EVIL}.txt").write_text("of another ending")
    (folder / f"c{EVIL}.csv").write_text(f"u{EVIL},flank,v\n1,2,3\n", encoding="utf-8")
    return folder


def clean(capsys, *words, status=None):
    got = app.run(list(map(str, words)))
    out, err = capsys.readouterr()
    assert not FORBIDDEN.search(out + err), words
    assert got in ((0, 1, 2) if status is None else status), (words, err)
    return out + err


def test_screens_messages_and_warnings(shop, capsys):
    assert "⟨U+001B⟩" in clean(capsys, "grade", shop, status=(2,))
    clean(capsys, "columns", shop)
    next(shop.glob("c*.csv")).unlink()
    clean(capsys, "grade", shop, status=(0,))
    clean(capsys, "--traceback", "grade", shop, "--serial", f"n{EVIL}", status=(2,))
    clean(capsys, "lot", shop, "--lot-id", EVIL, "--record", "r.rec", "--inspector", EVIL)
    clean(capsys, "verify", "r.rec", shop)
    clean(capsys, "history", "add", shop, "--store", "s.db", status=(0,))
    clean(capsys, "history", "list", "--store", "s.db", status=(0,))
    clean(capsys, "history", "show", EVIL, "--store", "s.db", status=(0,))
    clean(
        capsys,
        "history",
        "event",
        "dress",
        "--grinder",
        EVIL,
        "--remark",
        EVIL,
        "--store",
        "s.db",
        status=(0,),
    )
    clean(capsys, "history", "check", "--files", "--store", "s.db")
    clean(capsys, "drift", "--store", "s.db")
    clean(capsys, "history", "remove", EVIL, "--store", "s.db", status=(0,))
    clean(capsys, "watch", shop.parent, "--once", "--store", "t.db")
    clean(capsys, "grade", f"no{EVIL}", status=(2,))
    clean(capsys, f"co{EVIL}", status=(2,))
    clean(capsys, "grade", shop, f"--{EVIL}", status=(2,))
    clean(capsys, "new", f"new{EVIL}", status=(2,))
    clean(capsys, "keys", f"k{EVIL}", status=(0,))


def test_a_fault_of_the_program(shop, capsys, monkeypatch):
    def fails(*_, **__):
        raise KeyError(EVIL)

    monkeypatch.setattr("gearqa.jobs.folders.open_folder", fails)
    clean(capsys, "grade", shop, status=(70,))
    clean(capsys, "--traceback", "grade", shop, status=(70,))


def test_a_bad_cell_and_a_result_in_the_folder(shop, capsys):
    next(shop.glob("c*.csv")).unlink()
    clean(capsys, "grade", shop, "-q", "--json", shop / f"{EVIL}.json", status=(0,))
    clean(capsys, "grade", shop, status=(0,))
    table = shop / "pitch.csv"
    table.write_text(table.read_text(encoding="utf-8").replace(",0.0", f",{EVIL}", 1), encoding="utf-8")
    assert "u202e" in clean(capsys, "grade", shop, status=(2,))
    shutil.rmtree(shop)

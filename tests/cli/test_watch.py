"""`gearqa watch`: signals, status page, stopping; as a process of its own."""

from __future__ import annotations

import os
import re
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from history_folders import made_folder

from gearqa.cli import app

SAMPLES = Path(__file__).parents[2] / "sample_measurements"


@pytest.fixture
def place(tmp_path, monkeypatch):
    monkeypatch.setenv("GEARQA_STORE", str(tmp_path / "history.sqlite"))
    folder = tmp_path / "arriving"
    folder.mkdir()
    return folder


def watch(capsys, *words):
    status = app.run(["watch", *map(str, words), "--settle", "0.1"])
    out, err = capsys.readouterr()
    assert "Traceback" not in err
    assert out == ""
    return status, err


def test_once_takes_in_what_is_there(capsys, place, tmp_path):
    made_folder(place / "a", ["A", "B"])
    page = tmp_path / "status.html"
    status, err = watch(capsys, place, "--once", "--html", page)
    assert status == 0
    assert f"history store: {tmp_path}/history.sqlite, 0 gears (new)" in err
    assert re.search(r"\d\d:\d\d:\d\d .*/a: part T-8 A, 2 gears: 2 added; all conform", err)
    text = page.read_text(encoding="utf-8")
    assert "<title>Gears as they arrive</title>" in text
    assert 'http-equiv="refresh"' not in text  # stopped
    assert "Last 2 gears in production order" in text
    assert "<svg" in text
    assert "Geometry only" in text
    assert "ISO 1328-1:2013" in text
    status, err = watch(capsys, place, "--once", "--quiet")
    assert status == 0
    assert "added" not in err


def test_a_folder_at_fault_ends_once_with_2(capsys, place):
    bad = made_folder(place / "bad", ["A"])
    (bad / "pitch.csv").write_text("serial,flank,tooth,index_um\nA,left,1,many\n")
    made_folder(place / "good", ["B"], day=2)
    status, err = watch(capsys, place, "--once")
    assert status == 2
    assert "not taken in, tried again when its files change" in err
    assert "1 added" in err


def test_gears_that_do_not_conform_are_a_signal(capsys, place, tmp_path):
    made_folder(place / "a", {"A": 1.0, "B": 9.0})
    note = tmp_path / "note"
    script = tmp_path / "note.py"
    script.write_text(
        "import os, pathlib\n"
        "said = os.environ['GEARQA_SIGNAL'] + os.environ['GEARQA_SIGNAL_GRINDER']\n"
        f"pathlib.Path({str(note)!r}).write_text(said)\n"
    )
    command = f"{sys.executable} {script}"
    status, err = watch(capsys, place, "--once", "--exit-on-signal", "--on-signal", command)
    assert status == 1
    assert "SIGNAL: Part T-8: B does not conform." in err
    assert note.read_text() == "Part T-8: B does not conform.GR-1"
    status, err = watch(capsys, place, "--once", "--exit-on-signal", "--on-signal", command)
    assert status == 0
    assert "SIGNAL" not in err


def test_drift_is_a_signal_told_once(capsys, place):
    (place / "drift").symlink_to(SAMPLES / "drift_history", target_is_directory=True)
    status, err = watch(capsys, SAMPLES / "drift_history", "--once", "--exit-on-signal")
    assert status == 1
    sentences = [line for line in err.splitlines() if line.startswith("SIGNAL: ")]
    assert any("helix slope" in line for line in sentences)
    assert len(sentences) == len(set(sentences))
    status, err = watch(capsys, SAMPLES / "drift_history", "--once", "--exit-on-signal")
    assert (status, "SIGNAL" in err) == (0, False)


@pytest.mark.parametrize(
    ("command", "message"),
    [
        (f"{sys.executable} -c 'raise SystemExit(3)'", "ended with exit status 3"),
        ("/no/such/program", "could not be run"),
    ],
)
def test_a_command_that_fails_is_told_and_does_not_end_the_watch(capsys, place, command, message):
    made_folder(place / "a", {"B": 9.0})
    status, err = watch(capsys, place, "--once", "--on-signal", command)
    assert status == 0
    assert message in err


def test_a_page_that_cannot_be_written_does_not_end_the_watch(capsys, place, tmp_path):
    made_folder(place / "a", ["A"])
    status, err = watch(capsys, place, "--once", "--html", tmp_path / "none" / "status.html")
    assert status == 0
    assert err.count("status page: cannot write") == 1


def test_usage_errors(capsys, place):
    for words, message in (
        ([place / "none"], "is no folder"),
        ([place, "--html", "-"], "name a file"),
        ([place, "--on-signal", "'"], "cannot be taken apart"),
        ([place, "--on-signal", ""], "names no program"),
    ):
        status, err = watch(capsys, *words)
        assert status == 2
        assert message in err
    assert app.run(["watch", str(place), "--settle", "0"]) == 2


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_a_watch_is_stopped_cleanly(place, tmp_path, number):
    page = tmp_path / "arriving" / "status.html"
    words = ["watch", place, "--settle", "0.2", "--html", page]
    with subprocess.Popen(
        [sys.executable, "-m", "gearqa", *map(str, words)], stderr=subprocess.PIPE, text=True, env=os.environ
    ) as process:
        wait(page.exists)
        made_folder(place / "a", ["A"])
        wait(lambda: "2 added" in text(page) or ">1 gear<" in text(page))
        assert 'http-equiv="refresh"' in text(page)
        process.send_signal(number)
        _, err = process.communicate(timeout=30)
    assert process.returncode == 0
    assert "1 added" in err
    assert err.splitlines()[-1].endswith(", 1 gear")
    assert "stopped at" in text(page)
    assert 'http-equiv="refresh"' not in text(page)


def text(page):
    return page.read_text(encoding="utf-8")


def wait(condition, seconds=60.0):
    end = time.monotonic() + seconds
    while not condition():
        assert time.monotonic() < end, "waited in vain"
        time.sleep(0.05)

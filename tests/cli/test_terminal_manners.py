"""Progress and colour: only on a terminal, only when they help."""

from __future__ import annotations

import io
import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
from made_folders import pitch_folder

from gearqa.cli import app, progress
from gearqa.cli.console import wants_colour

SAMPLES = Path(__file__).parents[2] / "sample_measurements"


class Tty(io.StringIO):
    def isatty(self):
        return True


def work(monkeypatch, stream, seconds, **options):
    """Run 100 steps on a clock that takes so long for each."""
    clock = iter(range(10_000))
    monkeypatch.setattr(progress.time, "monotonic", lambda: next(clock) * seconds)
    monkeypatch.setattr("sys.stderr", stream)
    with progress.Progress("grading", "gears", **options) as bar:
        assert list(bar.over(range(100))) == list(range(100))
    assert bar.done == 100
    return stream.getvalue()


def test_progress_counts_on_a_terminal_and_wipes_itself_away(monkeypatch):
    text = work(monkeypatch, Tty(), 0.1)
    assert "grading: 12 gears" in text
    last = text.rsplit("\r", 2)
    assert last[-1] == ""
    assert last[-2].strip() == ""


def test_progress_knows_its_total(monkeypatch):
    assert "of 100 gears" in work(monkeypatch, Tty(), 0.1, total=100)


@pytest.mark.parametrize(
    ("stream", "seconds", "options"),
    [(io.StringIO, 1.0, {}), (Tty, 0.001, {}), (Tty, 1.0, {"quiet": True})],
    ids=["no terminal", "quick work", "quiet"],
)
def test_progress_is_silent(monkeypatch, stream, seconds, options):
    assert work(monkeypatch, stream(), seconds, **options) == ""


def test_progress_follows_a_count_from_elsewhere(monkeypatch):
    monkeypatch.setattr("sys.stderr", Tty())
    with progress.Progress("simulating", "gears") as bar:
        bar.at(3, 12)
        bar.at(7, 12)
    assert bar.done == 7


def test_the_progress_of_a_job_knows_how_many_there_are(monkeypatch):
    clock = iter(range(10_000))
    monkeypatch.setattr(progress.time, "monotonic", lambda: next(clock))
    monkeypatch.setattr("sys.stderr", stream := Tty())
    assert list(progress.JobProgress().over(iter([1, 2, 3]), "grading", "gears")) == [1, 2, 3]
    assert "grading: 1 of 3 gears" in stream.getvalue()


@pytest.mark.parametrize(
    ("stream", "environment", "wanted"),
    [
        (Tty, {}, True),
        (io.StringIO, {}, False),
        (Tty, {"NO_COLOR": "1"}, False),
        (Tty, {"TERM": "dumb"}, False),
    ],
)
def test_colour(monkeypatch, stream, environment, wanted):
    for name in ("NO_COLOR", "TERM"):
        monkeypatch.delenv(name, raising=False)
    for name, value in environment.items():
        monkeypatch.setenv(name, value)
    assert wants_colour(stream()) is wanted


@pytest.mark.parametrize("columns", ["1", "4", "20"])
@pytest.mark.parametrize("command", ["grade", "diagnose", "drift"])
def test_a_very_narrow_terminal_is_no_fault(capsys, monkeypatch, command, columns):
    monkeypatch.setenv("COLUMNS", columns)
    sample = {"drift": "drift_history"}.get(command, "pinion")
    assert app.run([command, str(SAMPLES / sample)]) in (0, 1)
    assert max(map(len, capsys.readouterr().out.splitlines())) <= 20


@pytest.mark.skipif(os.name == "nt", reason="closed by a POSIX shell")
@pytest.mark.parametrize(
    ("closed", "words", "status", "said"),
    [
        (">&-", ["--quiet", "--json", "r.json"], 0, ""),  # nothing is to be shown
        (">&-", [], 2, "gearqa: Bad file descriptor"),  # as a full disk
        (">&-", ["--json", "-"], 2, "gearqa: Bad file descriptor"),
        ("2>&-", ["--json", "r.json"], 0, ""),
        ("<&-", ["--json", "r.json"], 0, ""),
    ],
)
def test_a_stream_that_the_caller_closed_is_no_fault(tmp_path, closed, words, status, said):
    target, folder = tmp_path / "r.json", pitch_folder(tmp_path / "lot")
    words = [str(target) if word == "r.json" else word for word in words]
    program = [sys.executable, "-m", "gearqa", "grade", str(folder), *words]
    shell = ["sh", "-c", f'exec "$@" {closed}', "sh"]
    done = subprocess.run([*shell, *program], capture_output=True, text=True, check=False)
    assert (done.returncode, done.stderr.strip()) == (status, said)
    if str(target) in words:
        assert json.loads(target.read_text(encoding="utf-8"))["lot"]["conforms"] is True

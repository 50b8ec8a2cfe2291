"""The program as its users start it, on the samples and on what they do to them."""

from __future__ import annotations

import json
import os
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

SAMPLES = Path(__file__).parents[2] / "sample_measurements"

VERDICTS = {
    "ring_master": (0, True, True),
    "ring_conforming": (0, True, False),
    "pinion": (0, True, False),
    "ring_faults": (1, False, False),
    "drift_history": (0, True, False),
}
"""Exit status, conformity and master quality that each scenario was made for."""

FAULTS = {
    "OT-0301": (True, True),
    "OT-0302": (None, None),
    "OT-0303": (False, False),
    "OT-0304": (False, False),
    "OT-0305": (False, False),
    "OT-0306": (None, None),
    "OT-0307": (False, False),
    "OT-0308": (False, False),
}


def gearqa(*words, **options):
    return subprocess.run(
        [sys.executable, "-m", "gearqa", *map(str, words)],
        capture_output=True,
        text=True,
        check=False,
        **options,
    )


def test_every_sample_has_its_verdict_here():
    folders = {path.name for path in SAMPLES.iterdir() if (path / "part.toml").is_file()}
    assert folders == set(VERDICTS)


@pytest.mark.parametrize("name", VERDICTS)
def test_the_sample_gives_the_verdict_it_was_made_for(name):
    done = gearqa("grade", SAMPLES / name, "--json", "-")
    result = json.loads(done.stdout)
    status, conforms, master = VERDICTS[name]
    assert done.returncode == status
    assert result["lot"]["conforms"] is conforms
    assert result["lot"]["reached_master_quality"] is master
    assert result["simulated"] is True


def test_each_fault_is_found_in_its_gear():
    result = json.loads(gearqa("grade", SAMPLES / "ring_faults", "--json", "-").stdout)
    found = {gear["serial"]: (gear["conforms"], gear["master_quality"]) for gear in result["gears"]}
    assert found == FAULTS
    by_serial = {gear["serial"]: gear for gear in result["gears"]}
    assert by_serial["OT-0304"]["beyond"] is True
    assert by_serial["OT-0305"]["parameters"]["single_pitch"]["tooth"] in (40, 41)
    assert by_serial["OT-0306"]["not_assessed"][0]["parameter"] == "runout"


def test_the_terminal_says_the_same_as_the_json():
    done = gearqa("grade", SAMPLES / "ring_faults")
    assert done.returncode == 1
    assert "Conformity to the drawing: does not conform" in done.stdout
    assert "Master quality of the job: not reached" in done.stdout
    assert done.stdout.startswith("SIMULATED")


@pytest.fixture
def spoiled(tmp_path):
    """A copy of the pinion sample, to be spoiled."""
    folder = tmp_path / "lot"
    shutil.copytree(SAMPLES / "pinion", folder)
    return folder


def spoil(path, old, new):
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new, 1), encoding="utf-8")


def test_five_faults_give_five_messages_and_nothing_is_written(spoiled, tmp_path):
    def line(table, number):
        return (spoiled / table).read_text(encoding="utf-8").splitlines()[number - 1]

    profile, helix, pitch, runout = (
        line(table, 12) for table in ("profile.csv", "helix.csv", "pitch.csv", "runout.csv")
    )
    spoil(spoiled / "profile.csv", profile, profile.rsplit(",", 1)[0] + ",n/a")
    spoil(spoiled / "helix.csv", helix, helix + ",7")
    spoil(spoiled / "pitch.csv", pitch, pitch.replace("left", "links"))
    serial, _, radial = runout.split(",")
    spoil(spoiled / "runout.csv", runout, f"{serial},first,{radial}")
    spoil(spoiled / "part.toml", "face_width_mm", "face_with_mm")
    done = gearqa("grade", spoiled, "--json", tmp_path / "r.json")
    assert done.returncode == 2
    assert done.stdout == ""
    assert not (tmp_path / "r.json").exists()
    for place in ("profile.csv:12", "helix.csv:12", "pitch.csv:12", "runout.csv:12", "part.toml"):
        assert place in done.stderr, place
    assert "n/a" in done.stderr
    assert "face_width_mm" in done.stderr  # the nearest known key
    assert "gearqa explain flanks" in done.stderr
    assert "Traceback" not in done.stderr


@pytest.mark.skipif(os.name == "nt", reason="POSIX signals")
def test_ctrl_c_leaves_nothing_behind(spoiled):
    table = spoiled / "profile.csv"
    head, *rows = table.read_text(encoding="utf-8").splitlines()
    text = [head, rows[0]]
    text += [row.replace("P-0", f"Q{i:03d}-", 1) for i in range(150) for row in rows[1:]]
    table.write_text("\n".join(text) + "\n", encoding="utf-8")
    before = sorted(spoiled.iterdir())
    running = subprocess.Popen(
        [sys.executable, "-m", "gearqa", "grade", str(spoiled), "--json", str(spoiled / "r.json")],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    )  # fmt: skip
    deadline = time.monotonic() + 30
    while not list(spoiled.glob(".r.json.*")) and time.monotonic() < deadline and running.poll() is None:
        time.sleep(0.01)
    running.send_signal(signal.SIGINT)
    out, err = running.communicate(timeout=60)
    assert running.returncode == 130
    assert out == ""
    assert "interrupted" in err
    assert "Traceback" not in err
    assert sorted(spoiled.iterdir()) == before


def test_the_same_input_gives_the_same_bytes():
    first, second = (gearqa("grade", SAMPLES / "pinion", "--json", "-").stdout for _ in range(2))
    assert first == second


def test_no_color_and_no_terminal_mean_no_colour():
    done = gearqa("grade", SAMPLES / "pinion", env={**os.environ, "NO_COLOR": "1", "FORCE_COLOR": "1"})
    assert "\x1b" not in done.stdout

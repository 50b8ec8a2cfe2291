"""Outputs appear whole, together, or not at all."""

from __future__ import annotations

import io
import os
import stat
from pathlib import Path

import pytest
from old_outputs import OLD as OLD_OUTPUTS

from gearqa.errors import ReportError
from gearqa.results import outputs as atomic
from gearqa.results.outputs import Outputs, write_whole

OLD = OLD_OUTPUTS[".csv"]


def test_a_failure_leaves_every_old_file_and_nothing_else(tmp_path):
    old = tmp_path / "old"
    old.write_text(OLD)

    def fail():
        with Outputs() as outputs:
            outputs.open(str(old), "CSV result").write(b"half")
            outputs.open(str(tmp_path / "new"), "CSV result").write(b"half")
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        fail()
    assert old.read_text() == OLD
    assert [path.name for path in tmp_path.iterdir()] == ["old"]


def test_outputs_appear_together_at_the_end(tmp_path):
    with Outputs() as outputs:
        for name in "ab":
            outputs.open(str(tmp_path / name), "CSV result").write(name.encode())
        assert not (tmp_path / "a").exists()
    assert [(tmp_path / name).read_text() for name in "ab"] == ["a", "b"]
    assert len(list(tmp_path.iterdir())) == 2


def test_standard_output_is_held_back(monkeypatch):
    monkeypatch.setattr(atomic, "HELD_IN_MEMORY", 4)
    target = io.BytesIO()
    with Outputs(target) as outputs:
        outputs.open("-", "CSV result").write(b"longer than four")
        assert target.getvalue() == b""
    assert target.getvalue() == b"longer than four"

    def fail():
        with Outputs(target) as outputs:
            outputs.open("-", "CSV result").write(b"never")
            raise KeyError("a fault")

    with pytest.raises(KeyError, match="a fault"):
        fail()
    assert target.getvalue() == b"longer than four"


@pytest.mark.parametrize("name", ["-", "out"])
def test_two_outputs_to_one_place(tmp_path, monkeypatch, name):
    monkeypatch.chdir(tmp_path)

    def both():
        with Outputs(io.BytesIO()) as outputs:
            outputs.open(name, "CSV result")
            outputs.open(name if name == "-" else f"./{name}", "CSV result")

    with pytest.raises(ReportError, match="two outputs"):
        both()
    assert list(tmp_path.iterdir()) == []


def test_what_cannot_be_written_is_said_at_once(tmp_path):
    (tmp_path / "file").write_text("")
    places = {
        str(tmp_path): "is a folder",
        str(tmp_path / "none" / "out"): "does not exist",
        str(tmp_path / "file" / "out"): "does not exist",
    }
    for place, message in places.items():
        with pytest.raises(ReportError, match=message), Outputs() as outputs:
            outputs.open(place, "CSV result")


def test_rights_of_the_old_file_are_kept_and_new_files_follow_the_process(tmp_path):
    old = tmp_path / "old"
    old.write_text(OLD)
    old.chmod(0o640)
    mask = os.umask(0o027)
    try:
        write_whole(str(old), b"new", "CSV result")
        write_whole(str(tmp_path / "new"), b"new", "CSV result")
    finally:
        os.umask(mask)
    assert stat.S_IMODE(old.stat().st_mode) == 0o640
    assert stat.S_IMODE((tmp_path / "new").stat().st_mode) == 0o640
    assert old.read_text() == "new"


def test_a_link_is_followed(tmp_path):
    real = tmp_path / "real"
    real.write_text(OLD)
    (tmp_path / "link").symlink_to(real)
    write_whole(str(tmp_path / "link"), b"new", "CSV result")
    assert (tmp_path / "link").is_symlink()
    assert real.read_text() == "new"


def test_a_device_is_written_directly():
    write_whole(os.devnull, b"gone", "CSV result")
    assert not Path(os.devnull).is_file()


@pytest.mark.skipif(not os.path.exists("/dev/full"), reason="no device that is always full")
def test_a_full_disk_is_an_error_of_ours():
    with pytest.raises((ReportError, OSError), match="No space"):
        write_whole("/dev/full", b"x" * 100_000, "CSV result")


def test_an_input_is_kept(tmp_path):
    table = tmp_path / "pitch.csv"
    table.write_text(OLD)

    def overwrite():
        with Outputs() as outputs:
            outputs.open(str(table), "CSV result")
            outputs.keep_clear_of([tmp_path / "." / "pitch.csv"])

    with pytest.raises(ReportError, match="is an input"):
        overwrite()
    assert table.read_text() == OLD


def test_an_interrupt_right_after_the_file_was_made_leaves_nothing(tmp_path, monkeypatch):
    made = atomic._private

    def interrupted(path, flags):
        os.close(made(path, flags))
        raise KeyboardInterrupt

    monkeypatch.setattr(atomic, "_private", interrupted)
    with pytest.raises(KeyboardInterrupt), Outputs() as outputs:
        outputs.open(str(tmp_path / "result.json"), "JSON result")
    assert list(tmp_path.iterdir()) == []

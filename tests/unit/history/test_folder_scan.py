"""Waiting for whole files, with a clock that the test turns."""

from __future__ import annotations

from pathlib import Path

from history_folders import made_folder

from gearqa.history.folder_scan import Settling, ends_within_a_line, inspection_folders


def found(root, **options):
    return dict(inspection_folders(root, own_part=False, **options))


def names(signature):
    return [name for name, _, _ in signature]


def test_folders_at_any_depth_that_have_a_part_file_and_a_table(tmp_path):
    made_folder(tmp_path / "a" / "b", ["A"])
    made_folder(tmp_path, ["B"])
    (tmp_path / "empty").mkdir()
    only_part = made_folder(tmp_path / "c", ["C"])
    for table in only_part.glob("*.csv"):
        table.unlink()
    made_folder(tmp_path / "a" / "templates", ["T"])
    made_folder(tmp_path / ".hidden", ["H"])
    assert set(found(tmp_path)) == {tmp_path, tmp_path / "a" / "b"}
    (only_part / "x.csv").write_text("serial\n")
    (only_part / "part.toml").unlink()
    assert only_part not in found(tmp_path)
    assert only_part in dict(inspection_folders(tmp_path, own_part=True))


def test_outputs_do_not_count(tmp_path):
    made_folder(tmp_path, ["A"])
    for name in ("status.html", "result.json", "history.sqlite", "history.sqlite-journal", ".x.part", "mine"):
        (tmp_path / name).write_text("x")
    signature = found(tmp_path, leave_out=(tmp_path / "mine",))[tmp_path]
    assert names(signature) == ["part.toml", "pitch.csv", "production.csv"]


def test_a_folder_is_ready_when_its_files_stood_still(tmp_path):
    made_folder(tmp_path, ["A"])
    settling = Settling(2.0)

    def look(now):
        return settling.look(inspection_folders(tmp_path, own_part=False), now)

    assert look(10.0) == []
    assert settling.waiting == (tmp_path,)
    assert look(11.9) == []
    with (tmp_path / "pitch.csv").open("a") as table:
        table.write("A,left,1,0.0\n")
    assert look(12.1) == []
    assert look(14.0) == []
    assert look(14.1) == [tmp_path]
    settling.finish(tmp_path)
    assert look(20.0) == []
    assert settling.waiting == ()
    (tmp_path / "pitch.csv").touch()
    assert look(30.0) == []
    assert look(32.0) == [tmp_path]
    settling.wait_again(tmp_path, 32.0)
    assert look(33.0) == []
    for path in tmp_path.iterdir():
        path.unlink()
    assert look(40.0) == []
    assert settling.waiting == ()


def test_a_table_whose_last_line_is_not_ended_is_waited_for_longer(tmp_path):
    made_folder(tmp_path, ["A"])
    whole = (tmp_path / "pitch.csv").read_text()
    (tmp_path / "pitch.csv").write_text(whole[:-3])
    assert ends_within_a_line(tmp_path, found(tmp_path)[tmp_path])
    settling = Settling(1.0)

    def scan():
        return inspection_folders(tmp_path, own_part=False)

    assert settling.look(scan(), 0.0) == []
    assert settling.look(scan(), 9.9) == []
    assert settling.look(scan(), 10.0) == [Path(tmp_path)]
    (tmp_path / "pitch.csv").write_text(whole.rstrip("\n"), encoding="utf-16")
    assert not ends_within_a_line(tmp_path, found(tmp_path)[tmp_path])  # a zero byte ends most UTF-16 files

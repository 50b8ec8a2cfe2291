"""Which files a gear rests on."""

from __future__ import annotations

from pathlib import Path

from made_folders import pitch_folder

from gearqa.reading.folder.passes import read_folder


def test_a_gear_names_the_tables_with_rows_of_it_and_the_part_file(tmp_path: Path) -> None:
    folder = pitch_folder(tmp_path, ("G-1", "G-2"))
    rows = (folder / "pitch.csv").read_text(encoding="utf-8").splitlines()
    (folder / "pitch.csv").unlink()
    for serial in ("G-1", "G-2"):
        own = [row for row in rows[1:] if row.startswith(serial)]
        (folder / f"{serial}.csv").write_text("\n".join([rows[0], *own]) + "\n", encoding="utf-8")
    (folder / "where.csv").write_text("serial,grinder\nG-2,GR-1\n", encoding="utf-8")
    (folder / "done.csv").write_text("at,grinder,event\n2025-03-04T06:00,GR-1,dress\n", encoding="utf-8")
    (folder / "left_out.txt").write_text("nothing", encoding="utf-8")
    with read_folder(folder) as inspection:
        files = {gear.serial: gear.files for gear in inspection}
    assert files == {"G-1": ("part.toml", "G-1.csv"), "G-2": ("part.toml", "G-2.csv", "where.csv")}

"""A gear measured again, in one folder or in two: the store keeps both by their times of measurement."""

from __future__ import annotations

import io
import json
from pathlib import Path

import jsonschema
import pytest
from history_folders import made_folder

from gearqa.errors import StoreConflictError
from gearqa.history.documents import write_history_json
from gearqa.history.intake import FolderToAdd, add_folders
from gearqa.history.new_grading import NewGrading
from gearqa.history.observations import load_observations
from gearqa.history.queries import Selection, select_gears
from gearqa.history.regrading import regrade
from gearqa.history.store import HistoryStore
from gearqa.jobs.drift_gears import Asked, gears_of_folders
from gearqa.jobs.history import list_history
from gearqa.jobs.progress import UNSEEN
from gearqa.report.blocks.document import Table
from gearqa.report.history.screen import gear_list_blocks
from gearqa.results.history_json import history_json_schema


def listed_json(store: HistoryStore):
    stream = io.BytesIO()
    write_history_json(stream, store, "list", Selection())
    return json.loads(stream.getvalue())


def two_measurements(folder: Path, *, timed: bool = True) -> Path:
    """One folder that holds a gear twice: 1 um, then 9 um."""
    first, second = made_folder(folder, {"A": 1.0}), made_folder(folder / "second", {"A": 9.0})
    header, *rows = (first / "pitch.csv").read_text().splitlines()
    again = (second / "pitch.csv").read_text().splitlines()[1:]
    text = [f"{header},measurement", *(f"{row}," for row in rows), *(f"{row},again" for row in again)]
    (first / "pitch.csv").write_text("\n".join(text) + "\n")
    header, row = (first / "production.csv").read_text().splitlines()
    later = "A,again,2025-06-05T08:00:00+02:00\n" if timed else ""
    (first / "production.csv").write_text(f"{header}\n{row}\n" if timed else f"{header[:-12]}\n{row[:-26]}\n")
    (first / "times.csv").write_text(f"serial,measurement,measured_at\n{later}" if timed else "")
    for path in (*(folder / "second").iterdir(), *(() if timed else (first / "times.csv",))):
        path.unlink()
    return first


def rows_of(store):
    with store.reading() as connection:
        found = select_gears(connection, Selection())
        return sorted((gear.measured_at.day, gear.conforms) for gear in found)


def test_one_folder_or_two_behave_alike(store, tmp_path):
    folder = two_measurements(tmp_path / "both")
    (report,) = add_folders(store, [FolderToAdd(folder)])
    assert (report.added, report.conforming, report.not_conforming) == (2, 1, 0)
    assert rows_of(store) == [(1, True), (5, False)]
    (again,) = add_folders(store, [FolderToAdd(folder)])
    assert (again.added, again.unchanged) == (0, 2)
    result = regrade(store, Selection(), NewGrading(class_=11, from_files=True))
    assert sorted(gear.measured_at.day for gear in result.gears) == [1, 5]
    assert {gear.source for gear in result.gears} == {"raw files"}

    asked = Asked(parameters=("single_pitch",))
    of_store = [one.max_um for one in load_observations(store, parameters=("single_pitch",))]
    of_folder = gears_of_folders(
        [folder], asked, part=None, columns=None, serials=None, progress=UNSEEN
    ).observations
    assert [one.max_um for one in of_folder] == of_store
    one, other = made_folder(tmp_path / "1", {"A": 1.0}), made_folder(tmp_path / "2", {"A": 9.0}, day=5)
    of_two = gears_of_folders([other, one], asked, part=None, columns=None, serials=None, progress=UNSEEN)
    assert [one.max_um for one in of_two.observations] == of_store


def test_two_measurements_need_times_of_their_own(store, tmp_path):
    folder = two_measurements(tmp_path / "both", timed=False)
    for options in ({}, {"replace": True}):
        with pytest.raises(
            StoreConflictError, match="A: two measurements without a measured_at in one folder"
        ):
            add_folders(store, [FolderToAdd(folder)], **options)


def test_the_list_shows_measurements_by_their_labels_and_what_is_not_proven(store, tmp_path):
    folder = two_measurements(tmp_path / "both")
    drawing = folder / "part.toml"
    decided = '[decision]\nrule = "guarded acceptance"\n[uncertainty_um]\nsingle_pitch = 30.0\n'
    drawing.write_text(drawing.read_text() + decided)
    add_folders(store, [FolderToAdd(folder)])
    (table,) = (b for b in gear_list_blocks(list_history(store=store)) if isinstance(b, Table))
    at = [column.title for column in table.columns].index("drawing")
    shown = {row[0]: row[at].text for row in table.rows}
    assert shown == {"A": "not proven", "A (again)": "does not conform"}

    document = listed_json(store)
    told = {gear["measurement"]: gear["conformity_state"] for gear in document["gears"]}
    assert told == {"1": "not proven", "again": "does not conform"}
    jsonschema.validate(document, history_json_schema(), cls=jsonschema.Draft202012Validator)

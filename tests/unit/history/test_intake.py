"""Identity of gears: the same again, other values, superseding, completing; all or none; the log."""

from __future__ import annotations

import json
import os
import shutil
from dataclasses import replace
from pathlib import Path

import orjson
import pytest
import sqlalchemy as sa
from history_folders import made_folder

from gearqa.diagnosis.followed import with_components
from gearqa.errors import InputError, MeasurementFileError, StoreConflictError, StoreError
from gearqa.evaluation.observations import observations_from_results
from gearqa.evaluation.part_setup import setup_of
from gearqa.history.events import drop_event, keep_event
from gearqa.history.figures import figures_of, read_figures
from gearqa.history.gear_rows import remove_gears
from gearqa.history.intake import FolderToAdd, add_folders
from gearqa.history.observations import load_events, load_observations
from gearqa.history.queries import (
    Selection,
    part_of,
    result_of,
    select_audit,
    select_events,
    select_gears,
    select_results,
)
from gearqa.history.sql_tables import FIGURES
from gearqa.history.stored_texts import packed
from gearqa.model.measurement import GrinderEvent
from gearqa.reading.folder import cells
from gearqa.reading.folder.passes import read_folder

SAMPLES = Path(__file__).parents[3] / "sample_measurements"


def add(store, *folders, **options):
    return add_folders(store, [FolderToAdd(Path(folder)) for folder in folders], **options)


def gears_of(store, **chosen):
    with store.reading() as connection:
        return list(select_gears(connection, Selection(**chosen)))


def audit_of(store):
    with store.reading() as connection:
        return [(one["action"], one["serial"], one["detail"]) for one in select_audit(connection)]


def test_a_folder_is_kept_with_results_part_data_and_production(store, tmp_path):
    folder = made_folder(tmp_path / "lot", {"A": 1.0, "B": 9.0})
    (report,) = add(store, folder)
    assert (report.added, report.unchanged, report.replaced, report.conforming, report.not_conforming) == (
        2, 0, 0, 1, 1,
    )  # fmt: skip
    with store.reading() as connection:
        kept = {
            gear.serial: (gear, result_of(document))
            for gear, document, _ in select_results(connection, Selection())
        }
        part = part_of(connection, kept["A"][0].id)
    with read_folder(folder) as inspection:
        graded = with_components(inspection, setup_of(inspection.part))
        fresh = {gear.serial: gear for _, gear in graded}
        assert part == inspection.part
    assert {serial: result for serial, (_, result) in kept.items()} == fresh
    gear = kept["B"][0]
    assert (gear.part_number, gear.revision, gear.grinder, gear.dress, gear.parts_since_dress) == (
        "T-8", "A", "GR-1", "D01", 2,
    )  # fmt: skip
    assert gear.measured_at.isoformat() == "2025-06-01T07:00:01+02:00"
    assert (gear.conforms, gear.state) == (False, "current")


def test_key_figures_stand_beside_their_gear(store, tmp_path):
    add(store, made_folder(tmp_path / "lot", {"A": 1.0}))
    with store.reading() as connection:
        text = connection.execute(sa.select(FIGURES.c.figures)).scalar_one()
    figures = [(one.parameter, one.flank, one.value_um, one.limit_high_um) for one in read_figures(text)]
    # by hand, see made_folders: fp 2, Fp 5; class 6 of d 16, mn 2 allows 8.0 and 22
    assert ("single_pitch", "left", 2.0, 8.0) in figures
    assert ("cumulative_pitch", "right", 5.0, 22.0) in figures
    assert figures == sorted(figures)


@pytest.mark.parametrize("sample", ["ring_faults", "ring_conforming"])
def test_a_key_figure_holds_what_the_result_says_beside_its_mean(sample):
    with read_folder(SAMPLES / sample) as inspection:
        part = inspection.part
        gears = [gear for _, gear in with_components(inspection, setup_of(part))]
    gears[0] = replace(gears[0], size=tuple(replace(one, conforms=False) for one in gears[0].size))
    for gear in gears:
        kept = read_figures(packed(orjson.dumps(figures_of(gear, part))))
        own = {(one.parameter, one.flank): (one.value_um, one.class_, one.conforms) for one in kept}
        assert own["size", ""][1:] == (None, gear is not gears[0])
        for key, result in gear.parameters.items():
            for flank, one in (result.flanks or {"": result}).items():
                assert own[key, flank] == (one.value_um, one.class_, one.conforms)


def test_the_same_folder_again_changes_nothing_and_is_logged(store, tmp_path):
    folder = made_folder(tmp_path / "lot", ["A", "B"])
    add(store, folder)
    before = gears_of(store)
    (report,) = add(store, folder)
    assert (report.added, report.unchanged, report.intake) == (0, 2, None)
    assert gears_of(store) == before
    assert [(action, detail["added"]) for action, _, detail in audit_of(store)] == [("add", 2), ("add", 0)]


def test_the_same_gear_in_another_folder_and_another_order_is_the_same_gear(store, tmp_path):
    add(store, made_folder(tmp_path / "a", ["A", "B"]))
    other = made_folder(tmp_path / "b", ["A", "B", "C"])
    lines = (other / "pitch.csv").read_text().splitlines()
    (other / "pitch.csv").write_text("\n".join([lines[0], *reversed(lines[1:])]) + "\n")
    (report,) = add(store, other)
    assert (report.added, report.unchanged) == (1, 2)


def test_other_values_are_refused_by_name_and_nothing_is_changed(store, tmp_path):
    add(store, made_folder(tmp_path / "a", {"A": 1.0, "B": 1.0}))
    before = gears_of(store)
    corrected = made_folder(tmp_path / "b", {"A": 1.0, "B": 1.5, "C": 1.0})
    with pytest.raises(StoreConflictError, match=r"B, measured .*: another pitch") as caught:
        add(store, corrected)
    assert "A, measured" not in str(caught.value)
    assert "--replace" in caught.value.hint
    assert gears_of(store) == before
    assert len(audit_of(store)) == 1


def test_replacing_keeps_the_old_gear_as_superseded_and_logs_both(store, tmp_path):
    add(store, made_folder(tmp_path / "a", {"A": 1.0, "B": 1.0}))
    (old,) = gears_of(store, serials=("B",))
    (report,) = add(store, made_folder(tmp_path / "b", {"A": 1.0, "B": 9.0}), replace=True)
    assert (report.added, report.unchanged, report.replaced) == (0, 1, 1)
    (new,) = gears_of(store, serials=("B",))
    assert (new.conforms, old.conforms) == (False, True)
    was, now = sorted(gears_of(store, serials=("B",), every_state=True), key=lambda gear: gear.id)
    assert (was.id, was.state, was.superseded_by, now.id) == (old.id, "superseded", new.id, new.id)
    actions = audit_of(store)
    assert ("supersede", "B", {"supersedes": old.id, "changed": ["pitch"]}) in actions
    assert store.gear_count() == 2


def test_another_drawing_is_another_value(store, tmp_path):
    add(store, made_folder(tmp_path / "a", ["A"], grade=6))
    with pytest.raises(StoreConflictError, match="other part data"):
        add(store, made_folder(tmp_path / "b", ["A"], grade=5))
    ignoring = made_folder(tmp_path / "c", ["A"], grade=6)
    toml = (ignoring / "part.toml").read_text()
    (ignoring / "part.toml").write_text(f'ignore = ["notes*.csv"]\n# a remark\n{toml}')
    (report,) = add(store, ignoring)
    assert report.unchanged == 1


def test_a_second_measurement_of_a_serial_is_told_apart_by_its_time(store, tmp_path):
    add(store, made_folder(tmp_path / "a", {"A": 1.0}, day=1))
    add(store, made_folder(tmp_path / "b", {"A": 1.2}, day=2))
    assert store.gear_count() == 2


def test_without_a_time_of_measurement_a_serial_is_one_gear(store, tmp_path):
    add(store, made_folder(tmp_path / "a", {"A": 1.0}, measured_at=False))
    with pytest.raises(StoreConflictError):
        add(store, made_folder(tmp_path / "b", {"A": 1.2}, measured_at=False))


def test_the_same_moment_in_another_zone_is_the_same_measurement(store, tmp_path):
    add(store, made_folder(tmp_path / "a", {"A": 1.0}))
    folder = made_folder(tmp_path / "b", {"A": 1.0})
    text = (folder / "production.csv").read_text().replace("T07:00:00+02:00", "T05:00:00Z")
    (folder / "production.csv").write_text(text)
    with pytest.raises(StoreConflictError, match="another production"):  # written otherwise, so told
        add(store, folder)


def test_added_tables_complete_a_gear_where_that_is_allowed(store, tmp_path):
    folder = made_folder(tmp_path / "a", {"A": 1.0})
    add(store, folder)
    runout = "serial,space,radial_um\n" + "".join(f"A,{space},{space / 4}\n" for space in range(1, 9))
    (folder / "runout.csv").write_text(runout)
    with pytest.raises(StoreConflictError, match="another runout"):
        add(store, folder)
    (report,) = add(store, folder, complete=True)
    assert report.replaced == 1
    made_folder(tmp_path / "a", {"A": 1.1})
    with pytest.raises(StoreConflictError, match="another pitch"):
        add(store, folder, complete=True)


def test_all_folders_or_none(store, tmp_path):
    good = made_folder(tmp_path / "a", ["A"])
    bad = made_folder(tmp_path / "b", ["B"])
    worse = made_folder(tmp_path / "c", ["C"])
    for folder in (bad, worse):
        with (folder / "pitch.csv").open("a") as file:
            file.write("B,left,1,many\n")
    with pytest.raises(InputError) as caught:
        add(store, good, bad, worse)
    assert sum("'many'" in problem.found for problem in caught.value.problems) == 2
    assert store.gear_count() == 0
    add(store, good)
    with pytest.raises(StoreConflictError):
        add(store, made_folder(tmp_path / "d", ["D"]), made_folder(tmp_path / "e", {"A": 2.0}))
    assert [gear.serial for gear in gears_of(store)] == ["A"]


def test_many_folders_at_once_share_their_temporary_file(store, tmp_path, monkeypatch):
    monkeypatch.setattr("gearqa.history.drafts.IN_MEMORY", 1)
    names = {day: [f"{letter}{day}" for letter in "AB"] for day in range(1, 11)}
    reports = add(store, *(made_folder(tmp_path / str(day), own, day=day) for day, own in names.items()))
    assert [report.added for report in reports] == [2] * 10
    kept = {gear.serial: gear.finished_at.day for gear in gears_of(store)}
    assert kept == {name: day for day, own in names.items() for name in own}


def test_events_of_a_folder_are_kept_once(store, tmp_path):
    events = ["2025-06-01T05:59:00+02:00,GR-1,dress,W-1", "2025-06-01T05:30:00+02:00,GR-1,wheel change,W-1"]
    folder = made_folder(tmp_path / "a", ["A"], events=events)
    assert add(store, folder)[0].events == 2
    assert add(store, folder)[0].events == 0
    with read_folder(folder) as inspection:
        assert load_events(store) == sorted(inspection.events, key=lambda event: event.at)
        assert not keep_event(store, inspection.events[0])
    correction = GrinderEvent(
        load_events(store)[0].at, "correction", "GR-1", None, "profile_slope", "left", -1.5, "um", "after 40"
    )
    assert keep_event(store, correction)
    assert correction in load_events(store, grinder="GR-1")
    with store.reading() as connection:
        number = select_events(connection)[0].id
    drop_event(store, number)
    assert len(load_events(store)) == 2
    with pytest.raises(StoreError, match="no event 99"):
        drop_event(store, 99)


def test_removed_gears_count_no_longer_and_may_come_again(store, tmp_path):
    folder = made_folder(tmp_path / "a", ["A", "B"])
    add(store, folder)
    remove_gears(store, Selection(serials=("A",)), remark="wrong gear")
    assert [gear.serial for gear in gears_of(store)] == ["B"]
    assert ("remove", "A", {"remark": "wrong gear"}) in audit_of(store)
    (report,) = add(store, folder)
    assert (report.added, report.unchanged) == (1, 1)
    assert [gear.state for gear in gears_of(store, serials=("A",), every_state=True)] == [
        "removed",
        "current",
    ]


def test_observations_of_the_store_are_those_of_the_results(store):
    (report,) = add(store, SAMPLES / "ring_conforming")
    with read_folder(SAMPLES / "ring_conforming") as inspection:
        graded = (gear for _, gear in with_components(inspection, setup_of(inspection.part)))
        fresh = list(observations_from_results(graded, inspection.part, simulated=inspection.simulated))
    kept = list(load_observations(store))
    assert report.gears * 25 >= len(kept) > report.gears
    assert sorted(kept, key=repr) == sorted(fresh, key=repr)
    last = {o.serial for o in load_observations(store, last_gears=2)}
    made = sorted({(o.finished_at, o.serial) for o in fresh})
    assert last == {serial for _, serial in made[-2:]}
    assert {o.parameter for o in load_observations(store, parameters=["runout"])} == {"runout"}
    assert not list(load_observations(store, grinder="another"))


def test_gears_without_production_data_are_kept_but_give_no_observations(store, tmp_path):
    folder = made_folder(tmp_path / "a", ["A"])
    (folder / "production.csv").unlink()
    add(store, folder)
    assert store.gear_count() == 1
    assert not list(load_observations(store))


def test_times_without_a_zone_are_local_to_the_station(store, tmp_path, monkeypatch):
    folder = made_folder(tmp_path / "a", ["A"], zone="")
    add(store, folder)
    (gear,) = gears_of(store)
    assert gear.finished_at is not None
    assert gear.finished_at.tzinfo is not None
    assert gear.finished_at == gear.finished_at.replace(tzinfo=None).astimezone()
    (report,) = add(store, folder)
    assert report.unchanged == 1


def test_a_folder_with_a_name_that_is_no_text_can_be_added(store, tmp_path):
    name = os.fsdecode(b"lot-\xff")
    folder = made_folder(tmp_path / name, ["A"])
    shutil.copy(folder / "part.toml", folder / os.fsdecode(b"notes-\xfe.txt"))
    assert add(store, folder)[0].added == 1


@pytest.mark.parametrize(
    "at", ["1900-01-01T00:00:00", "1900-01-01T00:00:00+14:00", "2200-12-31T23:59:59-12:00"]
)
def test_times_at_the_ends_of_the_calendar(store, tmp_path, at):
    folder = made_folder(tmp_path / "a", ["A"])
    rows = f"serial,finished_at,measured_at,grinder\nA,{at},{at},GR-1\n"
    (folder / "production.csv").write_text(rows)
    assert add(store, folder)[0].added == 1
    assert add(store, folder)[0].unchanged == 1
    assert len(list(load_observations(store))) > 0


@pytest.mark.parametrize("number", ["9.3e18", "1e30"])
def test_a_number_that_no_database_holds(store, tmp_path, monkeypatch, number):
    folder = made_folder(tmp_path / "a", ["A"])
    (folder / "production.csv").write_text(f"serial,parts_since_dress\nA,{number}\n")
    with pytest.raises(MeasurementFileError, match="parts_since_dress"):
        add(store, folder)
    with monkeypatch.context() as lenient:  # a measurement that no reader has checked
        lenient.setattr(cells, "LARGEST", {"parts_since_dress": 1e40})
        with pytest.raises(StoreError, match="'A': parts_since_dress"):
            add(store, folder)
    (folder / "production.csv").write_text("serial,parts_since_dress\nA,1000000000\n")
    assert add(store, folder)[0].added == 1


def test_the_log_says_who_did_what(store, tmp_path):
    add(store, made_folder(tmp_path / "a", ["A"]))
    with store.reading() as connection:
        (entry,) = select_audit(connection)
    assert entry["station"]
    assert entry["version"]
    assert json.dumps(entry)

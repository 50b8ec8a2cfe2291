"""Grading anew: from stored values or raw files it is what grading the folder anew gives."""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from history_folders import made_folder
from inspection_folder import PART

from gearqa.diagnosis.followed import with_components
from gearqa.errors import EvaluationError, PartFileError, StoreConflictError, StoreError
from gearqa.evaluation.criteria import criteria_of
from gearqa.evaluation.part_setup import setup_of
from gearqa.evaluation.rejudge import judged_anew, why_raw_data
from gearqa.history.intake import FolderToAdd, add_folders
from gearqa.history.new_grading import NewGrading, changed_part
from gearqa.history.queries import Selection, result_of, select_audit, select_gears, select_results
from gearqa.history.regrading import regrade
from gearqa.model.part import Part
from gearqa.reading.folder.passes import read_folder

SAMPLES = Path(__file__).parents[3] / "sample_measurements"
RING = SAMPLES / "ring_faults"


def add(store, *folders, **options):
    return add_folders(store, [FolderToAdd(Path(folder)) for folder in folders], **options)


def results(store, **chosen):
    with store.reading() as connection:
        found = select_results(connection, Selection(**chosen))
        return {gear.serial: result_of(document) for gear, document, _ in found}


def graded(folder, part):
    with read_folder(folder, part=part) as inspection:
        return {gear.serial: gear for _, gear in with_components(inspection, setup_of(part))}


def part_with(part, /, **tables):
    document = json.loads(part.model_dump_json(by_alias=True, exclude_unset=True))
    for name, keys in tables.items():
        document[name] = {**document.get(name, {}), **keys}
    return Part.model_validate_json(json.dumps(document))


@pytest.fixture(scope="module")
def ring():
    with read_folder(RING) as inspection:
        graded = with_components(inspection, setup_of(inspection.part))
        return inspection.part, [gear for _, gear in graded]


@pytest.mark.parametrize(
    "tables",
    [
        {"tolerance": {"class": 4}},
        {"tolerance": {"class": 9, "limits_um": {}}},
        {"tolerance": {"class": 6, "parameters": ["single_pitch", "profile_slope"]}},
        {"tolerance": {"class": 6, "classes": {"sector_pitch": 3, "adjacent_pitch": 7}}},
        {"tolerance": {"class": 6, "flanks": ["right"]}},
        {"tolerance": {"class": 6, "limits_um": {"helix_slope": [-1.0, 2.0]}}},
        {"master_quality": {"class": 2, "parameters": ["runout"]}},
        {"uncertainty_um": {"profile_slope": 3.0}},
    ],
)
def test_stored_values_judged_anew_are_what_the_raw_files_give(ring, tables):
    part, gears = ring
    new = part_with(part, **tables)
    assert why_raw_data(part, criteria_of(part), new, criteria_of(new)) is None
    setup = setup_of(new)
    fresh = graded(RING, new)
    assert {gear.serial: judged_anew(gear, setup) for gear in gears} == fresh
    assert fresh != {gear.serial: gear for gear in gears}


def test_what_needs_the_raw_files(ring):
    part, _ = ring

    def why(old, new):
        return why_raw_data(old, criteria_of(old), new, criteria_of(new))

    assert "[evaluation]" in why(part, part_with(part, evaluation={"slope_span": "evaluation"}))
    assert "[design]" in why(part, part_with(part, design={"profile": {"crowning_um": 1.0}}))
    few = part_with(part, tolerance={"class": 6, "flanks": ["left"], "parameters": ["runout"]},
                    master_quality={"parameters": ["runout"]})  # fmt: skip
    assert "right flanks" in why(few, part)
    one = part_with(few, tolerance={"class": 6, "flanks": ["left", "right"], "parameters": ["runout"]})
    assert "was not asked for before" in why(one, part)


def test_another_class_needs_no_raw_files(store, tmp_path):
    folder = tmp_path / "ring"
    shutil.copytree(RING, folder)
    add(store, folder)
    before = results(store)
    shutil.rmtree(folder)
    passed = []

    def passing(items, *, total):
        for item in items:
            passed.append(total)
            yield item

    report = regrade(store, Selection(), NewGrading(class_=4), passing=passing)
    assert {gear.source for gear in report.gears} == {"stored values"}
    assert passed == [len(before)] * len(before)
    with read_folder(RING) as inspection:
        new = changed_part(inspection.part, NewGrading(class_=4))
    assert new.tolerance.class_ == 4
    assert results(store) == graded(RING, new)
    with store.reading() as connection:
        former = [
            gear for gear in select_gears(connection, Selection(every_state=True)) if gear.state != "current"
        ]
        actions = [one["action"] for one in select_audit(connection)]
    assert {gear.serial for gear in former} == set(before)
    assert actions == ["add", *["supersede"] * len(before), "regrade"]
    again = regrade(store, Selection(), NewGrading(class_=4))
    assert (again.gears, again.unchanged) == ((), len(before))


def test_another_evaluation_reads_the_raw_files_again(store, tmp_path):
    folder = tmp_path / "ring"
    shutil.copytree(RING, folder)
    add(store, folder)
    change = NewGrading(settings={"evaluation.slope_span": "evaluation"})
    assert not regrade(store, Selection(), change, dry_run=True).written
    with read_folder(RING) as inspection:
        old, new = inspection.part, changed_part(inspection.part, change)
    assert results(store) == graded(RING, old)
    report = regrade(store, Selection(), change)
    assert {gear.source for gear in report.gears} == {"raw files"}
    assert results(store) == graded(RING, new)


def test_another_tolerance_system_evaluates_as_it_asks(store, tmp_path):
    folder = tmp_path / "ring"
    shutil.copytree(RING, folder)
    add(store, folder)
    with read_folder(RING) as inspection:
        new = part_with(inspection.part, tolerance={"standard": "ISO 1328-1:1995"})
    change = NewGrading(part=new)
    report = regrade(store, Selection(), change)
    assert {gear.source for gear in report.gears} == {"raw files"}
    assert results(store) == graded(RING, new)


def test_the_same_text_under_another_title_needs_no_raw_files(ring):
    part, _ = ring
    new = part_with(part, tolerance={"standard": "ANSI/AGMA ISO 1328-1-B14"})
    assert why_raw_data(part, criteria_of(part), new, criteria_of(new)) is None


def test_a_class_never_becomes_one_of_another_system_by_a_setting(ring):
    part, _ = ring
    other = NewGrading(settings={"tolerance.standard": "ISO 1328-1:1995"})
    with pytest.raises(PartFileError, match=r"none for tolerance\.class.*master_quality\.class"):
        changed_part(part, other)
    said = {**other.settings, "master_quality.class": 3, "tolerance.classes": {}}
    assert changed_part(part, NewGrading(class_=7, settings=said)).edition.word == "grade"
    same = changed_part(part, NewGrading(settings={"tolerance.standard": "ANSI/AGMA ISO 1328-1-B14"}))
    assert same.tolerance.standard == "ANSI/AGMA ISO 1328-1-B14"


def test_grading_from_the_files_again_changes_nothing_by_itself(store):
    add(store, RING)
    before = results(store)
    report = regrade(store, Selection(serials=(next(iter(before)),)), NewGrading(from_files=True))
    assert [gear.source for gear in report.gears] == ["raw files"]
    assert results(store) == before


def one_by_one(function, folders):
    return [(folder, function(folder)) for folder in folders]


def test_raw_files_are_looked_at_as_they_are_read_again(store, monkeypatch):
    """No second reading for their digests."""
    add(store, RING)
    monkeypatch.setattr("gearqa.history.regrading.folder_faults", None)
    assert regrade(store, Selection(), NewGrading(from_files=True)).gears


@pytest.mark.parametrize("spreading", [None, one_by_one])
def test_all_raw_files_that_changed_are_named_and_nothing_is_regraded(store, tmp_path, spreading):
    change = NewGrading(settings={"evaluation.pitch.measuring_diameter_mm": 16.5})
    folders = [made_folder(tmp_path / name, [name], day=day) for day, name in enumerate("ABCD", 1)]
    add(store, *folders)
    before = results(store)
    for folder, old, new in ((folders[1], "left,3,3.0", "left,3,3.5"), (folders[3], "left,3", "left,x")):
        text = (folder / "pitch.csv").read_text()
        (folder / "pitch.csv").write_text(text.replace(old, new))
    (folders[2] / "pitch.csv").write_text("# as it was\n" + (folders[2] / "pitch.csv").read_text())
    with pytest.raises(StoreError, match="raw files are needed") as caught:
        regrade(store, Selection(), change, spreading=spreading)
    message = str(caught.value)
    assert f"{folders[1]}: other values of B" in message
    assert f"{folders[3]}: cannot be read any more" in message
    assert f"{folders[0]}" not in message
    assert f"{folders[2]}" not in message
    assert results(store) == before
    assert len(regrade(store, Selection(serials=("A", "C")), change, spreading=spreading).gears) == 2


def test_raw_files_that_are_gone_or_changed_are_named_and_nothing_is_regraded(store, tmp_path):
    change = NewGrading(settings={"evaluation.pitch.measuring_diameter_mm": 16.5})
    gone = made_folder(tmp_path / "gone", ["A"], day=1)
    changed = made_folder(tmp_path / "changed", ["B", "C"], day=2)
    add(store, gone, changed)
    before = results(store)
    shutil.rmtree(gone)
    text = (changed / "pitch.csv").read_text()
    (changed / "pitch.csv").write_text(text.replace("B,left,3,3.0", "B,left,3,3.5"))
    with pytest.raises(StoreError, match="raw files are needed") as caught:
        regrade(store, Selection(), change)
    message = str(caught.value)
    assert f"{gone}: the folder is gone" in message
    assert "pitch.csv: changed since it was added" in message
    assert f"{changed}: other values of B" in message
    assert "[evaluation] of the part data differs" in message
    assert results(store) == before
    assert len(regrade(store, Selection(serials=("C",)), change).gears) == 1


def test_processes_forked_beside_an_open_store_leave_it_alone(where, tmp_path):
    """They inherit its connection; the program of one thread forks, on Linux."""
    for day, name in enumerate("ABCDEF", 1):
        made_folder(tmp_path / "all" / name, [name], day=day)

    def run(*words):
        line = [sys.executable, "-m", "gearqa", "history", *words, "--store", where]
        done = subprocess.run(line, capture_output=True, text=True, check=False, timeout=60)
        assert done.returncode == 0, done.stderr
        return done.stdout

    run("add", tmp_path / "all", "--recursive", "--workers", "3")
    run("regrade", "--from-files", "--workers", "3")
    assert "nothing wrong: 6 gears, 6 superseded" in run("check")


def test_a_folder_that_has_grown_still_serves(store, tmp_path):
    folder = made_folder(tmp_path / "a", ["A"])
    add(store, folder)
    made_folder(folder, ["A", "B"])
    report = regrade(
        store, Selection(), NewGrading(settings={"evaluation.pitch.measuring_diameter_mm": 16.5})
    )
    assert [gear.serial for gear in report.gears] == ["A"]


def test_a_new_revision_of_the_drawing(store, tmp_path):
    add(store, made_folder(tmp_path / "a", {"A": 1.0, "B": 5.0}, grade=6))
    with read_folder(tmp_path / "a") as inspection:
        old = inspection.part
    revised = part_with(old, part={"revision": "B"}, tolerance={"class": 9})
    report = regrade(store, Selection(), NewGrading(part=revised))
    assert [(gear.conforms_before, gear.conforms_after) for gear in report.gears] == [
        (True, True), (False, True),
    ]  # fmt: skip
    assert report.conforms is True
    with store.reading() as connection:
        assert {gear.revision for gear in select_gears(connection, Selection())} == {"B"}
    with pytest.raises(EvaluationError, match="part number X-1"):
        regrade(store, Selection(), NewGrading(part=part_with(old, part={"number": "X-1"})))


def test_settings_that_are_no_keys_or_no_values_of_a_part_file():
    part = Part.model_validate(PART)
    for settings, found in (
        ({"tolerance.clas": 5}, "tolerance.clas"),
        ({"tolerance.class": 99}, "tolerance.class"),
        ({"part.number.x": 1}, "part.number.x"),
        ({"evaluation.slope_span": "half"}, "evaluation.slope_span"),
    ):
        with pytest.raises(PartFileError) as caught:
            changed_part(part, NewGrading(settings=settings))
        assert [problem.key for problem in caught.value.problems] == [found]


def test_gears_that_another_station_changed_meanwhile(store, tmp_path, monkeypatch):
    from gearqa.history import regrading
    from gearqa.history.gear_rows import remove_gears

    add(store, made_folder(tmp_path / "a", ["A", "B"]))
    write = regrading._write

    def late(*arguments):
        remove_gears(store, Selection(serials=("A",)))
        write(*arguments)

    monkeypatch.setattr(regrading, "_write", late)
    with pytest.raises(StoreConflictError, match="meanwhile"):
        regrade(store, Selection(), NewGrading(class_=4))


def test_another_system_states_slopes_in_its_own_way():
    older = {"tolerance.standard": "ISO 1328-1:1995", "tolerance.class": 6, "master_quality.class": 4}
    part = Part.model_validate(PART)
    assert part.evaluation.slope_span == "full"
    assert changed_part(part, NewGrading(settings=older)).slope_span == "evaluation"
    kept = {**older, "evaluation.slope_span": "full"}
    assert changed_part(part, NewGrading(settings=kept)).slope_span == "full"

"""The job `grade`: a folder or an open inspection in, results out, gear by gear or whole."""

from __future__ import annotations

import io
import os
import sys
from contextlib import ExitStack
from pathlib import Path

import pytest
from sheet_factory import TEETH, header_of, measured, part_of

import gearqa
from gearqa.cli.grade_outputs import GradeFiles, Screen, open_files
from gearqa.errors import ArgumentError
from gearqa.evaluation.evaluate import BATCH_GEARS, evaluate
from gearqa.jobs.grade import grade, grade_each
from gearqa.jobs.side_by_side import FEWEST_GEARS, over_gears
from gearqa.report.render.terminal import Terminal
from gearqa.results.outputs import Outputs

SAMPLES = Path(__file__).parents[3] / "sample_measurements"


class Inspection:
    """Gears that are made as they are asked for."""

    def __init__(self, count):
        self.part, self.count, self.made = part_of(), count, 0
        self.inputs, self.simulated, self.notices = header_of(self.part).inputs, True, ()

    def __len__(self):
        return self.count

    def __iter__(self):
        return self.some(range(self.count))

    def some(self, places):
        for number in places:
            self.made += 1
            yield measured(f"S-{number}", size=1 + number % 7)


class Taker:
    """Writes down what it is given, and how many gears had been made by then."""

    shared = False

    def __init__(self, inspection):
        self.inspection, self.calls, self.made_by_then = inspection, [], []

    def begin(self, header, part):
        self.calls.append((header, part))

    def made(self, gear):
        return gear

    def take(self, gear):
        self.calls.append(gear)
        self.made_by_then.append(self.inspection.made)

    def end(self, lot):
        self.calls.append(lot)


def test_a_folder_and_an_open_inspection_give_the_same_result():
    with gearqa.read_folder(SAMPLES / "pinion") as inspection:
        opened = gearqa.grade(inspection)
    assert grade(str(SAMPLES / "pinion")) == opened
    assert opened.lot.gears == len(opened.gears) == 4


def test_only_the_serials_asked_for():
    serials = [gear.serial for gear in grade(SAMPLES / "pinion").gears]
    assert [gear.serial for gear in grade(SAMPLES / "pinion", serial=serials[1:3]).gears] == serials[1:3]


def test_what_is_no_folder_is_an_error_of_the_argument(tmp_path):
    with pytest.raises(ArgumentError, match="does not exist") as caught:
        grade(tmp_path / "nowhere")
    assert caught.value.argument == "folder"


def test_takers_get_the_header_each_gear_and_the_lot():
    inspection = Inspection(3)
    first, second = Taker(inspection), Taker(inspection)
    header, lot = grade_each(inspection, [first, second])
    assert first.calls == second.calls
    begun, *gears, ended = first.calls
    assert begun == (header, inspection.part)
    assert ended == lot
    assert header.simulated
    assert [gear.result for gear in gears] == list(evaluate(inspection, inspection.part))
    assert (lot.gears, lot.conforms) == (3, False)


def test_gears_pass_by_in_batches():
    inspection = Inspection(2 * BATCH_GEARS)
    taker = Taker(inspection)
    grade_each(inspection, [taker])
    assert taker.made_by_then == [BATCH_GEARS] * BATCH_GEARS + [2 * BATCH_GEARS] * BATCH_GEARS


@pytest.mark.skipif(sys.platform != "linux", reason="processes are forked on Linux alone")
def test_two_processes_write_what_one_writes(monkeypatch, tmp_path):
    pids = []

    class Written(Taker):
        def made(self, gear):
            return os.getpid()

        def take(self, made):
            pids.append(made)

    def written(name, workers, *, shared=True):
        pids.clear()
        inspection = Inspection(FEWEST_GEARS + 5)
        with Outputs() as outputs, ExitStack() as stack:
            paths = {"json": str(tmp_path / f"{name}.json"), "csv": str(tmp_path / f"{name}.csv")}
            files = GradeFiles(
                **paths, csv_rows="trace", csv_style="comma", html=None, pdf=None, paper="a4",
                sheets="auto", sheet_folder=None,
            )  # fmt: skip
            screen = Screen()
            own = Written(inspection)
            own.shared = shared
            takers = [*open_files(outputs, files, stack, quiet=True), screen, own]
            grade_each(inspection, takers, workers=workers)
        shown = screen.laid_out(Terminal(io.StringIO(), width=100, colour=False))
        return Path(paths["json"]).read_bytes(), Path(paths["csv"]).read_bytes(), shown

    monkeypatch.setattr("gearqa.jobs.crew.can_fork", lambda: True)
    alone = written("alone", 1)
    assert {*pids} == {os.getpid()}
    assert written("both", 2) == alone
    assert len({*pids}) == 2
    assert written("whole", 2, shared=False) == alone
    assert {*pids} == {os.getpid()}


def test_few_gears_stay_in_this_process(monkeypatch):
    monkeypatch.setattr("gearqa.jobs.crew.can_fork", lambda: True)
    monkeypatch.setattr("gearqa.jobs.spread.worker_count", lambda _: 2)
    gears = FEWEST_GEARS - 1
    assert {*over_gears(lambda some: [os.getpid()] * len(some), gears, workers=None)} == {os.getpid()}


def test_curves_are_made_once_and_belong_to_the_result():
    taker = Taker(inspection := Inspection(1))
    grade_each(inspection, [taker])
    gear = taker.calls[1]
    assert gear.curves is gear.curves
    assert tuple(one.result for one in gear.curves.traces) == gear.result.traces
    assert [len(one.index_um) for one in gear.curves.pitch] == [TEETH, TEETH]


def test_progress_sees_every_gear():
    seen = []

    class Shown:
        def over(self, items, doing, noun, *, total):
            assert total == 4
            for item in items:
                yield item
                seen.append((doing, noun))

    grade(SAMPLES / "pinion", progress=Shown())
    assert seen == [("grading", "gears")] * 4

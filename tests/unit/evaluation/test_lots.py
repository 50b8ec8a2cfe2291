"""The lot: counts, worst class, the two answers for the job; `grade` on an inspection."""

from __future__ import annotations

import dataclasses

import pytest
from unit.evaluation import make

from gearqa.errors import Notice
from gearqa.evaluation.evaluate import LotCounter, evaluate, grade, grade_header
from gearqa.model.measurement import GearMeasurement, InputFile
from gearqa.model.results import LotSummary


def gears():
    """Perfect; conforming but no master quality; failing; open; nothing measured; beyond class 11."""
    return [
        make.gear(serial="perfect"),
        make.gear(left=make.index(t9=5.0), serial="good"),
        make.gear(left=make.index(t9=8.0), serial="bad"),
        make.gear([], serial="open"),
        GearMeasurement("empty"),
        make.gear(left=make.index(t9=60.0), serial="beyond"),
    ]


def summary(*serials: str) -> LotSummary:
    lot = LotCounter()
    for result in evaluate([g for g in gears() if g.serial in serials], make.part()):
        lot.add(result)
    return lot.summary()


def test_counts():
    assert summary("perfect", "good", "bad", "open", "beyond") == LotSummary(
        gears=5, conforming=2, not_conforming=2, undecided=1, master_quality=1, master_quality_undecided=1,
        class_=None, beyond=1, conforms=False, reached_master_quality=False,
    )  # fmt: skip
    found = summary("perfect", "bad", "open", "empty", "beyond")
    assert (found.conforming, found.not_conforming, found.undecided) == (1, 2, 2)


@pytest.mark.parametrize(
    ("serials", "conforms", "reached", "class_"),
    [
        (("perfect",), True, True, 1),
        (("perfect", "good"), True, False, 5),
        (("perfect", "open"), None, None, 1),
        (("perfect", "open", "bad"), False, False, 6),
        (("good", "open"), None, False, 5),
        (("empty",), None, None, None),
        ((), None, None, None),
    ],
)
def test_answers_for_the_job(serials, conforms, reached, class_):
    found = summary(*serials)
    assert (found.conforms, found.reached_master_quality, found.class_) == (conforms, reached, class_)


class Folder:
    part = make.part(master_quality={"class": 3})
    inputs = (InputFile("profile.csv", "00"), InputFile("notes.txt", left_out="not a CSV file"))
    simulated = True
    notices = (Notice("folder", "something about the folder"),)

    def __iter__(self):
        return iter(gears())


def test_grade_keeps_every_gear_and_says_what_is_true_of_all():
    result = grade(Folder())
    assert [g.serial for g in result.gears] == ["perfect", "good", "bad", "open", "empty", "beyond"]
    assert result.lot.gears == 6
    header = result.header
    assert (header.standard, header.decision_rule, header.simulated) == (
        "ISO 1328-1:2013",
        "simple acceptance",
        True,
    )
    assert header.part == {
        "number": "OT-1", "name": "Sun pinion, orchard tractor final drive", "revision": "A",
    }  # fmt: skip
    assert (header.inputs, header.warnings) == (Folder.inputs, Folder.notices)
    assert header.master_quality.class_ == 3
    assert header.master_quality.parameters[:3] == ("single_pitch", "cumulative_pitch", "runout")


def test_header_names_the_parameters_of_master_quality():
    part = make.part(master_quality={"parameters": ["helix_slope", "single_pitch"]})
    header = grade_header(part, (), simulated=False)
    assert header.master_quality.parameters == ("single_pitch", "helix_slope")
    assert dataclasses.is_dataclass(header)

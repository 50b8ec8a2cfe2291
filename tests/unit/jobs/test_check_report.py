"""The job `check_report`: plain arguments in, the result out, refusals by argument."""

from __future__ import annotations

from pathlib import Path

import pytest

import gearqa
from gearqa.errors import ArgumentError
from gearqa.jobs.progress import Unseen

SAMPLES = Path(__file__).parents[3] / "sample_measurements"
REPORT, FOLDER = SAMPLES / "supplier_report" / "report.csv", SAMPLES / "ring_conforming"
PART = FOLDER / "part.toml"


class Counted(Unseen):
    """Remembers what was worked on."""

    def __init__(self):
        self.seen = []

    def over(self, items, doing, noun):
        for item in items:
            self.seen.append((doing, noun))
            yield item


def test_reported_values_against_ours():
    progress = Counted()
    result = gearqa.check_report(
        str(REPORT), str(FOLDER), serial=["OT-0206"], supplier="A", progress=progress
    )
    assert {row.our_serial for row in result.rows} == {None, "OT-0206"}
    assert (result.supplier, result.measured, result.decided_on) == ("A", True, "ours")
    assert list(result.lots) == ["ours"]
    assert progress.seen == [("grading", "gears")]


def test_a_plan_decides_on_both_sides(tmp_path):
    plan = tmp_path / "plan.toml"
    plan.write_text("[sampling]\nn = 12\nac = 0\n", encoding="utf-8")
    result = gearqa.check_report(REPORT, FOLDER, plan=plan, lot_size=200, decide_on="both")
    assert {side: lot.sampling.required_n for side, lot in result.lots.items()} == {"ours": 12, "theirs": 12}
    assert result.inputs[1].file == "plan.toml"


def test_reported_values_alone():
    result = gearqa.check_report(REPORT, part=PART)
    assert (result.measured, result.comparison, result.decided_on) == (False, None, "theirs")
    assert {row.claim for row in result.rows} == {"none"}


@pytest.mark.parametrize(
    ("argument", "options"),
    [
        ("part", {}),
        ("decide_on", {"part": PART, "decide_on": "both"}),
        ("their_part", {"folder": FOLDER, "their_part": PART}),
        ("their_columns", {"folder": FOLDER, "their_columns": PART}),
        ("their_folder", {"folder": FOLDER, "their_folder": REPORT}),
        ("lot_size", {"folder": FOLDER, "lot_size": 0}),
        ("folder", {"folder": SAMPLES / "nowhere"}),
    ],
)
def test_arguments_that_do_not_go_together(argument, options):
    with pytest.raises(ArgumentError) as caught:
        gearqa.check_report(REPORT, **options)
    assert caught.value.argument == argument

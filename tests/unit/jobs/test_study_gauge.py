"""The job `study_gauge`: plain arguments in, the result out, refusals by argument."""

from __future__ import annotations

from pathlib import Path

import pytest

import gearqa
from gearqa.errors import ArgumentError

SAMPLES = Path(__file__).parents[3] / "sample_measurements"
CROSSED = SAMPLES / "gauge_study" / "crossed.csv"


def test_a_table_of_values():
    result = gearqa.study_gauge(str(CROSSED), parameter=["fHα"], factor="set-ups", pool_above=0.1)
    assert list(result.crossed) == ["profile_slope"]
    assert (result.factor, result.pool_above, result.suitable) == ("set-ups", 0.1, None)
    assert [file.file for file in result.inputs] == ["crossed.csv"]


def test_measured_gears(tmp_path):
    trials = tmp_path / "trials.csv"
    rows = [f"OT-02{k + 1:02d},{k // 4},{'AB'[k // 2 % 2]},{k % 2}" for k in range(12)]
    trials.write_text("serial,item,operator,trial\n" + "\n".join(rows) + "\n", encoding="utf-8")
    result = gearqa.study_gauge(SAMPLES / "ring_conforming", study=trials, parameter=["runout"])
    (one,) = result.crossed["runout"]
    assert (one.items, one.operators, one.trials) == (3, 2, 2)
    assert result.part is not None
    assert result.part["number"] == "OT-4471"
    assert result.simulated


@pytest.mark.parametrize(
    ("argument", "options"),
    [
        ("pool_above", {"path": CROSSED, "pool_above": 1.5}),
        ("parameter", {"path": CROSSED, "parameter": ["width"]}),
        ("parameter", {"path": CROSSED, "parameter": ["Fβ"]}),
        ("study", {"path": CROSSED, "study": CROSSED}),
        ("study", {"path": SAMPLES / "ring_conforming"}),
    ],
)
def test_arguments_that_do_not_go_together(argument, options):
    with pytest.raises(ArgumentError) as caught:
        gearqa.study_gauge(**options)
    assert caught.value.argument == argument

"""The job `analyse_drift`: plain arguments in, the result out, refusals by argument."""

from __future__ import annotations

import subprocess
import sys
from datetime import UTC, datetime
from pathlib import Path

import pytest

import gearqa
from gearqa.errors import ArgumentError, EvaluationError
from gearqa.history.store import HistoryStore

SAMPLES = Path(__file__).parents[3] / "sample_measurements"
HISTORY = SAMPLES / "drift_history"


def test_one_folder_or_several_by_name_or_path():
    one = gearqa.analyse_drift(str(HISTORY), parameter=["profile_slope"])
    assert [series.flank for series in one.result.series] == ["left", "right"]
    assert one.header.source == f"folder {HISTORY}"
    assert one.result.simulated
    two = gearqa.analyse_drift([SAMPLES / "ring_conforming", SAMPLES / "ring_faults"], parameter=["runout"])
    assert [series.gears for series in two.result.series] == [19]  # the runout of one was not assessed
    assert {file.file.split("/")[0] for file in two.header.inputs} == {"ring_conforming", "ring_faults"}


def test_times_as_text_or_as_such():
    until = datetime(2025, 4, 8, 23, 59, 59, 999999).astimezone()
    by_text, by_time = (
        gearqa.analyse_drift(HISTORY, parameter=["runout"], until=time) for time in ("2025-04-08", until)
    )
    assert by_text.result.series[0].gears == by_time.result.series[0].gears < 120


def test_an_open_store_stays_open(tmp_path):
    with HistoryStore.open(str(tmp_path / "gears.sqlite"), writing=True) as store:
        with pytest.raises(EvaluationError, match="there are no gears"):
            gearqa.analyse_drift(store=store)
        assert store.gear_count() == 0


@pytest.mark.parametrize(
    ("argument", "options"),
    [
        ("risk", {"risk": 0.5}),
        ("risk", {"risk": float("nan")}),
        ("cycle_time", {"cycle_time": 0.0}),
        ("measuring_time", {"measuring_time": float("inf")}),
        ("last_cycles", {"last_cycles": 0}),
        ("escaped_parts", {"escaped_parts": 0}),
        ("since", {"since": "monday"}),
        ("parameter", {"parameter": ["fHα"]}),
        ("reference", {"reference": "1-12", "parameter": ["runout"]}),
        ("store", {"store": "gears.sqlite"}),
        ("folder", {"folders": SAMPLES / "none"}),
        ("serial", {"folders": (), "serial": ["R1"]}),
    ],
)
def test_what_is_refused(argument, options):
    with pytest.raises(ArgumentError) as refused:
        gearqa.analyse_drift(**{"folders": HISTORY, **options})
    assert refused.value.argument == argument


def test_a_filter_that_leaves_nothing_says_what_there_is():
    with pytest.raises(EvaluationError, match="nothing to analyse on grinder GR-8") as nothing:
        gearqa.analyse_drift(HISTORY, grinder="GR-8")
    assert nothing.value.hint == "there are gears of OT-4480 on GR-2"


def test_since_raises_the_alarm_for_older_signals():
    calm = gearqa.analyse_drift(HISTORY, parameter=["profile_slope"])
    assert not calm.result.alarm
    since = datetime(2025, 1, 1, tzinfo=UTC)
    assert gearqa.analyse_drift(HISTORY, parameter=["profile_slope"], since=since).result.alarm


def test_folders_need_no_database_library():
    code = "import sys, gearqa; gearqa.analyse_drift; print('sqlalchemy' in sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, check=True, text=True)
    assert done.stdout == "False\n"

"""The drift report and its charts: order, words, limits that cannot be mixed up, long and short histories."""

from __future__ import annotations

import io
import re
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree as ET

import numpy as np
import pytest
from drift_histories import Grinder, Key, at, event_before, history

import gearqa.drift
from gearqa.drift.analysis import analyse_observations
from gearqa.drift.control import MINIMUM_REFERENCE
from gearqa.drift.outlook import CYCLES_FOR_INTERVAL
from gearqa.errors import Notice
from gearqa.model.drift import DriftHeader, DriftResult, DriftSeries, DriftSettings, Observation
from gearqa.model.measurement import GrinderEvent, InputFile
from gearqa.report.blocks import document as doc
from gearqa.report.draw import palette
from gearqa.report.drift.answers import TOPICS, answers, topic_lists
from gearqa.report.drift.economics import choices_table, risk_figure
from gearqa.report.drift.figures import MOST_CYCLES, series_figures
from gearqa.report.drift.page import build_drift_document
from gearqa.report.drift.screen import drift_blocks
from gearqa.report.drift.words import (
    CYCLES_NEEDED,
    false_alarms,
    interval_text,
    limits_text,
    quiet_note,
    remarks,
    series_table,
    signal_lines,
    steps_text,
    wear_texts,
)
from gearqa.report.render.html import write_html
from gearqa.report.render.terminal import Terminal
from gearqa.statistics.level_search import MINIMUM_CYCLES

NS = "{http://www.w3.org/2000/svg}"
SLOPE: tuple[Key, ...] = (("profile_slope", "left"),)
HEADER = DriftHeader("folder lot", (InputFile("pitch.csv", "a" * 64),), (Notice("n", "a note"),))
WORN = Grinder(cycles=16, wear=-0.12, parts=30, limits=(-4.0, 4.0), sd_cycle=0.15, sd_part=0.15)


def analysed(
    grinder: Grinder = WORN,
    keys: Sequence[Key] = SLOPE,
    events: Sequence[GrinderEvent] = (),
    settings: DriftSettings | None = None,
    seed: int = 3,
) -> DriftResult:
    return analyse_observations(history(np.random.default_rng(seed), grinder, keys), events, settings)


def changed(observations: Sequence[Observation], **values: object) -> list[Observation]:
    return [one._replace(**values) for one in observations]  # type: ignore[arg-type]


def page(result: DriftResult) -> str:
    stream = io.BytesIO()
    write_html(stream, build_drift_document(result, HEADER))
    return stream.getvalue().decode()


def words(figure: doc.Figure) -> list[str]:
    return ["".join(t.itertext()) for t in ET.fromstring(figure.svg).iter(f"{NS}text")]


def paths(figure: doc.Figure, ink: palette.Ink) -> list[ET.Element]:
    found = ET.fromstring(figure.svg).iter(f"{NS}path")
    return [path for path in found if f"s{ink.key}" in path.get("class", "").split()]


def only(result: DriftResult) -> DriftSeries:
    (series,) = result.series
    return series


# --- words --------------------------------------------------------------------------------------


def test_wear_has_the_digits_of_its_interval() -> None:
    series = only(analysed())
    exact = replace(series, wear_um_per_part=-0.09860, wear_interval_um_per_part=(-0.10175, -0.09545))
    assert wear_texts(exact) == ("-0.099", "±0.003", "-0.102 to -0.095")
    small = replace(series, wear_um_per_part=0.00995, wear_interval_um_per_part=(0.0096, 0.0103))
    assert wear_texts(small) == ("+0.0100", "±0.0004", "+0.0096 to +0.0103")
    proven = replace(series, wear_um_per_part=-0.0204, wear_interval_um_per_part=(-0.0402, -0.0006))
    assert wear_texts(proven) == ("-0.020", "±0.020", "-0.040 to -0.001")  # not "-0.04 to -0.00"
    open_ = replace(series, wear_um_per_part=-0.02, wear_interval_um_per_part=(-0.041, 0.001))
    assert wear_texts(open_) == ("-0.02", "±0.02", "-0.04 to 0.00")
    estimated = replace(exact, wear_estimated=True)
    assert wear_texts(estimated)[0] == "-0.099 est."
    assert wear_texts(replace(series, wear_um_per_part=None)) == ("–", "", "–")


def test_intervals_and_limits_in_words() -> None:
    series = only(analysed())
    assert interval_text(replace(series, dress_interval_parts=33, dress_interval_at_least=False)) == "33"
    assert interval_text(replace(series, dress_interval_parts=53, dress_interval_at_least=True)) == "≥ 53"
    assert interval_text(replace(series, dress_interval_parts=None)) == "–"
    assert limits_text(replace(series, limit_um=(-4.4243, 4.4243))) == "-4.42 to +4.42"
    assert limits_text(replace(series, limit_um=(None, 8.0))) == "up to 8"
    assert limits_text(replace(series, limit_um=(-3.0, None))) == "from -3"
    assert limits_text(replace(series, limit_um=(None, None))) == "–"


def test_level_changes_and_false_alarms_in_words() -> None:
    result = analysed(replace(WORN, cycles=40, step_at=12, step=2.0))
    series = only(result)
    (step,) = series.steps
    two = replace(series, steps=(replace(step, size_um=-0.72), replace(step, size_um=1.96, cycle=25)))
    assert steps_text(two) == "+2.0 at 25 (2)"
    assert steps_text(replace(series, steps=(replace(step, size_um=-0.72, cycle=7),))) == "-0.7 at 7"
    # 30 parts a cycle, a false alarm in 1 % of cycles: every 3 000 parts
    assert "in 1 % of dress cycles, one series about once in 3 000 parts" in false_alarms(result)


def test_of_many_signals_the_last_are_listed() -> None:
    result = analysed(replace(WORN, cycles=40, step_at=12, step=2.0), settings=DriftSettings())
    series = only(result)
    levels = [one for one in series.signals if one.chart == "levels"]
    assert len(levels) > 20
    (line,) = [one for one in signal_lines(series.signals) if one.startswith("level after dress")]
    assert f"{len(levels) - 20} earlier and " in line
    assert line.endswith(f"{levels[-1].serial} (cycle 40, counts)")
    assert "beyond a control limit in cycle 40 (dress D40, " in series.sentence
    assert "level change at cycle 12 (dress D12, " in series.sentence


def test_of_many_scattered_signals_the_sentence_counts() -> None:
    grinder = replace(WORN, cycles=300, step_at=150, step=0.4, wear=0.0)
    since = DriftSettings(since=at(1, 1, grinder))
    series = only(analysed(grinder, settings=since))
    cycles = sorted({one.cycle for one in series.signals})
    (reason,) = [one for one in series.reasons if one.code == "beyond_limit"]
    assert reason.sentence.startswith(f"Beyond a control limit in {len(cycles)} cycles, the last ones ")
    assert f"{cycles[-1]} (dress D" in reason.sentence
    assert len(reason.sentence) < 160


def test_a_place_known_to_the_cycle_is_one_number() -> None:
    series = only(analysed(replace(WORN, cycles=40, step_at=12, step=2.0)))
    (step,) = series.steps
    for low, place in ((11, "cycle 12 (11 to 12), p "), (12, "cycle 12, p ")):
        moved = replace(series, steps=(replace(step, cycle=12, cycle_low=low, cycle_high=12),))
        assert place in page(replace(analysed(), series=(moved,)))


def test_remarks_on_some_series_name_them() -> None:
    result = analysed(keys=(*SLOPE, ("runout", None)))
    noted = tuple(replace(one, warnings=(Notice("n", "a remark"),)) for one in result.series)
    assert remarks(replace(result, series=noted))[0] == "A remark."
    some = (replace(noted[0], warnings=()), noted[1])
    assert remarks(replace(result, series=some))[0] == "fHα left: a remark."


def test_every_advice_has_its_place_on_the_page() -> None:
    source = "".join(
        (Path(gearqa.drift.__file__).parent / name).read_text() for name in ("advice.py", "level_advice.py")
    )
    codes = set(re.findall(r'yield\s*\(?\s*"([a-z_]+)"', source))
    assert len(codes) > 15
    assert codes | {"correction_seen", "correction_past"} == {code for one in TOPICS for code in one.codes}


# --- order --------------------------------------------------------------------------------------


def two_kinds() -> DriftResult:
    """A worn slope that reaches its limit, and a runout that does nothing."""
    rng = np.random.default_rng(5)
    worn = history(rng, replace(WORN, wear=-0.25), SLOPE)
    calm = history(
        rng, replace(WORN, wear=0.0, level=5.0, spread=0.0, limits=(None, 30.0)), (("runout", None),)
    )
    return analyse_observations([*calm, *worn])


def test_the_urgent_series_leads_and_quiet_ones_are_folded() -> None:
    result = two_kinds()
    document = build_drift_document(result, HEADER)
    first = document.sheets[0].sections[0].blocks[0]
    assert isinstance(first, doc.Verdict)
    assert [one.question for one in first.answers] == [
        "Wrong now", "Gears to hold", "At the grinder", "Dress, for a risk of 1 %",
    ]  # fmt: skip
    folded = [sheet for sheet in document.sheets if sheet.folded]
    assert [sheet.id for sheet in folded] == ["quiet-1"]
    assert doc.plain(folded[0].summary) == "No wear proven, no level change, in control: Fr."
    titles = [doc.plain(section.title) for section in document.sheets[1].sections]
    assert titles == ["fHα left · profile slope deviation, left flank"]


def test_terminal_and_page_print_the_same_strings() -> None:
    result = two_kinds()
    shown = io.StringIO()
    Terminal(shown, width=400).blocks(drift_blocks(result, HEADER, wide=True))
    text = " ".join(shown.getvalue().split())
    whole = build_drift_document(result, HEADER)
    table = series_table(result.ranked()[:1], "", wide=True)
    for row in table.rows:
        for cell in row:
            assert doc.plain(cell.text if isinstance(cell, doc.Cell) else cell) in text
    ((_, verdict),) = answers(result)
    told = [doc.plain(words) for one in verdict.answers for words in (one.answer, one.detail)]
    lists = [doc.plain(item) for _, bullets in topic_lists(result) for item in bullets.items]
    for sentence in (*told, *lists, *remarks(result), doc.plain(quiet_note(result.ranked()[1:]))):
        assert sentence in text
    tables = [b for s in whole.sheets[0].sections for b in s.blocks if isinstance(b, doc.Table)]
    assert table.rows in [one.rows for one in tables]


def test_the_page_holds_what_a_reader_needs() -> None:
    settings = DriftSettings(risk=0.02)
    text = page(analysed(replace(WORN, step_at=16, step=-4.0), settings=settings))
    for needed in (
        "Gears to hold", "more than 1 % chance to lie beyond a limit",
        "Control limits show what this process does when nothing changes",
        "over histories like this one", "Geometry only", "A qualified setter checks every correction",
        "folder lot", "a" * 64, "A note.", "revision C", "2 %", "Setter",
    ):  # fmt: skip
        assert needed in text, needed
    assert "SIMULATED" not in text


def test_parts_per_dress_stand_against_the_risk_on_page_and_terminal() -> None:
    result = analysed(replace(WORN, limits=(-3.0, 4.0), cycles=30))
    (dress,) = result.dress_intervals
    table = choices_table(dress)
    assert table is not None
    assert [row[0] for row in table.rows] == ["0.1 %", "0.5 %", "1 %", "2 %", "5 %"]
    chosen = dict(zip([row[0] for row in table.rows], [row[1] for row in table.rows], strict=True))
    assert chosen["1 %"] == interval_text(only(result))
    figure = risk_figure(result.series, dress, 0.01)
    assert figure is not None
    assert "chosen: 1 %" in words(figure)
    shown = io.StringIO()
    Terminal(shown, width=120).blocks(drift_blocks(result, HEADER))
    assert "Parts per dress against risk" in shown.getvalue()
    assert figure.title in page(result)
    assert choices_table(replace(dress, choices=())) is None


def test_a_narrow_screen_begins_with_the_newest_cycles() -> None:
    text = page(analysed())
    assert "<figure class=newest>" in text
    assert "figure.newest .scroll{direction:rtl}" in text


def test_the_cycles_needed_are_those_of_the_analysis() -> None:
    needed = (CYCLES_FOR_INTERVAL, MINIMUM_CYCLES, MINIMUM_REFERENCE)
    assert tuple(cycles for cycles, _ in CYCLES_NEEDED) == needed


def test_a_short_history_says_what_is_missing_for_what() -> None:
    result = analysed(replace(WORN, cycles=2))
    ((_, verdict),) = answers(result)
    wrong, hold, grinder, dress = verdict.answers
    assert (hold.status, grinder.status) == ("open", "open")  # nothing is known, so nothing is good
    assert wrong.answer == "not decidable"
    assert doc.plain(wrong.detail) == (
        "2 dress cycles; 6 needed for a dress interval, 8 for level changes, 10 for control limits"
    )
    assert dress.answer == "no interval"
    assert doc.plain(dress.detail) == "2 dress cycles; 6 are needed for a dress interval"


def test_simulated_is_said() -> None:
    rng = np.random.default_rng(1)
    result = analyse_observations(changed(history(rng, WORN), simulated=True))
    assert "SIMULATED DATA" in page(result)
    first = drift_blocks(result, HEADER)[0]
    assert isinstance(first, doc.Paragraph)
    assert "SIMULATED" in doc.plain(first.text)


def test_several_grinders_have_sheets_of_their_own() -> None:
    rng = np.random.default_rng(1)
    gears = [*history(rng, WORN, name="G1"), *history(rng, WORN, name="<b>G2</b>")]
    document = build_drift_document(analyse_observations(gears), HEADER)
    assert document.title == "Drift report"
    assert [s.id for s in document.sheets] == ["drift", "charts-1", "charts-2", "basis"]
    text = page(analyse_observations(gears))
    assert "OT-4471 on G1" in text
    assert "&lt;b&gt;G2&lt;/b&gt;" in text
    assert "<b>G2</b>" not in text


# --- charts -------------------------------------------------------------------------------------


def test_limits_of_the_drawing_and_of_the_process_look_and_read_differently() -> None:
    (figure,) = series_figures(only(analysed()))
    tolerance = [p for p in paths(figure, palette.LIMIT) if float(p.get("stroke-width", 0)) >= 2]
    control = [p for p in paths(figure, palette.OPEN) if p.get("stroke-dasharray")]
    assert tolerance
    assert control
    assert not [p for p in tolerance if p.get("stroke-dasharray")]
    assert {p.get("stroke") for p in tolerance}.isdisjoint({p.get("stroke") for p in control})
    told = words(figure)
    assert "tolerance limit: drawing or class" in told
    assert "control limit of the process" in told
    assert "lower tolerance limit -4" in told
    assert not [word for word in told if "control" in word and "tolerance" in word]


def test_one_stack_on_one_axis_with_every_panel() -> None:
    (figure,) = series_figures(only(analysed()))
    told = words(figure)
    for label in ("Values, µm", "Level after dress, µm", "Change of the level from cycle to cycle, µm",
                  "Smoothed residuals, standard deviations"):  # fmt: skip
        assert label in told
    assert "dress cycle (dress D1 to D16); inside a cycle: parts since dress" in told
    assert told.count("dress") == 1  # in the legend: its marks run through every panel
    assert "limit reached" in told
    assert figure.description.startswith("Left profile slope loses")
    assert ET.fromstring(figure.svg).findtext(f"{NS}desc") == figure.description


@pytest.mark.parametrize("wear", [-0.12, -0.07])
def test_the_crossing_stands_at_the_limit_where_the_forecast_says(wear: float) -> None:
    series = only(analysed(replace(WORN, wear=wear)))
    parts, band = series.parts_to_limit, series.charts.forecast
    assert "limit reached" in words(series_figures(series)[0])
    assert parts is not None
    assert band is not None
    assert band.parts[-1] >= parts.expected
    at = np.interp(parts.expected, band.parts, band.mean_um)
    # the part made when the limit is reached: at most one part of wear away from it
    assert abs(at - (series.limit_um[0] or 0.0)) <= abs(series.wear_um_per_part or 0.0) * 1.01


def test_events_are_numbered_and_told() -> None:
    grinder = replace(WORN, step_at=9, step=2.0)
    events = [event_before(9, grinder, "correction +2.0 µm"), event_before(12, grinder, "dresser change")]
    (figure,) = series_figures(only(analysed(grinder, events=events)))
    told = words(figure)
    assert {"E1", "E2", "recorded event", "level change found"} <= set(told)
    assert doc.plain(figure.caption) == (
        "E1: correction +2.0 µm, in or before cycle 9. E2: dresser change, in or before cycle 12."
    )


def test_a_far_limit_is_told_not_drawn() -> None:
    (figure,) = series_figures(only(analysed(replace(WORN, wear=0.0, limits=(-40.0, 40.0)))))
    assert "tolerance limit -40 and +40 outside the chart" in words(figure)
    assert not [word for word in words(figure) if word.startswith("lower tolerance limit")]


def test_without_limits_it_says_so() -> None:
    (figure,) = series_figures(only(analysed(replace(WORN, limits=(None, None)))))
    assert "no limit of the drawing or class" in words(figure)
    assert not [p for p in paths(figure, palette.LIMIT) if float(p.get("stroke-width", 0)) >= 2]


def test_of_a_long_history_all_levels_and_the_last_cycles() -> None:
    cycles = MOST_CYCLES + 30
    whole, stack = series_figures(only(analysed(replace(WORN, cycles=cycles, wear=-0.05))))
    assert whole.title == "Profile slope deviation, left flank: level after every dress"
    assert str(stack.title).endswith(f", cycles 31 to {cycles}")
    assert len(re.findall(r"a1\.7 1\.7", stack.svg)) // 2 < 3 * (MOST_CYCLES + 4)
    (short,) = series_figures(only(analysed(replace(WORN, cycles=MOST_CYCLES, wear=-0.05))))
    assert "cycles" not in str(short.title)


@pytest.mark.parametrize(
    ("grinder", "values", "axis"),
    [
        (replace(WORN, cycles=1), {}, "parts since dress"),
        (replace(WORN, cycles=5), {}, "dress cycle (dress D1 to D5); inside a cycle: parts since dress"),
        (replace(WORN, cycles=15, measured=(7,)), {},
         "dress cycle (dress D1 to D15); inside a cycle: parts since dress"),
        (WORN, {"parts_since_dress": None},
         "dress cycle (dress D1 to D16); inside a cycle: measured gears in their order"),
        (WORN, {"parts_since_dress": None, "dress": None}, "measured gears in their order"),
        (WORN, {"parts_since_dress": None, "dress": None, "finished_at": None},
         "measured gears in their order"),
    ],
)  # fmt: skip
def test_histories_that_tell_little_are_drawn_and_described(
    grinder: Grinder, values: dict[str, object], axis: str
) -> None:
    rng = np.random.default_rng(2)
    result = analyse_observations(changed(history(rng, grinder), **values))
    (figure,) = series_figures(only(result))
    assert axis in words(figure)
    text = page(result)
    assert (result.headline or "") in text
    assert "nan" not in re.sub(r"[a-z]*nan[a-z]+|[a-z]+nan", "", text.lower())


def test_a_single_gear() -> None:
    result = analyse_observations(history(np.random.default_rng(2), replace(WORN, cycles=1, measured=(1,))))
    assert "not decidable" in page(result)

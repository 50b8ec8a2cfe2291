"""Charts of the sheet: what is drawn where, and that nothing needed is missing."""

from __future__ import annotations

import re
from dataclasses import replace
from xml.etree import ElementTree as ET

import numpy as np
import pytest
from sheet_factory import TEETH, document_of, measured, part_of

from gearqa.report.blocks.document import Document, Figure
from gearqa.report.draw import palette, plot
from gearqa.report.draw.chart_scales import HALF, Scale
from gearqa.report.draw.class_overview import Overview, OverviewRow, class_overview
from gearqa.report.draw.svg import NO_LIGATURE

NS = "{http://www.w3.org/2000/svg}"


def figures(document: Document) -> dict[str, Figure]:
    return {
        str(block.title): block
        for sheet in document.sheets
        for section in sheet.sections
        for block in section.blocks
        if isinstance(block, Figure)
    }


@pytest.fixture(scope="module")
def sheet() -> dict[str, Figure]:
    return figures(document_of())


def words(figure: Figure) -> list[str]:
    return [
        "".join(t.itertext()).replace(NO_LIGATURE, "") for t in ET.fromstring(figure.svg).iter(f"{NS}text")
    ]


def paths(figure: Figure, ink: palette.Ink) -> list[ET.Element]:
    return [
        p for p in ET.fromstring(figure.svg).iter(f"{NS}path") if f"s{ink.key}" in p.get("class", "").split()
    ]


def test_every_chart_the_sheet_needs_is_there(sheet: dict[str, Figure]) -> None:
    assert list(sheet) == [
        "Profile traces",
        "Helix traces",
        "Single pitch deviation of every tooth",
        "Index of every tooth and radial position of every space",
        "Class of each parameter against required class and master quality",
    ]
    for figure in sheet.values():
        root = ET.fromstring(figure.svg)
        assert root.findtext(f"{NS}desc") == figure.description
        assert len(figure.description) > 60


@pytest.mark.parametrize(
    ("title", "ends"), [("Profile traces", ("root", "tip")), ("Helix traces", ("datum face", "far face"))]
)
def test_trace_charts_name_what_they_show(
    sheet: dict[str, Figure], title: str, ends: tuple[str, str]
) -> None:
    shown = words(sheet[title])
    for needed in ("left flank", "right flank", "evaluation range ↔", "measured", "filtered",
                   "design", "mean line", "room given by the tolerance", "tooth 1", "tooth 25",
                   f"◂ {ends[0]}", f"{ends[1]} ▸"):  # fmt: skip
        assert needed in shown
    assert any(re.fullmatch(r"\d+ µm", word) for word in shown)
    assert any(re.fullmatch(r"\d+:1", word) for word in shown)


def test_the_ratio_is_that_of_the_drawing(sheet: dict[str, Figure]) -> None:
    """One unit is a quarter of a millimetre on paper: so many units for a micrometre make the ratio."""
    for title in (
        "Profile traces",
        "Helix traces",
        "Index of every tooth and radial position of every space",
    ):
        reading = next(p.get("data-r", "") for p in ET.fromstring(sheet[title].svg).iter() if p.get("data-r"))
        units_per_um = 1 / abs(float(reading.split()[3]))
        ratio = next(w for w in words(sheet[title]) if re.fullmatch(r"[\d.]+:1", w))
        assert float(ratio.removesuffix(":1")) == pytest.approx(units_per_um * 0.25 * 1000, rel=1e-3)


def test_every_measured_tooth_has_all_its_lines_on_both_flanks(sheet: dict[str, Figure]) -> None:
    for title in ("Profile traces", "Helix traces"):
        for ink in (palette.MEASURED, palette.FILTERED, palette.DESIGN, palette.MEAN):
            in_legend = 1
            assert len(paths(sheet[title], ink)) == 8 + in_legend, (title, ink.key)


def test_lines_differ_without_colour(sheet: dict[str, Figure]) -> None:
    looks = set()
    for ink in (palette.MEASURED, palette.FILTERED, palette.DESIGN, palette.MEAN):
        sample = paths(sheet["Profile traces"], ink)[0]
        looks.add((sample.get("stroke-width"), sample.get("stroke-dasharray")))
    assert len(looks) == 4


def drawn(figure: Figure, ink: palette.Ink, number: int) -> tuple[np.ndarray, np.ndarray]:
    """Positions and deviations read back from a trace chart, by the scale that the measured line carries."""
    reading = [p for p in ET.fromstring(figure.svg).iter(f"{NS}path") if p.get("data-r")][number]
    a, b, c, d = (float(x) for x in reading.get("data-r", "").split())
    lines = [p for p in paths(figure, ink) if p.get("transform") is None and "l" in p.get("d", "")]
    numbers = [int(n) for n in re.findall(r"-?\d+", lines[number].get("d", ""))]
    points = np.cumsum(np.array(numbers).reshape(-1, 2), axis=0) / 10
    return a + b * points[:, 0], c + d * points[:, 1]


def test_a_drawn_trace_reads_back_as_the_measured_one() -> None:
    gear = measured()
    figure = figures(document_of([gear]))["Helix traces"]
    trace = next(t for t in gear.traces if t.kind == "helix" and t.flank == "left" and t.tooth == 1)
    x, y = drawn(figure, palette.MEASURED, 0)
    assert np.abs(np.interp(x, trace.position_mm, trace.deviation_um) - y).max() < 0.25
    assert x[0] < 0.3
    assert x[-1] > 19.7


def test_profiles_run_from_root_to_tip_whatever_the_gear() -> None:
    for kind in ("internal", "external"):
        part = part_of(kind=kind)
        figure = figures(document_of([measured(part=part)], part))["Profile traces"]
        reading = next(p.get("data-r", "") for p in paths(figure, palette.MEASURED) if p.get("data-r"))
        # On an internal gear the tip, at the right, is the smaller diameter and length of roll.
        assert (float(reading.split()[1]) < 0) == (kind == "internal")
        shown = words(figure)
        assert "◂ root" in shown
        assert "diam., mm" in shown


def test_a_positive_slope_rises_to_the_right() -> None:
    part = part_of()
    roll = measured().traces[0].position_mm
    flat = [
        replace(t, deviation_um=-1.5 * (roll - 11)) if t.kind == "profile" else t for t in measured().traces
    ]
    figure = figures(document_of([replace(measured(), traces=tuple(flat))], part))["Profile traces"]
    assert "fHα +" in figure.description
    line = next(p for p in paths(figure, palette.MEASURED) if p.get("data-r")).get("d", "")
    numbers = [int(n) for n in re.findall(r"-?\d+", line)]
    rise = sum(numbers[3::2])
    run = sum(numbers[2::2])
    assert rise / run < 0  # to the right it goes up, which on paper is towards smaller y


def test_the_tolerance_room_is_as_high_as_the_tolerance() -> None:
    gear = measured()
    document = document_of([gear])
    figure = figures(document)["Profile traces"]
    root = ET.fromstring(figure.svg)
    reading = next(p for p in root.iter(f"{NS}path") if p.get("data-r"))
    per_unit = abs(float(reading.get("data-r", "").split()[3]))
    bands = [
        p for p in root.iter(f"{NS}path") if p.get("class") == f"f{palette.BAND.key}" and p.get("transform")
    ]
    numbers = [int(n) for n in re.findall(r"-?\d+", bands[0].get("d", ""))]
    heights = np.cumsum(np.array(numbers).reshape(-1, 2), axis=0)[:, 1] / 10
    from gearqa.evaluation.evaluate import evaluate

    result = next(iter(evaluate([gear], part_of())))
    tolerance = result.parameters["profile_total"].flanks["left"].tolerance_um
    assert (heights.max() - heights.min()) * per_unit == pytest.approx(tolerance, abs=0.11 * per_unit * 2)


def test_values_beyond_their_tolerance_carry_a_mark() -> None:
    figure = figures(document_of([measured(size=4.0)]))["Profile traces"]
    assert any(word.endswith("✗") for word in words(figure))
    assert not any(word.endswith("✗") for word in words(figures(document_of())["Profile traces"]))


def test_flanks_not_measured_and_traces_not_evaluable_are_said() -> None:
    gear = measured()
    some = [t for t in gear.traces if (t.flank, t.tooth) != ("left", 9)]
    short = [
        replace(t, position_mm=t.position_mm[:100], deviation_um=t.deviation_um[:100])
        if (t.kind, t.flank, t.tooth) == ("helix", "right", 1)
        else t
        for t in some
    ]
    shown = figures(document_of([replace(gear, traces=tuple(short))]))
    assert "not measured" in words(shown["Profile traces"])
    assert "not assessed" in words(shown["Helix traces"])
    assert "Tooth 1, right: not assessed." in shown["Helix traces"].description


def test_many_teeth_go_on_several_charts_of_one_scale() -> None:
    gear = measured()
    first = [t for t in gear.traces if t.tooth == 1 and t.kind == "profile"]
    traces = tuple(replace(t, tooth=tooth) for tooth in range(1, 17) for t in first)
    shown = [
        f for title, f in figures(document_of([replace(gear, traces=traces)])).items() if "Profile" in title
    ]
    assert len(shown) == 2
    bars = {next(w for w in words(f) if re.fullmatch(r"\d+ µm", w)) for f in shown}
    assert len(bars) == 1
    teeth = [w for f in shown for w in words(f) if w.startswith("tooth ")]
    assert teeth == [f"tooth {k}" for k in range(1, 17)]


def test_pitch_charts_show_every_tooth_of_both_flanks(sheet: dict[str, Figure]) -> None:
    single = ET.fromstring(sheet["Single pitch deviation of every tooth"].svg)
    bars = [p.get("d", "") for p in single.iter(f"{NS}path") if p.get("class") == f"f{palette.FILTERED.key}"]
    assert sorted(d.count("M") for d in bars)[-2:] == [TEETH, TEETH]
    index = sheet["Index of every tooth and radial position of every space"]
    assert "first harmonic" in words(index)
    assert len(paths(index, palette.DESIGN)) == 4  # sample, two flanks, runout


def test_charts_round_the_gear_use_their_height(sheet: dict[str, Figure]) -> None:
    """However wide the tolerance: the scale is the largest even one at which the values fit."""
    wide = part_of(tolerance={"standard": "ISO 1328-1:2013", "class": 11})
    for title in list(sheet)[2:4]:
        other = figures(document_of([measured()], wide))[title]
        scale = [next(w for w in words(f) if w.endswith(":1")) for f in (sheet[title], other)]
        assert scale[0] == scale[1]


def test_a_failing_trace_is_seen_where_it_leaves_the_room_most() -> None:
    """Extra metal in the tip zone, outside the evaluation range, is what fails: the line is whole there."""
    part, gear = part_of(kind="external"), measured(part=part_of(kind="external"))
    first = next(t for t in gear.traces if t.kind == "profile" and t.tooth == 1 and t.flank == "left")
    roll = first.position_mm
    bump = np.where(roll > 15.35, 40.0, 0.0)  # 67.6 mm is at 15.6 mm, the range ends at 15.2
    traces = [replace(t, deviation_um=t.deviation_um + bump) if t is first else t for t in gear.traces]
    figure = figures(document_of([replace(gear, traces=tuple(traces))], part))["Profile traces"]
    x, y = drawn(figure, palette.MEASURED, 0)
    assert y[x < 15.55].max() > 38.0


def test_the_first_harmonic_is_drawn_with_its_amplitude() -> None:
    gear = measured()
    turn = 2 * np.pi * np.arange(TEETH) / TEETH
    pure = replace(gear, runout=replace(gear.runout, radial_um=8 * np.cos(turn - 1)))  # type: ignore[type-var]
    figure = figures(document_of([pure]))["Index of every tooth and radial position of every space"]
    assert "First harmonic of the radial position 8.00 µm" in figure.description
    curves = [p for p in ET.fromstring(figure.svg).iter(f"{NS}path") if p.get("data-r")][-2:]
    heights = []
    for path in curves:
        _, _, c, d = (float(x) for x in path.get("data-r", "").split())
        numbers = [int(n) for n in re.findall(r"-?\d+", path.get("d", ""))]
        heights.append(c + d * np.cumsum(np.array(numbers).reshape(-1, 2), axis=0)[:, 1] / 10)
    for one in heights:
        assert one.max() == pytest.approx(8.0, abs=0.15)
        assert one.min() == pytest.approx(-8.0, abs=0.15)


def test_class_overview_places_marks_by_exact_class() -> None:
    rows = (
        OverviewRow("A", (("left", 4.0, True), ("right", 7.5, False)), (6.0, 6.0), 4.0, "w"),
        OverviewRow("B", (("", None, True),), (6.0,), None, "w"),
    )
    svg = class_overview(Overview("t", "d", rows, "required", "master", (1, 11)))
    root = ET.fromstring(svg)
    marks = [
        p
        for p in root.iter(f"{NS}path")
        if re.fullmatch(r"M[\d.]+ [\d.]+l-?8 5 -?8 5z|M[\d.]+ [\d.]+l-8 5 8 5z", p.get("d", ""))
    ]
    drawn_marks = [p for p in marks if float(p.get("d", "")[1:].split()[1].split("l")[0]) > 36]
    x = {p.get("fill"): float(p.get("d", "")[1:].split()[0]) for p in drawn_marks}
    scale = Scale(-0.6, 13.6, 34.0, HALF - 76.0)
    assert x[palette.TEXT.light] == pytest.approx(scale.at(4.0), abs=0.06)
    assert x[palette.BAD.light] == pytest.approx(scale.at(7.5), abs=0.06)


def test_general_plot_takes_every_layer() -> None:
    x = np.arange(10.0)
    panel = plot.Panel(
        "panel",
        (
            plot.Band(0.0, 4.0, name="band"),
            plot.Band(x * 0, x, x=x, name="fan"),
            plot.Line(x, np.where(x == 5, np.nan, x), name="line"),
            *(
                plot.Dots(x, x, shape=shape, name=shape)
                for shape in ("circle", "square", "diamond", "triangle", "cross")
            ),
            plot.Bars(x, x, 0.5, name="bars"),
            plot.Level(3.0, words="limit", name="level"),
            plot.Mark(4.0, words="dress", name="mark"),
        ),
    )
    svg = plot.draw(
        plot.Plot("t", "d", (panel, panel), x=(0.0, 9.0), x_name="parts", marks=(plot.Mark(2.0, "event"),))
    )
    shown = ["".join(t.itertext()) for t in ET.fromstring(svg).iter(f"{NS}text")]
    for needed in (
        "panel",
        "band",
        "fan",
        "line",
        "circle",
        "bars",
        "level",
        "limit",
        "dress",
        "event",
        "parts",
    ):
        assert needed in shown
    assert "nan" not in svg
    assert svg == plot.draw(
        plot.Plot("t", "d", (panel, panel), x=(0.0, 9.0), x_name="parts", marks=(plot.Mark(2.0, "event"),))
    )

"""SVG text: well formed, escaped, small; scales and curves."""

from __future__ import annotations

from xml.etree import ElementTree as ET

import numpy as np
import pytest

from gearqa.report.blocks.document import symbol
from gearqa.report.draw import palette
from gearqa.report.draw.chart_scales import Scale, micrometre_bar, nice, ticks
from gearqa.report.draw.svg import NO_LIGATURE, Canvas, curve, thinned

HOSTILE = "<script>alert('x')</script> \"q\" & \x00\x0b\x1b \u202e ]]> {x} #a"


def test_hostile_text_stays_text_and_well_formed() -> None:
    canvas = Canvas(100, 50, HOSTILE, HOSTILE)
    canvas.text(1, 2, HOSTILE)
    root = ET.fromstring(canvas.tostring())
    assert root.find(".//{*}script") is None
    shown = root.find("{*}text")
    assert shown is not None
    assert shown.text is not None
    assert "<script>" in shown.text
    assert "⟨U+0000⟩⟨U+000B⟩⟨U+001B⟩ ⟨U+202E⟩" in shown.text


def test_name_and_description_for_those_who_cannot_see() -> None:
    root = ET.fromstring(Canvas(10, 10, "What", "All of it").tostring())
    assert root.get("role") == "img"
    assert [(child.tag.rpartition("}")[2], child.text) for child in root] == [
        ("title", "What"),
        ("desc", "All of it"),
    ]


def test_a_symbol_is_one_searchable_text_with_its_subscript() -> None:
    canvas = Canvas(10, 10, "t", "d")
    element = canvas.text(0, 0, symbol("profile_form"))
    assert "".join(element.itertext()).replace(NO_LIGATURE, "") == "ffα"
    assert element[0].get("dy")


def test_print_colour_stands_in_the_attribute_and_a_class_beside_it() -> None:
    canvas = Canvas(10, 10, "t", "d")
    canvas.path("M0 0L1 1", stroke=palette.FILTERED)
    path = canvas.root.find("path")
    assert path is not None
    assert (path.get("stroke"), path.get("class")) == ("#0072B2", "sfi")


def points_of(d: str) -> list[list[tuple[int, int]]]:
    """The points of path data made by `curve`, by a reader of its own."""
    lines = []
    for part in d.split("M")[1:]:
        head, _, tail = part.partition("l")
        numbers = [int(n) for n in (head + " " + tail).replace("-", " -").split()]
        pairs = list(zip(numbers[::2], numbers[1::2], strict=True))
        x, y = pairs[0]
        line = [(x, y)]
        for dx, dy in pairs[1:]:
            x, y = x + dx, y + dy
            line.append((x, y))
        lines.append(line)
    return lines


def test_curve_goes_through_the_points_to_a_tenth_of_a_unit() -> None:
    rng = np.random.default_rng(3)
    x = np.sort(rng.uniform(0, 200, 500))
    y = rng.normal(0, 30, 500)
    (line,) = points_of(curve(x, y))
    wanted = np.rint(np.column_stack((x, y)) * 10).astype(int).tolist()
    kept = [tuple(p) for k, p in enumerate(wanted) if k == 0 or p != wanted[k - 1]]
    assert line == kept


def test_curve_breaks_at_gaps() -> None:
    y = np.array([0.0, 1.0, np.nan, 3.0, 4.0, np.nan, 9.0])
    assert [len(line) for line in points_of(curve(np.arange(7.0), y))] == [2, 2]


def test_thinning_keeps_the_line_and_its_ends() -> None:
    x = np.linspace(0, 200, 2000)
    y = 20 * np.sin(x / 15)
    xs, ys = thinned(x, y, 0.2)
    assert len(xs) < len(x) / 4
    assert (xs[0], xs[-1]) == (x[0], x[-1])
    assert np.abs(np.interp(x, xs, ys) - y).max() < 0.5


def test_thinning_leaves_no_spike_out() -> None:
    y = np.zeros(100)
    y[37] = 5.0
    xs, ys = thinned(np.arange(100.0), y)
    assert ys.max() == 5.0
    assert 37.0 in xs


@pytest.mark.parametrize(("low", "high"), [(0.0, 32.0), (4.4, 15.4), (-3.0, 3.0), (0.001, 0.004)])
def test_ticks_are_round_and_inside(low: float, high: float) -> None:
    found = ticks(low, high, 6)
    assert 3 <= len(found) <= 13
    assert all(low - 1e-9 <= value <= high + 1e-9 for value, _ in found)
    assert [float(label) for _, label in found] == pytest.approx([value for value, _ in found], abs=1e-12)


def test_scales_run_backwards_too() -> None:
    scale = Scale(24.0, 8.0, 50.0, 250.0)
    assert (scale.at(24.0), scale.at(8.0), scale.at(16.0)) == (50.0, 250.0, 150.0)


@pytest.mark.parametrize("units", [0.03, 0.5, 2.9, 10.0])
def test_the_bar_is_round_and_long_enough_to_be_read(units: float) -> None:
    bar = micrometre_bar(units)
    assert 13.0 <= bar * units <= 13.0 * 2.5
    assert nice(bar) == bar


# Contrast of two colours: relative luminance, W3C WCAG 2.1, definitions of "relative luminance" and
# "contrast ratio"; 3:1 for graphics (1.4.11) and 4.5:1 for text (1.4.3).


def luminance(colour: str) -> float:
    parts = (int(colour[k : k + 2], 16) / 255 for k in (1, 3, 5))
    r, g, b = (c / 12.92 if c <= 0.03928 else ((c + 0.055) / 1.055) ** 2.4 for c in parts)
    return 0.2126 * r + 0.7152 * g + 0.0722 * b


def contrast(one: str, other: str) -> float:
    high, low = sorted((luminance(one), luminance(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


@pytest.mark.parametrize("theme", ["light", "dark"])
@pytest.mark.parametrize(
    ("ink", "needed"),
    [
        (palette.TEXT, 4.5), (palette.MUTED, 4.5), (palette.FILTERED, 3.0), (palette.DESIGN, 3.0),
        (palette.MEAN, 3.0), (palette.MEASURED, 3.0), (palette.LIMIT, 3.0), (palette.BAD, 3.0),
        (palette.GOOD, 3.0), (palette.OPEN, 3.0),
    ],
    ids=lambda value: value.key if isinstance(value, palette.Ink) else "",
)  # fmt: skip
@pytest.mark.published
def test_contrast_on_paper_and_on_the_tolerance_band(ink: palette.Ink, needed: float, theme: str) -> None:
    colour, paper, band = (getattr(one, theme) for one in (ink, palette.PAPER, palette.BAND))
    assert contrast(colour, paper) >= needed
    if ink in (palette.FILTERED, palette.DESIGN, palette.MEAN, palette.MEASURED):
        assert contrast(colour, band) >= 3.0

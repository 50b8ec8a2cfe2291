"""The sketch of ring and pinion agrees with the rules of numbering, place by place."""

from __future__ import annotations

import math

import pytest

from gearqa.core.geometry import gear_geometry
from gearqa.report.draw.flank_sketch import (
    DESCRIPTIONS,
    GEARS,
    TEETH_SHOWN,
    clockwise_text,
    outline,
    place,
    text_sketch,
)

KINDS = list(GEARS)


@pytest.mark.parametrize("kind", KINDS)
def test_left_is_left_and_right_is_right_with_the_tip_up(kind):
    gear = GEARS[kind]
    for radius in (gear.tip_radius, gear.reference_radius):
        left = place(radius, gear.flank_angle("left", 2, radius))
        right = place(radius, gear.flank_angle("right", 2, radius))
        assert left[0] < 0 < right[0]
    assert place(gear.tip_radius, gear.up)[1] > place(gear.root_radius, gear.up)[1]


@pytest.mark.parametrize(("kind", "first"), [("external", "left"), ("internal", "right")])
def test_going_clockwise_the_flanks_come_in_the_stated_order(kind, first):
    gear = GEARS[kind]
    second = "right" if first == "left" else "left"
    r = gear.reference_radius
    order = [gear.flank_angle(flank, tooth, r) for tooth in TEETH_SHOWN for flank in (first, second)]
    assert order == sorted(order)


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.independent
def test_the_flank_is_the_involute(kind):
    """The same geometry from its base circle: the normal of an involute touches the base circle."""
    gear = GEARS[kind]
    exact = gear_geometry(gear.teeth, 1.0, math.radians(20), 0.0, 10.0, s=gear.s, H=0)
    base = exact.d_b / 2
    h = 1e-6
    for radius in (gear.reference_radius * 0.99, gear.reference_radius * 1.02):
        x0, y0 = place(radius - h, gear.flank_angle("right", 2, radius - h))
        x1, y1 = place(radius + h, gear.flank_angle("right", 2, radius + h))
        x, y = place(radius, gear.flank_angle("right", 2, radius))
        tangent = math.atan2(y1 - y0, x1 - x0)
        distance_of_normal = abs(x * math.cos(tangent) + y * math.sin(tangent))
        assert distance_of_normal == pytest.approx(base, rel=1e-6)


@pytest.mark.parametrize("kind", KINDS)
def test_tooth_and_space_are_equal_at_the_reference_circle(kind):
    gear = GEARS[kind]
    assert gear.half_thickness(gear.reference_radius) == pytest.approx(gear.pitch_angle / 4)


@pytest.mark.parametrize("kind", KINDS)
def test_the_text_sketch_has_its_labels_in_order(kind):
    sketch = text_sketch(kind)
    assert sketch.isascii()
    assert max(map(len, sketch.splitlines())) <= 80
    body = sketch.split("\n", 1)[1]
    columns = {}
    for line in body.splitlines():
        for at, letter in enumerate(line):
            if letter in "LR":
                columns.setdefault(letter, []).append(at)
    assert len(columns["L"]) == len(columns["R"]) == 3
    order = [letter for _, letter in sorted((at, k) for k, ats in columns.items() for at in ats)]
    assert order == ["L", "R"] * 3  # tips up: each tooth has its left flank on the left
    numbers = [at for _, at in sorted((digit, line.index(f" {digit} ")) for digit in "123"
                                      for line in body.splitlines() if f" {digit} " in line)]  # fmt: skip
    assert numbers == sorted(numbers, reverse=kind == "internal")


def test_the_arrow_shows_where_clockwise_runs():
    assert clockwise_text(GEARS["external"]).endswith("==>")
    assert clockwise_text(GEARS["internal"]).startswith("<==")


@pytest.mark.parametrize("kind", KINDS)
def test_the_outline_stays_between_tip_and_rim(kind):
    gear = GEARS[kind]
    radii = [math.hypot(x, y) for x, y in outline(gear)]
    low, high = sorted((gear.tip_radius, gear.rim_radius))
    assert low - 1e-9 <= min(radii)
    assert max(radii) <= high + 1e-9


def test_the_words_say_the_same():
    assert "left flank, then its right flank" in DESCRIPTIONS["external"]
    assert "right flank, then its left flank" in DESCRIPTIONS["internal"]

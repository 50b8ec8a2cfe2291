"""Laying raw data of two sides over each other: turned, shifted, scattered, unlike."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from unit.incoming.laboratory import sample

from gearqa.incoming.alignment import align, chance_correlation, same_gears, turned_index, without_low_orders
from gearqa.model.measurement import PitchReadings, Trace
from gearqa.reading.folder.canonical import turn_columns
from gearqa.reading.folder.sources import Convention
from gearqa.symbols import FLANKS

RING = "ring_conforming"


def seen_otherwise(gear, part, *, swap=False, backwards=False, shift=0, noise=0.0, lean=0.0, rng=None):
    """The same gear as a laboratory with other conventions would hand it over."""
    z = part.gear.teeth
    theta = 2 * np.pi * np.arange(z) / z
    pitch = {}
    for flank in FLANKS:
        source = FLANKS[1 - FLANKS.index(flank)] if swap else flank
        index = gear.pitch[source].index_um + lean * np.cos(theta - 1.0)
        if noise:
            index = index + noise * rng.standard_normal(z)
        index = np.roll(index, -shift)
        if backwards:
            numbers = np.arange(1, z + 1)
            convention = Convention(numbering="anticlockwise")
            columns = turn_columns("pitch", {"tooth": numbers, "index_um": index}, convention, part)
            index = columns["index_um"][np.argsort(columns["tooth"])]
        pitch[flank] = PitchReadings(flank, index)
    return replace(gear, pitch=pitch, traces=())


def laid(theirs, ours, part, partner=None):
    ours = {gear.serial: gear for gear in ours}
    theirs = {gear.serial: gear for gear in theirs}
    partner = partner or {serial: serial for serial in theirs}
    return align(theirs, ours, partner, part.gear.teeth, part.gear.face_width_mm)


@pytest.mark.independent
@pytest.mark.parametrize("name", [RING, "pinion"])
@pytest.mark.parametrize(
    ("swap", "backwards", "shift"), [(False, False, 0), (True, False, 7), (True, True, 5), (False, True, 1)]
)
def test_any_convention_is_undone(name, swap, backwards, shift):
    """Turned by the reader's own rules for other conventions, with a constant, eccentricity and noise."""
    part, gears = sample(name, 4)
    rng = np.random.default_rng(4)
    theirs = [
        seen_otherwise(g, part, swap=swap, backwards=backwards, shift=shift, noise=0.2, lean=8.0, rng=rng)
        for g in gears
    ]
    alignments, _ = laid(theirs, gears, part)
    assert same_gears(alignments) == (True, "curves_alike")
    for one in alignments:
        assert (one.flanks_swapped, one.direction_reversed, one.tooth_shift) == (swap, backwards, shift)
        assert one.correlation > 0.85
        assert not one.identical


def test_identical_data_are_told_from_measured_again():
    part, gears = sample(RING, 2)
    theirs = [replace(seen_otherwise(g, part, shift=3), traces=()) for g in gears]
    alignments, _ = laid(theirs, gears, part)
    assert same_gears(alignments) == (True, "identical_data")
    assert max(one.residual_um for one in alignments) < 1e-9


def test_serials_mixed_up():
    part, gears = sample(RING, 4)
    rng = np.random.default_rng(9)
    theirs = [seen_otherwise(g, part, noise=0.2, rng=rng) for g in gears]
    serials = [g.serial for g in gears]
    partner = dict(zip(serials, serials[1:] + serials[:1], strict=True))
    alignments, _ = laid(theirs, gears, part, partner)
    assert same_gears(alignments) == (False, "serials_mixed_up")
    assert [one.best_match for one in alignments] == serials


def test_another_gear_is_told():
    part, gears = sample(RING, 5)
    strange = replace(gears[4], serial="OT-0201")
    alignments, _ = laid([strange], gears[:2], part)
    assert same_gears(alignments) == (False, "curves_unlike")


def test_without_pitch_traces_alone_do_not_tell_unless_they_are_the_same_numbers():
    part, gears = sample(RING, 2)
    bare = [replace(g, pitch={}) for g in gears]
    alignments, pairs = laid(bare, gears, part)
    assert same_gears(alignments) == (True, "identical_data")
    assert {p.kind for p in pairs} == {"profile", "helix"}
    rng = np.random.default_rng(2)

    def noisy(trace):
        return replace(trace, deviation_um=trace.deviation_um + rng.normal(0, 0.2, len(trace.deviation_um)))

    scattered = [replace(g, traces=tuple(map(noisy, g.traces))) for g in bare]
    alignments, _ = laid(scattered, gears, part)
    assert same_gears(alignments) == (None, "no_pitch_curves")
    assert alignments[0].trace_residual_um == pytest.approx(0.2, rel=0.1)
    assert same_gears(()) == (None, "no_raw_data")


@pytest.mark.independent
def test_unlike_curves_stay_below_what_chance_reaches():
    """White noise, 400 pairs: the best alignment exceeds the bound about once in a thousand times."""
    part, gears = sample(RING, 1)
    rng = np.random.default_rng(12)
    z = part.gear.teeth
    beyond = 0
    for _ in range(400):
        curves = [
            replace(gears[0], traces=(), pitch={f: PitchReadings(f, rng.standard_normal(z)) for f in FLANKS})
            for _ in range(2)
        ]
        (one,), _ = laid([curves[0]], [curves[1]], part)
        beyond += one.correlation > chance_correlation(z)
    assert beyond <= 4  # P(more than 4 of 400 at 0.001) = 8e-6


def test_low_orders_are_taken_out():
    theta = 2 * np.pi * np.arange(40) / 40
    low = 3 + 5 * np.cos(theta) + 2 * np.sin(3 * theta)
    high = np.cos(11 * theta)
    assert np.allclose(without_low_orders(low + high), high, atol=1e-12)


@pytest.mark.independent
def test_counting_backwards_agrees_with_the_reader():
    part, _ = sample(RING, 1)
    z = part.gear.teeth
    index = np.random.default_rng(1).standard_normal(z)
    table, convention = (
        {"tooth": np.arange(1, z + 1), "index_um": index},
        Convention(numbering="anticlockwise"),
    )
    columns = turn_columns("pitch", table, convention, part)
    assert np.allclose(turned_index(index, True), columns["index_um"][np.argsort(columns["tooth"])])


def test_traces_without_room_in_common_are_left_out():
    part, gears = sample(RING, 1)
    moved = tuple(
        Trace(t.kind, t.flank, t.tooth, t.position_mm + 500.0, t.deviation_um) for t in gears[0].traces
    )
    alignments, pairs = laid([replace(gears[0], traces=moved)], gears, part)
    assert alignments[0].trace_residual_um is None
    assert {p.kind for p in pairs} == {"pitch"}

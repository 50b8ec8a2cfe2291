"""A wave whose order four teeth cannot tell is no other error: what it makes of slopes, first orders of pitch
and patterns over the teeth is said to be open. Gears from tests/foreign_gears.py."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from foreign_gears import Faults, Maker, World
from unit.diagnosis.made import setup

from gearqa.diagnosis.analysis import diagnose_gears

WAVES = [
    # seen once a tooth, order k z + 1 or - 1 is a first order
    ("internal", 18.0, 87, 262, {"eccentricity", "tangential"}),
    ("external", 22.0, 40, 159, {"eccentricity", "tangential"}),
    ("external", 0.0, 40, 121, {"eccentricity", "tangential"}),
    # a multiple of four stands alike on four teeth
    ("external", 0.0, 40, 124, {"pressure_angle"}),
    ("external", 22.0, 40, 108, {"lead"}),
    # order 10 less 4 x 40: a pattern of four teeth
    ("external", 22.0, 40, 170, set()),
]


def diagnosed(kind, beta, z, faults, seed=3, **more):
    maker = Maker(World(kind=kind, beta=beta, z=z, points=121, **more))
    (found,), _ = diagnose_gears([maker.gear(faults, np.random.default_rng(seed))], setup(maker.part))
    return found, {one.key: one for one in found.components if one.significant}


@pytest.mark.independent
@pytest.mark.parametrize(("kind", "beta", "z", "order", "open_"), WAVES)
@pytest.mark.parametrize("crest", [0.3, 0.9])
def test_what_an_unnamed_wave_makes_is_not_claimed(kind, beta, z, order, open_, crest):
    found, named = diagnosed(kind, beta, z, Faults(ripple=(order, 1.5, crest)))
    assert set(named) == {"ripple"}
    assert named["ripple"].order is None
    if crest == 0.3:
        assert open_ <= {one.key for one in found.not_identifiable}


@pytest.mark.independent
@pytest.mark.parametrize(("kind", "beta", "z", "order", "open_"), WAVES)
def test_what_is_larger_than_the_wave_can_make_is_still_named(kind, beta, z, order, open_):
    faults = Faults(
        eccentricity=(8.0, 40.0), tangential=(6.0, 200.0), pressure_angle=-4.0, lead=5.0,
        ripple=(order, 1.0, 0.3),
    )  # fmt: skip
    _, named = diagnosed(kind, beta, z, faults)
    assert {"eccentricity", "tangential", "pressure_angle", "lead", "ripple"} <= set(named)


@pytest.mark.independent
def test_an_eccentricity_alone_is_not_that_of_a_wave_of_one_flank():
    """A wave of one flank makes a tangential error as well."""
    _, named = diagnosed("external", 22.0, 40, Faults(eccentricity=(2.0, 40.0), ripple=(159 + 4, 1.5, 0.3)))
    assert set(named) == {"eccentricity", "ripple"}


def wave(trace, waves, start):
    """Of 1 um on profiles of the left flank."""
    if trace.kind != "profile" or trace.flank != "left":
        return 0.0
    along = (trace.position_mm - trace.position_mm[0]) / np.ptp(trace.position_mm)
    return np.cos(2 * np.pi * (waves * along + start))


@pytest.mark.independent
@pytest.mark.parametrize(("kind", "beta", "z"), [("internal", 18.0, 87), ("external", 0.0, 40)])
@pytest.mark.parametrize("teeth", [4, 8])
def test_waves_without_a_phase_are_neither_named_nor_slopes(kind, beta, z, teeth):
    """Waves that begin anywhere on each tooth are no wave of the rotation."""
    rng = np.random.default_rng(9)
    named = []
    for waves in (1.8, 2.6, 4.1):
        maker = Maker(World(kind=kind, beta=beta, z=z, points=121, teeth=teeth))
        gear = maker.gear(Faults(), rng)
        traces = tuple(
            replace(one, deviation_um=one.deviation_um + wave(one, waves, rng.uniform()))
            for one in gear.traces
        )
        (found,), _ = diagnose_gears([replace(gear, traces=traces)], setup(maker.part))
        named += [(one.key, one.order) for one in found.components if one.significant]
    assert named == []

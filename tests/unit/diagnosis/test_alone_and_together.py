"""Errors alone and all together, on gears of tests/foreign_gears.py; and the ladder against the gear that was
made without the error. Sizes within their stated uncertainty at k = 3, and 0.6 um or 15 % at most."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest
from foreign_gears import Faults, Maker, World
from unit.diagnosis.made import setup

from gearqa.diagnosis.analysis import GearByGear

WORLDS = [
    ("internal", 18.0, "right"), ("internal", 18.0, "left"), ("internal", 0.0, "right"),
    ("external", 22.0, "right"), ("external", 22.0, "left"), ("external", 0.0, "right"),
]  # fmt: skip
ALL = Faults(
    eccentricity=(9.0, 40.0), tilt=(8.0, 250.0), lobes=(3, 6.0, 70.0), tangential=(7.0, 130.0),
    pressure_angle=-4.0, profile_asymmetry=3.0, lead=4.5, taper=-3.5, profile_crowning=2.5,
    helix_crowning=-3.0,
)  # fmt: skip
KEYS = (
    "eccentricity", "tilt", "lobes", "tangential", "pressure_angle", "profile_asymmetry", "lead", "taper",
    "profile_crowning", "helix_crowning",
)  # fmt: skip


@lru_cache(maxsize=1)
def made(kind, beta, hand):
    """A world, and what takes its gears apart."""
    maker = Maker(World(kind=kind, beta=beta, hand=hand, z=40, teeth=6, points=81, noise=0.7))
    return maker, GearByGear(setup(maker.part))


def diagnosed(world, faults, seed):
    maker, taken_apart = made(*world)
    return taken_apart.of(maker.gear(faults, np.random.default_rng(seed)))


def only(key):
    return replace(Faults(), **{key: getattr(ALL, key)})


def is_right(one, truth):
    *order, size, crest = truth if isinstance(truth, tuple) else (truth, None)
    off = abs(one.amplitude_um - size)
    assert off <= min(1.5 * one.u_um, max(0.6, 0.15 * abs(size))), (one, truth)
    if crest is not None:
        n = order[0] if order else 1
        turned = math.remainder(one.phase_deg - crest, 360 / n) * n
        assert abs(turned) < 10, (one, truth)


@pytest.mark.independent
@pytest.mark.parametrize("world", WORLDS)
def test_each_error_alone(world):
    for seed, key in enumerate(KEYS):
        found = {one.key: one for one in diagnosed(world, only(key), seed).components if one.significant}
        assert set(found) == {key}
        is_right(found[key], getattr(ALL, key))


@pytest.mark.independent
@pytest.mark.parametrize("world", WORLDS)
@pytest.mark.parametrize("seed", [1, 2])
def test_all_errors_together(world, seed):
    found = {one.key: one for one in diagnosed(world, ALL, seed).components if one.significant}
    assert set(found) == set(KEYS)
    for key in KEYS:
        is_right(found[key], getattr(ALL, key))


@pytest.mark.independent
@pytest.mark.parametrize("world", WORLDS)
def test_the_ladder_is_the_gear_made_without_the_errors(world):
    """The same readings but for the errors: the class that the ladder promises."""
    with_all = diagnosed(world, ALL, 3)
    rungs = [one for one in with_all.ladder if set(one.without) <= set(KEYS) and one.without]
    assert len(rungs) >= len(KEYS)
    for rung in (rungs[0], rungs[-1]):
        left = replace(ALL, **{key: getattr(Faults(), key) for key in rung.without})
        made_so = diagnosed(world, left, 3)
        (raw,) = [one for one in made_so.ladder if not one.without]
        assert rung.class_exact == pytest.approx(raw.class_exact, abs=0.25), rung.without
        if abs(raw.class_exact - round(raw.class_exact)) > 0.25:
            assert rung.class_ == raw.class_

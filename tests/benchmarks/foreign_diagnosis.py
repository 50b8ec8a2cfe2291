"""What `diagnose` says of gears that another generator made (tests/foreign_gears.py), measured in many ways.

    python tests/benchmarks/foreign_diagnosis.py [gears a world, clean] [gears with faults] [seed]

Clean gears: reports with a component, by world. Gears with one to three faults: named right (key, order,
sign, amplitude and phase within 15 % or 0.6 um), not seen, told as not identifiable, others named; how often
the interval of the amplitude (k = 2) holds the truth.
"""

from __future__ import annotations

import math
import sys
from collections import Counter
from dataclasses import replace
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))
from foreign_gears import Faults, Maker, World

from gearqa.diagnosis.analysis import diagnose_gears
from gearqa.evaluation.part_setup import setup_of

SHAPES = [
    ("internal", 18.0, "right"),
    ("external", 22.0, "left"),
    ("external", 0.0, ""),
    ("internal", 0.0, ""),
]
BASE = World()
WORLDS = {
    "white noise": BASE,
    "correlated form noise": replace(BASE, ar=0.9),
    "rounded to 0.1 um": replace(BASE, rounded_um=0.1),
    "rounded to 1 um": replace(BASE, rounded_um=1.0),
    "few points": replace(BASE, points=60),
    "three teeth": replace(BASE, teeth=3),
    "six teeth": replace(BASE, teeth=6),
    "all of 24 teeth": replace(BASE, teeth=24, z=24, points=121),
    "17 teeth": replace(BASE, z=17),
    "120 teeth": replace(BASE, z=120),
    "crowned by design": replace(BASE, crowning=(2.0, 4.0)),
    "three places": replace(BASE, profiles_at=(4.0, 16.0, 28.0)),
    "profiles only": replace(BASE, tables=("profile",)),
    "helices only": replace(BASE, tables=("helix",)),
    "pitch only": replace(BASE, tables=("pitch",)),
    "one flank": replace(BASE, flanks=("right",)),
}
ONE = {
    "eccentricity": lambda r, w: (r.uniform(4, 15), r.uniform(0, 360)),
    "tilt": lambda r, w: (r.uniform(4, 10), r.uniform(0, 360)),
    "lobes": lambda r, w: (int(r.integers(2, 6)), r.uniform(4, 12), r.uniform(0, 360)),
    "tangential": lambda r, w: (r.uniform(4, 10), r.uniform(0, 360)),
    "pitch_ramp": lambda r, w: (int(r.integers(1, w.z + 1)), r.uniform(8, 20)),
    "ripple": lambda r, w: (int(r.integers(2 * w.z + 1, 3 * w.z)), r.uniform(0.4, 1.0), r.uniform(0, 360)),
}
SIGNED = ("pressure_angle", "profile_asymmetry", "lead", "taper", "profile_crowning", "helix_crowning")
LARGE = 0.15
"""Of an amplitude, or 0.6 um: what still counts as right."""


def shaped(world, number):
    kind, beta, hand = SHAPES[number % len(SHAPES)]
    neutral = 1.06 if kind == "internal" else 0.8
    return replace(world, kind=kind, beta=beta, hand=hand, neutral=neutral)


def expected(faults):
    """Key -> order, amplitude, direction."""
    told = {}
    for key in ONE:
        value = getattr(faults, key)
        if value and key in ("lobes", "ripple"):
            told[key] = value
        elif value and key == "pitch_ramp":
            told[key] = (None, value[1], None)
        elif value:
            told[key] = (1, *value)
    told |= {key: (None, getattr(faults, key), None) for key in SIGNED if getattr(faults, key)}
    return told


def right(one, order, amplitude, direction):
    near = abs(one.amplitude_um - amplitude) <= max(0.6, LARGE * abs(amplitude))
    turned = 0.0
    if direction is not None and one.phase_deg is not None:
        turned = abs(math.remainder(one.phase_deg - direction, 360 / order)) * order
    return one.order in (order, None) and near and turned < 20


def main(clean=20, faulty=100, seed=7):
    rng = np.random.default_rng(seed)
    for name, world in WORLDS.items():
        named = Counter()
        for number in range(clean):
            maker = Maker(shaped(world, number))
            (found,), _ = diagnose_gears([maker.gear(Faults(), rng)], setup_of(maker.part))
            keys = [one.key for one in found.components if one.significant]
            named["reports"] += bool(keys)
            named.update(keys)
        print(f"clean, {name}: {named.pop('reports', 0)} of {clean} {dict(named)}", flush=True)
    count, holds, others = Counter(), Counter(), Counter()
    worlds = list(WORLDS.values())
    for _ in range(faulty):
        world = shaped(worlds[int(rng.integers(len(worlds)))], int(rng.integers(4)))
        maker, faults = Maker(world), Faults()
        for key in rng.choice([*ONE, *SIGNED], size=int(rng.integers(1, 4)), replace=False):
            value = ONE[key](rng, world) if key in ONE else float(rng.choice([-1, 1]) * rng.uniform(2, 6))
            setattr(faults, str(key), value)
        (found,), _ = diagnose_gears([maker.gear(faults, rng)], setup_of(maker.part))
        hidden = {one.key for one in found.not_identifiable}
        wanted = expected(faults)
        for key, truth in wanted.items():
            those = [one for one in found.components if one.key == key and one.significant]
            fit = [one for one in those if right(one, *truth)]
            count[
                "right" if fit else "wrong" if those else "cannot be told" if key in hidden else "not seen"
            ] += 1
            if fit and fit[0].u_um is not None and not (key == "ripple" and fit[0].order is None):
                holds[abs(fit[0].amplitude_um - truth[1]) <= fit[0].u_um] += 1
            if not fit and key not in hidden:
                print("  ", key, truth, world, [(c.key, c.order, round(c.amplitude_um, 2)) for c in those])
        more = [one for one in found.components if one.significant and one.key not in wanted]
        others.update(one.key for one in more)
        for one in more:
            print(
                "   also", one.key, one.order, round(one.amplitude_um, 2), one.u_um, faults, world, flush=True
            )
    print(dict(count), "others named:", dict(others))
    print(f"interval holds the truth: {holds[True]} of {holds.total()}")


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))

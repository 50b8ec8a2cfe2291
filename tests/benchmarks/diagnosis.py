"""What `diagnose` finds in gears that were built as exact surfaces: false components in clean gears, each
error alone and all together.

    python tests/benchmarks/diagnosis.py [clean gears] [seeds]

The surfaces come from tests/exact_flanks.py, not from the program's own simulator.
"""

from __future__ import annotations

import math
import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))
from exact_flanks import Errors, gear, nominal
from unit.diagnosis.made import GEARS, part, setup

from gearqa.diagnosis.analysis import diagnose_gears

TEETH = 24


def found_in(drawing, known, errors, rng, teeth):
    (found,), _ = diagnose_gears([gear(drawing, errors, teeth=teeth, points=121, noise=1.0, rng=rng)], known)
    return [one for one in found.components if one.significant]


def angle_error(a, b, order=1):
    return abs(math.remainder(a - b, 360 / order))


def expected(errors, g):
    """Key -> amplitude, direction, order, as the errors say it."""
    span = {}
    if errors.eccentricity[0]:
        span["eccentricity"] = (*errors.eccentricity, 1)
    if errors.tilt[0]:
        span["tilt"] = (*errors.tilt, 1)
    if errors.lobes:
        n, size, crest = errors.lobes
        span["lobes"] = (size, crest, n)
    if errors.tangential[0]:
        span["tangential"] = (*errors.tangential, 1)
    if errors.taper_um:
        span["taper"] = (errors.taper_um, None, None)
    if errors.helix_angle_arcsec and g.H:
        rise = (
            math.radians(errors.helix_angle_arcsec / 3600) * g.b * math.cos(g.alpha) / math.cos(g.beta) ** 2
        )
        span["lead"] = (rise * 1000, None, None)
    if errors.ripple:
        _, order, size, crest = errors.ripple
        span["ripple"] = (size, crest, order)
    return span


def drawn(rng, one=None):
    """Random errors of usual size; one kind, or all of them."""

    def has(kind):
        return one in (None, kind)

    def turn():
        return float(rng.uniform(0, 360))

    return Errors(
        eccentricity=(rng.uniform(3, 12), turn()) if has("eccentricity") else (0.0, 0.0),
        tilt=(rng.uniform(3, 8), turn()) if has("tilt") else (0.0, 0.0),
        lobes=(int(rng.integers(2, 6)), rng.uniform(3, 10), turn()) if has("lobes") else None,
        tangential=(rng.uniform(3, 8), turn()) if has("tangential") else (0.0, 0.0),
        taper_um=float(rng.choice([-1, 1]) * rng.uniform(2, 8)) if has("taper") else 0.0,
        helix_angle_arcsec=float(rng.choice([-1, 1]) * rng.uniform(20, 80)) if has("lead") else 0.0,
        ripple=("left", int(rng.integers(120, 260)), rng.uniform(0.3, 0.8), turn())
        if has("ripple")
        else None,
    )


def main(clean=200, seeds=10):
    parts = [(part(*one), setup(part(*one))) for one in GEARS]
    rng = np.random.default_rng(20)
    false = 0
    for number in range(clean):
        drawing, known = parts[number % 4]
        false += bool(found_in(drawing, known, Errors(), rng, 4))
    print(f"clean gears with a component: {false} of {clean}")
    kinds = ["eccentricity", "tilt", "lobes", "tangential", "taper", "lead", "ripple", None]
    heads = ("there", "found", "off um", "off deg", "others named")
    print(f"{'error':14}" + "".join(f"{head:>14}" for head in heads))
    for kind in kinds:
        there, seen, off, turned, others = 0, 0, 0.0, 0.0, 0
        for number in range(seeds):
            drawing, known = parts[number % 4]
            errors = drawn(rng, kind)
            wanted = expected(errors, nominal(drawing))
            got = found_in(drawing, known, errors, rng, TEETH)
            there += len(wanted)
            for key, (size, direction, order) in wanted.items():
                those = [c for c in got if c.key == key and c.order in (order, None)]
                if not those:
                    continue
                seen += 1
                off = max(off, abs(those[0].amplitude_um - size))
                if direction is not None and those[0].phase_deg is not None:
                    turned = max(turned, angle_error(those[0].phase_deg, direction, order) * order)
            others += sum(c.key not in wanted for c in got)
        name = kind or "all together"
        print(f"{name:14}{there:14}{seen:14}{off:14.2f}{turned:14.1f}{others:14}")


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))

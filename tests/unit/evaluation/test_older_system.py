"""How ISO 1328-1:1995 evaluates a profile: its range, its slope, material missing near the tip."""

from __future__ import annotations

import numpy as np
import pytest
from unit.evaluation import make

from gearqa.evaluation.evaluate import LotCounter, evaluate
from gearqa.evaluation.trace_specs import profile_spec
from gearqa.model.measurement import GearMeasurement, Trace

LIMITS = {"control_diameter_mm": 97.5, "tip_form_diameter_mm": 103.0}


def drawing(standard: str):
    base = make.merged(make.PINION, {})
    base["evaluation"] = {"profile": LIMITS, "filter": {"enabled": False}}
    return make.part(base, tolerance={"standard": standard, "class": 6, "parameters": ["profile_total"]})


@pytest.mark.independent
@pytest.mark.parametrize(("standard", "share"), [("ISO 1328-1:1995", 0.92), ("ISO 1328-1:2013", 0.95)])
def test_share_of_the_profile_that_is_evaluated(standard, share):
    """92 and 95 per cent of the roll length from control to tip form diameter (from memory)."""
    part = drawing(standard)
    d_b = part.gear.teeth * 2.0 * np.cos(np.radians(20))
    root, tip = (np.sqrt(d * d - d_b * d_b) / 2 for d in LIMITS.values())
    spec = profile_spec(part)
    assert spec.start == pytest.approx(root, abs=1e-9)
    assert spec.end == pytest.approx(root + share * (tip - root), abs=1e-9)


@pytest.mark.independent
@pytest.mark.parametrize(("standard", "total"), [("ISO 1328-1:1995", 4.0), ("ISO 1328-1:2013", 0.0)])
def test_material_missing_near_the_tip(standard, total):
    """Flat, but 12 um missing just before the tip form diameter: a third of it counts by the older
    edition (three times the tolerance there; from memory), nothing by the newer one."""
    part = drawing(standard)
    spec = profile_spec(part)
    x = np.linspace(spec.start - 0.05, spec.zone_end + 0.05, 2001)
    y = np.where(x > spec.end + 0.01, -12.0, 0.0)
    traces = [Trace("profile", flank, tooth, x, y) for flank in ("left", "right") for tooth in (1, 7, 13)]
    (result,) = evaluate([GearMeasurement("1", tuple(traces))], part)
    found = {trace.total_um for trace in result.traces}
    assert {round(value, 6) for value in found} == {total}
    assert all(trace.tip_zone_counted == bool(total) for trace in result.traces)


@pytest.mark.independent
@pytest.mark.parametrize(
    ("standard", "required", "index", "class_"),
    [
        # pinion of tests/unit/evaluation/make.py, by hand from the printed formulas: W = 100^(1/3) + 0.65 * 2
        # = 5.9416; class 0 allows fp 0.5 W + 1.4 = 4.37, class 8 allows 16 W + 45 = 140.07
        ("JIS B 1702:1976", 0, 4.3, 0),
        ("JIS B 1702:1976", 8, 140.0, 8),
        ("JIS B 1702:1976", 8, 140.2, None),
        # recalled cells: fp of d 50 to 125, m 0.5 to 2: grade 0 allows 0.9, grade 12 allows 61
        ("ISO 1328-1:1995", 0, 0.85, 0),
        ("ISO 1328-1:1995", 12, 60.5, 12),
        ("ISO 1328-1:1995", 12, 61.5, None),
    ],
)
def test_the_finest_and_the_coarsest_class_of_a_system_are_classes(standard, required, index, class_):
    part = make.part(
        tolerance={"standard": standard, "class": required, "parameters": ["single_pitch"]},
        master_quality={"class": 0},
    )
    gear = make.gear(left=make.index(t7=index))
    lot = LotCounter()
    for result in evaluate([gear], part):
        assert (result.class_, result.beyond, result.conforms) == (class_, class_ is None, class_ is not None)
        assert result.governing == ("single_pitch",)
        lot.add(result)
    assert (lot.summary().class_, lot.summary().beyond) == (class_, int(class_ is None))

"""What the drawing limits without a class: crowning, tooth thickness variation, or all of it."""

from __future__ import annotations

import numpy as np
import pytest
from pydantic import ValidationError
from unit.evaluation import make

from gearqa.evaluation.evaluate import evaluate
from gearqa.evaluation.part_setup import setup_of
from gearqa.model.measurement import Trace
from gearqa.model.plan import DecisionTable
from gearqa.model.results import GearResult
from gearqa.signoff.gear_states import judge_gear


def crowned(height: float) -> GearResult:
    """A parabola of so many micrometres over the evaluation length, computed by hand."""
    t = (make.FACE - 10.0) / 9.0
    traces = [Trace("helix", flank, n, make.FACE, height * (1 - t**2)) for flank in ("left", "right")
              for n in make.TEETH]  # fmt: skip
    part = make.part(tolerance={"limits_um": {"helix_crowning": [1.0, 3.0]}, "class": 11})
    return next(evaluate([make.gear(make.with_trace(*traces))], part))


@pytest.mark.independent
@pytest.mark.parametrize(("height", "conforms"), [(2.0, True), (0.9, False), (3.1, False)])
def test_crowning_is_held_to_the_limits_of_the_drawing(height: float, conforms: bool) -> None:
    result = crowned(height)
    crowning = result.parameters["helix_crowning"]
    assert crowning.value_um == pytest.approx(height, abs=1e-9)
    assert (crowning.conforms, crowning.limits_um) == (conforms, (1.0, 3.0))
    assert (crowning.class_, crowning.class_exact, crowning.beyond) == (None, None, False)
    assert (result.conforms, result.beyond, result.class_complete) == (conforms, False, True)
    assert "helix_crowning" not in result.governing


def test_tooth_thickness_variation_too_and_a_proven_class_counts_what_has_one() -> None:
    rng = np.random.default_rng(1)
    gear = make.gear(left=rng.normal(0, 0.1, make.Z), right=rng.normal(0, 0.1, make.Z))
    keys = ("single_pitch", "cumulative_pitch", "runout", "profile_total", "profile_form", "profile_slope",
            "helix_total", "helix_form", "helix_slope", "tooth_thickness_variation")  # fmt: skip
    part = make.part(
        tolerance={"limits_um": {"tooth_thickness_variation": 2.0}}, uncertainty_um=dict.fromkeys(keys, 0.01)
    )
    result = next(evaluate([gear], part))
    assert result.parameters["tooth_thickness_variation"].conforms is True
    judged = judge_gear(result, part, setup_of(part).criteria, DecisionTable())
    assert (judged.state, judged.class_proven) == ("conforms", 1)


def test_a_drawing_with_limits_only_needs_no_class() -> None:
    base = {
        **make.PINION,
        "tolerance": {"parameters": ["profile_slope"], "limits_um": {"profile_slope": 4.0}},
    }
    traces = make.with_trace(make.profile("left", 1, slope=3.0))
    result = next(evaluate([make.gear(traces)], make.part(base)))
    assert (result.conforms, result.parameters["profile_slope"].limits_um) == (True, (-4.0, 4.0))
    assert result.class_ is not None
    base["tolerance"] = {"parameters": ["profile_slope", "runout"], "limits_um": {"profile_slope": 4.0}}
    with pytest.raises(ValidationError, match="a class, since runout has no limits"):
        make.part(base)
    one = {"class": 5, "left": {"limits_um": {"helix_crowning": 3.0}}}
    with pytest.raises(ValidationError, match="limits of every graded flank"):
        make.part({**make.PINION, "tolerance": one})

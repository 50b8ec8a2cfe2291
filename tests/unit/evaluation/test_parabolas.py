"""Second order analysis: the form about the mean parabola, reported always, judged by limits alone."""

from __future__ import annotations

from dataclasses import replace

import pytest
from unit.evaluation import make

from gearqa.evaluation.evaluate import evaluate
from gearqa.evaluation.part_setup import setup_of
from gearqa.evaluation.rejudge import NO_PARABOLA, judged_anew
from gearqa.model.measurement import GearMeasurement, Trace
from gearqa.model.part import Part
from gearqa.model.results import GearResult

KEY = "helix_parabola_form"


def graded(part: Part, gear: GearMeasurement) -> GearResult:
    return next(evaluate([gear], part))


def bowed() -> GearMeasurement:
    """Crowned by 5 um over the evaluation range, 1 to 19 mm, with a step of 1 um in one point."""
    t = (make.FACE - 1.0) / 18.0 - 0.5
    y = -5 * (2 * t) ** 2
    y[200] += 1.0
    return make.gear(make.with_trace(Trace("helix", "right", 26, make.FACE, y)))


@pytest.mark.independent
def test_it_decides_nothing_unless_the_drawing_limits_it() -> None:
    usual = graded(make.part(), bowed())
    assert KEY not in usual.parameters
    (trace,) = [one for one in usual.traces if (one.kind, one.flank, one.tooth) == ("helix", "right", 26)]
    # by hand: crowning leaves no form about the parabola, so the step is left
    assert trace.form_about_parabola_um == pytest.approx(1.0, abs=0.02)
    assert trace.form_um == pytest.approx(5.98, abs=0.03)
    for limit, conforms in ((1.1, True), (0.9, False)):
        result = graded(make.part(tolerance={"class": 8, "limits_um": {KEY: limit}}), bowed())
        one = result.parameters[KEY]
        assert (one.conforms, result.conforms, one.class_) == (conforms, conforms, None)
        assert (one.flank, one.tooth, one.limits_um) == ("right", 26, (0.0, limit))
        assert result.class_ == usual.class_


def test_it_has_no_class() -> None:
    with pytest.raises(ValueError, match="limits_um"):
        make.part(tolerance={"class": 5, "parameters": [KEY]})


def test_what_an_earlier_version_graded_is_not_passed_without_it() -> None:
    limited = make.part(tolerance={"class": 8, "limits_um": {KEY: 2.0}})
    result = graded(make.part(tolerance={"class": 8}), bowed())
    assert judged_anew(result, setup_of(limited)).parameters[KEY].value_um == pytest.approx(1.0, abs=0.02)
    older = replace(result, traces=tuple(replace(t, form_about_parabola_um=None) for t in result.traces))
    again = judged_anew(older, setup_of(limited))
    assert (again.conforms, again.state) == (None, "not assessed")
    assert [(one.parameter, one.reason) for one in again.not_assessed] == [(KEY, NO_PARABOLA)]

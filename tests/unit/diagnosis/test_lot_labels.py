"""Components that go with a fixture or an instrument, and how often one is named by chance."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy import stats
from unit.diagnosis.made import gears, part, setup

from gearqa.diagnosis.analysis import diagnose_gears
from gearqa.diagnosis.decomposition import Decomposition, Found
from gearqa.diagnosis.effects import eccentricity
from gearqa.diagnosis.lot_labels import differ_p, directions_p, labels_shared
from gearqa.model.measurement import Production
from gearqa.report.diagnosis.words import shared_list


def on_fixtures(made, fixtures):
    return [
        replace(one, production=Production(fixture=fixture, instrument="M-1"))
        for one, fixture in zip(made, fixtures, strict=True)
    ]


def lot_of(overrides, fixtures, **tables):
    """Gears of which some, by number, are not like the others."""
    drawing = part()
    own = [{"serial": f"{number:04d}", **errors} for number, errors in overrides.items()]
    made = on_fixtures(gears(drawing, parts=len(fixtures), gear=own, **tables), fixtures)
    return diagnose_gears(made, setup(drawing))[1]


def test_eccentricity_of_one_fixture_is_named_with_it():
    fixtures = ["F-1", "F-2"] * 4
    eccentric = {n: {"eccentricity_um": 9.0 + n / 10, "eccentricity_deg": 75.0 + n % 3} for n in (2, 4, 6, 8)}
    mounting = {"mounting": {"eccentricity_scatter_um": 0.3}}
    (one,) = lot_of(eccentric, fixtures, **mounting).shared_by
    assert (one.label, one.value, one.key, one.gears) == ("fixture", "F-2", "eccentricity", 4)
    assert one.amplitude_um == pytest.approx(9.5, abs=0.4)
    assert one.phase_deg == pytest.approx(76, abs=3)
    (block,) = shared_list((replace(one, amplitude_um=9.5, phase_deg=76.0),))
    assert block.items == ("Eccentricity 9.50 µm at 76°, same phase on all 4 gears of fixture F-2.",)


def test_opposite_directions_of_two_fixtures_are_not_new_on_every_gear():
    fixtures = ["F-1", "F-2"] * 4
    both = {n: {"eccentricity_um": 9.0, "eccentricity_deg": 75.0 + 180 * (n % 2)} for n in range(1, 9)}
    lot = lot_of(both, fixtures)
    assert {(one.value, round(one.phase_deg / 15)) for one in lot.shared_by} == {("F-1", 17), ("F-2", 5)}
    assert "clamping" not in {one.origin for one in lot.components}


def test_lobes_of_some_gears_are_named_with_their_fixture():
    lobes = {n: {"lobes": [{"n": 3, "amplitude_um": 6.0, "phase_deg": 40.0}]} for n in (1, 2, 3, 4)}
    (one,) = lot_of(lobes, ["F-1"] * 4 + ["F-2"] * 5).shared_by
    assert (one.value, one.key, one.order, one.gears) == ("F-1", "lobes", 3, 4)
    assert one.phase_deg == pytest.approx(40, abs=2)


def test_what_all_gears_share_goes_with_no_fixture():
    mounting = {"mounting": {"eccentricity_um": 9.0, "eccentricity_deg": 75.0}}
    assert lot_of({}, ["F-1", "F-2"] * 4, **mounting).shared_by == ()


def test_labels_need_two_values_of_three_gears():
    eccentric = {n: {"eccentricity_um": 9.0, "eccentricity_deg": 75.0} for n in (1, 2, 3, 4)}
    assert lot_of(eccentric, ["F-1"] * 4 + ["F-2"] * 2).shared_by == ()


@pytest.mark.independent
def test_means_are_compared_as_references_do():
    """scipy.stats.f_oneway, and MANOVA of statsmodels (Wilks' lambda)."""
    from statsmodels.multivariate.manova import MANOVA

    rng = np.random.default_rng(5)
    groups = [rng.normal(k, 20.0, (n, 2)) for k, n in ((0.0, 4), (9.0, 3), (20.0, 6))]
    label = np.repeat(np.arange(3), [4, 3, 6])
    columns = np.column_stack([label == k for k in range(3)]).astype(float)
    columns[:, 0] = 1.0
    tested = MANOVA(np.concatenate(groups), columns).mv_test([("equal", np.eye(3)[1:])])
    assert differ_p(groups) == pytest.approx(
        tested.results["equal"]["stat"].loc["Wilks' lambda", "Pr > F"], rel=1e-5
    )
    alone = [one[:, :1] for one in groups]
    assert differ_p(alone) == pytest.approx(stats.f_oneway(*(one[:, 0] for one in alone)).pvalue, rel=1e-5)


def test_three_random_directions():
    """Three angles within a sum of squares s of their mean: area of a circle over that of all angles,
    pi s sqrt(3) / (2 pi)^2; by hand, and drawn."""
    apart = np.array([-0.1, 0.0, 0.1])
    vectors = np.stack([np.cos(apart), np.sin(apart)], axis=1) * [[3.0], [1.0], [2.0]]
    expected = math.pi * 0.02 * math.sqrt(3) / (2 * math.pi) ** 2
    assert directions_p(vectors) == pytest.approx(expected, rel=1e-9)
    angle = np.random.default_rng(6).uniform(0, 2 * math.pi, (4000, 3))
    drawn = np.array([directions_p(np.stack([np.cos(a), np.sin(a)], axis=1)) for a in angle])
    assert np.mean(drawn <= 0.1) == pytest.approx(0.1, abs=3 * math.sqrt(0.09 / 4000))


@pytest.mark.parametrize("kind", ["the same on all", "normal", "one direction", "one size"])
def test_gears_without_a_link_name_one_at_the_stated_rate(kind):
    """Own statement: at most 1 % of reports; 1500 reports of two fixtures, four standard errors."""
    rng, known = np.random.default_rng(7), setup(part())
    (gear,) = gears(part(), measuring={"teeth": 1, "profile_points": 60, "helix_points": 60})
    placed = on_fixtures([gear] * 8, ["F-1", "F-2"] * 4)
    effect, named, reports = eccentricity(), 0, 1500
    for _ in range(reports):
        v = rng.normal(0, 6.0, (8, 2))
        if kind == "the same on all":
            v = [9.0, 2.0] + v / 10
        elif kind == "one direction":
            v *= [1.0, 0.05]
        elif kind == "one size":
            v *= 6 / np.linalg.norm(v, axis=1, keepdims=True)
        fits = [
            Decomposition(one, None, (Found(effect, row, np.eye(2), 20.0, 0.0, True),), (), {})
            for one, row in zip(placed, v, strict=True)
        ]
        named += bool(labels_shared(fits, known))
    assert named / reports <= 0.01 + 4 * math.sqrt(0.01 * 0.99 / reports)

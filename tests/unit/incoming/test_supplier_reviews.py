"""Deliveries looked at together: bias and trend against scipy, claims counted, levels from the outcomes."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from scipy import stats
from store_damage import delivery_found

from gearqa.incoming.supplier_reviews import supplier_reviews
from gearqa.model.deliveries import SeriesDifference, StoredDelivery
from gearqa.report.suppliers import words

BEGIN = datetime(2025, 1, 10, tzinfo=UTC)


def delivery(number, found=None, *, supplier="Quince Works", part="OT-4471"):
    return StoredDelivery(
        number, supplier, part, "C", BEGIN + timedelta(days=14 * number), f"{number:064x}", "current", None,
        False, BEGIN, found or delivery_found(),
    )  # fmt: skip


def with_bias(means, **changes):
    """Deliveries of one series with these mean differences."""
    return [
        delivery(
            n,
            delivery_found(
                differences=(SeriesDifference("helix_slope", "left", 5, um, (um - 1, um + 1)),), **changes
            ),
        )
        for n, um in enumerate(means)
    ]


def test_the_bias_over_deliveries_is_that_of_their_means():
    """Student's interval of the delivery means: reference scipy.stats.ttest_1samp."""
    means = [0.9, 0.7, 1.1, 0.8, 0.6]
    ((one,),) = [review.biases for review in supplier_reviews(with_bias(means))]
    reference = stats.ttest_1samp(means, 0.0)
    assert one.bias_um == pytest.approx(np.mean(means))
    assert one.interval_um == pytest.approx(tuple(reference.confidence_interval(0.95)), rel=1e-9)
    assert (one.flank, one.deliveries, one.gears) == ("left", 5, 25)
    assert one.proven == bool(reference.pvalue <= 0.05)
    assert one.proven
    (review,) = supplier_reviews(with_bias(means))
    assert "Reported less ours: fHβ left +0.82 µm" in str(words._bias(review).detail)


def test_a_trend_is_that_of_the_line_over_the_order():
    """Reference scipy.stats.linregress."""
    means = [0.0, 0.12, 0.19, 0.33, 0.38, 0.52]
    (review,) = supplier_reviews(with_bias(means))
    (one,) = review.biases
    reference = stats.linregress(range(6), means)
    assert one.trend_um_per_delivery == pytest.approx(reference.slope, rel=1e-9)
    assert one.trend
    assert reference.pvalue < 0.05
    assert review.next.level == "normal"
    assert [reason.code for reason in review.next.reasons] == ["bias_trend", "agreed_in_a_row"]
    (steady,) = supplier_reviews(with_bias([0.3, 0.1, 0.2, 0.3, 0.1, 0.2]))
    assert (steady.biases[0].trend, steady.next.level) == (False, "reduced")


def test_one_delivery_gives_its_own_interval_and_proves_nothing():
    (review,) = supplier_reviews(with_bias([3.0]))
    (one,) = review.biases
    assert (one.interval_um, one.proven, one.trend_um_per_delivery) == ((2.0, 4.0), False, None)


def test_other_gears_say_nothing_about_a_bias():
    first = with_bias([0.1, 0.1])
    others = [replace(one, id=9) for one in with_bias([8.0], same_gears=False)]
    (review,) = supplier_reviews([*first, *others])
    assert review.biases[0].bias_um == pytest.approx(0.1)
    assert review.outcomes["differs"] == 1


def test_false_biases_and_trends_of_honest_suppliers_stay_below_five_percent():
    """17 series of ten deliveries without bias; simulated here, the limit is the stated level."""
    rng = np.random.default_rng(5)
    keys = ["profile_total", "profile_form", "profile_slope", "helix_total", "helix_form", "helix_slope"]
    biased = trending = 0
    runs = 400
    for _ in range(runs):
        found = [
            delivery(
                n,
                delivery_found(
                    differences=tuple(
                        SeriesDifference(key, flank, 3, float(rng.normal(0, 0.3)), None)
                        for key in keys
                        for flank in ("left", "right")
                    )
                ),
            )
            for n in range(10)
        ]
        (review,) = supplier_reviews(found)
        biased += any(one.proven for one in review.biases)
        trending += any(one.trend for one in review.biases)
    allowed = stats.binom.ppf(0.999, runs, 0.05)
    assert biased <= allowed
    assert trending <= allowed
    assert biased + trending > 0


@pytest.mark.parametrize(
    ("changes", "outcome"),
    [
        ({}, "agrees"),
        ({"verdict": "differs"}, "differs"),
        ({"claims": {"confirmed": 200, "not confirmed": 1}}, "differs"),
        ({"claims_contradicted": 1}, "differs"),
        ({"same_gears": False}, "differs"),
        ({"decision": "reject"}, "differs"),
        ({"decision": "hold"}, "agrees"),
        ({"questions": ("contradiction",), "impossible": 1}, "differs"),
        ({"questions": ("last_digits",)}, "open"),
        ({"verdict": "not comparable"}, "open"),
        ({"verdict": "not comparable", "gears_measured": 0}, "not measured"),
        ({"verdict": "not comparable", "gears_measured": 0, "questions": ("unit",)}, "open"),
        ({"verdict": "not comparable", "gears_measured": 0, "claims_contradicted": 1}, "differs"),
    ],
)
def test_what_a_delivery_counts_as(changes, outcome):
    assert delivery_found(**changes).outcome == outcome


def test_suppliers_and_parts_are_told_apart_and_claims_counted():
    some = [
        delivery(1), delivery(2, supplier="Medlar Gears"), delivery(3, part="OT-4480"),
        delivery(4, delivery_found(claims={"confirmed": 3, "not confirmed": 1, "not proven": 4, "none": 90})),
    ]  # fmt: skip
    reviews = supplier_reviews(some)
    assert [(one.supplier, one.part_number) for one in reviews] == [
        ("Medlar Gears", "OT-4471"), ("Quince Works", "OT-4471"), ("Quince Works", "OT-4480"),
    ]  # fmt: skip
    assert reviews[1].claims == {"confirmed": 203, "not confirmed": 1, "not proven": 8, "none": 90}
    assert reviews[1].share_confirmed == pytest.approx(203 / 212)
    assert [one.delivery.id for one in reviews[1].deliveries] == [1, 4]

"""Master quality of a lot: bounds of the share by scipy.stats, and when the coverage is shown or refuted."""

from __future__ import annotations

import pytest
from scipy import stats

from gearqa.model.lot import LotGear, MasterQualityOfLot, State
from gearqa.model.plan import MasterTable
from gearqa.signoff.master import master_quality_of_lot


def judged(proven: int, open_: int, refuted: int, lot_size: int | None) -> MasterQualityOfLot:
    def gears(state: State, count: int) -> list[LotGear]:
        one = LotGear("G", state, state, 0.99, None, None, None, None, True, state, missing=(), values=())
        return [one] * count

    return master_quality_of_lot(
        [*gears("conforms", proven), *gears("not proven", open_), *gears("does not conform", refuted)],
        lot_size,
        MasterTable(),
        class_=3,
        parameters=("runout",),
    )


@pytest.mark.independent
def test_bounds_of_an_unknown_lot() -> None:
    """Clopper and Pearson at 95 %, one-sided; open gears count against the lower and for the upper bound."""
    found = judged(50, 6, 4, None)
    assert found.share_lower_bound == pytest.approx(float(stats.beta.ppf(0.05, 50, 11)), rel=1e-9)
    assert found.share_upper_bound == pytest.approx(float(stats.beta.ppf(0.95, 57, 4)), rel=1e-9)
    assert (found.in_sample, found.in_lot) == (False, "not shown")


@pytest.mark.independent
@pytest.mark.parametrize(("proven", "want"), [(58, "not shown"), (59, "shown")])
def test_coverage_shown_by_gears_that_are_all_proven(proven: int, want: str) -> None:
    """0.95^59 = 0.0485 is the first power below 5 %."""
    found = judged(proven, 0, 0, None)
    assert (found.in_sample, found.in_lot) == (True, want)
    assert found.sentence.startswith("with 95 % confidence at least 95 % of the lot") is (want == "shown")
    assert found.sentence.startswith("the sample does not show that 95 %") is (want == "not shown")


def test_refuted_by_the_upper_bound() -> None:
    found = judged(2, 0, 8, 400)
    assert (found.in_sample, found.in_lot) == (False, "refuted")
    assert found.sentence.startswith("with 95 % confidence less than 95 % of the lot")
    assert "8 of 10 gears proven not to be" in found.sentence


@pytest.mark.parametrize(
    ("proven", "open_", "refuted", "in_sample", "in_lot"),
    [
        (20, 0, 0, True, "shown"),
        (19, 1, 0, None, "shown"),  # 19 of 20 are just 95 %
        (18, 2, 0, None, "not shown"),
        (19, 0, 1, False, "shown"),
        (18, 1, 1, False, "not shown"),  # at most 19 of 20
        (18, 0, 2, False, "refuted"),
    ],
)
def test_a_lot_measured_whole_leaves_nothing_to_chance(
    proven: int, open_: int, refuted: int, in_sample: bool | None, in_lot: str
) -> None:
    found = judged(proven, open_, refuted, 20)
    assert (found.share_lower_bound, found.share_upper_bound) == (proven / 20, (20 - refuted) / 20)
    assert (found.in_sample, found.in_lot) == (in_sample, in_lot)
    assert found.sentence.startswith("the whole lot of 20 gears was measured")

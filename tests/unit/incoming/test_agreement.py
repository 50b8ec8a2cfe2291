"""Agreement through the rows of a comparison: published data of Bland and Altman, En, outliers, trend."""

from __future__ import annotations

import numpy as np
import pytest
from unit.evaluation.make import part

from gearqa.evaluation.criteria import criteria_of
from gearqa.incoming.report_agreement import agreements
from gearqa.model.incoming import ComparedValue

# Bland and Altman, Lancet i (1986) 307: peak expiratory flow, both first measurements, litre a minute
WRIGHT = (494, 395, 516, 434, 476, 557, 413, 442, 650, 433, 417, 656, 267, 478, 178, 423, 427)
MINI = (512, 430, 520, 428, 500, 600, 364, 380, 658, 445, 432, 626, 260, 477, 259, 350, 451)
CRITERIA = criteria_of(part())


def rows(reported, found, key="helix_slope", flank="left"):
    return [
        ComparedValue(
            serial=f"G{place:02d}", our_serial=f"G{place:02d}", parameter=key, flank=flank, tooth=None,
            basis="worst", reported_um=float(a), half_digit_um=0.5, by_magnitude=False, found_um=float(b),
            difference_um=float(a) - float(b), explained_um=None, equal=abs(a - b) <= 0.5, u_reported_um=None,
            u_found_um=None, allowed_um=None, within=None, en=None, en_explained=None, class_claimed=None,
            class_text="",
            standard_claimed=None, class_reported=None, class_found=None, beyond=None,
            class_found_as_claimed=None, tolerance_claimed_um=None, pc=None, claim="none", claim_flank=flank,
            claim_reason="nothing_claimed", judged_um=None, reported_state=None, found_state=None,
        )
        for place, (a, b) in enumerate(zip(reported, found, strict=True))
    ]  # fmt: skip


@pytest.mark.published
def test_bland_and_altman_1986():
    """Bias -2.1, sd 38.8 printed; limits by 1.96 s recomputed (from memory); Deming by MethComp."""
    one = agreements(rows(WRIGHT, MINI), CRITERIA)["helix_slope"]["left"]
    assert round(one.bias_um, 1) == -2.1
    assert round(one.sd_um, 1) == 38.8
    assert [round(v, 2) for v in one.limits_of_agreement_um] == [-78.10, 73.86]
    assert [round(v, 4) for v in one.bias_interval_um] == [-22.0488, 17.8135]
    assert [round(v, 4) for v in one.limits_interval_um[1]] == [48.8596, 119.9255]
    swapped = agreements(rows(MINI, WRIGHT), CRITERIA)["helix_slope"]["left"]
    assert (round(swapped.slope, 7), round(swapped.intercept_um, 6)) == (0.9708808, 15.231556)
    assert round(one.correlation, 6) == 0.943279


def test_few_pairs_have_no_line_and_one_no_spread():
    nine = agreements(rows(WRIGHT[:9], MINI[:9]), CRITERIA)["helix_slope"]["left"]
    assert nine.slope is None
    assert nine.limits_interval_um is not None
    (single,) = agreements(rows([1.0], [2.0]), CRITERIA)["helix_slope"].values()
    assert (single.bias_um, single.n) == (-1.0, 1)
    assert single.limits_of_agreement_um is single.bias_interval_um is single.sd_um is None


def test_several_values_of_a_gear_count_as_one_pair():
    doubled = rows([1.0, 3.0], [0.0, 0.0]) + rows([3.0, 5.0], [0.0, 0.0])
    one = agreements(doubled, CRITERIA)["helix_slope"]["left"]
    assert (one.n, one.differences_um) == (2, (2.0, 4.0))


def test_limits_against_the_tolerance():
    """f_H_beta class 5 of the made pinion is 6 um either side."""
    one = agreements(rows([1.0, 2.0, 3.0], [0.0, 0.0, 0.0]), CRITERIA)["helix_slope"]["left"]
    low, high = one.limits_of_agreement_um
    assert one.share_of_tolerance == pytest.approx((high - low) / 12)
    other = agreements(rows([1.0, 2.0], [0.0, 0.0], "adjacent_pitch"), CRITERIA)["adjacent_pitch"]["left"]
    assert other.share_of_tolerance is None


def test_outlier_and_trend():
    rng = np.random.default_rng(3)
    found = rng.normal(0, 3, 15)
    odd = rng.normal(0, 0.1, 15)
    odd[6] += 3
    one = agreements(rows(found + odd, found), CRITERIA)["helix_slope"]["left"]
    assert one.outliers == ("G06",)
    drifting = agreements(rows(found + 0.1 * np.arange(15) + rng.normal(0, 0.1, 15), found), CRITERIA)
    trend = drifting["helix_slope"]["left"]
    assert trend.trend_um_per_gear == pytest.approx(0.1, abs=0.02)
    assert trend.trend_p < 0.001
    assert trend.outliers == ()


def test_nothing_to_compare():
    assert agreements([], CRITERIA) == {}

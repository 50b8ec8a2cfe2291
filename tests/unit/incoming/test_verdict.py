"""Agree, differ, not comparable; claims of whole gears; constant differences; evaluation or measurement."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy import stats
from unit.incoming.laboratory import Lab, report, sample
from unit.incoming.test_comparison import RING, check, measured, unsigned, with_values

from gearqa.evaluation.evaluate import evaluate
from gearqa.incoming.biases import biases_of
from gearqa.incoming.sides import MeasuredGears
from gearqa.incoming.verdict import agreed, allowed_um
from gearqa.report.incoming.mail import incoming_text
from gearqa.report.incoming.page import incoming_document
from gearqa.report.incoming.words import open_rows, verdict
from gearqa.statistics.agreement import allowed_beyond, largest_en, mean_difference


def moved(table, by):
    """The same report with something added to every value, widths kept positive."""
    values = [replace(v, value_um=round(v.value_um + d, 2)) for v, d in zip(table.values, by, strict=True)]
    return replace(table, values=tuple(v for v in values))


DRAWN = Lab()


def noisy(seed, sd=0.17, lab=DRAWN, gears=3, **values):
    table = with_values(report(RING, lab, gears=gears), uncertainty_um=0.7, **values)
    return moved(table, np.random.default_rng(seed).normal(0, sd, len(table.values)))


def answer(result, question):
    return next(one for one in verdict(result).answers if one.question == question)


@pytest.mark.independent
@pytest.mark.parametrize("n", [1, 2, 5, 12, 51, 204, 5000])
def test_how_many_may_lie_beyond_is_the_binomial_quantile(n):
    """By scipy's binomial distribution and normal quantiles."""
    share = 2 * stats.norm.sf(2)
    assert allowed_beyond(n) == stats.binom.ppf(0.95, n, share)
    assert largest_en(n) == pytest.approx(stats.norm.isf((1 - 0.99 ** (1 / n)) / 2) / 2)


@pytest.mark.independent
def test_mean_difference_is_students_t():
    d = np.array([0.3, 0.1, 0.4, 0.2, 0.35])
    found, known = mean_difference(d), stats.ttest_1samp(d, 0.0)
    assert found.p == pytest.approx(known.pvalue)
    assert found.interval == pytest.approx(tuple(known.confidence_interval()))


def test_an_uncertainty_that_is_not_stated_is_taken_as_the_other():
    assert allowed_um(None, 0.5, 10.0) == allowed_um(0.5, 0.5, 10.0)
    assert allowed_um(None, None, None) is None


@pytest.mark.parametrize("seed", range(4))
def test_a_second_measurement_agrees(seed):
    result = check(noisy(seed, class_=7, class_text="7", standard="ISO 1328-1:2013"))
    assert (result.verdict, result.verdict_reason, result.agrees) == ("agrees", "within_uncertainty", True)
    assert answer(result, "Reported figures and ours").answer == "agrees"
    assert answer(result, "Why the figures differ").status == "good"
    assert open_rows(result) == []
    assert "Nothing is asked of you." in incoming_text(result)


def test_an_exchange_of_flanks_differs():
    result = check(noisy(5, lab=Lab(swapped=True)))
    assert (result.verdict, result.agrees) == ("differs", False)
    assert "1. Confirm how flanks, teeth and signs are named" in incoming_text(result)


def test_one_value_far_out_is_not_let_pass_by_the_share_that_may():
    table = noisy(6)
    far = (replace(table.values[0], value_um=table.values[0].value_um + 4.0), *table.values[1:])
    result = check(replace(table, values=far))
    assert (result.verdict, result.values_beyond) == ("differs", 1)
    assert result.values_beyond <= result.values_beyond_allowed


def test_nothing_to_compare():
    assert check(report(RING, Lab()), ours=False).verdict_reason == "nothing_measured"
    elsewhere = with_values(report(RING, Lab(), gears=1), serial="X-1")
    result = check(elsewhere)
    assert (result.verdict, result.verdict_reason) == ("not comparable", "nothing_in_common")
    rows = tuple(replace(row, allowed_um=None, within=None) for row in check(report(RING, Lab())).rows)
    assert agreed(rows, measured=True, same_gears=None).reason == "no_uncertainty"
    assert agreed(rows, measured=True, same_gears=False).reason == "not_the_same_gears"


def test_claims_that_are_not_proven_are_quiet():
    """Of a class whose limit lies within U; the gear's claim goes by the worst class of all."""
    result = check(noisy(7, class_=5, class_text="5", standard="ISO 1328-1:2013"))
    unproven = result.claims["not proven"]
    assert unproven
    assert not any(row.claim == "not proven" for row in open_rows(result))
    sheet = next(one for one in incoming_document(result).sheets if one.id == "unproven")
    assert sheet.folded
    assert len(sheet.sections[0].blocks[1].rows) == unproven


def test_the_claim_of_a_gear_is_judged_by_the_worst_class_claimed_for_it():
    table = with_values(report(RING, Lab()), class_=4, class_text="4", standard="ISO 1328-1:2013")
    lowest = replace(table.values[0], class_=9, class_text="9")
    result = check(replace(table, values=(lowest, *table.values[1:])))
    first, *others = result.gear_claims
    assert (first.class_, first.claim, first.deciding) == (9, "confirmed", ())
    assert {one.class_ for one in others} == {4}
    assert result.lot_claim == max(
        (one.claim for one in others), key=["confirmed", "not proven", "not confirmed"].index
    )
    assert all(one.deciding for one in others if one.claim != "confirmed")


@pytest.mark.independent
@pytest.mark.parametrize("lab", [Lab(), Lab(swapped=True)])
def test_a_constant_difference_is_told_with_its_interval_also_behind_an_explanation(lab):
    table = noisy(8, sd=0.05, lab=lab, gears=12)
    biased = tuple(
        replace(v, value_um=round(v.value_um + 0.8, 2)) if v.parameter == "helix_slope" else v
        for v in table.values
    )
    result = check(replace(table, values=biased), 12)
    (bias,) = [one for one in result.biases if one.parameter == "helix_slope"]
    assert (bias.flank, bias.gears) == (None, 12)
    assert bias.interval_um[0] < 0.8 < bias.interval_um[1]
    assert bias.interval_um[1] - bias.interval_um[0] < 0.1
    text = " ".join(incoming_text(result).split())
    assert "our fHβ reads 0." in text
    # flanks that the supplier names the other way, and signs, are his here
    named = answer(result, "Why the figures differ").detail
    for told in (text, named):
        assert ("with signs and flanks as" in told) == lab.swapped
    assert "with its U for fHβ" in text


def test_scatter_is_no_bias():
    found = [biases_of(check(noisy(seed, gears=12), 12).rows, {}) for seed in range(10)]
    assert sum(map(len, found)) <= 1


def test_flanks_with_differences_of_their_own_are_told_apart():
    table = noisy(9, sd=0.05, gears=12)
    by = [
        {"left": 0.6, "right": -0.6}[v.flank] if v.parameter == "helix_slope" else 0.0 for v in table.values
    ]
    result = check(moved(table, by), 12)
    told = {one.flank: one.bias_um for one in result.biases if one.parameter == "helix_slope"}
    assert told == {"left": pytest.approx(0.6, abs=0.05), "right": pytest.approx(-0.6, abs=0.05)}


@pytest.mark.independent
def test_evaluation_and_measurement_are_told_apart():
    """Their traces are ours with 0.4 um more slope; their report evaluates them without filter."""
    part, gears = sample(RING, 3)
    theirs = []
    for gear in gears:
        traces = tuple(
            replace(t, deviation_um=t.deviation_um + 0.4 * np.linspace(0, 1, len(t.deviation_um)))
            if t.kind == "helix" else t for t in gear.traces
        )  # fmt: skip
        theirs.append(replace(gear, traces=traces))
    other = MeasuredGears(tuple(theirs), tuple(evaluate(theirs, part)))
    table = report(RING, Lab())
    result = check(table, theirs=other)
    plain = check(table, theirs=measured(RING, 3))
    assert plain.split.measurement_um == pytest.approx(0.0, abs=1e-9)
    assert plain.split.evaluation_um < 0.01
    assert result.split.measurement_um == pytest.approx(result.split.evaluation_um, abs=0.01)
    assert result.split.measurement_um > 0.05
    assert "Of the difference, evaluation makes" in answer(result, "Why the figures differ").detail


def test_slopes_without_sign_are_split_by_magnitude():
    split = check(unsigned(report(RING, Lab())), theirs=measured(RING, 3)).split
    assert split.evaluation_um < 0.01

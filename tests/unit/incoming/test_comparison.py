"""The whole comparison: the sample report taken apart, matching, same data, decisions, cautions."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest
import supplier_report
from unit.incoming.laboratory import Lab, report, sample

from gearqa.evaluation.evaluate import evaluate
from gearqa.incoming.sides import MeasuredGears
from gearqa.jobs.incoming import check_table
from gearqa.model.incoming import ReportedTable
from gearqa.reading.values.reported import read_reported
from gearqa.report.incoming.mail import incoming_text
from gearqa.report.incoming.page import incoming_document
from gearqa.report.incoming.screen import incoming_blocks
from gearqa.report.incoming.words import verdict
from gearqa.results.incoming_json import INCOMING, incoming_csv

SAMPLE = Path(__file__).parents[3] / "sample_measurements" / "supplier_report" / "report.csv"
RING = "ring_conforming"


@cache
def measured(name, count):
    part, gears = sample(name, count)
    return MeasuredGears(gears, tuple(evaluate(gears, part)))


def check(table, count=3, name=RING, theirs=None, ours=True, **options):
    part, _ = sample(name, count)
    return check_table(
        table, part, ours=measured(name, count) if ours else None, theirs=theirs, lot_size=200, **options
    )


def with_values(table: ReportedTable, **changes) -> ReportedTable:
    return replace(table, values=tuple(replace(v, **changes) for v in table.values))


def unsigned(table: ReportedTable) -> ReportedTable:
    return replace(table, values=tuple(replace(v, value_um=abs(v.value_um)) for v in table.values))


@cache
def taken_apart():
    return check(read_reported(SAMPLE, teeth=87), 12)


def test_the_sample_is_what_its_script_makes():
    assert SAMPLE.read_text(encoding="utf-8") == supplier_report.report_text()


def test_the_sample_report_is_taken_apart():
    """Made with slopes of the edition of 1995, flanks swapped, one class too good: see supplier_report."""
    result = taken_apart()
    assert result.explanation.explained is True
    assert [(c.setting, c.to) for c in result.explanation.explanations[0].changes] == [
        ("slope_span", "evaluation"),
        ("flanks", "left and right swapped"),
    ]
    refused = [row for row in result.rows if row.claim == "not confirmed"]
    serial, parameter, flank, grade = supplier_report.OPTIMISTIC
    assert [(r.serial, r.parameter, r.flank, r.class_claimed) for r in refused] == [
        (serial, parameter, flank, grade)
    ]
    assert refused[0].claim_flank == "right"
    assert result.claims["confirmed"] == len(result.rows) - 1
    assert result.comparison == "re-measured"
    codes = {notice.code for notice in result.cautions}
    assert {"claim_beyond_own_value", "claims_on_the_other_flank", "basis_worst"} <= codes
    # scatter of the script is 0.12 um, and one decimal adds 0.1 / sqrt(12)
    assert result.explanation.explanations[0].rms_after_um == pytest.approx(np.hypot(0.12, 0.029), abs=0.02)


def test_differences_are_reported_less_found_and_en_allows_for_the_explanation():
    row = taken_apart().rows[0]
    assert row.found_um is not None
    assert row.difference_um == row.reported_um - row.found_um
    assert row.en == pytest.approx(row.difference_um / np.hypot(row.u_reported_um, row.u_found_um))
    assert row.en_explained == pytest.approx(
        (row.reported_um - row.explained_um) / np.hypot(row.u_reported_um, row.u_found_um)
    )
    assert not taken_apart().en_exceeded


def test_agreement_before_and_after():
    result = taken_apart()
    before, after = (a["helix_slope"]["left"] for a in (result.agreement, result.agreement_explained))
    assert before.n == after.n == 12
    assert before.bias_um > 5
    assert abs(after.bias_um) < 0.1
    assert after.slope is not None
    low, high = after.limits_of_agreement_um
    # f_H_beta of class 6 by hand: sqrt 2 (0.05 sqrt 160.1 + 0.35 sqrt 32 + 4) = 9.35, rounded 9.5
    assert after.share_of_tolerance == pytest.approx((high - low) / 19)


def test_equal_settings_leave_no_difference_and_are_the_same_data():
    result = check(report(RING, Lab()))
    assert (result.explanation.explained, result.explanation.reason) == (None, "no_difference")
    assert (result.comparison, result.comparison_reason) == ("same data", "agrees_to_the_digit")
    assert all(row.equal for row in result.rows)
    assert all(row.en is None for row in result.rows)


def test_same_data_have_no_en_even_with_uncertainties():
    result = check(with_values(report(RING, Lab(span="evaluation")), uncertainty_um=0.8))
    assert result.comparison == "same data"
    assert all(row.en is None for row in result.rows)


def test_values_typed_roughly_do_not_prove_the_same_data():
    assert check(report(RING, Lab(), decimals=0)).comparison == "re-measured"


def test_unsigned_slopes_are_compared_by_magnitude_and_said_so():
    result = check(unsigned(report(RING, Lab())))
    assert result.explanation.reason == "no_difference"
    assert any(row.by_magnitude for row in result.rows if row.parameter == "helix_slope")
    caution = next(n for n in result.cautions if n.code == "compared_by_magnitude")
    assert "fHβ" in caution.message


def test_unsigned_and_swapped_is_still_found():
    result = check(unsigned(report(RING, Lab(swapped=True))))
    assert [c.setting for c in result.explanation.explanations[0].changes] == ["flanks"]
    assert result.explanation.explained is True


def test_serials_that_do_not_match_are_listed_with_the_nearest():
    table = report(RING, Lab())
    renamed = tuple(
        replace(v, serial={"OT-0201": "OT-201", "OT-0202": "0T-0202"}.get(v.serial, v.serial))
        for v in table.values
    )
    result = check(replace(table, values=renamed))
    assert {u.serial: u.nearest for u in result.unmatched} == {"OT-201": "OT-0201", "0T-0202": "OT-0202"}
    assert set(result.not_reported) == {"OT-0201", "OT-0202"}
    assert all(row.claim == "none" for row in result.rows if row.our_serial is None)
    assert result.verdict == "agrees"  # on the gear that both measured; the others are named


def test_what_the_drawing_asks_for_and_the_report_lacks_is_named():
    table = report(RING, Lab())

    def missing(*left_out, **changes):
        kept = [v for v in table.values if (v.serial, v.parameter, v.flank) not in left_out]
        kept = [replace(v, **{k: f(v) for k, f in changes.items()}) for v in kept]
        cautions = check(replace(table, values=tuple(kept))).cautions
        return [one.message for one in cautions if one.code == "values_not_reported"]

    assert not missing()
    assert not missing(flank=lambda v: None)  # the worst of both flanks
    runout = [(f"OT-020{i}", "runout", None) for i in (1, 2, 3)]
    (said,) = missing(*runout, ("OT-0202", "helix_slope", "left"))
    assert "give: Fr of OT-0201, OT-0202, OT-0203, fHβ left of OT-0202; no class" in said


def test_our_serial_says_which_gear_is_meant():
    table = report(RING, Lab())
    renamed = tuple(replace(v, serial=f"S{v.serial[-1]}", our_serial=v.serial) for v in table.values)
    result = check(replace(table, values=renamed))
    assert not result.unmatched
    assert result.explanation.reason == "no_difference"
    assert {row.our_serial for row in result.rows} == {"OT-0201", "OT-0202", "OT-0203"}


def test_without_our_measurement_nothing_is_confirmed():
    table = with_values(report(RING, Lab()), class_=6, class_text="6")
    result = check(table, ours=False)
    assert not result.measured
    assert (result.comparison, result.comparison_reason) == (None, "nothing_measured")
    assert {row.claim for row in result.rows} == {"none"}
    assert {row.claim_reason for row in result.rows} == {"not_measured"}
    assert {row.reported_state for row in result.rows} == {"conforms"}
    assert all(row.class_reported is not None and row.class_reported <= 6 for row in result.rows)
    assert list(result.lots) == ["theirs"]
    document = incoming_document(result)
    assert "not measured by us" in document.head  # stands in the head of every page
    assert "not measured by us" in incoming_text(result)


def test_without_our_measurement_a_claim_that_its_own_value_refuses_is_not_let_pass():
    def found(grade):
        table = with_values(report(RING, Lab(), gears=1), class_=6, class_text="6")
        first = next(v for v in table.values if v.parameter == "profile_form")
        rest = (replace(first, class_=grade, class_text=str(grade)), *(v for v in table.values if v != first))
        part, _ = sample(RING, 1)
        return check_table(replace(table, values=rest), part, lot_size=1)

    well, ill = found(6), found(1)
    assert (well.decision, well.contradicted, well.agrees) == ("release", (), False)
    assert (well.verdict, ill.verdict) == ("not comparable", "not comparable")
    (answer,) = [a for a in verdict(well).answers if a.question == "Claimed classes"]
    assert "all follow from the reported values" in answer.detail
    assert (ill.decision, len(ill.contradicted), ill.agrees) == ("release", 1, False)
    assert "claims_contradicted" in {reason.code for reason in ill.reasons}
    assert {row.claim for row in ill.rows} == {"none"}
    assert "better than the reported value itself meets" in " ".join(incoming_text(ill).split())


def test_classes_of_another_system_never_stand_beside_ours():
    table = with_values(report(RING, Lab()), class_=3, class_text="3", standard="AGMA 2000-A88")
    result = check(table)
    assert {row.claim for row in result.rows} == {"none"}
    assert {row.claim_reason for row in result.rows} == {"other_system"}
    assert "other_system" in {notice.code for notice in result.cautions}


def test_classes_with_a_letter_of_another_system_and_no_standard_are_told_as_they_stand():
    result = check(with_values(report(RING, Lab()), class_=None, class_text="Q5"))
    assert {(row.claim_reason, row.standard_claimed) for row in result.rows} == {("claim_in_words", None)}
    (told,) = [notice.message for notice in result.cautions if notice.code == "claim_in_words"]
    assert "(Q5)" in told
    assert "other_system" not in {notice.code for notice in result.cautions}


def test_classes_of_the_older_edition_are_noticed():
    """Claims that follow from ISO 1328-1:1995 although 2013 is claimed."""
    from gearqa.incoming.editions import editions_of
    from gearqa.model.editions import ISO_1328_1_1995

    part, _ = sample(RING, 3)
    older = editions_of(part)[ISO_1328_1_1995]
    table = report(RING, Lab(), decimals=1)
    values = tuple(
        replace(v, class_=grade, class_text=str(grade), standard="ISO 1328-1:2013")
        for v in table.values
        if (grade := older.class_of(v.parameter, v.value_um))
    )
    result = check(replace(table, values=values))
    assert "classes_of_older_edition" in {notice.code for notice in result.cautions}


@pytest.mark.independent
def test_rounding_before_grading_is_noticed():
    """f_f_alpha by hand: class 5 is 0.55 x 1.75 + 5 = 5.96, so class 2 is 2.1 and class 3 is 3.0.

    2.4 meets class 3; rounded to 2 it would meet class 2.
    """
    table = report(RING, Lab(), decimals=1)
    value = next(v for v in table.values if v.parameter == "profile_form")

    def codes(grade, number):
        row = replace(value, value_um=number, class_=grade, class_text=str(grade), standard="ISO 1328-1:2013")
        return {notice.code for notice in check(replace(table, values=(row,))).cautions}

    assert "claim_beyond_own_value" not in codes(3, 2.4)
    assert {"claim_beyond_own_value", "rounded_before_grading"} <= codes(2, 2.4)
    assert "claim_beyond_own_value" in codes(2, 2.6)
    assert "rounded_before_grading" not in codes(2, 2.6)


@pytest.mark.parametrize(
    ("on", "sides"), [("ours", ["ours"]), ("theirs", ["theirs"]), ("both", ["ours", "theirs"])]
)
def test_whose_values_decide(on, sides):
    result = check(report(RING, Lab()), decide_on=on)
    assert list(result.lots) == sides
    assert result.decided_on == on
    assert result.decision == "hold"  # three gears are fewer than any plan asks


def test_both_sides_take_the_stricter_decision():
    table = report(RING, Lab())
    bad = tuple(replace(v, value_um=60.0) if v.parameter == "runout" else v for v in table.values)
    result = check(replace(table, values=bad), decide_on="both")
    assert {side: lot.decision for side, lot in result.lots.items()} == {"ours": "hold", "theirs": "reject"}
    assert result.decision == "reject"


def test_the_suppliers_uncertainty_counts_for_the_suppliers_values():
    table = with_values(report(RING, Lab()), uncertainty_um=30.0)
    lot = check(table, decide_on="theirs").lots["theirs"]
    assert lot.not_proven == 3
    assert check(report(RING, Lab()), decide_on="theirs").lots["theirs"].not_proven == 0


def test_raw_data_of_both_sides_tell_the_same_gears():
    _, gears = sample(RING, 3)
    theirs = measured(RING, 3)
    result = check(report(RING, Lab()), theirs=theirs)
    assert (result.same_gears, result.same_gears_reason) == (True, "identical_data")
    assert (result.comparison, result.comparison_reason) == ("same data", "identical_curves")
    assert result.explanation.reason == "no_difference"
    assert "report_follows_from_their_traces" in {notice.code for notice in result.cautions}
    assert {curve.kind for curve in result.curves} == {"pitch", "profile", "helix"}
    mixed = MeasuredGears(
        tuple(replace(g, serial=s.serial) for g, s in zip(gears, gears[1:] + gears[:1], strict=True)),
        theirs.results[-1:] + theirs.results[:-1],
    )
    other = check(report(RING, Lab()), theirs=mixed)
    assert (other.same_gears, other.same_gears_reason) == (False, "serials_mixed_up")
    assert [one.best_match for one in other.alignments] == ["OT-0203", "OT-0201", "OT-0202"]
    assert "not_the_same_gears" in {r.code for r in other.reasons}


def test_their_raw_data_explain_first():
    result = check(report(RING, Lab(span="evaluation")), theirs=measured(RING, 3))
    assert (result.explanation.explained, result.explanation.data) == (True, "theirs")


def test_where_their_raw_data_explain_nothing_ours_do():
    """Raw data and report name the flanks alike, and both otherwise than we do."""
    _, gears = sample(RING, 3)
    other = {"left": "right", "right": "left"}
    turned = []
    for g in gears:
        pitch = {other[f]: replace(p, flank=other[f]) for f, p in g.pitch.items()}
        traces = tuple(replace(t, flank=other[t.flank]) for t in g.traces)
        turned.append(replace(g, traces=traces, pitch=pitch))
    part, _ = sample(RING, 3)
    theirs = MeasuredGears(tuple(turned), tuple(evaluate(turned, part)))
    result = check(report(RING, Lab(swapped=True)), theirs=theirs)
    assert (result.explanation.explained, result.explanation.data) == (True, "ours")
    assert [c.setting for c in result.explanation.explanations[0].changes] == ["flanks"]
    assert result.same_gears is True
    assert all(one.flanks_swapped for one in result.alignments)
    assert "report_follows_from_their_traces" in {notice.code for notice in result.cautions}


def test_without_raw_data_of_both_sides_it_is_open():
    result = check(report(RING, Lab()))
    assert (result.same_gears, result.same_gears_reason) == (None, "no_raw_data")


def test_only_the_suppliers_raw_data():
    result = check(report(RING, Lab(span="evaluation")), ours=False, theirs=measured(RING, 3))
    assert (result.comparison, result.comparison_reason) == ("same data", "their_data_only")
    assert result.explanation.explained is True
    assert not result.measured


def test_everything_well_agrees():
    """One gear, the whole lot, nothing claimed, nothing to explain: released."""
    part, gears = sample(RING, 1)
    ours = MeasuredGears(gears, tuple(evaluate(gears, part)))
    result = check_table(report(RING, Lab(), gears=1), part, ours=ours, lot_size=1)
    assert result.decision == "release"
    assert result.agrees


@pytest.mark.parametrize("wide", [False, True])
def test_words_for_the_terminal_and_the_mail(wide):
    result = taken_apart()
    blocks = incoming_blocks(result, wide=wide)
    assert blocks
    text = incoming_text(result)
    assert max(map(len, text.splitlines())) <= 72
    assert "SIMULATED" in text
    assert "as ISO 1328-1:1995 does" in " ".join(text.split())
    assert "left and right flank change places" in " ".join(text.split())


def test_a_mail_holds_ten_values_and_whole_sentences_whatever_is_wrong():
    table = with_values(report(RING, Lab(swapped=True)), class_=1, class_text="1", uncertainty_um=0.01)
    values = tuple(replace(v, serial=v.serial + "-" + "x" * 300) for v in table.values[:20]) + table.values
    result = check(replace(table, values=values), supplier="S" * 5000)
    text = incoming_text(result)
    assert len(text.splitlines()) < 120
    assert max(map(len, text.splitlines())) <= 72
    values = text.partition("Values, in micrometres:")[2].partition("\n\n")[0]
    assert values.count("\n- ") == 11
    assert "\n- and " in values
    rest = text.replace(values, "").split("\n\n")
    assert all(part.rstrip().endswith((".", ":")) for part in rest[1:])
    assert "We ask you:\n1. " in text
    assert "Geometry only" in text


def test_json_and_csv():
    result = taken_apart()
    document = INCOMING.document(result)
    assert document["schema"] == "gearqa.incoming/1"
    wanted = {
        "serial", "parameter", "flank", "reported_um", "found_um", "difference_um", "en", "class_claimed",
        "class_found", "claim", "u_reported_um", "u_found_um", "pc",
    }  # fmt: skip
    assert wanted <= set(document["rows"][0])
    assert document["explanations"][0]["changes"][0] == {
        "setting": "slope_span", "from": "full", "to": "evaluation",
    }  # fmt: skip
    pairs = document["agreement"]["helix_slope"]["left"]["limits_interval_um"]
    assert [len(pair) for pair in pairs] == [2, 2]
    lines = incoming_csv(result).decode().splitlines()
    assert lines[0] == "# gearqa result, SIMULATED: simulated or made up, not measured on a gear"
    assert incoming_csv(replace(result, simulated=False)).startswith(b"# gearqa result\n")
    assert len(lines) == 2 + len(result.rows)
    assert incoming_csv(result, "semicolon").decode("utf-8-sig").splitlines()[2].split(";")[6] == "3,1"

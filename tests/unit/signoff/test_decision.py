"""The decision table, row by row, and its order."""

from __future__ import annotations

from dataclasses import replace

import pytest

from gearqa.model.decision_table import TABLE, LotFacts
from gearqa.signoff.lot import decide

GOOD = LotFacts(
    lot_size=400, measured_n=43, required_n=43, ac=0, own_numbers=False, d_low=0, d_high=0, accept=True,
    variables_failed=(), missing_in_all=(), overdue=(), drawn="random", sample_cycles=8,
    lot_of_several_cycles=True, coverage=None, unmet=(), segregate=(), remeasure=(), left_out_bad=(),
    left_out_open=(), passed_over=(), census=False,
)  # fmt: skip


@pytest.mark.parametrize(
    ("changes", "decision", "code"),
    [
        ({}, "release", "accepted"),
        (
            {"d_low": 2, "d_high": 2, "ac": 3, "segregate": ("A", "B")},
            "release",
            "accepted_with_nonconforming",
        ),
        ({"accept": False, "d_low": 1, "d_high": 1}, "reject", "rejected_by_plan"),
        ({"accept": False, "variables_failed": ("helix_slope left",)}, "reject", "rejected_by_plan"),
        ({"census": True, "ac": 3, "d_low": 1, "d_high": 1}, "reject", "census_nonconforming"),
        ({"census": True, "ac": 3, "d_high": 1}, "hold", "census_open"),
        ({"census": True, "left_out_open": ("A",)}, "hold", "census_open"),
        ({"census": True, "left_out_bad": ("A",)}, "hold", "left_out_nonconforming"),
        ({"left_out_bad": ("A",)}, "hold", "left_out_nonconforming"),
        ({"left_out_open": ("A",)}, "release", "accepted"),
        ({"census": True, "drawn": "convenience", "required_n": 50}, "release", "accepted"),
        ({"lot_size": None}, "hold", "lot_size_unknown"),
        ({"required_n": 50, "accept": None}, "hold", "too_few_measured"),
        ({"accept": None, "d_high": 1, "remeasure": ("A",)}, "hold", "plan_undecided"),
        ({"missing_in_all": ("runout",)}, "hold", "parameter_missing"),
        ({"drawn": "convenience"}, "hold", "sample_not_representative"),
        ({"sample_cycles": 1}, "hold", "sample_not_representative"),
        ({"overdue": ("A",)}, "hold", "calibration_overdue"),
        ({"unmet": ("no trend",)}, "hold", "requirement_not_met"),
    ],
)
def test_row_decides(changes: dict[str, object], decision: str, code: str) -> None:
    got, reasons = decide(replace(GOOD, **changes))  # type: ignore[arg-type]
    assert got == decision
    assert [r.code for r in reasons if r.decides] == [code]
    assert reasons[0].code == code


def test_first_row_that_fits_decides_and_all_rows_that_fit_are_reasons() -> None:
    facts = replace(
        GOOD, accept=False, d_low=2, d_high=3, missing_in_all=("runout",), drawn="convenience", unmet=("x",),
        segregate=("A", "B"), remeasure=("C",), required_n=50,
    )  # fmt: skip
    decision, reasons = decide(facts)
    assert decision == "reject"
    assert [r.row for r in reasons] == ["2", "6", "8", "9", "9b"]
    assert [r.decides for r in reasons] == [True, False, False, False, False]


def test_hold_tells_what_the_plan_would_say() -> None:
    decision, reasons = decide(replace(GOOD, unmet=("no outlier",)))
    assert decision == "hold"
    assert [(r.row, r.decision) for r in reasons] == [("9b", "hold"), ("11", "release")]


def test_one_cycle_is_no_fault_in_a_lot_of_one_cycle() -> None:
    decision, _ = decide(replace(GOOD, sample_cycles=1, lot_of_several_cycles=False))
    assert decision == "release"


def test_own_numbers_need_no_lot_size() -> None:
    assert decide(replace(GOOD, lot_size=None, own_numbers=True))[0] == "release"


def test_more_measured_than_the_lot_is_an_error() -> None:
    with pytest.raises(ValueError, match="43 gears were measured, but the lot size is 40"):
        decide(replace(GOOD, lot_size=40))


def test_every_combination_gets_a_decision() -> None:
    for accept in (True, False, None):
        for lot_size in (None, 43, 400):
            for required in (None, 43, 60):
                for low, high in ((0, 0), (0, 2), (2, 2), (1, 4)):
                    facts = replace(
                        GOOD, accept=accept, lot_size=lot_size, required_n=required, d_low=low, d_high=high
                    )
                    decision, reasons = decide(facts)
                    assert decision in {"release", "hold", "reject"}
                    assert sum(r.decides for r in reasons) == 1
                    if accept is not True:
                        assert decision != "release"


def test_the_table_is_numbered_once_and_every_row_is_said_in_words() -> None:
    assert len({row.number for row in TABLE}) == len({row.code for row in TABLE}) == len(TABLE)
    assert all(row.rule.endswith(f": {row.outcome}") or row.outcome in row.rule for row in TABLE)


def test_one_gear_does_not_and_two_gears_do_not() -> None:
    for count, said in ((1, "1 gear of 43 does not conform"), (2, "2 gears of 43 do not conform")):
        _, reasons = decide(replace(GOOD, ac=0, accept=False, d_low=count, d_high=count))
        assert reasons[0].sentence.startswith(said)


@pytest.mark.parametrize(
    ("count", "end"), [(1, ": 01;"), (12, ", 12;"), (13, ", 12 and 1 more;"), (15, ", 12 and 3 more;")]
)
def test_twelve_serials_are_listed_and_the_others_counted(count: int, end: str) -> None:
    _, reasons = decide(replace(GOOD, overdue=tuple(f"{i:02}" for i in range(1, count + 1))))
    assert reasons[0].code == "calibration_overdue"
    assert end in reasons[0].sentence

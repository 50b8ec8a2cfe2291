"""Gears measured more than once: which measurement counts in a lot, and when the lot holds (row 9e).

Common practice, no source: nobody measures until a gear passes without it being seen.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from lot_factory import make_gear, make_header, make_part

from gearqa.errors import LotError
from gearqa.model.lot import Disposition, LotResult
from gearqa.model.plan import Plan
from gearqa.model.results import GearResult
from gearqa.report.lot.words import every_gear_table, segregation_lines
from gearqa.signoff.lot import sign_off
from gearqa.signoff.record import make_record
from gearqa.signoff.verify import GradedAgain, differences, recompute

PART = make_part()
BAD = {"profile_form": 30.0}
NEAR = {"profile_form": 8.4}
"""Within U of the limit of 8.5 um."""


def lot(first: dict[str, float], second: dict[str, float], **more: Any) -> list[GearResult]:
    gears = [make_gear(f"G{number}", PART) for number in range(1, 5)]
    gears[1:2] = [
        make_gear("G2", PART, first), replace(make_gear("G2", PART, second), measurement="cleaned"),
    ]  # fmt: skip
    return gears


def plan_of(use: str | None = None, **more: Any) -> Plan:
    repeats = [{"serial": "G2", "use": use, "reason": "chip under the probe", "by": "Inspector A"}]
    tables = {"sampling": {"n": 4, "ac": 0}, "drawn": "random", "repeats": repeats if use else [], **more}
    return Plan.model_validate(tables)


def decide(gears: list[GearResult], plan: Plan, **more: Any) -> LotResult:
    return sign_off(make_header(PART), PART, gears, plan, lot_size=40, **more)


def rows(result: LotResult) -> list[str]:
    return [reason.row for reason in result.reasons]


@pytest.mark.parametrize(
    ("first", "second", "use", "row", "decision"),
    [
        ({}, {}, None, "11", "release"),
        ({}, {}, "cleaned", "11", "release"),
        (BAD, {}, None, "2", "reject"),
        (BAD, {}, "cleaned", "9e", "hold"),
        (NEAR, {}, "cleaned", "9e", "hold"),
        ({}, BAD, None, "9e", "hold"),
        ({}, NEAR, None, "9e", "hold"),
        ({}, BAD, "cleaned", "2", "reject"),
        (BAD, BAD, None, "2", "reject"),
    ],
)
def test_the_first_counts_unless_the_plan_says_otherwise(
    first: dict[str, float], second: dict[str, float], use: str | None, row: str, decision: str
) -> None:
    result = decide(lot(first, second), plan_of(use))
    assert (rows(result)[0], result.decision) == (row, decision)
    assert result.sample_size == 4
    assert [gear.measurement for gear in result.gears] == ["1", use or "1", "1", "1"]
    (repeat,) = result.repeats
    assert [(one.measurement, one.used) for one in repeat.measurements] == [
        ("1", use is None), ("cleaned", use is not None),
    ]  # fmt: skip
    assert (repeat.reason, repeat.by) == (("chip under the probe", "Inspector A") if use else ("", ""))


def test_simple_acceptance_does_not_hide_a_value_beyond_its_limit() -> None:
    beyond = {"profile_form": 8.6}  # not proven, counts as not conforming
    result = decide(lot(beyond, NEAR), plan_of("cleaned", decision={"rule": "simple acceptance"}))
    assert [one.state for one in result.repeats[0].measurements] == ["not proven", "not proven"]
    assert "9e" in rows(result)


def test_both_measurements_reason_and_name_are_printed_and_a_person_may_decide() -> None:
    person = Disposition("release", "Head of quality", "2025-03-14")
    result = decide(lot(BAD, {}), plan_of("cleaned"), disposition=person)
    assert (result.decision, result.disposition) == ("hold", person)
    cells = [str(getattr(cell, "text", cell)) for row in every_gear_table(result, {}).rows for cell in row]
    assert {"G2 (cleaned)", "G2 (1)", "does not conform, not counted"} <= {*cells}
    text = " ".join(segregation_lines(result))
    for word in ("G2 (1: does not conform, cleaned: conforms)", "chip under the probe", "Inspector A"):
        assert word in text


@pytest.mark.parametrize(
    ("repeat", "message"),
    [
        ({"serial": "G9", "use": "2"}, "'G9' was not measured"),
        ({"serial": "G2", "use": "3"}, "has no measurement '3'"),
    ],
)
def test_a_plan_that_names_what_is_not_there(repeat: dict[str, str], message: str) -> None:
    plan = Plan.model_validate({"repeats": [{**repeat, "reason": "x", "by": "y"}]})
    with pytest.raises(LotError, match=message):
        decide(lot({}, {}), plan)
    with pytest.raises(ValueError, match="a second time"):
        Plan.model_validate({"repeats": [{**repeat, "reason": "x", "by": "y"}] * 2})


def test_a_record_holds_every_measurement_and_is_computed_again() -> None:
    gears, plan, header = lot(BAD, {}), plan_of("cleaned"), make_header(PART)
    result = decide(gears, plan, lot_id="L")
    record = make_record(result, PART, plan, header, gears, settings={"lot_size": 40})
    names = [(gear["serial"], gear["measurement"]) for gear in record["grade"]["gears"]]
    assert names[1:3] == [("G2", "1"), ("G2", "cleaned")]
    assert record["lot"]["repeats"][0]["by"] == "Inspector A"
    again = recompute(record, GradedAgain(PART, header, tuple(gears)))
    kept = {key: record[key] for key in again}
    assert list(differences(kept, again)) == []
    swapped = (gears[0], gears[2], gears[1], *gears[3:])
    assert list(differences(kept, recompute(record, GradedAgain(PART, header, swapped))))

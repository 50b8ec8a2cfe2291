"""Order, dress cycles and calibration from the production table."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone

from lot_factory import make_gear, make_part, make_production

from gearqa.model.measurement import Production
from gearqa.model.results import GearResult
from gearqa.signoff.production import lot_of_several_cycles, production_facts, spread_over_cycles

PART = make_part()


def gear(number: int, **more: object) -> GearResult:
    return make_gear(f"G{number}", PART, production=make_production(number, per_cycle=10, **more))  # type: ignore[arg-type]


def test_first_part_after_dressing_has_position_zero() -> None:
    facts = production_facts([gear(0), gear(3), gear(12)])
    assert facts.positions is not None
    assert facts.positions.tolist() == [0.0, 3.0, 2.0]
    assert (facts.cycles, facts.cycle_count, facts.cycle_length) == ((0, 0, 1), 2, 4.0)


def test_order_is_by_finishing_time() -> None:
    assert production_facts([gear(5), gear(1), gear(3)]).order == (1, 2, 0)


def test_times_with_and_without_zone_do_not_compare() -> None:
    zoned = replace(gear(12), production=make_production(12, finished_at=datetime(2025, 3, 4, tzinfo=UTC)))
    assert production_facts([gear(0, dress=None), zoned]).order is None


def test_without_times_order_is_by_dress_and_parts_since_dress() -> None:
    late, early, next_cycle, tenth = (gear(n, finished_at=None) for n in (3, 1, 12, 105))
    facts = production_facts([tenth, next_cycle, late, early])
    assert (facts.order, facts.order_by_label) == ((3, 2, 1, 0), True)
    assert not production_facts([gear(0), gear(1)]).order_by_label


def test_dress_labels_are_ordered_by_their_numbers() -> None:
    rows = [gear(0, finished_at=None, dress=label) for label in ("D10", "D9", "d2")]
    assert production_facts(rows).order == (2, 1, 0)


def test_labels_give_no_order_where_one_is_missing_or_grinders_work_side_by_side() -> None:
    one = gear(0, finished_at=None)
    for other in ({"dress": None}, {"parts_since_dress": None}, {"grinder": "GR-2"}, {"wheel": None}):
        facts = production_facts([one, gear(1, finished_at=None, **other)])
        assert (facts.order, facts.order_by_label) == (None, False)


def test_labels_of_a_dress_are_unique_within_grinder_and_wheel_only() -> None:
    assert production_facts([gear(0), gear(1, grinder="GR-2"), gear(2, wheel="W-9")]).cycle_count == 3


def test_one_gear_without_a_dress_leaves_the_cycles_unknown() -> None:
    assert production_facts([gear(0), gear(1, dress=None)]).cycles is None
    assert production_facts([make_gear("G", PART)]).cycles is None


def test_lot_of_several_cycles() -> None:
    facts = production_facts([gear(0), gear(9)])
    others = [make_production(25, per_cycle=10), make_production(5, per_cycle=10)]
    assert not lot_of_several_cycles(facts, (), None, 2, None)
    assert not lot_of_several_cycles(facts, (), 10, 2, None)
    assert lot_of_several_cycles(facts, (), 11, 2, None)
    assert lot_of_several_cycles(facts, others, None, 2, None)
    assert not lot_of_several_cycles(facts, others, 400, 2, 1)
    assert lot_of_several_cycles(facts, (), None, 2, 3)


def test_spread_over_the_cycle() -> None:
    whole = production_facts([gear(0), gear(5), gear(9), gear(10), gear(19)])
    assert spread_over_cycles(whole, whole.cycle_length)
    early = production_facts([gear(0), gear(2), gear(10), gear(12)])
    assert not spread_over_cycles(early, 10.0)
    late = production_facts([gear(6), gear(9), gear(16), gear(19)])
    assert not spread_over_cycles(late, 10.0)
    # exactly from the first to the last third of positions 0 to 9
    assert spread_over_cycles(production_facts([gear(3), gear(6)]), 10.0)
    assert not spread_over_cycles(production_facts([gear(3), gear(5)]), 10.0)
    assert spread_over_cycles(production_facts([make_gear("G", PART, production=Production())]), None)


def test_calibration_that_is_due_on_a_day_holds_until_its_end_and_at_a_time_until_then() -> None:
    def late(measured: datetime, due: datetime) -> bool:
        return bool(production_facts([gear(0, measured_at=measured, calibration_due=due)]).overdue)

    day = datetime(2025, 3, 4)
    assert not late(datetime(2025, 3, 4, 23, 59), day)
    assert late(datetime(2025, 3, 5, 0, 1), day)
    assert not late(datetime(2025, 3, 4, 12, 0), datetime(2025, 3, 4, 12, 0))
    assert late(datetime(2025, 3, 4, 12, 1), datetime(2025, 3, 4, 12, 0))
    # 00:30 in the east is still the evening before, in the zone of the certificate
    east, west = timezone(timedelta(hours=2)), timezone(timedelta(hours=1))
    due = datetime(2025, 3, 4, 23, 59, 59, tzinfo=west)
    assert not late(datetime(2025, 3, 5, 0, 30, tzinfo=east), due)
    assert late(datetime(2025, 3, 5, 1, 30, tzinfo=east), due)
    # one with a zone, one without: by the day
    assert not late(datetime(2025, 3, 4, 23, 0, tzinfo=east), datetime(2025, 3, 4, 12, 0))

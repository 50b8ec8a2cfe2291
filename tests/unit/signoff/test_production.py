"""Order, dress cycles and calibration from the production table."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone

import pytest
from lot_factory import make_gear, make_part, make_production

from gearqa.model.measurement import Production
from gearqa.model.results import GearResult
from gearqa.signoff.production import cycle_coverage, lot_of_several_cycles, production_facts

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


@pytest.mark.parametrize(
    ("parts", "gap", "measure"),
    [
        ((1, 6, 12, 18, 24, 30), (7, 11), ()),
        ((1, 2, 3, 4, 5, 6), (7, 30), (18, 30)),  # the first parts alone
        ((1, 15, 30), (16, 29), ()),  # first, middle and last
        ((1, 30), (2, 29), (15,)),
        ((20, 25, 30), (1, 19), (1, 10)),
        ((1, 10, 15), (16, 30), ()),  # exactly half of the cycle
        ((1, 10, 14), (15, 30), (22, 30)),
        (tuple(range(1, 31)), None, ()),
    ],
)
def test_where_in_a_cycle_of_thirty(
    parts: tuple[int, ...], gap: tuple[int, int] | None, measure: tuple[int, ...]
) -> None:
    # two cycles, their parts counted together
    gears = [gear(k, cycle=k % 2, parts_since_dress=part) for k, part in enumerate(parts)]
    found = cycle_coverage(production_facts(gears), (), 60, None, several_cycles=True)
    assert found is not None
    assert (found.cycle_length, found.cycles) == (30.0, 2)
    assert (found.longest_gap, found.measure, found.spread) == (gap, measure, not measure)


def test_length_of_a_cycle_follows_from_lot_size_and_cycles() -> None:
    facts = production_facts([gear(0), gear(12)])
    others = [make_production(25, per_cycle=10)]

    def length(rows: list[Production], size: int | None, stated: int | None = None) -> float | None:
        found = cycle_coverage(facts, rows, size, stated, several_cycles=True)
        return None if found is None else found.cycle_length

    assert length([], 60) == 30.0
    assert length([*others, make_production(3, per_cycle=10), make_production(13, per_cycle=10)], 60) == 20.0
    assert length([], 60, stated=4) == 15.0
    assert length([], None) is None
    no_part = production_facts([gear(0), gear(1, parts_since_dress=None)])
    assert cycle_coverage(no_part, (), 60, 2, several_cycles=True) is None
    one = production_facts([gear(0), gear(1)])
    assert cycle_coverage(one, (), 60, None, several_cycles=True) is None
    assert cycle_coverage(one, (), 60, None, several_cycles=False) is not None


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

"""Order, dress cycles and calibration as the production table tells them."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime

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


def test_times_with_and_without_zone_give_no_order() -> None:
    zoned = replace(gear(12), production=make_production(12, finished_at=datetime(2025, 3, 4, tzinfo=UTC)))
    assert production_facts([gear(0), zoned]).order is None


def test_without_times_order_holds_within_one_cycle_only() -> None:
    within = [gear(3, finished_at=None), gear(1, finished_at=None)]
    assert production_facts(within).order == (1, 0)
    assert production_facts([*within, gear(12, finished_at=None)]).order is None


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

"""Production order and dress cycles."""

from __future__ import annotations

import random
from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest
from drift_histories import Grinder, at, event_before, history

from gearqa.drift.ordering import production_order
from gearqa.model.measurement import GrinderEvent

SMALL = Grinder(cycles=12)


def rows() -> list:
    return history(np.random.default_rng(0), SMALL)


def test_order_of_the_input_does_not_matter() -> None:
    observations = rows()
    shuffled = observations.copy()
    random.Random(3).shuffle(shuffled)
    order = production_order(shuffled, ())
    assert order.observations == tuple(observations)
    assert order.cycle.tolist() == np.repeat(np.arange(12), 3).tolist()
    assert order.s.tolist() == [0.0, 14.0, 29.0] * 12
    assert order.warnings == ()


def test_without_times_cycles_follow_their_label() -> None:
    observations = [replace(o, finished_at=None) for o in rows()]
    random.Random(4).shuffle(observations)
    order = production_order(observations, ())
    assert order.dress == tuple(f"D{c}" for c in range(1, 13))
    assert [w.code for w in order.warnings] == ["order_by_label"]


def test_recorded_dresses_or_falling_part_counts_tell_cycles_apart() -> None:
    observations = [replace(o, dress=None) for o in rows()]
    by_count = production_order(observations, ())
    assert by_count.cycles == 12
    nameless = [replace(o, parts_since_dress=None) for o in observations]
    assert not production_order(nameless, ()).known
    dresses = [event_before(c, SMALL, "Dress") for c in range(2, 13)]
    by_event = production_order(nameless, dresses)
    assert by_event.known
    assert by_event.cycle.tolist() == by_count.cycle.tolist()


def test_positions_estimated_from_times() -> None:
    observations = [replace(o, parts_since_dress=None) for o in rows()]
    assert bool(np.isnan(production_order(observations, ()).s).all())
    order = production_order(observations, (), cycle_time_s=100.0)
    assert order.estimated
    assert [w.code for w in order.warnings] == ["parts_estimated"]
    assert order.s.tolist() == [0.0, 14.0, 29.0] * 12
    # With the dress recorded, a cycle whose first part was not measured keeps its place.
    late = [o for o in observations if not o.serial.endswith("001")]
    dresses = [GrinderEvent(at(c, 0, SMALL), "dress", "G1") for c in range(1, 13)]
    order = production_order(late, dresses, cycle_time_s=100.0)
    assert order.s.tolist() == [14.0, 29.0] * 12


def test_the_later_measurement_of_a_serial_wins() -> None:
    observations = rows()
    again = replace(observations[4], mean_um=99.0)
    order = production_order([*observations, again], ())
    assert len(order.observations) == 36
    assert order.observations[4].mean_um == 99.0
    assert [w.code for w in order.warnings] == ["repeated_serials"]


def test_earlier_cycles_keep_the_count() -> None:
    order = production_order(rows(), (), last_cycles=5)
    assert order.cycles == 5
    assert (order.number(0), order.number(4)) == (8, 12)


@pytest.mark.parametrize("hours", [0, 5])
def test_times_with_and_without_zone_are_comparable(hours: int) -> None:
    from datetime import UTC

    observations = [
        replace(o, finished_at=o.finished_at + timedelta(hours=hours))  # type: ignore[operator]
        for o in rows()
    ]
    aware = [replace(o, finished_at=o.finished_at.replace(tzinfo=UTC)) for o in observations]  # type: ignore[union-attr]
    mixed = observations[:18] + aware[18:]
    assert production_order(mixed, ()).cycle.tolist() == np.repeat(np.arange(12), 3).tolist()

"""Production order and dress cycles."""

from __future__ import annotations

import random
from datetime import timedelta

import numpy as np
import pytest
from drift_histories import Grinder, at, event_before, history

from gearqa.drift.ordering import Orders, by_series, production_order
from gearqa.model.drift import DriftSettings
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
    observations = [o._replace(finished_at=None) for o in rows()]
    random.Random(4).shuffle(observations)
    order = production_order(observations, ())
    assert order.dress == tuple(f"D{c}" for c in range(1, 13))
    assert [w.code for w in order.warnings] == ["order_by_label"]


def test_recorded_dresses_or_falling_part_counts_tell_cycles_apart() -> None:
    observations = [o._replace(dress=None) for o in rows()]
    by_count = production_order(observations, ())
    assert by_count.cycles == 12
    nameless = [o._replace(parts_since_dress=None) for o in observations]
    assert not production_order(nameless, ()).known
    dresses = [event_before(c, SMALL, "Dress") for c in range(2, 13)]
    by_event = production_order(nameless, dresses)
    assert by_event.known
    assert by_event.cycle.tolist() == by_count.cycle.tolist()


def test_positions_estimated_from_times() -> None:
    observations = [o._replace(parts_since_dress=None) for o in rows()]
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
    again = observations[4]._replace(mean_um=99.0)
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
        o._replace(finished_at=o.finished_at + timedelta(hours=hours))  # type: ignore[operator]
        for o in rows()
    ]
    aware = [o._replace(finished_at=o.finished_at.replace(tzinfo=UTC)) for o in observations]  # type: ignore[union-attr]
    mixed = observations[:18] + aware[18:]
    assert production_order(mixed, ()).cycle.tolist() == np.repeat(np.arange(12), 3).tolist()


def test_a_dress_label_used_again_is_two_cycles_and_told() -> None:
    """D1 to D6 twice on one wheel: twelve cycles, as they were made."""
    observations = [o._replace(dress=f"D{(int(o.serial[:4]) - 1) % 6 + 1}") for o in rows()]
    order = production_order(observations, ())
    assert order.cycle.tolist() == np.repeat(np.arange(12), 3).tolist()
    (told,) = order.warnings
    assert told.code == "dress_label_again"
    assert "D1 (from 0001-001, 0007-001)" in told.message


def test_the_same_label_in_a_row_is_cut_where_the_parts_begin_anew() -> None:
    observations = [o._replace(dress="D1") if int(o.serial[:4]) <= 2 else o for o in rows()]
    assert production_order(observations, ()).cycle.tolist() == np.repeat(np.arange(12), 3).tolist()


def test_a_dress_recorded_late_cuts_no_cycle() -> None:
    """Recorded behind the first measured part of cycle 5: too soon before part 15 for another dress."""
    late = GrinderEvent(at(5, 12, SMALL), "dress", "G1")
    assert production_order(rows(), [late]).cycle.tolist() == np.repeat(np.arange(12), 3).tolist()
    # A dress that nobody labelled: part 15 after it needs its time.
    observations = [
        o._replace(finished_at=o.finished_at + timedelta(hours=1)) if o.serial > "0005-001" else o  # type: ignore[operator]
        for o in rows()
    ]
    early = GrinderEvent(at(5, 2, SMALL), "dress", "G1")
    assert production_order(observations, [early]).cycles == 13


def test_one_wrong_time_does_not_cut_the_cycle_around_it() -> None:
    observations = [o._replace(finished_at=at(8, 10, SMALL)) if o.serial == "0003-015" else o for o in rows()]
    order = production_order(observations, ())
    assert order.cycles == 13
    assert [w.code for w in order.warnings] == ["dress_label_again"]


def test_positions_that_contradict_times_are_told_with_serials() -> None:
    """Too many parts for the time in one cycle: left out for the wear. All counted backwards: no wear."""

    def counted(parts: dict[int, int], cycles: set[int]) -> list:
        return [
            o._replace(parts_since_dress=parts[o.parts_since_dress]) if int(o.serial[:4]) in cycles else o
            for o in history(np.random.default_rng(0), Grinder(cycles=24))
        ]

    one = production_order(counted({1: 1, 15: 40, 30: 60}, {4}), ())
    assert one.sound.tolist() == [c != 3 for c in range(24)]
    assert one.doubt is None
    (told,) = one.warnings
    assert told.code == "production_contradicts"
    assert "in 1 cycle (0004-015)" in told.message
    backwards = production_order(counted({1: 30, 15: 15, 30: 1}, set(range(1, 25))), ())
    assert backwards.cycles == 24
    assert backwards.doubt is not None
    assert "no wear, no dress interval" in backwards.warnings[0].message
    assert "0001-015, 0001-030" in backwards.warnings[0].message


def test_two_gears_at_one_part_of_a_cycle_without_times() -> None:
    observations = [o._replace(finished_at=None) for o in rows()]
    twice = [*observations, observations[4]._replace(serial="again")]
    order = production_order(twice, ())
    assert order.doubt is not None
    assert "two gears at one part of a cycle" in order.doubt


def test_dates_without_a_time_of_day_keep_the_labels_together() -> None:
    observations = [
        o._replace(finished_at=o.finished_at.replace(hour=0, minute=0, second=0))  # type: ignore[union-attr]
        for o in rows()
    ]
    order = production_order(observations, ())
    assert order.cycle.tolist() == np.repeat(np.arange(12), 3).tolist()
    assert order.s.tolist() == [0.0, 14.0, 29.0] * 12
    assert order.warnings == ()


def test_series_of_the_same_gears_share_their_order_and_others_have_their_own() -> None:
    observations = rows()
    first = observations[0]
    several = [o._replace(flank=flank) for flank in ("left", "right", None) for o in observations]
    series = by_series(o for o in several if o.flank is not None or o.serial != first.serial)
    random.Random(5).shuffle(series[first.part, first.grinder, first.parameter, "right"])
    orders = Orders({}, DriftSettings())
    for key, own in series.items():
        shared, alone = orders.of(key, own), production_order(own, ())
        assert shared.observations == alone.observations
        assert shared.cycle.tolist() == alone.cycle.tolist()
        assert shared.at.tolist() == [o.finished_at.timestamp() for o in alone.observations]

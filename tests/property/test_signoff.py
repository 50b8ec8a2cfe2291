"""Invariants of a lot decision."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from gearqa.model.lot import LotGear, State
from gearqa.model.plan import MasterTable, SamplingTable
from gearqa.signoff.master import master_quality_of_lot
from gearqa.signoff.sampling_plan import apply_plan, required_plan

STATES: tuple[State, ...] = ("conforms", "not proven", "not assessed", "does not conform")
RANK = {True: 0, None: 1, False: 2}


def gear(state: State) -> LotGear:
    return LotGear("G", state, state, None, None, None, None, None, True, state, (), ())


@given(
    st.lists(st.sampled_from(STATES), min_size=1, max_size=30),
    st.integers(0, 3),
    st.integers(1, 30),
    st.data(),
)
def test_a_gear_that_gets_worse_never_helps(
    states: list[State], ac: int, n: int, data: st.DataObject
) -> None:
    table = SamplingTable(n=n, ac=ac)
    place = data.draw(st.integers(0, len(states) - 1))
    worse = data.draw(st.sampled_from(STATES[STATES.index(states[place]) :]))
    after = [*states[:place], worse, *states[place + 1 :]]
    plan = required_plan(table, None)
    before, then = (apply_plan(plan, table, [gear(s) for s in x], None, {}) for x in (states, after))
    assert RANK[then.accept] >= RANK[before.accept]
    assert then.d_low >= before.d_low


@given(st.lists(st.sampled_from(STATES), min_size=1, max_size=30), st.integers(0, 3), st.integers(1, 30))
def test_accepted_only_with_enough_gears_and_whatever_the_open_ones_turn_out_to_be(
    states: list[State], ac: int, n: int
) -> None:
    table = SamplingTable(n=n, ac=ac)
    plan = required_plan(table, None)

    def accept(x: list[State]) -> bool | None:
        return apply_plan(plan, table, [gear(s) for s in x], None, {}).accept

    best: list[State] = ["does not conform" if s == "does not conform" else "conforms" for s in states]
    worst: list[State] = ["conforms" if s == "conforms" else "does not conform" for s in states]
    if accept(states) is True:
        assert len(states) >= n
        assert accept(worst) is True
    if accept(states) is False:
        assert accept(best) is False


@given(st.lists(st.sampled_from(STATES), min_size=1, max_size=40), st.integers(0, 300))
def test_bounds_of_master_quality_enclose_what_was_seen(states: list[State], more: int) -> None:
    for lot in (None, len(states) + more):
        m = master_quality_of_lot(
            [gear(s) for s in states], lot, MasterTable(), class_=4, parameters=("runout",)
        )
        assert 0 <= m.share_lower_bound <= m.proven / len(states) + 1e-9
        assert 1 - m.refuted / len(states) - 1e-9 <= m.share_upper_bound <= 1
        assert not (m.in_lot == "shown" and m.share_upper_bound < m.coverage)

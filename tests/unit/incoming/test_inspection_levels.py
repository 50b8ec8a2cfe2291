"""How much of the next delivery to measure: switches where they must, never skips after one that differed.

The numbers of the rule are gearqa's own, after ISO 2859-1:1999, 9.3 (from memory); no table confirms them.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gearqa.incoming.inspection_levels import inspection_levels

WORD = {"+": "agrees", "-": "differs", "?": "open", "0": "not measured"}
LETTER = {"normal": "n", "reduced": "r", "skip": "s", "tightened": "T"}


def times(number, days=30):
    return [datetime(2024, 1, 8, tzinfo=UTC) + timedelta(days=days * n) for n in range(number)]


def levels(outcomes, **more):
    """Level of every delivery, and of the next one, as letters."""
    came, advice = inspection_levels([WORD[one] for one in outcomes], times(len(outcomes)), **more)
    return "".join(LETTER[one] for one in (*came, advice.level))


@pytest.mark.parametrize(
    ("outcomes", "expected"),
    [
        ("", "n"),
        ("++++", "nnnnn"),
        ("+++++", "nnnnnr"),
        ("++++++++++", "nnnnnrrrrrs"),
        # Of two deliveries one is measured where measuring may be skipped.
        ("++++++++++0+0", "nnnnnrrrrrsrsr"),
        ("++++++++++++", "nnnnnrrrrrsss"),
        # One that differs ends reduced and skipping at once, a second one of five tightens.
        ("+++++-", "nnnnnrn"),
        ("++++++++++-", "nnnnnrrrrrsn"),
        ("+++++--", "nnnnnrnT"),
        ("-+++-", "nnnnnT"),
        ("-++++-", "nnnnnnn"),
        ("-+++++", "nnnnnnr"),
        # Tightened until five in a row agree; then normal, and from the beginning.
        ("--++++", "nnTTTTT"),
        ("--+++++", "nnTTTTTn"),
        ("--++++-+++++", "nnTTTTTTTTTTn"),
        ("--++++++++++", "nnTTTTTnnnnnr"),
        # What stays open agrees with nothing; what was not measured changes nothing.
        ("++++?++++", "nnnnnnnnnn"),
        ("+++++?", "nnnnnrn"),
        ("00000000", "nnnnnnnnn"),
        ("++0+++", "nnnnnnr"),
        ("-000-", "nnnnnT"),
    ],
)
def test_a_dozen_deliveries_of_known_truth(outcomes, expected):
    assert levels(outcomes) == expected


def test_the_counts_that_led_there_are_named():
    def advice(outcomes, **more):
        return inspection_levels([WORD[one] for one in outcomes], times(len(outcomes)), **more)[1]

    def counts(outcomes, **more):
        return [(one.code, one.count, one.of) for one in advice(outcomes, **more).reasons]

    assert counts("") == [("too_few_deliveries", 0, 5)]
    assert counts("+++") == [("too_few_deliveries", 3, 5)]
    assert counts("++++++") == [("agreed_in_a_row", 6, 5)]
    assert counts("+" * 11) == [("agreed_in_a_row", 11, 10)]
    assert counts("+" * 10 + "0") == [("skipped_last", 1, 1), ("agreed_in_a_row", 10, 10)]
    assert counts("+-") == [("differed", 1, 2)]
    assert counts("+-+-") == [("differed", 2, 4)]
    assert counts("--++") == [("tightened_until", 2, 5)]
    assert counts("++?") == [("open_delivery", 1, 1)]
    assert counts("-------") == [("many_differed", 5, 5), ("tightened_until", 0, 5)]
    assert counts("++++++", trending=2, series=17) == [("bias_trend", 2, 17), ("agreed_in_a_row", 6, 5)]
    assert advice("+-+++").agreed_in_a_row == 3


def test_while_a_bias_moves_nothing_is_reduced():
    assert levels("+" * 12, trending=1, series=17)[-1] == "n"
    assert levels("--", trending=1, series=17)[-1] == "T"


def test_after_a_long_pause_measuring_begins_anew():
    dates = [*times(10), times(10)[-1] + timedelta(days=400)]
    came, advice = inspection_levels(["agrees"] * 11, dates)
    assert (came[9], came[10], advice.level) == ("reduced", "normal", "normal")
    for days, level in ((365, "skip"), (366, "normal")):
        as_of = times(10)[-1] + timedelta(days=days)
        _, advice = inspection_levels(["agrees"] * 10, times(10), as_of=as_of)
        assert advice.level == level
    assert advice.reasons[0].code == "pause"


@given(st.lists(st.sampled_from("+-?0"), max_size=60))
def test_never_skipped_nor_reduced_soon_after_one_that_differed_or_stayed_open(outcomes):
    shown = levels("".join(outcomes))
    for place, level in enumerate(shown):
        before = "".join(outcomes[:place]).replace("0", "")
        tail = before[max(before.rfind("-"), before.rfind("?")) + 1 :]
        if level == "s":
            assert len(tail) >= 10
        if level == "r":
            assert len(tail) >= 5
        if before.endswith("--"):
            assert level == "T"

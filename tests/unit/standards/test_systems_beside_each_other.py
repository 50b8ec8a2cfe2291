"""Systems against each other and against printed tables of one left out; invariants of every edition."""

from __future__ import annotations

import itertools
import math

import pytest

from gearqa.errors import OutOfScopeError
from gearqa.model.editions import EDITIONS
from gearqa.standards import tolerance_rows
from gearqa.standards.din3962_1978 import tolerances as din
from gearqa.standards.iso1328_1_1995 import scope

OLDER, DIN, JIS = "ISO 1328-1:1995", "DIN 3962:1978", "JIS B 1702:1976"
TEXTS = list(dict.fromkeys(one.text for one in EDITIONS.values()))

INCHES = (0.75, 1.5, 3, 6, 12, 25)
RUNOUT = {  # quality number, diametral pitch: 1e-4 inch at the first of these diameters, and so on
    (9, 8): (14.1, 16.7, 19.7, 23.2, 27.4, 32.6),
    (10, 8): (10.1, 11.9, 14.0, 16.6, 19.5, 23.3),
    (10, 20): (6.5, 7.6, 9.0, 10.6, 12.5, 14.9),
    (11, 12): (5.9, 7.0, 8.2, 9.7, 11.5, 13.7),
    (12, 8): (5.2, 6.1, 7.2, 8.5, 10.0, 11.9),
    (12, 20): (3.3, 3.9, 4.6, 5.4, 6.4, 7.6),
}
PITCH = {
    (9, 8): (4.4, 5.0, 5.6, 6.4, 7.2),
    (9, 20): (3.6, 4.1, 4.6, 5.2, 5.9),
    (10, 8): (3.1, 3.5, 4.0, 4.5, 5.1),
    (11, 8): (2.2, 2.5, 2.8, 3.2, 3.6),
    (12, 8): (1.5, 1.7, 2.0, 2.2, 2.5),
}
CELLS = [
    pytest.param(key, Q, P, D, value, id=f"{key} Q{Q} P{P} D{D}")
    for key, table in (("runout", RUNOUT), ("single_pitch", PITCH))
    for (Q, P), row in table.items()
    for D, value in zip(INCHES, row, strict=False)
    if 25.4 * D <= 560
]


@pytest.mark.published
@pytest.mark.parametrize(("key", "Q", "P", "D", "value"), CELLS)
def test_printed_quality_numbers_lie_near_grade_17_less_the_number(key, Q, P, D, value):
    """Textbook table 4.22, "Typical gear tolerances for quality numbers 9 to 13", 1e-4 inch; that grade and
    quality number add up to 17 is a rule of thumb from memory. Band: a step and a half of the root of two."""
    d, m = 25.4 * D, 25.4 / P
    ours = tolerance_rows(OLDER, None, m, d, 20.0)[key].tolerance(17 - Q)
    assert abs(2 * math.log2(ours / (2.54 * value))) < 1.5


@pytest.mark.published
@pytest.mark.parametrize("class_", range(5))
@pytest.mark.parametrize(("m_n", "d"), [(1.0, 40.0), (2.0, 80.0), (2.5, 100.0), (3.0, 200.0), (4.0, 240.0)])
def test_the_newer_jis_grade_is_about_the_older_class_plus_4(class_, m_n, d):
    """Catalogue section 5.7, "Precision of spur and helical gears": grade N(k + 4) of JIS B 1702-1:1998 for
    class k of JIS B 1702:1976, apart from very few or many teeth. Band: one step of the root of two."""
    older, newer = (tolerance_rows(title, None, m_n, d, 20.0) for title in (JIS, "JIS B 1702-1:1998"))
    for key in ("single_pitch", "cumulative_pitch"):
        ratio = newer[key].tolerance(class_ + 4) / older[key].tolerance(class_)
        assert abs(2 * math.log2(ratio)) < 1, key


@pytest.mark.independent
def test_din_and_the_older_iso_lie_near_each_other():
    """Quality k of DIN 3962 and grade k of ISO 1328-1:1995: printed cells within two steps of root two."""
    compared = 0
    for d, b in itertools.product((30.0, 80.0), (15.0, 30.0)):
        ours, theirs = (tolerance_rows(title, None, 1.5, d, b) for title in (DIN, OLDER))
        for key in ours.keys() & theirs.keys():
            for class_ in (5, 6):
                T = ours[key].tolerance(class_)
                if T is not None:
                    assert abs(2 * math.log2(T / theirs[key].tolerance(class_))) < 2, (key, class_)
                    compared += 1
    assert compared > 30


def middles(limits: tuple[float, ...]) -> list[float]:
    return [math.sqrt(low * high) for low, high in itertools.pairwise(limits)]


@pytest.mark.parametrize("title", TEXTS)
def test_tolerances_grow_with_class_diameter_module_and_width(title):
    """In every range of the edition of 1995, on the same sizes for the others where they know them."""
    sizes = (middles(scope.M_LIMITS), middles(scope.D_LIMITS), middles(scope.B_LIMITS))
    found = {}
    for places in itertools.product(*(range(len(one)) for one in sizes)):
        m_n, d, b = (one[place] for one, place in zip(sizes, places, strict=True))
        try:
            found[places] = tolerance_rows(title, None, m_n, d, b)
        except OutOfScopeError:
            continue
    assert len(found) > 5
    steps = 0
    for places, rows in found.items():
        for key, row in rows.items():
            assert all(low < high or low == high < 5 for low, high in itertools.pairwise(row.tolerances)), key
            for axis in range(3):
                after = found.get(tuple(place + (axis == k) for k, place in enumerate(places)), {})
                if key in after:
                    steps += 1
                    for grade in range(row.first_class, row.first_class + len(row.tolerances)):
                        more = after[key].tolerance(grade)
                        assert more is None or more >= row.tolerance(grade), (places, key, grade)
    assert steps > 5


@pytest.mark.parametrize(
    ("axis", "limits"), [("d", scope.D_LIMITS), ("m_n", scope.M_LIMITS), ("b", scope.B_LIMITS)]
)
def test_the_ranges_of_1995_leave_no_gap_and_hold_their_upper_limits(axis, limits):
    size = {"d": 100.0, "m_n": 3.0, "b": 30.0}

    def table(value: float) -> list[tuple[float, ...]]:
        own = size | {axis: value}
        return [
            row.tolerances for row in tolerance_rows(OLDER, None, own["m_n"], own["d"], own["b"]).values()
        ]

    for low, high in itertools.pairwise(limits):
        inside = table(math.sqrt(low * high))
        assert table(math.nextafter(low, high)) == inside == table(high)
        assert high == limits[-1] or table(math.nextafter(high, math.inf)) != inside


@pytest.mark.parametrize("tables", [din.PITCH, din.HELIX], ids=["pitch", "helix"])
def test_the_known_ranges_of_din_do_not_overlap_and_its_cells_rise(tables):
    for key, ranges in tables.items():
        for (_, most, _), (above, _, _) in itertools.pairwise(ranges):
            assert most <= above, key
        for above, most, (_, cells) in ranges:
            assert above < most
            assert list(cells) == sorted(cells), key

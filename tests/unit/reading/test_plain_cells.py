"""Plain decimals and texts of a block against Python's own float and split; what is not plain is refused."""

from __future__ import annotations

import random
import struct
from collections.abc import Sequence

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gearqa.reading.folder.plain_cells import Columns, plain_columns
from gearqa.reading.folder.sources import Dialect

PLACES = {"serial": 0, "flank": 1, "tooth": 2, "face_position_mm": 3, "deviation_um": 4}


def parsed(lines: Sequence[str], newline: str = "\n") -> Columns | None:
    return plain_columns(newline.join([*lines, ""]).encode(), Dialect(), 5, PLACES)


def bits(values: Sequence[float]) -> bytes:
    return struct.pack(f"<{len(values)}d", *values)


def of_numbers(numbers: Sequence[str]) -> Columns | None:
    return parsed([f"A,left,1,{text},{text}" for text in numbers])


plain = st.builds(
    lambda sign, digits, places: (
        sign + digits[: len(digits) - places] + ("." + digits[-places:] if places else "")
    ),
    st.sampled_from(["", "-"]),
    st.text("0123456789", min_size=1, max_size=15),
    st.integers(0, 7),
).filter(lambda text: text.strip("-.") != "" and not text.endswith("."))


@given(st.lists(plain, min_size=1, max_size=40))
@pytest.mark.independent
def test_decimals_are_what_python_makes_of_them(numbers: list[str]) -> None:
    found = of_numbers(numbers)
    assert found is not None
    assert found.numbers[3].tobytes() == found.numbers[4].tobytes() == bits(list(map(float, numbers)))


@pytest.mark.parametrize("decimals", range(8))
@pytest.mark.independent
def test_columns_of_many_widths(decimals: int) -> None:
    rng = random.Random(decimals)
    numbers = [f"{rng.uniform(-1, 1) * 10 ** rng.uniform(-1, 6):.{decimals}f}" for _ in range(5000)]
    found = of_numbers([*numbers, f"-{0:.{decimals}f}"])
    assert found is not None
    assert found.numbers[4].tobytes() == bits([*map(float, numbers), -0.0])


@pytest.mark.parametrize(
    "odd",
    ["", "-", ".", "-.", "+1", "--1", "1-", "1-2", "1.2.3", "1..2", "1e3", "1E3", " 1", "1 ", "inf", "nan",
     "1_0", "0x1", "\N{ARABIC-INDIC DIGIT ONE}", "1/2", "1:2", "1'2", "1/", "0.12345678", "12345678901234567",
     "9007199254740993", "1;2", "1\t2", "1.5)", "1*5", "1&5", "1(5"],
)  # fmt: skip
@pytest.mark.parametrize("among", [["1.5"] * 5, ["1", "2.25", "-3.125", "10.5", "7"], ["12345678.25"] * 5])
def test_other_cells_are_refused(odd: str, among: list[str]) -> None:
    assert of_numbers(among) is not None
    for at in range(len(among) + 1):
        assert of_numbers([*among[:at], odd, *among[at:]]) is None


@pytest.mark.parametrize(
    "odd",
    ["", "A,left,1,2", "A,left,1,2,3,4", "A,left,1,2,3,", ",left,1,2,3", "A,,1,2,3", "A,left,,2,3",
     "A,left,1.0,2,3", "A,left\n1,2,3"],
)  # fmt: skip
def test_rows_of_another_shape_are_refused(odd: str) -> None:
    good = ["A,left,1,2,3"] * 20
    for at in (0, 7, 20):
        assert parsed([*good[:at], odd, *good[at:]]) is None


@pytest.mark.parametrize("newline", ["\n", "\r\n", "\r"])
@pytest.mark.parametrize("length", [1, 7, 8, 9, 15, 16, 17, 40, 60])
@pytest.mark.parametrize("place", ["first", "last"])
def test_texts_that_differ_in_one_character_are_told_apart(newline: str, length: int, place: str) -> None:
    serials = []
    for run, letter in enumerate("abcaab"):
        rest = "x" * (length - 1 - run % 2)
        serials += [letter + rest if place == "first" else rest + letter] * (6 + run)
    lines = [f"{serial},left,{len(serial) % 7},{at}.5,-{at}" for at, serial in enumerate(serials)]
    found = parsed(lines, newline=newline)
    assert found is not None
    names, codes = found.texts[0]
    assert names == list(dict.fromkeys(serials))
    assert [names[code] for code in codes] == serials
    assert found.numbers[2].tolist() == [len(serial) % 7 for serial in serials]
    assert found.numbers[4].tolist() == [-at for at in range(len(serials))]


def test_columns_apart_from_each_other_and_a_decimal_comma() -> None:
    places = {"deviation_um": 0, "flank": 2, "serial": 5, "tooth": 4, "face_position_mm": 3}
    rows = [
        (f"{value:.2f}", "note", flank, f"{at}", tooth, serial)
        for at, (value, flank, tooth, serial) in enumerate(
            (at / 8, ("left", "right")[at // 32 % 2], str(1 + at // 64 % 3), f"Grün-{at // 192}")
            for at in range(1000)
        )
    ]
    data = "\n".join(";".join(row) for row in rows).replace(".", ",").encode()
    found = plain_columns(data, Dialect(separator=";", decimal=","), 6, places)
    assert found is not None
    assert found.numbers[0].tolist() == [float(row[0]) for row in rows]
    assert found.numbers[4].tolist() == [float(row[4]) for row in rows]
    for at in (2, 5):
        names, codes = found.texts[at]
        assert [names[code] for code in codes] == [row[at] for row in rows]


def test_texts_that_change_from_row_to_row_are_left_to_the_general_parser() -> None:
    assert parsed([f"S{at},left,1,2,3" for at in range(100)]) is None
    assert parsed([f"{'S' * 80}{at // 10},left,1,2,3" for at in range(100)]) is None


def test_one_row_and_cells_at_both_ends_of_a_block() -> None:
    places = {"deviation_um": 0, "serial": 1}
    found = plain_columns(b"-1.5,A", Dialect(), 2, places)
    assert found is not None
    assert found.numbers[0].tolist() == [-1.5]
    assert found.texts[1][0] == ["A"]
    assert np.array_equal(found.texts[1][1], [0])

"""DIN 3962:1978 and JIS B 1702:1976 against printed cells and formulas; systems beside each other."""

from __future__ import annotations

import math
import re
from pathlib import Path

import pytest
from pydantic import ValidationError
from unit.evaluation import make

import gearqa
from gearqa.errors import OutOfScopeError
from gearqa.model.editions import LEFT_OUT, why_left_out
from gearqa.reading.settings.part_notices import part_notices
from gearqa.standards import tolerance_rows, tolerance_table

DIN, JIS = "DIN 3962:1978", "JIS B 1702:1976"


@pytest.mark.published
@pytest.mark.parametrize(
    ("key", "first", "cells"),
    [
        ("profile_form", 1, [1, 1.5, 2, 3, 4.5, 6]),
        ("profile_slope", 1, [1, 1.5, 2, 3, 4, 5]),
        ("profile_total", 1, [1.5, 2, 3, 4, 6, 8]),
        ("single_pitch", 1, [1, 1.5, 2.5, 3.5, 5, 7]),
        ("adjacent_pitch", 1, [1.5, 2, 3, 4.5, 6, 9]),
        ("cumulative_pitch", 1, [3.5, 5, 7, 10, 14, 18]),
        ("helix_slope", 5, [6.5, 9, 13, 18, 28, 40, 63, 100]),
        ("helix_total", 6, [10, 15, 20, 32, 50, 80, 125]),
    ],
)
def test_printed_cells_of_din_3962(key, first, cells):
    """DIN 3962-1 and -2:1978, tables (a machine-read copy): m 1 to 2, d 10 to 50, b 20 to 40."""
    row = tolerance_rows(DIN, None, 1.5, 42.0, 25.0)[key]
    assert (row.first_class, list(row.tolerances)) == (first, cells)


@pytest.mark.independent
@pytest.mark.parametrize(("b", "quality_5"), [(9, 6), (28.3, 6.5), (63, 7)])
def test_helix_slope_of_din_3962_follows_its_formula(b, quality_5):
    """4.16 b^0.14 (from memory) rounds to the printed cell of quality 5 in steps of half a micrometre."""
    assert tolerance_rows(DIN, None, 1.5, 42.0, b)["helix_slope"].tolerance(5) == quality_5
    middle = {9: math.sqrt(4 * 20), 28.3: math.sqrt(20 * 40), 63: math.sqrt(40 * 100)}[b]
    assert abs(4.16 * middle**0.14 - quality_5) < 0.5


def test_what_is_not_confirmed_is_refused():
    with pytest.raises(OutOfScopeError, match="m_n"):
        tolerance_rows(DIN, None, 3.0, 100.0, 20.0)
    rows = tolerance_rows(DIN, 50, 1.5, 42.0, 25.0)
    assert "runout" not in rows
    assert rows["profile_form"].tolerance(7) is None
    assert "helix_form" not in rows
    assert set(tolerance_rows(JIS, 50, 2.0, 100.0, 20.0)) == {
        "single_pitch", "cumulative_pitch", "adjacent_pitch",
    }  # fmt: skip


@pytest.mark.published
@pytest.mark.parametrize(
    ("m_n", "d", "single", "cumulative"),
    [
        (2.0, 100.0, [4.37, 6.22, 8.74, 12.32, 17.48], [17.48, 24.64, 34.97, 49.27, 69.93]),
        (4.0, 240.0, [5.81, 8.26, 11.61, 16.34, 23.23], [23.23, 32.68, 46.46, 65.36, 92.92]),
    ],
)
def test_pitch_of_jis_1976(m_n, d, single, cumulative):
    """Elements of Metric Gear Technology, table T-132: printed formulas, worked out by hand."""
    rows = tolerance_rows(JIS, None, m_n, d, 20.0)
    assert [round(rows["single_pitch"].tolerance(k), 2) for k in range(5)] == single
    assert [round(rows["cumulative_pitch"].tolerance(k), 2) for k in range(5)] == cumulative
    ratio = rows["adjacent_pitch"].tolerance(0) / rows["single_pitch"].tolerance(0)
    assert round(ratio, 2) == (1.0 if m_n == 2 else 1.06)


@pytest.mark.parametrize("title", ["ISO 1328-1:2013", "ISO 1328-1:1995", DIN, JIS])
def test_rows_rise_with_the_class_and_classes_agree(title):
    rows = tolerance_rows(title, 30, 1.5, 45.0, 25.0)
    for key, row in rows.items():
        steps = list(row.tolerances)
        assert steps == sorted(steps)
        for place, T in enumerate(steps):
            class_ = row.first_class + place
            assert row.tolerances[row.class_of(T) - row.first_class] == T
            assert row.class_of(T + 0.001) in (None, *range(class_ + 1, class_ + 4)), key
            assert abs(row.exact(T) - class_) < 1


def test_systems_of_one_text_are_one():
    size = (40, 1.5, 60.0, 20.0)
    older = tolerance_table(*size, title="ISO 1328-1:1995")
    assert tolerance_table(*size, title="GB/T 10095.1-2008") == older
    assert tolerance_table(*size, title="ANSI/AGMA ISO 1328-1-B14") == tolerance_table(*size)


@pytest.mark.independent
def test_editions_of_iso_1328_lie_near_each_other():
    """Both editions of one system: class 5 to 7 within a factor of 1.6."""
    for m_n, d, b in ((1.5, 45.0, 25.0), (2.0, 160.0, 32.0), (4.0, 240.0, 40.0)):
        older = tolerance_table(None, m_n, d, b, title="ISO 1328-1:1995")
        newer = tolerance_table(None, m_n, d, b)
        for key in ("single_pitch", "profile_total", "helix_total", "cumulative_pitch"):
            for grade in (5, 6, 7):
                assert 1 / 1.6 < older[grade][key] / newer[grade][key] < 1.6


PRINTED_DIN = """
profile_form     m 1 2      1 1 1.5 2 3 4.5 6
profile_slope    m 1 2      1 1 1.5 2 3 4 5
profile_total    m 1 2      1 1.5 2 3 4 6 8
single_pitch     d 10 50    1 1 1.5 2.5 3.5 5 7
single_pitch     d 50 125   1 1.5 2 2.5 4 5 7
single_pitch     d 125 280  1 1.5 2 3 4
single_pitch     d 280 560  1 1.5 2 3 4.5
single_pitch     d 560 1000 1 2 2.5 3.5 5
adjacent_pitch   d 0 10     1 1.5 2 3 4 5.5 8
adjacent_pitch   d 10 50    1 1.5 2 3 4.5 6 9
adjacent_pitch   d 50 125   1 2 2.5 3 5 6 9
cumulative_pitch d 0 10     1 2.5 4 5 7 10 14
cumulative_pitch d 10 50    1 3.5 5 7 10 14 18
helix_slope      b 0 20     5 6 8 11 16 25 36 56 90
helix_slope      b 20 40    5 6.5 9 13 18 28 40 63 100
helix_slope      b 40 100   5 7 10 14 20 28 45 71 110
helix_total      b 0 20     5 7 9 13 18 28 45 71 110
helix_total      b 20 40    6 10 15 20 32 50 80 125
helix_total      b 100 160  5 12 16 22 32 50 80 125 200
"""
"""Parameter, what its range is of, above, up to, first quality, cells: DIN 3962-1 and -2:1978, typed again
from the tables (a machine-read copy)."""


@pytest.mark.published
@pytest.mark.parametrize("line", PRINTED_DIN.strip().splitlines())
def test_every_printed_cell_of_din_3962(line):
    key, of, above, most, first, *cells = line.split()
    size = {"m": 1.5, "d": 42.0, "b": 25.0}
    for value in {float(above) or 0.5, float(most)} if of == "m" else {float(above) + 0.001, float(most)}:
        row = tolerance_rows(DIN, None, **{**{"m_n": size["m"], "d": size["d"], "b": size["b"]},
                                           {"m": "m_n"}.get(of, of): value})[key]  # fmt: skip
        assert (row.first_class, list(row.tolerances)) == (int(first), [float(cell) for cell in cells])


@pytest.mark.published
def test_coarse_classes_of_jis_1976():
    """Table T-132 by hand: W = 5.9416 at d 100, m 2; 2.8 W + 8, 4 W + 11.2, 8 W + 22.4, 16 W + 45, and four
    times these."""
    rows = tolerance_rows(JIS, None, 2.0, 100.0, 20.0)
    assert [round(rows["single_pitch"].tolerance(k), 1) for k in range(5, 9)] == [24.6, 35.0, 69.9, 140.1]
    found = [round(rows["cumulative_pitch"].tolerance(k), 1) for k in range(5, 9)]
    assert found == [98.0, 140.1, 280.1, 560.3]


@pytest.mark.parametrize(
    ("text", "title"),
    [
        ("AGMA Q12", "AGMA 2000-A88"),
        ("Q12", "AGMA 2000-A88"),
        ("AGMA 2015", "ANSI/AGMA 2015-1-A01"),
        ("ISO 1328-2:1997", "ISO 1328-2"),
        ("GB 10095-88", "ISO 1328:1975"),
    ],
)
def test_a_system_left_out_is_refused_with_its_reason(text: str, title: str) -> None:
    assert LEFT_OUT[title][1] in why_left_out(text)
    with pytest.raises(ValidationError) as refused:
        make.part(tolerance={"standard": text, "class": 5})
    (error,) = refused.value.errors()
    assert title in error["ctx"]["hint"]
    assert "limits_um" in error["ctx"]["hint"]
    with pytest.raises(gearqa.GearqaError, match=re.escape(title)):
        gearqa.tolerances(module=2.0, diameter=100.0, face_width=20.0, standard=text)


def test_every_system_left_out_stands_in_the_readme() -> None:
    readme = (Path(__file__).parents[3] / "README.md").read_text(encoding="utf-8")
    part = readme[readme.index("Left out, as") :].partition("\n\n")[0]
    assert [title for title in LEFT_OUT if title not in part] == []


def test_where_not_all_classes_are_known_it_is_said() -> None:
    """DIN 3962 as far as its cells are confirmed: helix slope from quality 5, single pitch to quality 4."""
    limited = {"standard": "DIN 3962:1978", "class": 5, "parameters": ["helix_slope", "profile_form"]}
    base = make.merged(make.RING, {"tolerance": {**limited, "class": 5}, "master_quality": {"class": 5}})
    (notice,) = [n for n in part_notices(make.part(base)) if n.code == "classes_known_in_part"]
    assert "1 to 6 in ffα; 5 to 12 in fHβ" in notice.message
    assert not [n for n in part_notices(make.part(make.RING)) if n.code == "classes_known_in_part"]

"""No way of writing a table is taken for other readings; tests/benchmarks/fuzz.py runs `misreading` long."""

from __future__ import annotations

import random

import pytest
from inspection_folder import part
from misreadings import case, misread


@pytest.mark.parametrize("fast", [False, True])
def test_a_table_is_refused_doubted_or_read_right(tmp_path, fast):
    seed = random.randrange(1 << 32)
    dice = random.Random(seed)
    read = 0
    for number in range(120):
        one = case(dice)
        told = misread(one, tmp_path, part(), fast)
        assert not told.wrong, f"seed {seed}, table {number}: {one.data[:2000]!r} is read as {told.wrong}"
        read += told.right
    assert read > 20


def test_a_misreading_is_found(tmp_path, monkeypatch):
    monkeypatch.setattr("gearqa.reading.folder.recognition.shifted_decimals", lambda *_: None)
    dice = random.Random(1)
    assert any(misread(case(dice), tmp_path, part(), False).wrong for _ in range(300))

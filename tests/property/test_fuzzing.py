"""Readers under mutated inputs read or refuse them; a sample of what tests/benchmarks/fuzz.py runs."""

from __future__ import annotations

import random
import warnings

import pytest
from fuzz_targets import TARGETS, corpus, mutated, run

RUNS = {"store": 6, "record": 15, "graded": 15, "key": 60}
"""Some are slow."""


@pytest.mark.parametrize("target", TARGETS)
def test_a_reader_reads_or_refuses(target, tmp_path):
    (tmp_path / "seeds").mkdir()
    (tmp_path / "run").mkdir()
    seeds = corpus(target, tmp_path / "seeds")
    assert sum(run(target, data, tmp_path / "run") for data in seeds)
    seed = random.randrange(1 << 32)
    dice = random.Random(seed)
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        for number in range(RUNS.get(target, 40)):
            data = mutated(dice.choice(seeds), seeds, dice)
            try:
                run(target, data, tmp_path / "run")
            except Exception:
                print(f"seed {seed}, mutation {number}: {data[:2000]!r}")
                raise
